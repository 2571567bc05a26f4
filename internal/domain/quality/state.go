package quality

import (
	"fmt"
	"sort"
	"time"

	"rinsate/internal/base/unit"
)

// Condition is whether a meter may be used.
type Condition string

// The conditions of a meter. Only a checked meter may be used.
const (
	Checked   Condition = "checked"
	Unchecked Condition = "unchecked" // no good check, or too long ago
	Failed    Condition = "failed"    // the last check failed
)

// Conditions lists every condition.
var Conditions = []Condition{Checked, Unchecked, Failed}

// Policy says how long a good check holds. Exactly one of the two is given.
type Policy struct {
	// Every is how long after a good check the next is due: the check no longer holds at the
	// instant that lies exactly so much later.
	Every unit.Span `yaml:"every,omitempty" json:"every,omitzero"`
	// SameDay lets a good check hold to the end of its calendar day in the facility's zone.
	SameDay bool `yaml:"same_day,omitempty" json:"same_day,omitempty"`
}

// Check refuses a policy under which a check holds for ever or never.
func (p Policy) Check() error {
	if p.Every < 0 || p.SameDay == (p.Every > 0) {
		return fmt.Errorf("say how long a meter's check holds: either a length of time such as 8h, or to the end of the same day")
	}
	return nil
}

// State is whether a meter may be used at an instant, and why.
type State struct {
	Condition Condition `json:"condition"`
	// Since is the check that the condition rests on: the last good check of a checked or unchecked
	// meter, the failed check of a failed one; zero when there is none.
	Since unit.Instant `json:"since,omitzero"`
	// Until is the first instant at which the last good check no longer holds; zero when the meter
	// failed or was never checked.
	Until unit.Instant `json:"until,omitzero"`
	Why   string       `json:"why"`
}

// State says whether a meter may be used at an instant, by its checks up to and including that
// instant; later ones are ignored. The last check that was judged decides; of a good and a failed
// check at the same instant the failed one does. A zone is needed to tell days apart and to print
// times. The verdicts must be of one meter, else an error; their order does not matter.
func (p Policy) State(verdicts []Verdict, at unit.Instant, zone *time.Location) (State, error) {
	if err := p.Check(); err != nil {
		return State{}, err
	}
	if zone == nil || !at.Known() {
		return State{}, fmt.Errorf("the state of a meter needs an instant and the facility's time zone")
	}
	ordered, err := inOrder(verdicts)
	if err != nil {
		return State{}, err
	}
	var good, failed, unjudged Verdict
	for i, v := range ordered {
		switch {
		case v.At > at:
		case v.Outcome == Rejected:
			failed = v
		case v.Outcome.Good() && !failsAt(ordered, i):
			good, failed = v, Verdict{}
		case v.Outcome == Unjudged:
			unjudged = v
		}
	}
	switch {
	case failed.At.Known():
		return State{Condition: Failed, Since: failed.At, Why: fmt.Sprintf("the check at %s failed: %s", failed.At.In(zone), failed.Why)}, nil
	case !good.At.Known():
		s := State{Condition: Unchecked, Why: "the meter has no good check on record"}
		if unjudged.At.Known() {
			s.Why += fmt.Sprintf("; the check at %s could not be judged: %s", unjudged.At.In(zone), unjudged.Why)
		}
		return s, nil
	}
	s := State{Condition: Checked, Since: good.At, Until: p.until(good.At, zone)}
	if at >= s.Until {
		s.Condition = Unchecked
		s.Why = fmt.Sprintf("unchecked since %s: the last good check, at %s, held until then", s.Until.In(zone), good.At.In(zone))
		if unjudged.At > good.At {
			s.Why += fmt.Sprintf("; the check at %s could not be judged: %s", unjudged.At.In(zone), unjudged.Why)
		}
		return s, nil
	}
	s.Why = fmt.Sprintf("checked at %s, good until %s", good.At.In(zone), s.Until.In(zone))
	return s, nil
}

// BracketedWithin is how far apart the good checks before and after a reading may lie that stand for one which was
// forgotten (common practice).
const BracketedWithin = 36 * time.Hour

// Bracketed says whether an instant lies between two good checks of a meter that are close enough to each other, with
// no failed one between them: what was forgotten was good all the same.
func Bracketed(verdicts []Verdict, at unit.Instant) (bool, error) {
	ordered, err := inOrder(verdicts)
	if err != nil {
		return false, err
	}
	var before unit.Instant
	for i, v := range ordered {
		switch good := v.Outcome.Good() && !failsAt(ordered, i); {
		case good && v.At <= at:
			before = v.At
		case v.Outcome == Rejected && v.At <= at:
			before = 0
		case good:
			return before.Known() && v.At.Sub(before) <= BracketedWithin, nil
		case v.Outcome == Rejected:
			return false, nil
		}
	}
	return false, nil
}

// Back returns the earliest instant of a good check that can still hold at an instant, or stand before it for one
// which was forgotten.
func (p Policy) Back(at unit.Instant) unit.Instant {
	const longest = 48 * time.Hour // no calendar day has lasted longer
	return at.Add(-max(p.Every.Duration(), BracketedWithin, longest))
}

// until returns the first instant at which a good check no longer holds.
func (p Policy) until(good unit.Instant, zone *time.Location) unit.Instant {
	if !p.SameDay {
		return good.Add(p.Every.Duration())
	}
	// A search instead of "midnight", because midnight is missing or comes twice where the clocks
	// change then. No calendar day has lasted longer than 48 hours.
	day := func(i unit.Instant) int { y, m, d := i.Time().In(zone).Date(); return (y*100+int(m))*100 + d }
	today := day(good)
	longest := int(unit.Instant(0).Add(48 * time.Hour))
	return good + unit.Instant(sort.Search(longest, func(i int) bool { return day(good+unit.Instant(i)) > today }))
}
