package plain_test

import (
	"slices"
	"strings"

	"rinsate/internal/domain/reprocessing"
)

// A hold never ends by time. One that the rules placed for a verification over the action level ends by a later
// cleaning and a later complete verification that passes; any other by two people who are two.
func (w *walk) held() {
	for _, x := range w.h.Holds {
		if !slices.ContainsFunc(w.h.Lifts, func(l reprocessing.Lift) bool { return w.lifts(l, x) }) {
			w.lack("a hold of %s is open", x.At)
		}
	}
}

func (w *walk) lifts(l reprocessing.Lift, x reprocessing.Hold) bool {
	if l.Hold != x.ID || l.Scope != x.Scope {
		return false
	}
	by, second := strings.ToLower(strings.TrimSpace(l.By)), strings.ToLower(strings.TrimSpace(l.Second))
	two := by != "" && second != "" && by != second
	placed := x.At
	if two && l.Placed.Known() { // a clock in doubt dated the hold, and this is when it was placed at the latest
		placed = min(placed, l.Placed)
	}
	if l.At < placed {
		return false
	}
	if two {
		return true
	}
	if x.Cause == "" || x.Escalated || x.Unsure.Known() {
		return false
	}
	i := slices.IndexFunc(w.h.Decisions, func(d reprocessing.Decision) bool { return l.Verification != "" && d.ID == l.Verification })
	if i < 0 {
		return false
	}
	// The round that the lift names has to be one that passed by its samples, taken after the hold and after a cleaning began
	// since.
	d := w.h.Decisions[i]
	return slices.ContainsFunc(w.rounds, func(r round) bool {
		return r.passed && r.last == d.Last && r.first > x.At &&
			slices.ContainsFunc(w.steps(reprocessing.ManualCleaning, 0), func(c reprocessing.Step) bool {
				return c.Result != reprocessing.Fail && c.End >= x.At && c.Start <= r.first
			})
	})
}
