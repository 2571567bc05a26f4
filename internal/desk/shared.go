package desk

import (
	"time"

	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
)

// longestRun is longer than any run of a reprocessor: what began so much before a disinfection was another run.
const longestRun = 24 * time.Hour

// shared reads the disinfections elsewhere that speak of those of a history: failed results of their runs, since when their
// solutions are in use, and dates by which their lots had expired.
func shared(v View, h *reprocessing.History, s span) error {
	seen := map[string]bool{}
	for _, step := range h.Steps {
		seen[step.ID] = true
	}
	add := func(k store.Kept) error {
		if seen[string(k.ID)] {
			return nil
		}
		seen[string(k.ID)] = true
		return fold(k, func(x reprocessing.Step) { x.Stamp = s.stamp(k); h.Shared = append(h.Shared, x) })
	}
	tx := store.Shared{Tx: v.tx, Known: s.known}
	for _, d := range h.Steps {
		if d.Kind != reprocessing.Disinfection {
			continue
		}
		ended := max(d.Start, d.End)
		if d.Reprocessor != "" {
			if err := tx.Runs(d.Reprocessor, true, d.Start.Add(-longestRun), ended.Add(time.Minute), add); err != nil {
				return err
			}
		}
		if d.DisinfectantLot == "" {
			continue
		}
		if err := tx.FirstUse(d.Disinfectant, d.DisinfectantLot, d.Reprocessor, add); err != nil {
			return err
		}
		if d.DisinfectantExpires <= ended { // it says so itself, or says nothing, which is as bad
			continue
		}
		if err := tx.Dates(d.Disinfectant, d.DisinfectantLot, ended, add); err != nil {
			return err
		}
	}
	return nil
}
