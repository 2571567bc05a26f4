package turnaround

import (
	"rinsate/internal/reading"
	"rinsate/internal/unit"
)

// Attempt returns which attempt of its turnaround a sample taken at an instant belongs to. A new
// attempt begins with the first manual cleaning after a round over the action level was sampled:
// samples that are taken after that decision and before the scope was cleaned again still belong to
// the round that failed. Where a facility does not record cleanings it gives the attempt itself.
func Attempt(h History, at unit.Instant) int {
	h = h.until(at)
	start, _, _ := Start(h)
	attempt := 1
	for {
		d, failed := h.decided(start, attempt)
		if !failed || !h.cleanedSince(d.First) {
			return attempt
		}
		attempt++
	}
}

// decided returns the decision on one attempt of the turnaround that begins at start, when it was
// over the action level.
func (h History) decided(start unit.Instant, attempt int) (Decision, bool) {
	for _, d := range h.Decisions {
		if d.Turnaround == start && d.Round.Attempt == attempt && d.Round.Outcome == reading.Action {
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
