package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/codes"
)

// benchPage is the frame of the bench; what is in it comes with Data and changes as people act.
type benchPage struct {
	Data benchData
	// The addresses that its script asks.
	State, Jobs, Meters, Acts, Worker, Drawings, Live, Lock, Unlock, Switch, SignIn string
	// Card is the sheet of codes to scan.
	Card string
}

// benchData is what the script of the bench knows: the bench, and who works at it.
type benchData struct {
	desk.Bench
	Person string `json:"person"`
	Zone   string `json:"zone"`
	// Site is the origin of the ledger, Seen the line of its end that the browser keeps (store.SeenNow), and Copied says
	// that these records are a copy, empty when they are none.
	Site   string `json:"site"`
	Seen   string `json:"seen,omitempty"`
	Copied string `json:"copied,omitempty"`
	// Passkeys says that the person has one that counts here.
	Passkeys bool `json:"passkeys,omitempty"`
	// Open are the samples that wait for something.
	Open []desk.OpenSample `json:"open"`
	// Marks are those of states and outcomes, Steps the names of steps.
	Marks map[string]words.Mark            `json:"marks"`
	Steps map[reprocessing.StepKind]string `json:"steps"`
	// Warn is how long before a deadline somebody is warned, in microseconds.
	Warn int64 `json:"warn"`
}

// warnBefore is half of the shortest usual clock of a sample (common practice).
const warnBefore = 30_000_000

func (s benchPages) bench(x *kit.Exchange) error {
	data, err := s.benchData(x)
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "bench", false, benchPage{
		Data:   data,
		State:  s.URL("/bench/state"),
		Jobs:   s.URL("/bench/jobs/"),
		Meters: s.URL("/meters/"),
		Acts:   s.URL("/bench/acts"),
		Worker: s.URL("/bench/worker.js"),
		Drawings: s.URL(
			"/bench/drawings/",
		),
		Live:   s.URL("/live"),
		Lock:   s.URL("/lock"),
		Unlock: s.URL("/unlock"),
		Switch: s.URL("/switch"),
		SignIn: s.URL("/sign-in?next=/bench"),
		Card:   s.URL("/bench/card"),
	})
}

func (s benchPages) benchData(x *kit.Exchange) (benchData, error) {
	data := benchData{
		Person: x.Who.Code, Zone: s.Desk.DB.Zone().String(), Site: s.Desk.DB.Site().Origin, Copied: s.Desk.Behind(), Warn: warnBefore,
		Marks: s.Terms.Marks(), Steps: s.Terms.Steps(),
	}
	p, err := s.overview(x.R.Context())
	if err != nil {
		return data, err
	}
	data.Open = append([]desk.OpenSample{}, p.open...) // a list, also when it is empty
	err = s.View(x.R.Context(), func(v desk.View) (err error) {
		if data.Seen, err = desk.SeenNow(v); err != nil {
			return err
		}
		if data.Bench, err = v.Day().Bench(s.Now()); err != nil || s.passkeys == nil {
			return err
		}
		all, err := v.People().Passkeys(x.Who.Code)
		data.Passkeys = slices.ContainsFunc(all, s.passkeys.Counts)
		return err
	})
	return data, err
}

// seenHeader is how a bench says how far the records went when it looked last.
const seenHeader = "X-Ledger-Seen"

// heard takes what the browser remembers of the records before it is told anything of them.
func (s benchPages) heard(x *kit.Exchange) error {
	return s.Desk.HasSeen(x.R.Context(), x.R.Header.Get(seenHeader))
}

// benchState answers what the bench knows, for pages that stay open and for work without a network.
func (s benchPages) benchState(x *kit.Exchange) error {
	if err := s.heard(x); err != nil {
		return err
	}
	data, err := s.benchData(x)
	if err != nil {
		return err
	}
	return x.JSON(http.StatusOK, data)
}

// drawing answers our own line drawing of a sampling point on a model, as a part of a page.
func (s benchPages) drawing(x *kit.Exchange) error {
	name, kind := x.R.PathValue("model"), scope.PointKind(x.R.PathValue("point"))
	var picture []byte
	err := s.View(x.R.Context(), func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		if err != nil {
			return err
		}
		i := slices.IndexFunc(fleet, func(i scope.Instrument) bool { return i.Model == name })
		if i < 0 {
			return kit.NotHere("No scope is of the model %q.", name)
		}
		m, err := v.Model(fleet[i].Tag, s.Now())
		if err != nil {
			return err
		}
		if _, ok := m.Point(kind); !ok {
			return kit.NotHere("Model %s has no sampling point %q.", name, kind)
		}
		picture = chart.SVG(figure.Place(m, kind), chart.SVGOptions{ID: "place", Width: drawingWidth})
		return nil
	})
	if err != nil {
		return err
	}
	x.Answer(http.StatusOK, "image/svg+xml", picture)
	return nil
}

