package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// MendWork is the part of the work that corrects what was recorded wrong and finishes what was begun, whatever the kind.
type MendWork struct{ *Work }

// Mending is the part of the work that corrects what was recorded wrong and finishes what was begun, whatever the kind.
func (w *Work) Mending() MendWork { return MendWork{w} }

// Field is something that a person can set of a record.
type Field struct {
	Name, Label string
	// Value is what the record says now.
	Value string
	// Time says that it is an instant, written as MendTime in the facility's zone; Choices are what can be chosen.
	Time    bool
	Choices []string
}

// MendTime is how an instant is written when a record is corrected or finished; seconds may be left out.
const MendTime = "2006-01-02T15:04:05"

// Ways are the ways in which a person can put a record right.
type Ways struct {
	// Void says that it can be taken back, by whoever may; Correct and Finish are what can be set.
	Void            bool
	Correct, Finish []Field
	// Instead says what a person does where one of these is missing.
	Instead string
}

// mender puts records of one kind right.
type mender interface {
	fields(k store.Kept, zone *time.Location) (correct, finish []Field, err error)
	mend(w *Work, e Entry, k store.Kept, changes map[string]string, finishing bool) (Receipt, error)
}

// part is a field of a body that a person can set.
type part[T any] struct {
	Field
	// finishes says that it is set when the record is finished, only that it is set then alone.
	finishes, only bool
	get            func(*T, *time.Location) string
	set            func(*T, string, *time.Location) error
}

func textOf[T any, S ~string](name, label string, at func(*T) *S, choices ...S) part[T] {
	p := part[T]{Field: Field{Name: name, Label: label}}
	for _, c := range choices {
		p.Choices = append(p.Choices, string(c))
	}
	p.get = func(b *T, _ *time.Location) string { return string(*at(b)) }
	p.set = func(b *T, text string, _ *time.Location) error {
		if text != "" && len(choices) > 0 && !slices.Contains(choices, S(text)) {
			return fmt.Errorf("%s: %q is not known; allowed: %s", label, text, strings.Join(p.Choices, ", "))
		}
		*at(b) = S(text)
		return nil
	}
	return p
}

func timeOf[T any](name, label string, at func(*T) *unit.Instant) part[T] {
	return part[T]{
		Field: Field{Name: name, Label: label, Time: true},
		get: func(b *T, zone *time.Location) string {
			if !at(b).Known() {
				return ""
			}
			return at(b).Time().In(zone).Format(MendTime)
		},
		set: func(b *T, text string, zone *time.Location) (err error) {
			*at(b), err = mendTime(text, zone)
			return err
		},
	}
}

func degreesOf[T any](name, label string, at func(*T) *unit.Celsius) part[T] {
	return part[T]{
		Field: Field{Name: name, Label: label},
		get: func(b *T, _ *time.Location) string {
			if *at(b) == 0 {
				return ""
			}
			return at(b).String()
		},
		set: func(b *T, text string, _ *time.Location) error {
			if text == "" {
				*at(b) = 0
				return nil
			}
			n, err := unit.ParseNumber(text)
			*at(b) = unit.Celsius(n)
			return err
		},
	}
}

// contactPart is how long a disinfectant was in contact.
var contactPart = part[reprocessing.Step]{
	Field: Field{Name: "contact", Label: "contact time, such as 12min"},
	get: func(s *reprocessing.Step, _ *time.Location) string {
		if s.Contact == 0 {
			return ""
		}
		return s.Contact.String()
	},
	set: func(s *reprocessing.Step, text string, _ *time.Location) (err error) {
		if s.Contact = 0; text != "" {
			s.Contact, err = unit.ParseSpan(text)
		}
		return err
	},
}

// coldestPart is the lowest temperature of a disinfection, of which 0 °C is one.
var coldestPart = part[reprocessing.Step]{
	Field: Field{Name: "coldest_cel", Label: "coldest temperature, °C"},
	get: func(s *reprocessing.Step, _ *time.Location) string {
		if !s.HasTemperature {
			return ""
		}
		return s.Coldest.String()
	},
	set: func(s *reprocessing.Step, text string, _ *time.Location) error {
		if s.Coldest, s.HasTemperature = 0, false; text == "" {
			return nil
		}
		n, err := unit.ParseNumber(text)
		s.Coldest, s.HasTemperature = unit.Celsius(n), err == nil
		return err
	},
}

