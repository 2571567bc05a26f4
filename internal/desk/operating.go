package desk

import (
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
)

// Operating is what a level is asked about scopes of known cleanliness.
type Operating struct {
	Level reading.Level
	// Points and Cleanings are the numbers that are tried, of points in a verification and of cleanings.
	Points, Cleanings []int
	// Spread and Shared are as in level.Trial.
	Spread, Shared float64
	Retest         reading.Retest
	Costs          Costs
}

// OperatingLine is what becomes of a scope of one true median.
type OperatingLine struct {
	Points    int     `json:"points"`
	Cleanings int     `json:"cleanings"`
	Median    float64 `json:"true_median_rlu"`
	// The operation names its numbers of cleanings and samples as expectations.
	level.Operation
}

// medians are the true medians that are told in a table, relative to the action level.
var medians = []float64{0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5}

// At returns what becomes of a scope of a true median.
func (o Operating) At(median float64, points, cleanings int) (level.Operation, error) {
	x, err := level.Operate(level.Trial{
		Level: o.Level, Median: median, Spread: o.Spread, Shared: o.Shared, Points: points, Cleanings: cleanings, Retest: o.Retest,
		SampleMinutes: o.Costs.SampleMinutes, CleaningMinutes: o.Costs.CleaningMinutes,
	})
	return x, refuse(err)
}

// Lines tells of scopes from a tenth of the action level to five times of it.
func (o Operating) Lines() (lines []OperatingLine, err error) {
	for _, points := range o.Points {
		for _, cleanings := range o.Cleanings {
			for _, m := range medians {
				x, err := o.At(m*float64(o.Level.Action), points, cleanings)
				if err != nil {
					return nil, err
				}
				lines = append(lines, OperatingLine{points, cleanings, m * float64(o.Level.Action), x})
			}
		}
	}
	return lines, nil
}
