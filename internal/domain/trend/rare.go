package trend

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mathext"
)

// GChart is the chart of rare failures by the number of uses between them, for failures that come
// with the same chance p at each use: a gap of g uses has probability p(1−p)^g. A long gap is good
// news. A short one can hardly be a signal by itself, since even a gap of 0 has probability p; to
// see that failures come too often look at several gaps together, [GChart.Burst].
//
// Source: J. C. Benneyan, Health Care Manag Sci 2001;4:305-318.
type GChart struct {
	Gap    float64 // mean number of uses between failures
	Chance float64 // p = 1/(Gap+1)
	// Upper is Gap + 3·√(Gap(Gap+1)), the usual limit of three standard deviations; the lower one
	// is always below 0.
	Upper float64
}

// NewGChart makes the chart from observed gaps: whole numbers of failure-free uses, 0 and above,
// else [ErrReadings]; none gives a stats.TooFewError.
func NewGChart(gaps []float64) (GChart, error) {
	if len(gaps) == 0 {
		return GChart{}, tooFew(0, 1)
	}
	for _, g := range gaps {
		if !finite(g) || g < 0 || math.Floor(g) < g {
			return GChart{}, unreadable("a gap of %v uses: want a whole number from 0", g)
		}
	}
	mean := floats.Sum(gaps) / float64(len(gaps))
	return GChart{Gap: mean, Chance: 1 / (mean + 1), Upper: mean + 3*math.Sqrt(mean*(mean+1))}, nil
}

// Quantile returns the smallest gap g with P(gap ≤ g) ≥ q: limits that keep their probability
// although the distribution is skewed, for example 0.99865 in place of three standard deviations.
// NaN for q outside 0 to 1, +Inf for q = 1 with a chance below 1.
func (c GChart) Quantile(q float64) float64 {
	switch {
	case !(0 <= q && q <= 1):
		return math.NaN()
	case c.Chance >= 1:
		return 0
	}
	// P(gap ≤ g) = 1−(1−p)^(g+1); a quotient that is whole but for rounding counts as whole.
	n := math.Log1p(-q) / math.Log1p(-c.Chance)
	return max(0, math.Ceil(n*(1-1e-12))-1)
}

// Burst returns the probability that the last r failures, counted from the one before them, come
// within as few uses as they did: that the sum of r gaps is at most total (negative binomial).
// Small values say that failures come more often than the chart's chance allows. NaN for r < 1 or
// total < 0.
//
// Source: M. Xie, T. N. Goh & P. Ranjan, Reliab Eng Syst Saf 2002;77:143-150 for the time to the
// r-th event.
func (c GChart) Burst(r int, total float64) float64 {
	switch {
	case r < 1 || !(total >= 0):
		return math.NaN()
	case c.Chance >= 1:
		return 1
	}
	return mathext.RegIncBeta(float64(r), math.Floor(total)+1, c.Chance)
}

// TChart is the chart of rare failures by the time between them, for failures that come at a
// constant rate: the time is exponential.
type TChart struct {
	Mean float64 // between failures, in the unit of the times given
	// Centre, Lower and Upper are the individuals chart of time^(1/3.6), which is nearly normal,
	// turned back into time: 3 times the mean moving range over d2 from the mean. Lower is 0 where
	// the limit is negative.
	//
	// Source: L. S. Nelson, J Qual Technol 1994;26:239-240.
	Centre, Lower, Upper float64
}

// nelsonPower makes an exponential variable nearly normal (Weibull with shape 3.6).
const nelsonPower = 1 / 3.6

// NewTChart makes the chart from observed times between failures: 0 and above and not all 0, else
// [ErrReadings]; fewer than two give a stats.TooFewError.
func NewTChart(times []float64) (TChart, error) {
	if len(times) < 2 {
		return TChart{}, tooFew(len(times), 2)
	}
	y := make([]float64, len(times))
	for i, t := range times {
		if !finite(t) || t < 0 {
			return TChart{}, unreadable("a time of %v between failures: want 0 or more", t)
		}
		y[i] = math.Pow(t, nelsonPower)
	}
	n := float64(len(times))
	c := TChart{Mean: floats.Sum(times) / n}
	if c.Mean <= 0 {
		return TChart{}, unreadable("all times between failures are 0")
	}
	centre, half := floats.Sum(y)/n, 3*meanMovingRange(y)/rangeD2
	back := func(y float64) float64 { return math.Pow(max(0, y), 1/nelsonPower) }
	c.Centre, c.Lower, c.Upper = back(centre), back(centre-half), back(centre+half)
	return c, nil
}

// Burst returns the probability that r failures come within total time, counted from the failure
// before them: the sum of r times is gamma distributed. NaN for r < 1 or total < 0.
func (c TChart) Burst(r int, total float64) float64 {
	if r < 1 || !(total >= 0) {
		return math.NaN()
	}
	return mathext.GammaIncReg(float64(r), total/c.Mean)
}
