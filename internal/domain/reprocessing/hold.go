package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
)

// Hold keeps a scope from patients until somebody lifts it.
type Hold struct {
	Stamp  `json:"-"`
	Scope  string       `json:"scope"`
	At     unit.Instant `json:"at"`
	By     string       `json:"by"`
	Reason string       `json:"reason"`
	// Cause is the decision on a verification that made the rules place the hold; empty when a person did.
	Cause string `json:"cause,omitempty"`
	// Escalated holds end only by a named person's act, never by a passed verification alone.
	Escalated bool `json:"escalated,omitempty"`
}

// Check refuses a hold without a name or a reason.
func (h Hold) Check() error {
	switch {
	case h.Scope == "" || !h.At.Known():
		return fmt.Errorf("hold: the scope or the time is missing")
	case h.By == "":
		return fmt.Errorf("hold of %s: who places it?", h.Scope)
	case h.Reason == "":
		return fmt.Errorf("hold of %s: the reason is missing", h.Scope)
	}
	return nil
}

// EndsByVerification says whether a passed verification may end the hold by itself: only a hold that the rules placed
// for a verification over the action level, before the last cleaning. What a person saw, was told or had cultured
// is not shown to be gone by a low reading, so a person's hold takes two people. So does a hold that was placed
// while the clock was in doubt: nobody can say what came after it.
func (h Hold) EndsByVerification() bool { return h.Cause != "" && !h.Escalated && !h.Unsure.Known() }

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
	// Verification is the passed verification that the lift rests on, Second the other person who agrees. One of
	// the two is needed.
	Verification string `json:"verification,omitempty"`
	Second       string `json:"second,omitempty"`
	// Placed is when the hold was placed at the latest, where a clock that was in doubt dated it; else zero.
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
	case l.Verification == "" && l.Second == "":
		return fmt.Errorf("lift of the hold on %s: it needs a cleaning verification passed since the hold, or a second person's name", l.Scope)
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

// Ends says whether the lift, which names this hold, ends it: by two people, or by a verification alone where the
// hold allows that. verification is the decision that the lift names as far as it stands: nil when there is none,
// or when it was decided again since.
func (l Lift) Ends(h Hold, verification *Decision) bool {
	if l.Placed.Known() && l.Two() { // a lift names its hold, and so was written after it
		h.At = min(h.At, l.Placed)
	}
	if l.Scope != h.Scope || l.At < h.At {
		return false
	}
	return l.Two() || h.EndsByVerification() && verification != nil && h.AnsweredBy(*verification)
}

// OpenHolds returns the holds that no lift ends.
func (h History) OpenHolds() []Hold {
	return keep(h.Holds, func(hold Hold) bool {
		for _, l := range h.Lifts {
			if l.Hold == hold.ID && l.Ends(hold, h.verificationOf(l)) {
				return false
			}
		}
		return true
	})
}

// verificationOf returns the decision that a lift names, nil when the history has none such: then it was voided,
// or nobody looked, and what is missing is never good.
func (h History) verificationOf(l Lift) *Decision {
	if i := slices.IndexFunc(h.Decisions, func(d Decision) bool { return l.Verification != "" && d.ID == l.Verification }); i >= 0 {
		return &h.Decisions[i]
	}
	return nil
}