// mendTime reads an instant; an empty text is none.
func mendTime(text string, zone *time.Location) (unit.Instant, error) {
	if text == "" {
		return 0, nil
	}
	for _, layout := range []string{MendTime, "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, strings.Replace(text, " ", "T", 1), zone); err == nil {
			return unit.At(t), nil
		}
	}
	return 0, fmt.Errorf("%q is no date and time: write it like 2026-11-25 08:30", text)
}

func (p part[T]) finishing() part[T] { p.finishes = true; return p }

// mends puts records right whose body is a T.
type mends[T any] struct {
	parts []part[T]
	// open says that something was begun and has to be finished; nil where nothing is.
	open func(T) bool
	// do records another version of the body; finishing names the record that it finishes, else it corrects.
	do func(w *Work, e Entry, b T, finishing string) (Receipt, error)
}

func (m mends[T]) fields(k store.Kept, zone *time.Location) (correct, finish []Field, err error) {
	b, err := record.Body[T](k.Record)
	if err != nil {
		return nil, nil, err
	}
	open := m.open != nil && m.open(b)
	for _, p := range m.parts {
		f := p.Field
		f.Value = p.get(&b, zone)
		if !p.only {
			correct = append(correct, f)
		}
		if open && p.finishes {
			finish = append(finish, f)
		}
	}
	return correct, finish, nil
}

func (m mends[T]) mend(w *Work, e Entry, k store.Kept, changes map[string]string, finishing bool) (Receipt, error) {
	b, err := record.Body[T](k.Record)
	if err != nil {
		return Receipt{}, err
	}
	if finishing && (m.open == nil || !m.open(b)) {
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("%s record %s is not open: there is nothing to finish", record.Called(k.Kind()), k.ID),
			Hint: "what it leaves out or says wrong is corrected: " + cmp.Or(m.names(false), "nothing"),
		}
	}
	changed := false
	for name, text := range changes {
		i := slices.IndexFunc(m.parts, func(p part[T]) bool { return p.Name == name })
		if i < 0 || finishing && !m.parts[i].finishes || !finishing && m.parts[i].only {
			return Receipt{}, invalid("%s record has no %q that could be set here; it has: %s", record.Called(k.Kind()), name, m.names(finishing))
		}
		// What is said as it was stays as it was, to the part of a second that no form shows.
		if text = strings.TrimSpace(text); text == m.parts[i].get(&b, w.Zone()) {
			continue
		}
		if err := m.parts[i].set(&b, text, w.Zone()); err != nil {
			return Receipt{}, refuse(err)
		}
		changed = true
	}
	switch {
	case !changed:
		return Receipt{}, invalid("nothing is different from what record %s says", k.ID)
	case finishing:
		return m.do(w, e, b, string(k.ID))
	}
	e.Corrects = k.ID
	return m.do(w, e, b, "")
}

func (m mends[T]) names(finishing bool) string {
	var all []string
	for _, p := range m.parts {
		if finishing && p.finishes || !finishing && !p.only {
			all = append(all, p.Name)
		}
	}
	return cmp.Or(strings.Join(all, ", "), "nothing")
}

// readSample is a sample with what is typed when it is read.
type readSample struct {
	sampling.Sample
	value, meter string
	at           unit.Instant
}

