package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// scopePage is one scope: what the release check says, how far its cycle is, what it has been through, and
// what can be done.
type scopePage struct {
	scopeFacts
	// Said is what was just done.
	Said string
	// Strip is the cycle that goes on, Present what is on record of it, Steps how far it is.
	Strip   kit.Picture
	Present cycleLine
	Steps   []stepLine
	// Trips are cycles before it; Older is where those before them are, Latest where the last ones
	// are when these are not.
	Cycles        []cycleLine
	Older, Latest string
	Files         []fileLine
	History       []historyLine
	// AllRecords is where more of the history is; empty when there is no more. AllShown says that it was
	// asked for.
	AllRecords string
	AllShown   bool
	Forms      scopeForms
	Dossier    string
	// Numbers are its signals and trends; nil for whoever may not see them.
	Numbers *scopeNumbers
	scopeLists
}

// scopeForms are what can be done on the page of a scope; nil for whoever may not.
type scopeForms struct {
	// Base is the address that the addresses of the forms begin with.
	Base                        string
	Hold, Request, Repair, File *kit.Form
	Lifts                       []liftForm
	// Away is the record of the repair that the scope is away for, Fault its reason; both are empty when
	// it is not away.
	Away, Fault string
	Kinds       []dossier.Kind
	Abouts      []about
	// HoldKinds are what a hold can be for.
	HoldKinds []reprocessing.HoldKind
}

// HoldForm is the form that places a hold.
func (f scopeForms) HoldForm() wrongPage { return wrongPage{HoldKinds: f.HoldKinds, Form: *f.Hold} }

// liftForm lifts one hold.
type liftForm struct {
	*kit.Form
	Hold holdLine
	Key  string
	// Prove asks for the password of whoever lifts, Second for a second person.
	Prove, Second bool
	// Missing is what has to be on record before the hold can be lifted, empty when nothing is; Signing says whose
	// signature it takes.
	Missing, Signing string
}

// about is a record that a file can be about.
type about struct{ ID, Words string }

// scopeFacts are what a scope's page and its dossier begin with.
type scopeFacts struct {
	Tag, Href, Serial, Model, Kind, Risk, Owner, Place string
	Mark                                               words.Mark
	Until, Left, Since                                 string
	Reasons                                            []reasonLine
	Next                                               []string
	// Drawing is the scope with its points.
	Drawing     kit.Picture
	Counters    []counter
	Repairs     []repairLine
	Inspections []stepLine
}

type reasonLine struct {
	Text, By, Href, Citation string
	Blocks, Unverified       bool
}

type stepLine struct{ Step, Status, Start, End, Deadline, By, Result, Note, Href string }

// counter is a number that a scope has been through.
type counter struct{ Value, Words, Since string }

// Lengths of the lists of a scope's page.
const (
	cyclesShown  = 10
	recordsShown = 40
	recordsMost  = 1000
)

func (s scopePages) scope(x *kit.Exchange) error {
	return s.scopePage(x, http.StatusOK, x.R.PathValue("tag"), kit.Sent{})
}

// scopePage shows a scope, with a form that was sent and not accepted.
func (s scopePages) scopePage(x *kit.Exchange, status int, tag string, was kit.Sent) error {
	q := x.R.URL.Query()
	page := scopePage{Said: said[q.Get("done")]}
	now := s.Now()
	if wanted, err := x.WantsFile(); err != nil {
		return err
	} else if wanted {
		return s.scopeFile(x, tag, now)
	}
	before, err := pageBefore(q.Get("before"), now)
	if err != nil {
		return err
	}
	records := recordsShown
	if page.AllShown = q.Has("records"); page.AllShown {
		records = recordsMost
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		clock := s.ClockOf(v)
		i, err := tagged(v, tag)
		if err != nil {
			return err
		}
		a, err := s.facts(&page.scopeFacts, v, i, now)
		if err != nil {
			return err
		}
		page.Strip = kit.Pictured(
			"strip",
			figure.Strip(s.Terms, a, now, v.Zone(), figure.Places{Record: func(id ledger.ID) string { return s.RecordHref(string(id)) }}),
		)
		for _, p := range a.Steps {
			page.Steps = append(page.Steps, stepLine{
				Step: s.Terms.Step(
					p.Step,
				),
				Status:   string(p.Status),
				Start:    clock(p.Start),
				End:      clock(p.End),
				Deadline: clock(p.Deadline),
				Href:     s.RecordHref(p.Record),
			})
		}
		cycles, err := s.fillCycles(&page, v, now, before, clock)
		if err != nil {
			return err
		}
		if page.Files, err = s.fileLines(v, i.Tag, 0, now, clock); err != nil {
			return err
		}
		for i, f := range page.Files {
			if page.Files[i].Void, err = kit.VoidForm(x, v, was, ledger.ID(f.ID)); err != nil {
				return err
			}
		}
		if page.History, err = s.historyLines(v, i.Tag, 0, now, records, clock); err != nil {
			return err
		}
		if len(page.History) == recordsShown {
			page.AllRecords = page.Href + "?records#history"
		}
		page.Dossier = page.Href + "/dossier"
		if page.Numbers, err = s.scopeNumbers(v, x, i.Tag); err != nil {
			return err
		}
		page.scopeLists = scopeListsOf(x, i.Tag)
		return s.fillForms(&page, v, x, was, cycles)
	})
	if err != nil {
		return err
	}
	return x.Show(status, "scope", false, page)
}

