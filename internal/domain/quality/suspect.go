package quality

import (
	"cmp"
	"fmt"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Reading is one reading of a sample with the meter that was checked.
type Reading struct {
	ID ledger.ID    `json:"id"`
	At unit.Instant `json:"at"`
}

// Suspect is a reading that a failed check throws doubt on.
type Suspect struct {
	ID ledger.ID    `json:"id"`
	At unit.Instant `json:"at"`
	// After is the last good check before the failure that was on record before it, zero when there was none; Until is the
	// first good check after it, zero when there is none yet. Failed is the first failed check between.
	After  unit.Instant `json:"after,omitzero"`
	Failed unit.Instant `json:"failed"`
	Until  unit.Instant `json:"until,omitzero"`
	Why    string       `json:"why"`
}

// doubt is a time, ends excluded, in which a meter is not shown to have been in order.
type doubt struct {
	after, failed, until unit.Instant
}

// holds says whether a reading at an instant falls into the doubt. A reading without an instant
// does: it could have been then.
func (d doubt) holds(at unit.Instant) bool {
	return !at.Known() || (!d.after.Known() || at > d.after) && (!d.until.Known() || at < d.until)
}

// Suspects returns the readings of one meter that its failed checks throw doubt on, in the order of
// their instants, ties in the order of ids. A failed check marks every reading after the last good
// check before it and before the first good check after it. A good check before it that came to be on
// record after it does not count as such: whoever knows of a failure must not shorten its doubt. A reading
// at the instant of a good check that counts is not marked. Without an earlier good check all earlier readings are marked, without a
// later one all later readings. A good check at the same instant as a failed one does not count, and
// an unjudged one neither marks nor clears. A reading whose instant is not known is marked as soon
// as a check failed at all. The verdicts must be of one meter, else an error; their order does not
// matter. Which readings were made without a check for too long is a question for [Policy.State].
func Suspects(verdicts []Verdict, readings []Reading) ([]Suspect, error) {
	doubts, err := doubtsOf(verdicts)
	if err != nil || len(doubts) == 0 {
		return nil, err
	}
	readings = slices.Clone(readings)
	slices.SortFunc(readings, func(a, b Reading) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.ID, b.ID)) })
	var suspects []Suspect
	next := 0
	for _, r := range readings {
		for r.At.Known() && next < len(doubts)-1 && doubts[next].until <= r.At {
			next++
		}
		if d := doubts[next]; d.holds(r.At) {
			suspects = append(suspects, Suspect{r.ID, r.At, d.after, d.failed, d.until, d.why(r.At)})
		}
	}
	return suspects, nil
}

func (d doubt) why(at unit.Instant) string {
	switch {
	case !at.Known():
		return fmt.Sprintf("the time of the reading is not known, and the meter failed its check at %s", d.failed)
	case !d.after.Known():
		return fmt.Sprintf("the meter failed its check at %s and had no good check before", d.failed)
	}
	return fmt.Sprintf("the meter failed its check at %s; the last good check before was at %s", d.failed, d.after)
}

// doubtsOf returns the times between good checks in which a check failed, in order.
func doubtsOf(verdicts []Verdict) ([]doubt, error) {
	ordered, err := inOrder(verdicts)
	if err != nil {
		return nil, err
	}
	var doubts []doubt
	var good []Verdict // in order
	open := 0          // how many doubts a good check has ended
	for i, v := range ordered {
		switch {
		case v.Outcome == Rejected:
			d := doubt{failed: v.At}
			for _, g := range slices.Backward(good) {
				if g.Place <= v.Place {
					d.after = g.At
					break
				}
			}
			doubts = append(doubts, d)
		case v.Outcome.Good() && !failsAt(ordered, i):
			for ; open < len(doubts); open++ {
				doubts[open].until = v.At
			}
			good = append(good, v)
		}
	}
	return joined(doubts), nil
}

// joined makes one of doubts that overlap; they come in the order of their failures.
func joined(doubts []doubt) (apart []doubt) {
	for _, d := range doubts {
		for len(apart) > 0 {
			last := apart[len(apart)-1]
			if last.until.Known() && last.until <= d.after {
				break
			}
			d.after, d.failed = min(last.after, d.after), last.failed
			apart = apart[:len(apart)-1]
		}
		apart = append(apart, d)
	}
	return apart
}

// inOrder sorts verdicts by their instants, of equal ones the failed first, and refuses those that
// are not of one meter or have no instant.
func inOrder(verdicts []Verdict) ([]Verdict, error) {
	ordered := slices.Clone(verdicts)
	for _, v := range ordered {
		if v.Meter != ordered[0].Meter {
			return nil, fmt.Errorf("checks of meters %q and %q are mixed: judge each meter by itself", ordered[0].Meter, v.Meter)
		}
		if !v.At.Known() {
			return nil, fmt.Errorf("a check of meter %q has no time", v.Meter)
		}
		if !slices.Contains(Outcomes, v.Outcome) {
			return nil, fmt.Errorf("the check of meter %q at %s has the outcome %q, which is not known", v.Meter, v.At, v.Outcome)
		}
	}
	failedFirst := func(v Verdict) int {
		if v.Outcome == Rejected {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(ordered, func(a, b Verdict) int {
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(failedFirst(a), failedFirst(b)))
	})
	return ordered, nil
}

// failsAt says whether a check failed at the instant of the i-th; failed ones come first.
func failsAt(ordered []Verdict, i int) bool {
	at := ordered[i].At
	for i > 0 && ordered[i-1].At == at {
		i--
	}
	return ordered[i].Outcome == Rejected
}