// menderOf returns what puts records of a kind right, nil where nothing does.
func menderOf(kind record.Kind) mender {
	switch kind { //nolint:exhaustive // instead says what a person does about the others
	case record.Use:
		return mends[reprocessing.Use]{
			parts: []part[reprocessing.Use]{
				textOf("scope", "scope", func(u *reprocessing.Use) *string { return &u.Scope }),
				timeOf("start", "begun", func(u *reprocessing.Use) *unit.Instant { return &u.Start }),
				timeOf("end", "ended", func(u *reprocessing.Use) *unit.Instant { return &u.End }).finishing(),
				textOf("procedure", "procedure", func(u *reprocessing.Use) *string { return &u.Procedure }),
				textOf("room", "room", func(u *reprocessing.Use) *string { return &u.Room }),
			},
			open: func(u reprocessing.Use) bool { return !u.End.Known() },
			do: func(w *Work, e Entry, u reprocessing.Use, finishing string) (Receipt, error) {
				u.Finishes = cmp.Or(finishing, u.Finishes)
				u.EndNotKnown = u.EndNotKnown && !u.End.Known()
				return w.RecordUse(e, u, "")
			},
		}
	case record.Step:
		return mends[reprocessing.Step]{
			parts: []part[reprocessing.Step]{
				textOf("scope", "scope", func(s *reprocessing.Step) *string { return &s.Scope }),
				timeOf("start", "begun", func(s *reprocessing.Step) *unit.Instant { return &s.Start }),
				timeOf("end", "ended", func(s *reprocessing.Step) *unit.Instant { return &s.End }).finishing(),
				textOf("result", "result", func(s *reprocessing.Step) *reprocessing.Result { return &s.Result },
					reprocessing.Pass, reprocessing.Fail).finishing(),
				textOf("disinfectant", "disinfectant", func(s *reprocessing.Step) *string { return &s.Disinfectant }),
				textOf("disinfectant_lot", "lot of the disinfectant", func(s *reprocessing.Step) *string { return &s.DisinfectantLot }),
				timeOf("disinfectant_filled", "solution filled", func(s *reprocessing.Step) *unit.Instant { return &s.DisinfectantFilled }),
				timeOf("disinfectant_expires", "solution expires", func(s *reprocessing.Step) *unit.Instant { return &s.DisinfectantExpires }),
				textOf("mec", "concentration check", func(s *reprocessing.Step) *reprocessing.Result { return &s.MEC }, reprocessing.Pass, reprocessing.Fail),
				contactPart, coldestPart,
				degreesOf("warmest_cel", "warmest temperature, °C", func(s *reprocessing.Step) *unit.Celsius { return &s.Warmest }),
				textOf("reprocessor", "reprocessor", func(s *reprocessing.Step) *string { return &s.Reprocessor }),
				textOf("cycle_number", "cycle of the reprocessor", func(s *reprocessing.Step) *string { return &s.CycleNumber }),
				textOf("cabinet", "cabinet", func(s *reprocessing.Step) *string { return &s.Cabinet }),
				textOf("note", "note", func(s *reprocessing.Step) *string { return &s.Note }),
			},
			open: func(s reprocessing.Step) bool {
				return !s.End.Known() && s.Result != reprocessing.Fail && s.Kind != reprocessing.Issue
			},
			do: func(w *Work, e Entry, s reprocessing.Step, finishing string) (Receipt, error) {
				s.Finishes = cmp.Or(finishing, s.Finishes)
				return w.RecordStep(e, s)
			},
		}
	case record.Repair:
		return mends[record.RepairBody]{
			parts: []part[record.RepairBody]{
				timeOf("sent", "sent", func(x *record.RepairBody) *unit.Instant { return &x.Sent }),
				timeOf("returned", "returned", func(x *record.RepairBody) *unit.Instant { return &x.Returned }).finishing(),
				textOf("fault", "what was wrong", func(x *record.RepairBody) *string { return &x.Fault }),
				textOf("work", "what was done", func(x *record.RepairBody) *string { return &x.Work }).finishing(),
			},
			open: func(x record.RepairBody) bool { return !x.Returned.Known() },
			do: func(w *Work, e Entry, x record.RepairBody, finishing string) (Receipt, error) {
				return w.RecordRepair(e, x.Repair, cmp.Or(finishing, x.Finishes))
			},
		}
	case record.Sample:
		return sampleMender{}
	case record.Reading:
		return mends[reading.Reading]{
			parts: []part[reading.Reading]{{
				Field: Field{Name: "value", Label: "what the meter showed"},
				get:   func(x *reading.Reading, _ *time.Location) string { return x.Value.Typed },
				set: func(x *reading.Reading, text string, _ *time.Location) (err error) {
					x.Value, err = reading.ParseValue(x.Value.Analyte, x.Value.Unit, text)
					return err
				},
			}},
			do: func(w *Work, e Entry, x reading.Reading, _ string) (Receipt, error) {
				return w.Read(e, Reading{Sample: ledger.ID(x.Sample), Meter: x.Meter, Value: x.Value, At: x.With.At})
			},
		}
	case record.Request:
		return mends[sampling.Request]{
			parts: []part[sampling.Request]{textOf("reason", "reason", func(q *sampling.Request) *string { return &q.Reason })},
			do: func(w *Work, e Entry, q sampling.Request, _ string) (Receipt, error) {
				q.By = e.By
				return w.Ask(e, q)
			},
		}
	case record.Hold:
		return mends[reprocessing.Hold]{
			parts: []part[reprocessing.Hold]{
				textOf("kind", "kind, which becomes only stricter", func(h *reprocessing.Hold) *reprocessing.HoldKind { return &h.Kind },
					reprocessing.HoldKinds...),
				textOf("reason", "reason", func(h *reprocessing.Hold) *string { return &h.Reason }),
			},
			do: func(w *Work, e Entry, h reprocessing.Hold, _ string) (Receipt, error) {
				h.By, h.Cause = e.By, "" // which is taken over from the hold that it corrects
				return w.PlaceHold(e, h)
			},
		}
	case record.Handover:
		return mends[dossier.Handover]{
			parts: []part[dossier.Handover]{textOf("text", "note", func(h *dossier.Handover) *string { return &h.Text })},
			do:    func(w *Work, e Entry, h dossier.Handover, _ string) (Receipt, error) { return w.HandOver(e, h) },
		}
	case record.Check:
		return checkMender{}
	}
	return nil
}

