package reprocessing

import (
	"cmp"
	"math"
	"slices"

	"rinsate/internal/base/unit"
)

// occasion is one that has not been followed by a use, with how far the walk through its route is.
type occasion struct {
	kind Occasion
	at   unit.Instant
	// by says what it was, record which record shows it.
	by, record string
	// previous is the end of the last required step that was looked at.
	previous     unit.Instant
	previousStep StepKind
	// anew says that a step is still to be done, after which those that follow have to be done again.
	anew bool
}

// occasions returns what asks for a route since the last use, with that, the earliest first; the last of them begins the
// present cycle. Where a storage ran out is not among them: that follows from the rules.
func (h History) occasions() []occasion {
	all := make([]occasion, 1, 2)
	all[0] = occasion{kind: OfArrival, at: h.Instrument.InService, by: "it came into service"}
	use := occasion{kind: OfUse, at: math.MinInt64, by: "the last use ended"}
	for _, u := range h.Uses {
		if u.last() >= use.at {
			use.at, use.record = u.last(), u.ID
		}
	}
	if use.record != "" || use.at > math.MinInt64 {
		if all = append(all, use); all[0].at < use.at {
			all = all[1:]
		}
	}
	for _, r := range h.Repairs {
		if r.Returned.Known() && r.Returned >= use.at {
			all = append(all, occasion{kind: OfRepair, at: r.Returned, by: "it came back from repair", record: r.ID})
		}
	}
	if r, ok := h.Restored(); ok && r.At >= use.at {
		all = append(all, occasion{kind: ofRestore, at: r.At, by: "the records were restored from a copy", record: r.ID})
	}
	if len(all) > 1 {
		slices.SortStableFunc(all, func(a, b occasion) int { return cmp.Compare(a.at, b.at) })
	}
	return all
}

// Start returns when the present cycle of a history began, what began it, and its record.
func Start(h History) (at unit.Instant, by, record string) {
	all := h.occasions()
	o := all[len(all)-1]
	return o.at, o.by, o.record
}

// Begun returns when the trip of a scope began that goes on at an instant: with the end of its last use, or else with its
// arrival. Everything that an occasion since asks for belongs to it.
func Begun(h History, at unit.Instant) unit.Instant {
	past := h.until(at)
	begun := h.Instrument.InService
	for i, u := range past.Uses {
		if i == 0 || u.last() > begun {
			begun = u.last()
		}
	}
	return begun
}

// CycleStart returns when the cycle began that an instant belongs to, by what had happened by then.
func CycleStart(h History, at unit.Instant) unit.Instant {
	start, _, _ := Start(h.until(at))
	return start
}
