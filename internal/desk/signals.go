package desk

import (
	"cmp"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Raised is a signal with how far people are with it. It keeps its id when its first signal moves to
// another reading after somebody has acted on it.
type Raised struct {
	ID ledger.ID
	trend.Identity
	// Signal is the signal as it computes now; nil when nothing signals any more, which a late or a voided
	// reading or another baseline can bring about.
	Signal *Signal
	// Shifted says that the signal now begins with another reading than when somebody acted on it.
	Shifted bool
	State   trend.LifeState
	// Again says that it was closed and that further signals have come since.
	Again bool
	// Acted is when somebody last acted on it, Acts how many acts count.
	Acted unit.Instant
	Acts  int
}

// handled is what people did about one signal, in order.
type handled struct {
	trend.Past
	acts  []trend.Act
	acted unit.Instant
}

// Raised brings together the signals as they compute now and what people did about signals, those whose
// first signal came last first.
func (v NumbersView) Raised(signals []Signal) ([]Raised, error) {
	lives, err := v.lives()
	if err != nil {
		return nil, err
	}
	past, computed := make([]trend.Past, len(lives)), make([]trend.Signal, len(signals))
	for i, l := range lives {
		past[i] = l.Past
	}
	for i, a := range signals {
		computed[i] = a.Signal
	}
	all := make([]Raised, 0, len(lives)+len(signals))
	taken := make([]bool, len(signals))
	for i, j := range trend.Carry(past, computed) {
		l := lives[i]
		r := Raised{ID: l.ID, Identity: l.Identity, Acted: l.acted}
		var counts []bool
		r.State, counts = trend.Live(l.acts)
		for _, c := range counts {
			if c {
				r.Acts++
			}
		}
		if j >= 0 {
			taken[j] = true
			r.Signal, r.Shifted = &signals[j], signals[j].First.ID != l.Reading
			r.Again = r.State == trend.LifeClosed && signals[j].Last > l.acted
		}
		all = append(all, r)
	}
	for j := range signals {
		if !taken[j] {
			identity := signals[j].Identity()
			all = append(all, Raised{ID: identity.ID(), Identity: identity, Signal: &signals[j], State: trend.LifeNew})
		}
	}
	slices.SortStableFunc(all, func(a, b Raised) int {
		return cmp.Or(cmp.Compare(b.Signalled, a.Signalled), compareKeys(a.Series, b.Series), cmp.Compare(a.ID, b.ID))
	})
	return all, nil
}

// lives returns what people did about each signal, in the order of the first act.
func (v NumbersView) lives() ([]handled, error) {
	var all []handled
	at := map[ledger.ID]int{}
	err := v.tx.Numbers().Handlings(func(row record.Handled) error {
		h := row.Handling()
		i, ok := at[h.Signal]
		if !ok {
			i = len(all)
			at[h.Signal] = i
			all = append(all, handled{Past: trend.Past{ID: h.Signal, Identity: h.Identity}})
		}
		all[i].Begin, all[i].Last, all[i].acted = h.Begin, h.Last, h.At
		all[i].acts = append(all[i].acts, h.Act)
		return nil
	})
	return all, err
}

// Handled is one act about a signal as it is on record.
type Handled struct {
	ID ledger.ID
	trend.Handling
	By       string
	Recorded unit.Instant
	// Replaced is when the act was taken back, zero when it stands.
	Replaced unit.Instant
	// Counts says that it changed something: one that rests on an act that was taken back does not.
	Counts bool
}

// Life is what people did about one signal.
type Life struct {
	State trend.LifeState
	Acts  []Handled
}

// Life returns what people did about a signal, in the order of the ledger, with what was taken back. An
// signal on which nobody has acted is new.
func (v NumbersView) Life(signal ledger.ID) (Life, error) {
	var l Life
	var standing []trend.Act
	var at []int
	err := v.tx.Numbers().HandlingsOf(signal, func(k store.Kept) error {
		h, err := record.Body[trend.Handling](k.Record)
		if !k.Replaced.Known() {
			standing, at = append(standing, h.Act), append(at, len(l.Acts))
		}
		l.Acts = append(l.Acts, Handled{ID: k.ID, Handling: h, By: k.By, Recorded: k.Recorded, Replaced: k.Replaced})
		return err
	})
	state, counts := trend.Live(standing)
	for i, c := range counts {
		l.Acts[at[i]].Counts = c
	}
	l.State = state
	return l, err
}

// HandleSignal records what somebody does about a signal. The signal is named by its id and, the first time,
// by its identity, whose reading must stand; without At it is done now.
func (w SignalWork) HandleSignal(e Entry, h trend.Handling) (Receipt, error) {
	if err := w.may(ActOnSignal(h.Act), &e); err != nil {
		return Receipt{}, err
	}
	if e.By == "" {
		return Receipt{}, invalid("an act about a signal needs the code of who does it")
	}
	if e.Corrects != "" {
		return Receipt{}, &fault.Error{Code: fault.Invalid, Message: "an act about a signal is not corrected", Hint: "take it back and say it anew"}
	}
	sent, known, err := again(w.Work, e.ID, record.Signal, func(k trend.Handling) bool {
		return k.Signal == h.Signal && k.Act == h.Act && k.Words == h.Words && k.Cause == h.Cause && k.Record == h.Record
	})
	if known || err != nil {
		return sent, err
	}
	life, err := w.Numbers().Life(h.Signal)
	if err != nil {
		return Receipt{}, err
	}
	if len(life.Acts) > 0 {
		h.Identity = life.Acts[0].Identity
	} else if err := w.begins(h); err != nil {
		return Receipt{}, err
	}
	if !h.At.Known() {
		h.At = w.tx.Now
	}
	if err := h.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if _, err := life.State.Next(h.Act); err != nil {
		return Receipt{}, &fault.Error{Code: fault.Conflict, Message: err.Error(), Cause: err}
	}
	e.Because = []ledger.ID{h.Reading}
	if h.Act == trend.Linked {
		if err := w.linkable(h); err != nil {
			return Receipt{}, err
		}
		e.Because = append(e.Because, h.Record)
	}
	return w.append(e, record.Signal, h.At, h)
}

// begins refuses a signal that does not begin with a reading of its series that stands.
func (w SignalWork) begins(h trend.Handling) error {
	if h.Signal != h.ID() {
		return notFound("see the signals with: rinsate signals", "there is no signal %s", h.Signal)
	}
	k, err := w.tx.Find(string(h.Reading))
	if err != nil {
		return err
	}
	if k.Kind() != record.Reading || k.Replaced.Known() {
		return invalid("the record %s is no reading that stands", h.Reading)
	}
	x, err := record.Body[reading.Reading](k.Record)
	if err != nil {
		return err
	}
	if is := (trend.Key{Scope: x.Scope, Point: x.With.Point, System: x.With.System, Kit: x.With.Kit}); is != h.Series || x.With.At != h.Signalled {
		return invalid("the reading %s belongs to %s and not to %s", h.Reading, is, h.Series)
	}
	return nil
}

// linkable refuses a record that is nothing that is done about a signal, stands no more, or is about
// another scope.
func (w SignalWork) linkable(h trend.Handling) error {
	k, err := w.tx.Find(string(h.Record))
	if err != nil {
		return err
	}
	if k.ID != h.Record {
		return invalid("give the whole id of the record: %s", k.ID)
	}
	if !slices.Contains(Measures, k.Kind()) {
		return &fault.Error{
			Code:    fault.Invalid,
			Message: record.Called(k.Kind()) + " record is nothing that is done about a signal",
			Hint:    "allowed: " + strings.Join(words(Measures), ", "),
		}
	}
	if k.Replaced.Known() {
		return &fault.Error{
			Code:    fault.Conflict,
			Message: "the " + string(k.Kind()) + " record " + string(k.ID) + " stands no more",
			Hint:    "link the record that took its place",
		}
	}
	of, err := record.ScopeOf(k.Record)
	if err == nil && of != "" && of != h.Series.Scope {
		return invalid("the %s record %s is about %s and not about %s", k.Kind(), k.ID, of, h.Series.Scope)
	}
	return err
}

// Measures are the types of records that can be linked to a signal: what is done about one.
var Measures = []record.Kind{
	record.Hold, record.Repair, record.Request, record.Attachment, record.Lot, record.Check, record.Suspect,
	record.Comparison, record.Chart, record.Level, record.Rules,
}

// Measure is a record that can be linked to a signal.
type Measure struct {
	ID   ledger.ID
	Type record.Kind
	At   unit.Instant
	// What says in a few words what it is about.
	What string
}

// fewChecks is how many checks of each meter can be chosen.
const fewChecks = 3

// Measures returns what was done since an instant that a signal of a series may be linked to, the latest
// first: of the scope holds, repairs, requests and files, the baseline that was adopted, recalled lots of
// the kit, and the last checks of the meters of the system.
func (v NumbersView) Measures(key trend.Key, since unit.Instant) ([]Measure, error) {
	var all []Measure
	add := func(k store.Kept, at unit.Instant, what string) {
		all = append(all, Measure{ID: k.ID, Type: k.Kind(), At: at, What: what})
	}
	err := v.tx.Events(key.Scope, since, v.tx.Now, store.Forever, func(k store.Kept) error {
		var about struct{ Reason, Fault, Title string }
		err := fold(k, func(x struct{ Reason, Fault, Title string }) { about = x })
		add(k, k.At, cmp.Or(about.Reason, about.Fault, about.Title))
		return err
	}, record.Hold, record.Repair, record.Request, record.Attachment, record.Suspect)
	if err != nil {
		return nil, err
	}
	if chart, ok, err := v.tx.Entity(record.Chart, record.ChartBody{Series: key}.Key(), v.tx.Now, store.Forever); err != nil {
		return nil, err
	} else if ok && chart.At >= since {
		add(chart, chart.At, "baseline and limits of this series")
	}
	lots, err := v.tx.Entities(record.Lot)
	if err != nil {
		return nil, err
	}
	for _, k := range lots {
		if err := fold(k, func(l quality.Lot) {
			if l.Kit == key.Kit && l.Recalled >= since && l.Recalled.Known() && !k.Replaced.Known() {
				add(k, l.Recalled, "lot "+l.Lot+" recalled")
			}
		}); err != nil {
			return nil, err
		}
	}
	meters, err := v.Measuring().Meters()
	if err != nil {
		return nil, err
	}
	for _, m := range meters {
		if m.System != key.System {
			continue
		}
		if err := v.tx.Numbers().LastChecks(m.Code, v.tx.Now+1, fewChecks, func(k store.Kept) error {
			return fold(k, func(c record.CheckBody) {
				if c.Verdict.At >= since {
					add(k, c.Verdict.At, m.Code+": "+string(c.Verdict.Outcome))
				}
			})
		}); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(all, func(a, b Measure) int { return cmp.Compare(b.At, a.At) })
	return all, nil
}