// sampleMender corrects samples, and reads those that wait for it.
type sampleMender struct{}

func (sampleMender) parts() []part[readSample] {
	value := textOf("value", "what the meter showed", func(s *readSample) *string { return &s.value }).finishing()
	meter := textOf("meter", "meter", func(s *readSample) *string { return &s.meter }).finishing()
	at := timeOf("read", "read", func(s *readSample) *unit.Instant { return &s.at }).finishing()
	value.only, meter.only, at.only = true, true, true
	return []part[readSample]{
		textOf("kit", "kit", func(s *readSample) *string { return &s.Kit }),
		textOf("lot", "lot", func(s *readSample) *string { return &s.Lot }),
		timeOf("collected", "collected", func(s *readSample) *unit.Instant { return &s.Collected }),
		value, meter, at,
	}
}

func (m sampleMender) of() mends[readSample] {
	return mends[readSample]{
		parts: m.parts(), open: func(s readSample) bool { return s.NotApplicable == "" },
		do: func(w *Work, e Entry, s readSample, finishing string) (Receipt, error) {
			if finishing == "" {
				return correctSample(w, e, s.Sample)
			}
			v, err := reading.ParseValue(reading.ATP, reading.RLU, s.value)
			if err != nil {
				return Receipt{}, refuse(err)
			}
			return w.Read(e, Reading{Sample: ledger.ID(finishing), Meter: s.meter, Value: v, At: cmp.Or(s.at, w.tx.Now), Only: true})
		},
	}
}

// correctSample corrects what a person can set of a sample; it keeps the moments that were marked since it was taken.
func correctSample(w *Work, e Entry, s sampling.Sample) (Receipt, error) {
	old, err := w.tx.Record(e.Corrects)
	if err != nil {
		return Receipt{}, err
	}
	marked, err := samplesOf(w.View).marked(old)
	if err != nil {
		return Receipt{}, err
	}
	marked.Kit, marked.Lot, marked.Collected = s.Kit, s.Lot, s.Collected
	marked.Cleaning = 0 // which follows from when it was collected
	return w.Collect(e, marked)
}

