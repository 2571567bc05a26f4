package trend

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

const (
	// MinBaseline is how many readings a baseline needs (common practice for control charts, where
	// 20 to 25 are asked for).
	MinBaseline = 20

	// OutlierAlpha is the level of the test that screens a baseline for outliers, and
	// OutlierShare the largest part of the readings that it may leave out.
	OutlierAlpha = 0.01
	OutlierShare = 0.1
)

var outlierConfidence = stats.MustConfidence("0.99") // 1 − OutlierAlpha

// Baseline is what a series was in a stable period: frozen, and the measure for all that follows.
// Sigma is the standard deviation of the kept readings with divisor N−1. It is not divided by c4:
// [NewDesign] uses the exact law of sigma² instead, and the correction would only move a factor
// from the limits to sigma. All numbers are on the scale of [LogRLU].
type Baseline struct {
	Key   Key         `json:"key"`
	Mean  unit.Number `json:"mean"`
	Sigma unit.Number `json:"sigma"`
	// DF are the degrees of freedom of Sigma: N−1, more when it was pooled over series.
	DF int `json:"df"`
	// N is the number of readings kept.
	N int `json:"n"`
	// MovingRangeSigma is the mean moving range of the kept readings over d2 = 2/√π: an estimate
	// of sigma that slow drift hardly touches. Where it is much smaller than Sigma the readings
	// drifted.
	MovingRangeSigma unit.Number  `json:"moving_range_sigma"`
	First            unit.Instant `json:"first"`
	Last             unit.Instant `json:"last"`
	// Screened are the readings left out as outliers, most extreme first.
	Screened []Screened `json:"screened,omitempty"`
	// Notes say what speaks against the period having been stable; none is what one hopes for.
	Notes []Note `json:"notes,omitempty"`
}

// Screened is a reading left out of a baseline: its value in RLU, and the statistic that exceeded
// the critical value, both in standard deviations.
type Screened struct {
	ID        ledger.ID    `json:"id"`
	At        unit.Instant `json:"at"`
	Value     unit.Number  `json:"value"`
	Statistic unit.Number  `json:"statistic"`
	Critical  unit.Number  `json:"critical"`
}

// Readings returns how many readings the baseline was made from, kept or screened.
func (b Baseline) Readings() int { return b.N + len(b.Screened) }

// RLU returns the centre of the baseline in relative light units: a geometric mean.
func (b Baseline) RLU() float64 { return RLU(float64(b.Mean)) }

// Z standardises a reading.
func (b Baseline) Z(value float64) float64 {
	return (LogRLU(value) - float64(b.Mean)) / float64(b.Sigma)
}

// check says what is wrong with a baseline that was read back.
func (b Baseline) check() error {
	switch {
	case !(b.Sigma > 0) || !finite(float64(b.Sigma)) || !finite(float64(b.Mean)):
		return argument("a baseline with mean %v and sigma %v", b.Mean, b.Sigma)
	case b.N < 2 || b.DF < b.N-1:
		return argument("a baseline of %d readings with %d degrees of freedom", b.N, b.DF)
	}
	return nil
}

// NewBaseline makes the baseline of a series from all readings of a period, in order of time and of id.
// Outliers are screened by the generalised extreme studentised deviate test with level
// [OutlierAlpha] and at most [OutlierShare] of the readings, and listed. Fewer than [MinBaseline]
// readings give a stats.TooFewError; readings out of order, or all alike, [ErrReadings].
//
// Source of the test: B. Rosner, Technometrics 1983;25:165-172.
func NewBaseline(key Key, points []Point) (Baseline, error) {
	if err := checkPoints(points); err != nil {
		return Baseline{}, err
	}
	if len(points) < MinBaseline {
		return Baseline{}, fmt.Errorf("baseline of %s: %d readings are missing: %w", key, MinBaseline-len(points), tooFew(len(points), MinBaseline))
	}
	y := make([]float64, len(points))
	for i, p := range points {
		y[i] = LogRLU(p.Value)
	}
	steps, outliers, err := stats.GeneralizedESD(y, int(OutlierShare*float64(len(y))), outlierConfidence)
	if err != nil {
		return Baseline{}, unreadable("all readings of %s are %v RLU, which leaves nothing to measure a change by", key, points[0].Value)
	}
	b := Baseline{Key: key, First: points[0].At, Last: points[len(points)-1].At}
	out := make([]bool, len(points))
	for _, o := range steps[:outliers] {
		p := points[o.Index]
		out[o.Index] = true
		b.Screened = append(b.Screened, Screened{
			ID: p.ID, At: p.At, Value: unit.Number(p.Value), Statistic: unit.Number(o.Statistic), Critical: unit.Number(o.Critical),
		})
	}
	var kept []Point
	var z []float64
	for i, p := range points {
		if !out[i] {
			kept, z = append(kept, p), append(z, y[i])
		}
	}
	mean, sigma := stat.MeanStdDev(z, nil)
	if !(sigma > 1e-9) {
		return Baseline{}, unreadable("all readings of %s but %d are %v RLU, which leaves nothing to measure a change by", key, len(b.Screened), kept[0].Value)
	}
	for i := range z {
		z[i] = (z[i] - mean) / sigma
	}
	b.Mean, b.Sigma, b.N, b.DF = unit.Number(mean), unit.Number(sigma), len(z), len(z)-1
	b.MovingRangeSigma = unit.Number(meanMovingRange(z) / rangeD2 * sigma)
	b.Notes = stability(kept, z)
	return b, nil
}

// rangeD2 is d2 of two values, 2/√π: the mean moving range of adjacent values in units of sigma.
const rangeD2 = 2 / 1.7724538509055160273 // √π

// meanMovingRange returns the mean distance of neighbours.
func meanMovingRange(x []float64) float64 {
	sum := 0.0
	for i := 1; i < len(x); i++ {
		sum += math.Abs(x[i] - x[i-1])
	}
	return sum / float64(len(x)-1)
}
