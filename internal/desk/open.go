package desk

import (
	"cmp"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// OpenSample is a sample that was taken and has no reading yet.
type OpenSample struct {
	ID        ledger.ID       `json:"id"`
	Scope     string          `json:"scope"`
	Point     scope.PointKind `json:"point"`
	By        string          `json:"by"`
	Collected unit.Instant    `json:"collected"`
	// Next is what is awaited or what made it void, Deadline when its running clock ends.
	Next     string         `json:"next"`
	Deadline unit.Instant   `json:"deadline,omitzero"`
	State    sampling.State `json:"state"`
}

// forgottenAfter is how long a sample without a reading is shown: longer than any clock of a sample.
const forgottenAfter = 48 * time.Hour

// OpenSamples returns the samples of the last two days that have no reading, the most urgent first;
// those whose clock has run out are among them, since somebody has to take new ones.
func (v DayView) OpenSamples(now unit.Instant) ([]OpenSample, error) {
	rules, err := v.Registry().Rules(now, store.Forever)
	if err != nil {
		return nil, err
	}
	from := now.Add(-forgottenAfter)
	read := map[string]bool{}
	err = v.tx.Numbers().Between(record.Reading, "", from, now+1, func(k store.Kept) error {
		return fold(k, func(x reading.Reading) { read[x.Sample] = true })
	})
	if err != nil {
		return nil, err
	}
	var ids []ledger.ID
	err = v.tx.Numbers().Between(record.Sample, "", from, now+1, func(k store.Kept) error {
		return fold(k, func(s sampling.Sample) {
			if s.NotApplicable == "" && !read[string(k.ID)] {
				ids = append(ids, k.ID)
			}
		})
	})
	if err != nil {
		return nil, err
	}
	var open []OpenSample
	for _, id := range ids {
		s, _, err := v.sample(id)
		if err != nil {
			return nil, err
		}
		standing := rules.Sample.Clocks.Judge(s, now)
		open = append(open, OpenSample{
			ID: id, Scope: s.Scope, Point: s.Point, By: s.By, Collected: s.Collected, Next: standing.Why, Deadline: standing.Deadline, State: standing.State,
		})
	}
	slices.SortStableFunc(open, func(a, b OpenSample) int { return cmp.Compare(a.Deadline, b.Deadline) })
	return open, nil
}

// Lots returns the latest edition of every lot, in the order of kit and lot.
func (v DayView) Lots() ([]quality.Lot, error) {
	all, err := v.tx.Entities(record.Lot)
	if err != nil {
		return nil, err
	}
	latest := map[string]quality.Lot{}
	for _, kept := range all {
		if kept.Replaced.Known() {
			continue
		}
		l, err := record.Body[quality.Lot](kept.Record)
		if err != nil {
			return nil, err
		}
		latest[l.Kit+"|"+l.Lot] = l
	}
	return sortedByKey(latest), nil
}