func (m sampleMender) fields(k store.Kept, zone *time.Location) (correct, finish []Field, err error) {
	return m.of().fields(k, zone)
}

func (m sampleMender) mend(w *Work, e Entry, k store.Kept, changes map[string]string, finishing bool) (Receipt, error) {
	return m.of().mend(w, e, k, changes, finishing)
}

// checkMender corrects the controls of a check, by their number.
type checkMender struct{}

func (checkMender) of(c record.CheckBody) mends[record.CheckBody] {
	var m mends[record.CheckBody]
	for i, x := range c.Controls {
		m.parts = append(m.parts, part[record.CheckBody]{
			Field: Field{Name: "control-" + strconv.Itoa(i+1), Label: x.Material},
			get:   func(c *record.CheckBody, _ *time.Location) string { return c.Controls[i].Value.String() },
			set: func(c *record.CheckBody, text string, _ *time.Location) (err error) {
				c.Controls = slices.Clone(c.Controls)
				c.Controls[i].Value, err = unit.ParseNumber(text)
				return err
			},
		})
	}
	m.do = func(w *Work, e Entry, c record.CheckBody, _ string) (Receipt, error) {
		r, _, err := w.AtMeters().CheckMeter(e, Check{Meter: c.Meter, Controls: slices.Clone(c.Controls), Serviced: c.Serviced})
		return r, err
	}
	return m
}

func (m checkMender) fields(k store.Kept, zone *time.Location) (correct, finish []Field, err error) {
	c, err := record.Body[record.CheckBody](k.Record)
	if err != nil {
		return nil, nil, err
	}
	return m.of(c).fields(k, zone)
}

func (m checkMender) mend(w *Work, e Entry, k store.Kept, changes map[string]string, finishing bool) (Receipt, error) {
	c, err := record.Body[record.CheckBody](k.Record)
	if err != nil {
		return Receipt{}, err
	}
	return m.of(c).mend(w, e, k, changes, finishing)
}

// instead says of each kind that is not corrected what a person does, and of each that is not taken back what there is.
var instead = map[record.Kind]string{ //nolint:exhaustive // the others are taken back and corrected
	record.Site:         "what the site is called stands as it was set up",
	record.Model:        "a new edition takes its place: set it right in the set-up",
	record.Instrument:   "a new edition takes its place: set it right in the set-up",
	record.Meter:        "a new edition takes its place: set it right in the set-up",
	record.Lot:          "a new edition takes its place: set it right in the set-up; a recall is taken back on the page of the lot",
	record.Person:       "a new edition takes its place: set it right in the set-up",
	record.Rules:        "a new edition takes its place: adopt it in the set-up",
	record.Level:        "a new edition takes its place: adopt it in the set-up",
	record.Target:       "a new edition takes its place: adopt it in the set-up",
	record.Moment:       "void it, then mark the sample again at the bench",
	record.Verification: "correct or void its samples and readings: it is decided again; voiding it voids all of its samples",
	record.Lift:         "place a new hold",
	record.Void:         "voiding it restores what spoke against the scope; evidence is recorded anew",
	record.Selection:    "void it and select again",
	record.Import:       "void or correct the records that came with it",
	record.Suspect:      "correct or void the check of the meter that it follows from; of a lot, two people take its recall back",
	record.Comparison:   "void it and compare again",
	record.Chart:        "void it and adopt the limits anew",
	record.Access:       "change the account once more",
	record.Attachment:   "void it and file the right one",
	record.Signal:       "void it and write it anew on the page of the signal",
	record.Erasure:      "what was erased is gone",
	record.Patient:      "it was done, and stays on record",
	record.Clock:        "compare the clock again",
	record.Restore:      "place a hold on a scope that somebody was wrong about",
	record.Attestation:  "void it and attest again",
	record.Seen:         "that somebody has seen a use has happened; the use itself is corrected or voided",
	record.Start:        "a site starts once: place a hold on a scope that its records are wrong about",
	record.StockTake:    "void it and list the scope anew",
}

