package level

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

// Fit is the log-normal distribution that makes the counts most likely: ln RLU is normal with mean
// Mean and standard deviation SD, by maximum likelihood. A count v stands for any value from v−½ to
// v+½, and a count at or below the detection limit for any value below the limit plus ½.
type Fit struct {
	Mean unit.Number `json:"mean_ln"`
	SD   unit.Number `json:"sd_ln"`

	censored stats.CensoredFit
	above    int // readings above the detection limit
}

// fewestDetected is how many readings above the detection limit a fit asks for; common practice.
const fewestDetected = 10

// fitCounts fits the counts. Fewer than ten above the detection limit give a stats.TooFewError,
// counts all alike stats.ErrNotEstimable.
func fitCounts(counts []int, detection int) (Fit, error) {
	observations := make([]stats.Observation, len(counts))
	var f Fit
	for i, v := range counts {
		if v <= detection {
			observations[i] = stats.Below(float64(detection) + 0.5)
			continue
		}
		observations[i] = stats.Between(float64(v)-0.5, float64(v)+0.5)
		f.above++
	}
	if f.above < fewestDetected {
		return Fit{}, &stats.TooFewError{Have: f.above, Need: fewestDetected}
	}
	var err error
	if f.censored, err = stats.FitCensored(observations, stats.LogNormal); err != nil {
		return Fit{}, err
	}
	f.Mean, f.SD = unit.Number(f.censored.Mu), unit.Number(f.censored.Sigma)
	return f, nil
}

// limits returns the limits of a percentile at which the profile likelihood is drop lower than the
// highest. That is the profile interval of the confidence whose z has z²/2 = drop.
func (f Fit) limits(p stats.Probability, drop float64) (stats.Interval, error) {
	c, err := stats.ConfidenceOf(math.Erf(math.Sqrt(drop)))
	if err != nil {
		return stats.Interval{}, err
	}
	e, err := f.censored.Quantile(p, c, stats.ProfileLimits)
	return e.Interval, err
}

// calibrated returns by how much the profile likelihood of the percentile of score z of n uncensored
// readings drops at mean + k·SD, k being an exact tolerance factor. Taking this drop makes profile
// bounds exact without censoring and close to it with, where the usual drop of half a quantile of
// the chi-squared distribution covers too seldom: 93 % for 95 at 30 readings.
func calibrated(n int, z, k float64) float64 {
	m := float64(n)
	// The profile over u = SD/σ of −m·ln u + ½((m−1)·u² + m·(z−k·u)²), whose least value solves a
	// quadratic equation; without the constraint it is ½·m − m·ln √(m/(m−1)).
	c := m - 1 + m*k*k
	u := (m*k*z + math.Sqrt(m*m*k*k*z*z+4*m*c)) / (2 * c)
	d := z - k*u
	return -m*math.Log(u) + ((m-1)*u*u+m*d*d)/2 - (m/2 - m/2*math.Log(m/(m-1)))
}

// exactUpTo is up to how many readings tolerance factors below even odds are taken from the
// noncentral t distribution; beyond, the chi-squared drop differs in the fourth digit only.
const exactUpTo = 2000

// lowerDrop returns the drop for a lower bound that is missed with probability tail.
func lowerDrop(n int, z, tail float64) float64 {
	if n > exactUpTo {
		q := stats.NormalQuantile(tail)
		return q * q / 2
	}
	root := math.Sqrt(float64(n))
	return calibrated(n, z, distuv.NoncentralT{Mu: z * root, Nu: float64(n - 1)}.Quantile(tail)/root)
}

// upperDrop returns the drop for an upper bound with a confidence.
func upperDrop(n int, p stats.Probability, z float64, c stats.Confidence) (float64, error) {
	k, err := stats.ToleranceFactor(n, p, c)
	if err != nil {
		return 0, err
	}
	return calibrated(n, z, k), nil
}

// logNormal returns the percentile of the fitted distribution with calibrated profile likelihood
// bounds: without censoring and rounding, mean + K·SD with the exact one-sided tolerance factor K.
func (b *baseline) logNormal(p stats.Probability) (Candidate, error) {
	if few := new(stats.TooFewError); errors.As(b.fitErr, &few) {
		return lacking("readings above the detection limit", few.Have, few.Need), nil
	}
	if b.fitErr != nil {
		return Candidate{}, b.fitErr
	}
	f, c := b.fit, b.plan.Confidence
	tail := (1 - c.Float()) / 2
	each, err := stats.ConfidenceOf(1 - tail)
	if err != nil {
		return Candidate{}, err
	}
	z := stats.NormalQuantile(p.Float())
	one, err := upperDrop(f.above, p, z, c)
	if err != nil {
		return Candidate{}, err
	}
	both, err := upperDrop(f.above, p, z, each)
	if err != nil {
		return Candidate{}, err
	}
	bound, err := f.limits(p, one)
	if err != nil {
		return Candidate{}, err
	}
	high, err := f.limits(p, both)
	if err != nil {
		return Candidate{}, err
	}
	low, err := f.limits(p, lowerDrop(f.above, z, tail))
	if err != nil {
		return Candidate{}, err
	}
	if math.IsInf(high.Hi, 1) || math.IsInf(bound.Hi, 1) {
		return Candidate{}, fmt.Errorf("the readings do not bound the percentile from above: %w", stats.ErrNotEstimable)
	}
	return Candidate{
		Estimate: unit.Number(math.Exp(f.censored.Mu + z*f.censored.Sigma)),
		Interval: &Range{unit.Number(low.Lo), unit.Number(high.Hi)},
		Upper:    unit.Number(bound.Hi),
		Achieved: unit.Number(c.Float()),
	}, nil
}