// pageBefore reads before which instant the cycles of a page began; now when nothing is said.
func pageBefore(text string, now unit.Instant) (unit.Instant, error) {
	if text == "" {
		return now, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || unit.At(at) > now {
		return 0, &kit.PageError{Status: http.StatusBadRequest, Message: "There is no such page of cycles."}
	}
	return unit.At(at), nil
}

// facts fills in what the release check says of a scope, its drawing, and what it has been through.
func (s scopePages) facts(f *scopeFacts, v desk.View, i scope.Instrument, now unit.Instant) (reprocessing.Answer, error) {
	a, err := v.ReleaseNow(i.Tag, now, store.Forever)
	if err != nil {
		return a, err
	}
	m, err := v.Model(i.Tag, now)
	if err != nil {
		return a, err
	}
	zone := v.Zone()
	a = s.ClockOf(v).Answer(s.Terms.Answer(a))
	*f = scopeFacts{
		Tag:    i.Tag,
		Href:   s.ScopeHref(i.Tag),
		Serial: i.Serial,
		Model:  i.Model,
		Kind:   m.Kind.Words(),
		Risk:   string(m.Risk),
		Owner:  s.Terms.Owner(i.Owner),
		Place:  i.Location,
		Mark:   s.Terms.State(a.State),
		Until:  words.Short(a.Until, now, zone),
		Next:   a.Next,
		Since:  words.Short(a.Cycle, now, zone),
	}
	if a.Until.Known() {
		f.Left = words.Age(a.Until.Sub(now))
	}
	for _, r := range a.Reasons {
		f.Reasons = append(f.Reasons, reasonLine{
			Text: r.Whole(), By: r.By, Href: s.RecordHref(r.Record), Citation: r.Citation, Blocks: r.Blocks, Unverified: r.Unverified,
		})
	}
	states, err := s.pointStates(v, i.Tag, m, now)
	if err != nil {
		return a, err
	}
	f.Drawing = kit.Pictured("scope", figure.Schematic(s.Terms, m, states, zone))
	exposure, err := v.Numbers().Exposure(i.Tag, now)
	if err != nil {
		return a, err
	}
	f.Counters = counters(exposure, zone)
	return a, nil
}

// counters says in words what a scope has been through.
func counters(e desk.Exposure, zone *time.Location) []counter {
	day := func(before string, i unit.Instant, never string) string {
		if !i.Known() {
			return never
		}
		return before + i.Time().In(zone).Format(time.DateOnly)
	}
	list := []counter{
		{fmt.Sprint(e.Uses), "uses in service", day("since ", e.InService, "")},
		{fmt.Sprint(e.ThisMonth), "uses this month", ""},
		{fmt.Sprint(e.SinceRepair), "uses since repair", day("back ", e.Repaired, "never repaired")},
		{fmt.Sprint(e.SincePassed), "uses since a cleaning verification passed", day("on ", e.Passed, "none has passed")},
		{"–", "days since use", "never used"},
		{fmt.Sprint(e.Actions), "readings over action", "in 365 days"},
		{fmt.Sprint(e.Repairs), "repairs", ""},
		{fmt.Sprint(e.OpenRequests), "open requests", "for a cleaning verification"},
	}
	if e.LastUse.Known() {
		list[4].Value, list[4].Since = fmt.Sprint(e.DaysSince), day("on ", e.LastUse, "")
	}
	return list
}

// fillCycles fills in the cycle that goes on and those that began before an instant, and with them
// the inspections and the repairs. It returns the cycles.
func (s scopePages) fillCycles(page *scopePage, v desk.View, now, before unit.Instant, clock words.Clock) ([]desk.Cycle, error) {
	cycles, err := v.Records().Cycles(page.Tag, now, cyclesShown+1)
	if err != nil {
		return nil, err
	}
	page.Present = s.cycleLine(cycles[0], clock)
	shown := cycles[1:]
	if before != now {
		page.Latest = page.Href + "#earlier"
		if shown, err = v.Records().Cycles(page.Tag, before-1, cyclesShown); err != nil {
			return nil, err
		}
	}
	for _, t := range shown {
		page.Cycles = append(page.Cycles, s.cycleLine(t, clock))
	}
	if n := len(shown); n == cyclesShown && shown[n-1].Cause != reprocessing.OnArrival {
		page.Older = page.Href + "?" + url.Values{"before": {shown[n-1].From.String()}}.Encode() + "#earlier"
	}
	page.Inspections = s.inspections(cycles, clock)
	repairs, err := v.Records().Repairs(page.Tag, 0, now)
	for _, r := range slices.Backward(repairs) {
		page.Repairs = append(page.Repairs, s.repairLine(r, clock))
	}
	return cycles, err
}

// inspections lists those of cycles, the newest first.
func (s scopePages) inspections(cycles []desk.Cycle, clock words.Clock) []stepLine {
	var lines []stepLine
	for _, t := range cycles {
		for _, step := range slices.Backward(t.Steps) {
			if step.Kind == reprocessing.Inspection {
				lines = append(
					lines,
					stepLine{Start: clock(step.Start), By: step.By, Result: string(step.Result), Note: step.Note, Href: s.RecordHref(step.ID)},
				)
			}
		}
	}
	return lines
}

// fillForms gives the page the forms that whoever asks may send.
func (s scopePages) fillForms(page *scopePage, v desk.View, x *kit.Exchange, was kit.Sent, cycles []desk.Cycle) error {
	f, now, clock := &page.Forms, s.Now(), s.ClockOf(v)
	f.Base, f.Kinds, f.HoldKinds = page.Href, dossier.Kinds, reprocessing.PlacedKinds
	for form, act := range map[**kit.Form]struct {
		name string
		act  access.Act
	}{&f.Hold: {"hold", desk.ToPlaceHold}, &f.Request: {"request", desk.ToAsk}, &f.File: {"file", desk.ToAttach}} {
		if x.Can(act.act) {
			*form = x.Form(was, act.name)
		}
	}
	if x.Can(desk.ToRecordRepair) {
		f.Repair = x.Form(was, "repair")
		for _, field := range []string{"sent", "returned"} {
			if f.Repair.Typed[field] == "" {
				f.Repair.Typed[field] = s.Present()
			}
		}
	}
	repairs, err := v.Records().Repairs(page.Tag, 0, now)
	if err != nil {
		return err
	}
	for _, r := range repairs {
		f.Abouts = append(f.Abouts, about{r.ID, "repair, sent " + clock(r.Sent)})
		if !r.Returned.Known() {
			f.Away, f.Fault = r.ID, r.Fault
		}
	}
	for _, t := range cycles {
		for _, step := range t.Steps {
			if step.Kind == reprocessing.Inspection {
				f.Abouts = append(f.Abouts, about{step.ID, "inspection of " + clock(step.Start)})
			}
		}
	}
	if !x.Can(desk.ToLiftHold) {
		return nil
	}
	open, err := v.Records().Liftables(page.Tag, now)
	for _, l := range open {
		if !l.SignableBy(x.Actor()) {
			continue // it is not theirs to lift
		}
		f.Lifts = append(f.Lifts, liftForm{
			Form: x.Form(was, "lift-"+l.ID), Key: l.ID, Second: l.Second, Prove: x.Unsigned(), Missing: s.Terms.Sentence(l.Missing),
			Signing: string(l.Signing), Hold: holdLine{At: clock(l.At), By: l.By, What: string(l.Of()), Reason: l.Reason, Href: s.RecordHref(l.ID)},
		})
	}
	return err
}

// recentReadings is how many readings the small chart of a point shows.
const recentReadings = 20

// pointStates tells of each sampling point of a scope the latest reading, with those before it on the same
// scale.
func (s scopePages) pointStates(v desk.View, tag string, m scope.Model, now unit.Instant) ([]figure.PointState, error) {
	var states []figure.PointState
	for _, p := range m.Points() {
		past, err := v.Numbers().Lately(tag, p.Kind, now, recentReadings)
		if err != nil {
			return nil, err
		}
		state := figure.PointState{Kind: p.Kind}
		for _, x := range past {
			state.Recent = append(state.Recent, math.Log10(math.Max(1, x.Value)))
		}
		if len(past) > 0 {
			last := past[len(past)-1]
			r, err := v.Numbers().ReadingOf(last.ID)
			if err != nil {
				return nil, err
			}
			state.Outcome, state.Value, state.When, state.Href = last.Outcome, r.Value.String(), last.At, s.RecordHref(string(last.ID))
			if l := r.Judgement.Level; l != nil {
				state.Level = levelWords(*l)
				state.Limit = math.Log10(math.Max(1, float64(l.Action)))
			}
		}
		states = append(states, state)
	}
	return states, nil
}

// levelWords says what a value was judged by.
func levelWords(l reading.Level) string {
	if l.Alert > 0 {
		return fmt.Sprintf("alert %s, action %s %s", l.Alert, l.Action, l.Unit)
	}
	return fmt.Sprintf("action %s %s", l.Action, l.Unit)
}