// drawingWidth is the width for which the drawings of points are laid out, in pixels.
const drawingWidth = 640

// worker answers the script that keeps the bench usable without a network, with the names of the files of
// this edition in front of it.
func (s benchPages) worker(x *kit.Exchange) error {
	names := []string{}
	for _, name := range []string{"app.css", "app.js", "bench.js", "icon.svg"} {
		address, err := s.Asset(name)
		if err != nil {
			return err
		}
		names = append(names, address)
	}
	head, err := json.Marshal(names)
	if err != nil {
		return err
	}
	x.W.Header().Set("Service-Worker-Allowed", s.URL("/bench"))
	x.W.Header().Set("Cache-Control", "no-cache")
	x.Answer(http.StatusOK, kit.MediaTypes[".js"], fmt.Appendf(nil, "const files = %s, edition = %q, benchAddress = %q, drawingsAddress = %q;\n%s",
		head, s.Assets.Edition(), s.URL("/bench"), s.URL("/bench/drawings/"), s.Assets.Source("worker.js")))
	return nil
}

// cardPage is the sheet of codes for people who work by scanner alone.
type cardPage struct{ Groups []cardGroup }

type cardGroup struct {
	Title string
	Codes []cardCode
}

type cardCode struct {
	Text, Words string
	Bars        template.HTML
}

// barHeight is how high the bars of a code are drawn, in modules.
const barHeight = 60

func (s benchPages) card(x *kit.Exchange) error {
	page := cardPage{Groups: []cardGroup{{Title: "What was done"}, {Title: "Sampling points"}, {Title: "The value"}}}
	var fault error
	add := func(group int, text, words string) {
		bars, err := codes.Code128(text, barHeight)
		fault = errors.Join(fault, err)
		page.Groups[group].Codes = append(
			page.Groups[group].Codes,
			cardCode{text, words, template.HTML(bars)},
		) //nolint:gosec // drawn by codes, which escapes the text
	}
	add(0, "ACT-COLLECTED", "collected")
	add(0, "ACT-CLOSED", "container closed")
	add(0, "ACT-OPENED", "container opened")
	add(0, "ACT-DIPPED", "dipped")
	add(0, "ACT-ACTIVATED", "activated")
	add(0, "ACT-SHAKEN", "shaken")
	add(0, "ACT-NEXT", "next point")
	add(0, "ACT-PERSON", "change person")
	for _, p := range scope.PointKinds {
		add(1, "ACT-POINT-"+strings.ToUpper(string(p)), text.Spaced(p))
	}
	for digit := range 10 {
		add(2, fmt.Sprintf("ACT-DIGIT-%d", digit), fmt.Sprint(digit))
	}
	add(2, "ACT-ENTER", "store the value")
	add(2, "ACT-CLEAR", "clear the value")
	if fault != nil {
		return fault
	}
	return x.Show(http.StatusOK, "card", false, page)
}

// benchJob answers what is to be done on one scope, which is named as it was scanned.
func (s benchPages) benchJob(x *kit.Exchange) error {
	if err := s.heard(x); err != nil {
		return err
	}
	var job jobShown
	err := s.View(x.R.Context(), func(v desk.View) error {
		found, err := tagged(v, x.R.PathValue("tag"))
		if err != nil {
			return err
		}
		job, err = s.jobShown(v, found.Tag)
		return err
	})
	if err != nil {
		return err
	}
	return x.JSON(http.StatusOK, job)
}

