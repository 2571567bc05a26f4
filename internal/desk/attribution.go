package desk

import (
	"cmp"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
)

// Scale is a meter system with a kit: readings of one are never brought together with another's.
type Scale struct {
	System string `json:"system"`
	Kit    string `json:"kit"`
	// Readings is how many there are.
	Readings int `json:"readings"`
}

// Explained returns the first readings of a time, from <= at < to, by their scale with what may
// explain them, and the scales in the order of their numbers of readings.
func (v NumbersView) Explained(from, to unit.Instant) (map[[2]string][]attribution.Row, []Scale, error) {
	all, err := v.Firsts(from, to)
	if err != nil {
		return nil, nil, err
	}
	rows, scales := ExplainedOf(all)
	return rows, scales, nil
}

// ExplainedOf is [View.Explained] of first readings.
func ExplainedOf(all []Measured) (map[[2]string][]attribution.Row, []Scale) {
	rows := map[[2]string][]attribution.Row{}
	for _, m := range all {
		key := [2]string{m.System, m.Kit}
		rows[key] = append(rows[key], attribution.Row{
			Log: trend.LogRLU(m.Value), Point: m.Point, Kind: m.Kind, Scope: m.Scope, Person: m.Cleaner, Lot: m.Lot, Meter: m.Meter,
			Age: float64(m.Age), Delay: m.Delay, Over: m.Outcome == reading.Action,
		})
	}
	return rows, scalesOf(rows)
}

func scalesOf(rows map[[2]string][]attribution.Row) []Scale {
	var scales []Scale
	for key, list := range rows {
		scales = append(scales, Scale{key[0], key[1], len(list)})
	}
	slices.SortFunc(scales, func(a, b Scale) int {
		return cmp.Or(cmp.Compare(b.Readings, a.Readings), cmp.Compare(a.System, b.System), cmp.Compare(a.Kit, b.Kit))
	})
	return scales
}
