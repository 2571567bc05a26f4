package plain_test

import (
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// A hold never ends by time. Each kind ends over what lies after it, and by those whose word it takes; here are the
// kinds that these histories have: what a person says in words, and what the rules placed for a verification over
// the action level.
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
		placed = l.Placed
	}
	inDoubt := x.Unsure.Known() || l.Placed.Known()
	if l.At < placed || inDoubt && !two || !w.allNamed(l) {
		return false
	}
	may := func(roles []access.Role) bool {
		return slices.Contains(roles, access.Lead) || slices.Contains(roles, access.InfectionPrevention)
	}
	both := two && may(l.ByRoles) && may(l.SecondRoles)
	lead := slices.Contains(l.ByRoles, access.Lead) || slices.Contains(l.SecondRoles, access.Lead)
	switch {
	case x.Kind != reprocessing.CleaningHold:
		return both && lead
	case w.retired(l, x, placed):
		return both
	case !w.cleanedOver(l, placed):
		return false
	case x.Escalated: // besides, somebody looked, or it was repaired
		return both && lead && w.lookedOver(l, placed)
	}
	return by != ""
}

// allNamed says whether everything that a lift names is on record.
func (w *walk) allNamed(l reprocessing.Lift) bool {
	on := map[string]bool{"": true}
	for _, d := range w.h.Decisions {
		on[d.ID] = true
	}
	for _, s := range w.h.Steps {
		on[s.ID] = true
	}
	for _, r := range w.h.Repairs {
		on[r.ID] = true
	}
	return on[l.Verification] && !slices.ContainsFunc(l.Evidence, func(id string) bool { return !on[id] })
}

// cleanedOver says whether the lift names a round that passed by its samples, taken after the hold, and a cleaning
// between the two.
func (w *walk) cleanedOver(l reprocessing.Lift, placed unit.Instant) bool {
	i := slices.IndexFunc(w.h.Decisions, func(d reprocessing.Decision) bool { return l.Verification != "" && d.ID == l.Verification })
	if i < 0 {
		return false
	}
	d := w.h.Decisions[i]
	passed := slices.ContainsFunc(w.rounds, func(r round) bool { return r.passed && r.last == d.Last && r.first > placed })
	return passed && d.Last <= l.At && slices.ContainsFunc(w.h.Steps, func(s reprocessing.Step) bool {
		return slices.Contains(l.Evidence, s.ID) && s.Kind == reprocessing.ManualCleaning && s.Result != reprocessing.Fail &&
			s.End.Known() && s.End > s.Start && s.End > placed && s.End <= d.First
	})
}

// lookedOver says whether the lift names an inspection that passed after the hold, or a repair that ended after it.
func (w *walk) lookedOver(l reprocessing.Lift, placed unit.Instant) bool {
	return slices.ContainsFunc(w.h.Steps, func(s reprocessing.Step) bool {
		return slices.Contains(l.Evidence, s.ID) && s.Kind == reprocessing.Inspection && s.Result == reprocessing.Pass && s.Start > placed &&
			s.End.Known() && s.End <= l.At
	}) || slices.ContainsFunc(w.h.Repairs, func(r reprocessing.Repair) bool {
		return slices.Contains(l.Evidence, r.ID) && r.Returned > placed && r.Returned <= l.At
	})
}

// retired says whether the decision that placed the hold was decided again, by the one that the lift names, and is not
// over the action level any more.
func (w *walk) retired(l reprocessing.Lift, x reprocessing.Hold, placed unit.Instant) bool {
	for _, d := range w.h.Decisions {
		if d.ID == x.Cause {
			return false
		}
	}
	return slices.ContainsFunc(w.h.Decisions, func(d reprocessing.Decision) bool {
		return l.Verification != "" && d.ID == l.Verification && d.Supersedes != "" && max(d.Cycle, d.First) <= placed &&
			d.Verification.Outcome != reading.Action
	})
}