// act is one thing that somebody did at the bench. ID and At come from the bench, since it may have
// happened while there was no network.
type act struct {
	ID  string       `json:"id"`
	Act string       `json:"act"`
	By  string       `json:"by"`
	At  unit.Instant `json:"at"`

	Scope string          `json:"scope,omitempty"`
	Point scope.PointKind `json:"point,omitempty"`
	Kit   string          `json:"kit,omitempty"`
	Lot   string          `json:"lot,omitempty"`
	// Hold is what a hold is for.
	Hold reprocessing.HoldKind `json:"hold,omitempty"`
	// Flushed is what went through the channel to be collected.
	Flushed unit.Millilitres `json:"flushed_ml,omitzero"`
	// Why is the reason of a point that does not apply, of a void, of a correction and of a hold.
	Why string `json:"why,omitempty"`

	Sample string        `json:"sample,omitempty"`
	Mark   sampling.Mark `json:"mark,omitempty"`

	Meter   string          `json:"meter,omitempty"`
	Analyte reading.Analyte `json:"analyte,omitempty"`
	Unit    reading.Unit    `json:"unit,omitempty"`
	Value   string          `json:"value,omitempty"`
	// Again is the value as it was typed a second time.
	Again string `json:"again,omitempty"`
	// Duplicate says that a second reading of the sample is meant.
	Duplicate bool `json:"duplicate,omitempty"`

	Step *reprocessing.Step `json:"step,omitempty"`
	// Record is what is voided or corrected.
	Record string `json:"record,omitempty"`
	// Patient is the facility's number of the patient of a use.
	Patient string            `json:"patient,omitempty"`
	Use     *reprocessing.Use `json:"use,omitempty"`
}

// actAnswer is what became of an act.
type actAnswer struct {
	Stored bool   `json:"stored"`
	Record string `json:"record,omitempty"`
	// Retype asks for the value a second time and says why; nothing was stored.
	Retype string `json:"retype,omitempty"`
	// Outcome is that of a reading, Why is why it is that, or why a step that is done proves nothing.
	Outcome reading.Outcome `json:"outcome,omitempty"`
	Why     string          `json:"why,omitempty"`
	// Held says that the act put the scope on hold, and why.
	Held string `json:"held,omitempty"`
	// Seen is the line of the end of the ledger with the act in it (store.SeenNow).
	Seen string `json:"seen,omitempty"`
	// Job is the scope's state after the act.
	Job *jobShown `json:"job,omitempty"`
}

// jobShown is the work on a scope with its cycle as a picture, for three widths of window.
type jobShown struct {
	desk.Job
	Wide   template.HTML `json:"wide"`
	Middle template.HTML `json:"middle"`
	Narrow template.HTML `json:"narrow"`
}

func (s benchPages) jobShown(v desk.View, tag string) (jobShown, error) {
	now := s.Now()
	job, err := v.Day().Job(tag, now)
	if err != nil {
		return jobShown{}, err
	}
	job.Answer = s.Terms.Answer(job.Answer)
	p := kit.Pictured(
		"strip",
		figure.Strip(s.Terms, job.Answer, now, v.Zone(), figure.Places{Record: func(id ledger.ID) string { return s.RecordHref(string(id)) }}),
	)
	return jobShown{job, p.Wide, p.Middle, p.Narrow}, nil
}

// benchAct stores one act. Sending it again stores nothing and answers the same.
func (s benchPages) benchAct(x *kit.Exchange) error {
	if err := s.heard(x); err != nil {
		return err
	}
	var a act
	d := json.NewDecoder(x.R.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return kit.TooLarge()
		}
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The act cannot be read: " + err.Error()}
	}
	if a.By != x.Who.Code {
		return &kit.PageError{
			Status: http.StatusForbidden, Message: fmt.Sprintf("This was done by %s, and %s has signed in.", a.By, x.Who.Code),
			Hint: fmt.Sprintf("It is kept here until %s signs in.", a.By),
		}
	}
	id, err := ledger.ParseID(a.ID)
	if err != nil {
		return &kit.PageError{Status: http.StatusBadRequest, Message: err.Error()}
	}
	if !a.At.Known() {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The act does not say when it happened."}
	}
	var answer actAnswer
	var done desk.Receipt
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		answer = actAnswer{}
		if a.Act == "read" && a.Again == "" {
			in, err := a.reading()
			if err != nil {
				return err
			}
			// What was stored before needs no second typing: the answer got lost on the way.
			if _, err := w.Show(a.ID); fault.CodeOf(err) == fault.NotFound {
				if answer.Retype, err = w.Day().Retype(in); err != nil || answer.Retype != "" {
					return err
				}
			}
		}
		if a.Act == "collect" {
			if _, err := w.Show(a.ID); fault.CodeOf(err) == fault.NotFound {
				if err := w.Day().MaySample(a.Scope, a.At); err != nil {
					return err
				}
			}
		}
		var err error
		done, err = a.do(w, desk.Entry{ID: id, By: a.By})
		return err
	})
	if fault.CodeOf(err) == fault.Unsigned {
		return &kit.PageError{
			Status: http.StatusForbidden, Message: "This is a signature, since it is no longer a slip of a moment ago.",
			Hint: "Lock the bench, open it with your PIN or password, and send this again; or drop it here and do it on the page of the record.",
		}
	}
	if err != nil {
		return err
	}
	if answer.Retype == "" {
		answer.Stored, answer.Record, answer.Held = true, string(done.Record.ID), s.Terms.Sentence(done.Held())
		if a.Act == "read" || a.Act == "correct-reading" {
			r, err := record.Body[reading.Reading](done.Record)
			if err != nil {
				return err
			}
			answer.Outcome, answer.Why = r.Judgement.Outcome, r.Judgement.Why
		}
	}
	err = s.View(x.R.Context(), func(v desk.View) (err error) {
		if answer.Seen, err = desk.SeenNow(v); err != nil || a.Scope == "" {
			return err
		}
		job, err := s.jobShown(v, a.Scope)
		answer.Job = &job
		if a.Step != nil && a.Step.End.Known() {
			answer.Why = job.Answer.Against(answer.Record)
		}
		return err
	})
	if err != nil {
		return err
	}
	return x.JSON(http.StatusOK, answer)
}

