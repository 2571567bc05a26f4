package desk

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/history"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Measured is an ATP reading with what may explain it.
type Measured struct {
	store.Measured
	// Cleaner is who did the last manual cleaning before it; empty when that is not on record.
	Cleaner string
	// Age counts the uses of the scope between its last return from repair, or the beginning of the
	// records, and the reading.
	Age int
	// Cycle is when the last use or return from repair before the reading began its cycle, zero when
	// nothing of the kind is on record.
	Cycle unit.Instant
	// Test is the verification that the reading belongs to, First says that it is the first of its series there
	// and so counts once (history.Firsts). Both are left empty where the reading does not count at all.
	Test  history.Verification
	First bool
	// Delay is the time from the end of point-of-use treatment to the begin of manual cleaning, in minutes; NaN
	// when one of the two is not on record.
	Delay float64
}

// where returns what says to which verification a reading belongs.
func (m Measured) where() history.Reading {
	return history.Reading{Scope: m.Scope, Cycle: m.Cycle, Cleaning: m.Cleaning, At: m.At}
}

// series returns what the reading is brought together with.
func (m Measured) series() history.Series {
	return history.Series{Scope: m.Scope, Point: m.Point, System: m.System, Kit: m.Kit}
}

// counts says whether the reading may count in statistics at all.
func (m Measured) counts() bool { return !m.Suspect && m.Outcome != reading.Void }

// cleaned is what the records say about the cleaning of one scope up to some moment.
type cleaned struct {
	by      string
	treated unit.Instant
	delay   float64
	uses    int
	cycle   unit.Instant
}

// Measured returns the ATP readings of a time, from <= at < to, the earliest first, each with who
// cleaned the scope, how many uses it had since its last repair and how long it waited for cleaning.
func (v NumbersView) Measured(from, to unit.Instant) ([]Measured, error) {
	return v.measuredAfter(from, to, reprocessing.PointOfUse, reprocessing.ManualCleaning)
}

// measuredAfter is Measured with what some kinds of steps explain alone: without manual cleaning nobody has
// cleaned, without either the delay is not known. Reading the steps takes longer than all else.
func (v NumbersView) measuredAfter(from, to unit.Instant, steps ...reprocessing.StepKind) ([]Measured, error) {
	events, err := v.explanations(from, to, steps)
	if err != nil {
		return nil, err
	}
	return v.told(telling{from: from, to: to, events: events, read: v.tx.Numbers().Readings})
}

// tested returns the readings of a time, from <= at < to, the earliest first, each with its cycle and no other
// explanation, as far as they are wanted.
func (v NumbersView) tested(from, to unit.Instant, wanted func(store.Measured) bool) ([]Measured, error) {
	var events []explanation
	// A use before does not speak for any of the readings that are looked at.
	err := v.tx.Numbers().UsesOf(back(from, history.Reach+history.Covers), to, func(tag string, start unit.Instant) error {
		events = append(events, explanation{at: start, scope: tag, kind: used})
		return nil
	})
	if err != nil {
		return nil, err
	}
	returns, err := v.returns(to)
	if err != nil {
		return nil, err
	}
	events = append(events, returns...)
	sortExplanations(events)
	return v.told(telling{from: from, to: to, events: events, read: v.tx.Numbers().Readings, wanted: wanted})
}

// back returns the instant so long before another one, or the first one there is.
func back(at unit.Instant, d time.Duration) unit.Instant { return max(0, max(0, at).Add(-d)) }

// forth returns the instant so long after another one, or the last one there is.
func forth(at unit.Instant, d time.Duration) unit.Instant {
	return min(at, store.Forever-unit.Instant(d/time.Microsecond)).Add(d)
}

// telling is what told is to read.
type telling struct {
	from, to unit.Instant
	// since is from when on readings are looked at. Zero is [history.Reach] before from, which is enough nearly always.
	since unit.Instant
	// events explain the readings; those before from that readings of [history.Reach] before it can rest on are
	// among them.
	events []explanation
	// read calls visit for the readings of a time in order.
	read func(from, to unit.Instant, visit func(store.Measured) error) error
	// wanted says which readings are returned, nil for all. The others are looked at all the same.
	wanted func(store.Measured) bool
}

// told returns the readings of a time, from <= at < to, with what explains them. It alone says which verification
// a reading belongs to and whether it counts as a first: by all readings of its scope, of whatever point and
// system, since the cycle began. What lies before the time is looked at for that, and left out only then.
func (v NumbersView) told(t telling) ([]Measured, error) {
	all, unsure, err := v.tellOnce(t, nil)
	if err == nil && len(unsure) > 0 {
		all, _, err = v.tellOnce(t, unsure)
	}
	return all, err
}

// tellOnce is told, where of some scopes the whole past is looked at, and of the others as much of it as is
// enough nearly always. unsure are those for which it was not.
func (v NumbersView) tellOnce(t telling, whole map[string]bool) (all []Measured, unsure map[string]bool, err error) {
	var firsts history.Firsts
	firsts.Since = cmp.Or(t.since, back(t.from, history.Reach))
	for _, tag := range slices.Sorted(maps.Keys(whole)) {
		if err := v.past(tag, firsts.Since, func(m Measured) { m.tell(&firsts) }); err != nil {
			return nil, nil, err
		}
	}
	unsure = map[string]bool{}
	events, state := t.events, map[string]*cleaned{}
	err = t.read(firsts.Since, t.to, func(m store.Measured) error {
		for len(events) > 0 && events[0].at <= m.At {
			s := state[events[0].scope]
			if s == nil {
				s = &cleaned{delay: math.NaN()}
				state[events[0].scope] = s
			}
			s.apply(events[0])
			events = events[1:]
		}
		x := Measured{Measured: m, Delay: math.NaN()}
		if s := state[m.Scope]; s != nil {
			x.Cleaner, x.Age, x.Cycle, x.Delay = s.by, s.uses, s.cycle, s.delay
		}
		x.tell(&firsts)
		if m.At < t.from {
			return nil
		}
		if !firsts.Sure(m.Scope) && !whole[m.Scope] {
			unsure[m.Scope] = true
		}
		if t.wanted == nil || t.wanted(m) {
			all = append(all, x)
		}
		return nil
	})
	return all, unsure, err
}

