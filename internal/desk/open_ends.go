package desk

import (
	"cmp"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// OpenEnd is a use or a step that was begun and whose end is not on record.
type OpenEnd struct {
	ID    ledger.ID    `json:"id"`
	Scope string       `json:"scope"`
	What  string       `json:"what"` // "use" or the step
	Begun unit.Instant `json:"begun"`
	By    string       `json:"by,omitempty"`
}

// openEndsOver is from how far back they are looked for, in days; what is older shows in the scope's state.
const openEndsOver = 3

// OpenEnds returns the uses and the steps of the last three days that were begun and not ended, the oldest
// first. Storage and issue have no end that anybody waits for.
func (v DayView) OpenEnds(now unit.Instant) ([]OpenEnd, error) {
	from := now.AddDays(-openEndsOver, v.Zone())
	var open []OpenEnd
	err := v.tx.Numbers().Between(record.Use, "", from, now+1, func(k store.Kept) error {
		return fold(k, func(u reprocessing.Use) {
			if !u.Over() {
				open = append(open, OpenEnd{k.ID, u.Scope, "use", u.Start, k.By})
			}
		})
	})
	if err != nil {
		return nil, err
	}
	err = v.tx.Numbers().Between(record.Step, "", from, now+1, func(k store.Kept) error {
		return fold(k, func(s reprocessing.Step) {
			if !s.End.Known() && s.Kind != reprocessing.Storage && s.Kind != reprocessing.Issue {
				open = append(open, OpenEnd{k.ID, s.Scope, string(s.Kind), s.Start, k.By})
			}
		})
	})
	slices.SortStableFunc(open, func(a, b OpenEnd) int { return cmp.Compare(a.Begun, b.Begun) })
	return open, err
}