// acts are the words for what can be done at the bench.
var acts = []string{"collect", "not-applicable", "mark", "read", "correct-reading", "step", "use", "void", "hold"}

// do hands the act to the desk.
func (a act) do(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
	switch a.Act {
	case "collect":
		return w.Collect(e, sampling.Sample{Scope: a.Scope, Point: a.Point, Kit: a.Kit, Lot: a.Lot, By: a.By, Collected: a.At, Flushed: a.Flushed})
	case "not-applicable":
		return w.Collect(e, sampling.Sample{Scope: a.Scope, Point: a.Point, NotApplicable: a.Why, By: a.By, Collected: a.At})
	case "mark":
		return w.Mark(e, sampling.Moment{Sample: a.Sample, Mark: a.Mark, At: a.At, By: a.By})
	case "read", "correct-reading":
		in, err := a.reading()
		if err != nil {
			return desk.Receipt{}, err
		}
		if a.Act == "correct-reading" {
			e.Corrects, e.Reason = ledger.ID(a.Record), a.Why
		}
		return w.Read(e, in)
	case "step":
		if a.Step == nil {
			return desk.Receipt{}, &kit.PageError{Status: http.StatusBadRequest, Message: "Which step?"}
		}
		step := *a.Step
		step.Scope, step.By = a.Scope, a.By
		return w.RecordStep(e, step)
	case "use":
		if a.Use == nil {
			return desk.Receipt{}, &kit.PageError{Status: http.StatusBadRequest, Message: "When was the scope used?"}
		}
		use := *a.Use
		use.Scope, use.Patient, use.Emergency = a.Scope, "", reprocessing.Emergency{}
		return w.RecordUse(e, use, a.Patient)
	case "void":
		e.Corrects, e.Reason = ledger.ID(a.Record), a.Why
		return w.Void(e)
	case "hold":
		return w.PlaceHold(e, reprocessing.Hold{Scope: a.Scope, Kind: a.Hold, At: a.At, By: a.By, Reason: a.Why})
	}
	return desk.Receipt{}, &kit.PageError{
		Status:  http.StatusBadRequest,
		Message: fmt.Sprintf("The act %q is not known; known are: %s.", a.Act, strings.Join(acts, ", ")),
	}
}

// reading is the reading of an act; the second typing must be the same as the first.
func (a act) reading() (desk.Reading, error) {
	analyte, u := a.Analyte, a.Unit
	if analyte == "" {
		analyte = reading.ATP
	}
	if u == "" {
		u = reading.RLU
	}
	value, err := reading.ParseValue(analyte, u, a.Value)
	if err != nil {
		return desk.Reading{}, &kit.PageError{Status: http.StatusBadRequest, Message: err.Error()}
	}
	if a.Again != "" {
		second, err := reading.ParseValue(analyte, u, a.Again)
		if err != nil || second.Number != value.Number || second.Word != value.Word {
			return desk.Reading{}, &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("The two entries differ: %s and %s.", a.Value, a.Again),
				Hint:    "Look at the meter and type the value again.",
			}
		}
	}
	return desk.Reading{Sample: ledger.ID(a.Sample), Meter: a.Meter, Value: value, At: a.At, Only: !a.Duplicate}, nil
}