// Ways returns the ways in which a person can put a record right, whoever may.
func (v RecordsView) Ways(id ledger.ID) (ways Ways, err error) {
	k, err := v.tx.Record(id)
	if err != nil {
		return ways, err
	}
	ways.Instead = instead[k.Kind()]
	replaced, err := v.tx.Replaced(k.Record)
	if err != nil {
		return ways, err
	}
	ways.Void = k.Kind() == record.Verification || record.TakenBack(k.Record) == nil
	if k.Kind() == record.Void {
		old, err := v.tx.Record(k.Corrects)
		if err != nil {
			return ways, err
		}
		w, err := takingsOf(v.View).weight(old)
		if err != nil {
			return ways, err
		}
		ways.Void = w.Adverse()
	}
	if replaced.Known() {
		return Ways{Instead: ways.Instead}, nil
	}
	m := menderOf(k.Kind())
	if m == nil {
		return ways, nil
	}
	if ways.Correct, ways.Finish, err = m.fields(k, v.Zone()); err != nil || k.Kind() != record.Sample || ways.Finish == nil {
		return ways, err
	}
	if read, _, err := takingsOf(v.View).readingsOf(k); err != nil || len(read) > 0 {
		ways.Finish = nil
		return ways, err
	}
	return ways, nil
}

// Offer is what one person can do about a record now.
type Offer struct {
	Ways
	// Void, Correct and Finish say whether they may; Taking is what it takes to void it.
	MayVoid, MayCorrect, MayFinish bool
	Taking                         Taking
	// Needs says what it takes where they may not void it and somebody could.
	Needs string
}

// Offered returns what an actor can do about a record.
func (v RecordsView) Offered(a access.Actor, id ledger.ID) (o Offer, err error) {
	k, err := v.tx.Record(id)
	if err != nil {
		return o, err
	}
	if o.Ways, err = v.Ways(id); err != nil {
		return o, err
	}
	act := writtenBy[k.Kind()]
	if k.Kind() == record.Sample {
		o.MayFinish = a.May(ToRead) && o.Finish != nil
	} else {
		o.MayFinish = a.May(act) && o.Finish != nil
	}
	o.MayCorrect = a.May(act) && o.Correct != nil
	if !o.Void {
		return o, nil
	}
	o.Taking, err = v.Taking(a, id)
	switch {
	case fault.CodeOf(err) == fault.Forbidden && o.Taking.Two():
		o.Needs = "To take back " + o.Taking.What + " needs " + takeback.Needs + ". " + takeback.SlipWords + "."
		return o, nil
	case fault.CodeOf(err) == fault.Forbidden:
		if k.Kind() == record.Handover { // nothing else is corrected by its author and leads alone
			o.MayCorrect = false
		}
		return o, nil
	}
	o.MayVoid = err == nil
	return o, err
}

// Correct puts another version in the place of a record, in which some fields are set anew. It is the act by which such
// a record is written, and takes what that takes.
func (w MendWork) Correct(e Entry, id ledger.ID, changes map[string]string) (Receipt, error) {
	if err := w.may(ToCorrect, &e); err != nil {
		return Receipt{}, err
	}
	return w.mend(e, id, changes, false)
}

// Finish ends what a record began: a use, a step, a repair; or reads a sample that waits for it.
func (w MendWork) Finish(e Entry, id ledger.ID, changes map[string]string) (Receipt, error) {
	if err := w.may(ToFinish, &e); err != nil {
		return Receipt{}, err
	}
	return w.mend(e, id, changes, true)
}

func (w MendWork) mend(e Entry, id ledger.ID, changes map[string]string, finishing bool) (Receipt, error) {
	k, err := w.tx.Record(id)
	if err != nil {
		return Receipt{}, err
	}
	m := menderOf(k.Kind())
	if m == nil {
		done := "corrected"
		if finishing {
			done = "finished"
		}
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("%s record is not %s field by field", record.Called(k.Kind()), done), Hint: instead[k.Kind()],
		}
	}
	return m.mend(w.Work, e, k, changes, finishing)
}
