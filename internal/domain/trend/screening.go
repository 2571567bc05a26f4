package trend

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

// Upward is the test whether the latest readings of a series are higher than its baseline.
type Upward struct {
	Key Key `json:"key"`
	// Readings is the number of latest readings m, Shift their mean in sigma of the baseline, and T
	// = Shift/√(1/m+1/n), which is Student's t with DF degrees of freedom when nothing changed:
	// the uncertainty of the baseline is counted in.
	Readings int         `json:"readings"`
	Shift    unit.Number `json:"shift"`
	T        unit.Number `json:"t"`
	DF       int         `json:"df"`
	// P is the one-sided p-value.
	P unit.Number `json:"p"`
}

// TestUpward tests the last m readings of a series since its baseline, all of them when there are
// fewer. Conditions: readings in order ([ErrReadings]), at least one (stats.TooFewError), m > 0
// (stats.ErrArgument).
//
// Source: the t test of a prediction, e.g. G. J. Hahn & W. Q. Meeker, Statistical Intervals, 1991,
// section 4.8.
func TestUpward(b Baseline, points []Point, m int) (Upward, error) {
	if err := b.check(); err != nil {
		return Upward{}, err
	}
	if m < 1 {
		return Upward{}, argument("a test of the last %d readings", m)
	}
	if err := checkPoints(points); err != nil {
		return Upward{}, err
	}
	if len(points) == 0 {
		return Upward{}, tooFew(0, 1)
	}
	points = points[max(0, len(points)-m):]
	sum := 0.0
	for _, p := range points {
		sum += b.Z(p.Value)
	}
	n := float64(len(points))
	shift := sum / n
	t := shift / math.Sqrt(1/n+1/float64(b.N))
	return Upward{
		Key: b.Key, Readings: len(points), Shift: unit.Number(shift), T: unit.Number(t), DF: b.DF,
		P: unit.Number(stats.TSurvival(t, float64(b.DF))),
	}, nil
}

// Ranked is a series in the order of [Screening].
type Ranked struct {
	Upward
	// Adjusted is the smallest q at which the series is found.
	Adjusted unit.Number `json:"adjusted"`
	Found    bool        `json:"found"`
}

// Screening ranks series by how surely they are higher than their baselines, smallest p first (ties
// by key), and finds those whose expected share of false ones is at most q (Benjamini & Hochberg).
// Conditions: 0 < q < 1, else stats.ErrArgument; independent series, or positively dependent
// ones, such as series of one scope.
//
// Source: Y. Benjamini & Y. Hochberg, J R Stat Soc B 1995;57:289-300; Y. Benjamini & D. Yekutieli,
// Ann Stat 2001;29:1165-1188 for positive dependence.
func Screening(fleet []Upward, q float64) ([]Ranked, error) {
	if !(0 < q && q < 1) {
		return nil, argument("a false discovery rate of %v: want more than 0, less than 1", q)
	}
	p := make([]float64, len(fleet))
	for i, s := range fleet {
		p[i] = float64(s.P)
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return nil, fmt.Errorf("screening of %d series: %w", len(fleet), err)
	}
	ranked := make([]Ranked, len(fleet))
	for i, s := range fleet {
		ranked[i] = Ranked{Upward: s, Adjusted: unit.Number(adjusted[i]), Found: adjusted[i] <= q}
	}
	slices.SortStableFunc(ranked, func(a, b Ranked) int {
		return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(a.Key.String(), b.Key.String()))
	})
	return ranked, nil
}
