package turnaround

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// Attempt returns which attempt of its turnaround a sample taken at an instant belongs to. A new
// attempt begins with the first manual cleaning after a round was sampled and decided: samples that
// are taken after a decision over the action level and before the scope was cleaned again still
// belong to the round that failed. A scope that passed and is reprocessed again without a use, since
// its storage time ended, begins a new attempt as well. Where a facility does not record cleanings
// it gives the attempt itself.
func Attempt(h History, at unit.Instant) int {
	h = h.until(at)
	start, _, _ := Start(h)
	attempt := 1
	for {
		d, decided := h.decided(start, attempt)
		if !decided || !h.cleanedSince(d.First) {
			return attempt
		}
		attempt++
	}
}

// decided returns the decision on one attempt of the turnaround that begins at start, once it was
// over the action level or complete.
func (h History) decided(start unit.Instant, attempt int) (Decision, bool) {
	for _, d := range h.Decisions {
		if d.In(start) && d.Round.Attempt == attempt && (d.Round.Outcome == reading.Action || d.Passed()) {
			return d, true
		}
	}
	return Decision{}, false
}

func (h History) cleanedSince(at unit.Instant) bool {
	for _, s := range h.Steps {
		if s.Kind == ManualCleaning && s.Start >= at {
			return true
		}
	}
	return false
}
