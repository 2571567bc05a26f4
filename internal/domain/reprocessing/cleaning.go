package reprocessing

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// Cleaning returns which cleaning of its cycle a sample taken at an instant belongs to. A new
// cleaning begins with the first manual cleaning after a verification was sampled and decided: samples that
// are taken after a decision over the action level and before the scope was cleaned again still
// belong to the verification that failed. A scope that passed and is reprocessed again without a use, since
// its storage time ended, begins a new cleaning as well. Where a facility does not record cleanings
// it gives the cleaning itself.
func Cleaning(h History, at unit.Instant) int {
	h = h.until(at)
	start, _, _ := Start(h)
	cleaning := 1
	for {
		d, decided := h.decided(start, cleaning)
		if !decided || !h.cleanedSince(d.First) {
			return cleaning
		}
		cleaning++
	}
}

// decided returns the decision on one cleaning of the cycle that begins at start, once it was
// over the action level or complete.
func (h History) decided(start unit.Instant, cleaning int) (Decision, bool) {
	for _, d := range h.Decisions {
		if d.In(start) && d.Verification.Cleaning == cleaning && (d.Verification.Outcome == reading.Action || d.Passed()) {
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
