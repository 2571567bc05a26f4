package desk

import (
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
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

// afterShared weighs the uses of other scopes that were disinfected in the same run, or with the same lot, as far as a
// disinfection that was recorded speaks against these.
func (w weighing) afterShared(s reprocessing.Step, r ledger.Record, by string) ([]ledger.Record, error) {
	if s.Kind != reprocessing.Disinfection {
		return nil, nil
	}
	from := map[string]unit.Instant{}
	var scopes []string
	note := func(x reprocessing.Step) {
		at, known := from[x.Scope]
		if x.Scope == s.Scope { // whose uses are weighed anyway
			return
		}
		if !known {
			scopes = append(scopes, x.Scope)
		}
		if !known || x.Start < at {
			from[x.Scope] = x.Start
		}
	}
	add := func(k store.Kept) error { return fold(k, note) }
	tx := store.Shared{Tx: w.tx, Known: store.Forever}
	if s.Reprocessor != "" && (s.Result == reprocessing.Fail || s.MEC == reprocessing.Fail) {
		err := tx.Runs(s.Reprocessor, false, s.Start.Add(-longestRun), max(s.Start, s.End).Add(time.Minute), func(k store.Kept) error {
			return fold(k, func(x reprocessing.Step) {
				if s.SameRun(x) {
					note(x)
				}
			})
		})
		if err != nil {
			return nil, err
		}
	}
	if s.DisinfectantLot != "" {
		if s.DisinfectantExpires.Known() {
			if err := tx.With(s.Disinfectant, s.DisinfectantLot, s.DisinfectantExpires.Add(-longestRun), add); err != nil {
				return nil, err
			}
		}
		first := false
		err := tx.FirstUse(s.Disinfectant, s.DisinfectantLot, s.Reprocessor, func(k store.Kept) error { first = k.ID == r.ID; return nil })
		if err != nil {
			return nil, err
		}
		if first {
			if err := tx.With(s.Disinfectant, s.DisinfectantLot, s.Start, add); err != nil {
				return nil, err
			}
		}
	}
	var followed []ledger.Record
	for _, scope := range scopes {
		weighed, err := w.next(scope, from[scope]+1, everyUse, r.ID, by)
		if err != nil {
			return nil, err
		}
		followed = append(followed, weighed...)
	}
	return followed, nil
}
