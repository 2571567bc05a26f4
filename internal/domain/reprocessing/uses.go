package reprocessing

import (
	"cmp"
	"math"
	"slices"
	"time"

	"rinsate/internal/base/unit"
)

// A use without an end on record keeps the scope from patients whatever came after it, also another use:
// what is missing is never good. The way out is to record its end, that nobody knows it, or to void it where it never was.
//
// Uses are ordered by their ends, so the last one is the one that ended last, not the one that began last.
// An unknown end is, for order, the beginning of the next act on record. Since no act lies between the two,
// the beginning of the use divides all other acts in the same way, and stands for it here; clocks that run from the end
// run from the beginning then.
//
// One scope is not in two rooms: where a use had not ended when another began, one of the two is of another
// scope or has wrong times. Both are asked about until the scope has been used again.

// last returns the last instant of the use that is on record.
func (u Use) last() unit.Instant { return max(u.Start, u.End) }

// where returns the room of the use as the end of a clause, nothing when it is not on record.
func (u Use) where() string {
	if u.Room == "" {
		return ""
	}
	return " in " + u.Room
}

// span tells when and where the use was.
func (u Use) span(zone *time.Location) string {
	return u.Start.In(zone) + " to " + u.End.In(zone) + u.where()
}

// Unfinished returns the uses that go on by what is on record, in the order in which they began.
func (h History) Unfinished() []Use {
	open := keep(h.Uses, func(u Use) bool { return !u.Over() })
	slices.SortStableFunc(open, func(a, b Use) int { return cmp.Compare(a.Start, b.Start) })
	return open
}

// Overlaps returns the use that ended last and the uses that cannot have been beside it, nil when there is none. Each
// use has its end on record. That the scope came back from repair since answers nothing.
func (h History) Overlaps() []Use {
	i := -1
	for j, u := range h.Uses {
		if i < 0 || u.last() >= h.Uses[i].last() {
			i = j
		}
	}
	if i < 0 || !h.Uses[i].End.Known() {
		return nil
	}
	last := h.Uses[i]
	var beside []Use
	for j, u := range h.Uses {
		if j != i && u.End.Known() && u.Start < last.End && last.Start < u.End {
			beside = append(beside, u)
		}
	}
	if beside == nil {
		return nil
	}
	return append([]Use{last}, beside...)
}

// cycleEnd returns when the cycle ended that an instant belongs to: the scope was used or came back from repair
// after it.
func (h History) cycleEnd(at unit.Instant) unit.Instant {
	end := unit.Instant(math.MaxInt64)
	for _, u := range h.Uses {
		if u.Start > at {
			end = min(end, u.Start)
		}
	}
	for _, r := range h.Repairs {
		if r.Returned > at {
			end = min(end, r.Returned)
		}
	}
	return end
}

// actedSince says whether a use or a step began after an instant.
func (h History) actedSince(at unit.Instant) bool {
	return slices.ContainsFunc(h.Uses, func(u Use) bool { return u.Start > at }) ||
		slices.ContainsFunc(h.Steps, func(s Step) bool { return s.Start > at })
}