// tell fills in what a reading belongs to.
func (m *Measured) tell(firsts *history.Firsts) {
	if m.counts() {
		m.Test, m.First = firsts.Of(m.series(), m.where())
	}
}

// past calls visit for the readings of a scope before an instant, the earliest first, each with its cycle.
func (v NumbersView) past(tag string, before unit.Instant, visit func(Measured)) error {
	begins, err := v.cycleBegins(tag, before)
	if err != nil {
		return err
	}
	var cycle unit.Instant
	return v.tx.Numbers().ReadingsOf(tag, 0, before, func(m store.Measured) error {
		for ; len(begins) > 0 && begins[0] <= m.At; begins = begins[1:] {
			cycle = begins[0]
		}
		visit(Measured{Measured: m, Cycle: cycle})
		return nil
	})
}

// explanation is a use, a step of cleaning or a return from repair.
type explanation struct {
	at    unit.Instant
	scope string
	kind  explained
	by    string
	start unit.Instant
}

type explained int

const (
	used explained = iota
	repaired
	treated
	cleanedNow
)

func (c *cleaned) apply(e explanation) {
	switch e.kind {
	case used:
		c.uses++
		c.cycle = e.at
		c.by, c.treated, c.delay = "", 0, math.NaN()
	case repaired:
		c.uses = 0
		c.cycle = e.at
	case treated:
		c.treated = e.at
	case cleanedNow:
		c.by = e.by
		if c.treated.Known() {
			c.delay = e.start.Sub(c.treated).Minutes()
			c.treated = 0 // a further cleaning of the same cycle did not wait
		}
	}
}

// longestCycle is how long before a reading its cleaning is looked for.
const longestCycle = 30 * 24 * time.Hour

// returns returns when scopes came back from repair before an instant, the earliest first.
func (v NumbersView) returns(to unit.Instant) (all []explanation, err error) {
	err = v.tx.Numbers().Between(record.Repair, "", 0, to, func(k store.Kept) error {
		return fold(k, func(r record.RepairBody) {
			if r.Returned.Known() && r.Returned < to {
				all = append(all, explanation{at: r.Returned, scope: r.Scope, kind: repaired})
			}
		})
	})
	slices.SortStableFunc(all, func(a, b explanation) int { return cmp.Compare(a.at, b.at) })
	return all, err
}

// explanations returns what happened to all scopes before the end of a time, the earliest first: all
// uses and repairs, and those of the steps that the readings of the time can rest on.
func (v NumbersView) explanations(from, to unit.Instant, steps []reprocessing.StepKind) ([]explanation, error) {
	var all []explanation
	err := v.tx.Numbers().UsesOf(0, to, func(tag string, start unit.Instant) error {
		all = append(all, explanation{at: start, scope: tag, kind: used})
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, word := range steps {
		kind := cleanedNow
		if word == reprocessing.PointOfUse {
			kind = treated
		}
		err := v.tx.Numbers().Between(record.Step, string(word), from.Add(-longestCycle), to, func(k store.Kept) error {
			return fold(k, func(s reprocessing.Step) {
				if s.End.Known() {
					all = append(all, explanation{at: s.End, scope: s.Scope, kind: kind, by: s.By, start: s.Start})
				}
			})
		})
		if err != nil {
			return nil, err
		}
	}
	returns, err := v.returns(to)
	all = append(all, returns...)
	sortExplanations(all)
	return all, err
}

// sortExplanations sorts by time. At one instant the kinds come in the order of their constants, so that the
// result does not depend on the order of the queries.
func sortExplanations(all []explanation) {
	slices.SortStableFunc(all, func(a, b explanation) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.kind, b.kind), cmp.Compare(a.scope, b.scope))
	})
}

// Lately returns the latest readings of a point of a scope that stand, on the scale of the last of them,
// the oldest first, at most so many.
func (v NumbersView) Lately(tag string, point scope.PointKind, at unit.Instant, most int) ([]store.Measured, error) {
	last, err := v.tx.Numbers().LatestReadings(tag, point, "", "", at+1, 1)
	if err != nil || len(last) == 0 {
		return nil, err
	}
	list, err := v.tx.Numbers().LatestReadings(tag, point, last[0].System, last[0].Kit, at+1, most)
	slices.Reverse(list)
	return list, err
}

// ReadingOf returns a reading by its record.
func (v NumbersView) ReadingOf(id ledger.ID) (reading.Reading, error) {
	kept, err := v.tx.Record(id)
	if err != nil {
		return reading.Reading{}, err
	}
	if kept.Kind() != record.Reading {
		return reading.Reading{}, invalid("record %s is %s, not a reading", id, record.Called(kept.Kind()))
	}
	return readingOf(kept)
}
