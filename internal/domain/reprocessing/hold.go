package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
)

// Hold keeps a scope from patients until somebody lifts it.
type Hold struct {
	Stamp  `json:"-"`
	Scope  string       `json:"scope"`
	Kind   HoldKind     `json:"kind"`
	At     unit.Instant `json:"at"`
	By     string       `json:"by"`
	Reason string       `json:"reason"`
	// Cause is the record that made the rules place the hold: the decision on a verification, a step that failed or a
	// use of a scope that was not ready; empty when a person did.
	Cause string `json:"cause,omitempty"`
	// Escalated holds for cleaning come after the last cleaning that the rules provide for.
	Escalated bool `json:"escalated,omitempty"`
}

// Check refuses a hold without a kind, a name or a reason.
func (h Hold) Check() error {
	switch {
	case h.Scope == "" || !h.At.Known():
		return fmt.Errorf("hold: the scope or the time is missing")
	case !slices.Contains(HoldKinds, h.Kind):
		return fmt.Errorf("hold of %s: kind %q is not known; allowed: %s", h.Scope, h.Kind, scope.Words(HoldKinds))
	case h.By == "":
		return fmt.Errorf("hold of %s: who places it?", h.Scope)
	case h.Reason == "":
		return fmt.Errorf("hold of %s: the reason is missing", h.Scope)
	}
	return nil
}

// EndsByVerification says whether a passed verification may end the hold by itself: only a hold for cleaning before
// the last cleaning. So does no hold that was placed while the clock was in doubt: nobody can say what came after it.
func (h Hold) EndsByVerification() bool {
	return h.Of() == CleaningHold && !h.Escalated && !h.Unsure.Known()
}

// AnsweredBy says whether a decision shows that the scope was clean after the hold: the whole verification passed,
// and its first sample was collected later than the hold. Of two facts at one instant the bad one counts.
func (h Hold) AnsweredBy(d Decision) bool {
	return d.Scope == h.Scope && d.Passed() && d.First > h.At
}

// Lift ends a hold.
type Lift struct {
	Stamp  `json:"-"`
	Hold   string       `json:"hold"`
	Scope  string       `json:"scope"`
	At     unit.Instant `json:"at"`
	By     string       `json:"by"`
	Reason string       `json:"reason"`
	// Verification is the passed verification that the lift rests on, Evidence are the other records that it rests
	// on. When one of them is taken back the hold is open again.
	Verification string   `json:"verification,omitempty"`
	Evidence     []string `json:"evidence,omitempty"`
	// Late says that it rests on what was on record of the time before the use that the hold speaks of, and arrived
	// after it.
	Late bool `json:"late,omitempty"`
	// Second is another person who agrees.
	Second string `json:"second,omitempty"`
	// ByRoles and SecondRoles are what the two were at that moment.
	ByRoles     []access.Role `json:"by_roles,omitempty"`
	SecondRoles []access.Role `json:"second_roles,omitempty"`
	// Placed is by when the hold was placed for sure, where a clock that was in doubt dated it; else zero.
	Placed unit.Instant `json:"placed,omitzero"`
}

// Check refuses a lift that nobody could defend, whatever the hold.
func (l Lift) Check() error {
	switch {
	case l.Hold == "" || l.Scope == "" || !l.At.Known():
		return fmt.Errorf("lift: the hold, the scope or the time is missing")
	case l.By == "":
		return fmt.Errorf("lift of the hold on %s: who lifts it?", l.Scope)
	case l.Reason == "":
		return fmt.Errorf("lift of the hold on %s: the reason is missing", l.Scope)
	case l.Second != "" && !l.Two():
		return fmt.Errorf("lift of the hold on %s: the second person must be another than %s", l.Scope, l.By)
	}
	return nil
}

// Two says whether two people lift. A code in other letters is the same person.
func (l Lift) Two() bool {
	by, second := strings.TrimSpace(l.By), strings.TrimSpace(l.Second)
	return by != "" && second != "" && !strings.EqualFold(by, second)
}

// Rests lists the records that the lift rests on.
func (l Lift) Rests() []string {
	if l.Verification == "" {
		return l.Evidence
	}
	return append([]string{l.Verification}, l.Evidence...)
}

// Ends says whether the lift, which names this hold, ends it: over the records that it names, all of which stand, and
// signed by those whose word the kind of hold takes. The rules of the time were asked when it was recorded
// ([Hold.Lifted]); here counts what no rules can do without.
func (l Lift) Ends(h Hold, named History) bool {
	if l.Placed.Known() && l.Two() { // a lift names its hold, and so was written after it
		h.At = l.Placed
	}
	if l.Scope != h.Scope || l.At < h.At {
		return false
	}
	over, all := named.named(l)
	if !all {
		return false
	}
	_, err := h.Lifted(l, Grounds{Since: over})
	return err == nil
}

// named returns the part of the history that a lift rests on, and whether all of it is there.
func (h History) named(l Lift) (over History, all bool) {
	missing := slices.Clone(l.Rests())
	is := func(s Stamp) bool {
		i := slices.Index(missing, s.ID)
		if i >= 0 {
			missing = slices.Delete(missing, i, i+1)
		}
		return i >= 0
	}
	over = History{
		Instrument: h.Instrument, Model: h.Model,
		Steps:     keep(h.Steps, func(s Step) bool { return is(s.Stamp) }),
		Decisions: keep(h.Decisions, func(d Decision) bool { return is(d.Stamp) }),
		Repairs:   keep(h.Repairs, func(r Repair) bool { return is(r.Stamp) }),
	}
	return over, len(missing) == 0
}

// OpenHolds returns the holds that no lift ends.
func (h History) OpenHolds() []Hold {
	return keep(h.Holds, func(hold Hold) bool {
		return !slices.ContainsFunc(h.Lifts, func(l Lift) bool { return l.Hold == hold.ID && l.Ends(hold, h) })
	})
}
