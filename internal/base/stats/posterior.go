package stats

import (
	"fmt"
	"math"
)

// Posterior is a Beta(A, B) distribution of an unknown proportion, A > 0 and B > 0. Methods of
// the zero value return NaN.
type Posterior struct {
	A, B float64
}

// JeffreysPosterior returns what is known of a proportion after k of n, starting from the
// Beta(½, ½) prior: Beta(k+½, n−k+½). Conditions: 0 ≤ k ≤ n ≤ MaxCount, else [ErrArgument]. With
// n = 0 it is the prior.
//
// Source: Brown, Cai & DasGupta, Stat Sci 2001;16:101-133, section 4.3.
func JeffreysPosterior(k, n int) (Posterior, error) {
	if n < 0 || n > MaxCount || k < 0 || k > n {
		return Posterior{}, fmt.Errorf("%d of %d is not a proportion: %w", k, n, ErrArgument)
	}
	return Posterior{A: float64(k) + 0.5, B: float64(n-k) + 0.5}, nil
}

func (d Posterior) valid() bool { return d.A > 0 && d.B > 0 }

// Mean returns A/(A+B).
func (d Posterior) Mean() float64 {
	if !d.valid() {
		return math.NaN()
	}
	return d.A / (d.A + d.B)
}

// AtMost returns P(p ≤ x): 0 below 0, 1 above 1, NaN for NaN.
func (d Posterior) AtMost(x float64) float64 {
	if !d.valid() || math.IsNaN(x) {
		return math.NaN()
	}
	return betaAtMost(d.A, d.B, x)
}

// MoreThan returns P(p > x), computed from its own tail: 1 below 0, 0 above 1, NaN for NaN.
func (d Posterior) MoreThan(x float64) float64 {
	return Posterior{A: d.B, B: d.A}.AtMost(1 - x)
}

// Interval returns the equal-tailed interval of probability c, without the boundary rule of
// [Jeffreys]. It returns [ErrArgument] for the zero value and for a confidence not given.
func (d Posterior) Interval(c Confidence) (Interval, error) {
	if !d.valid() || !c.Known() {
		return Interval{}, fmt.Errorf("interval of Beta(%g, %g) at confidence %q: %w", d.A, d.B, c, ErrArgument)
	}
	tail := c.tail()
	return Interval{Lo: betaQuantile(d.A, d.B, tail), Hi: betaUpperQuantile(d.A, d.B, tail)}, nil
}

// Predict returns the probability that j of the next m units have the property (beta-binomial):
// C(m, j)·B(j+A, m−j+B)/B(A, B). It is 0 for j outside 0 to m, and NaN for m < 0.
//
// Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, appendix A.
func (d Posterior) Predict(j, m int) float64 {
	switch {
	case !d.valid() || m < 0:
		return math.NaN()
	case j < 0 || j > m:
		return 0
	}
	// The three gamma quotients as binomial probabilities at one p, whose powers cancel.
	x, trials, prior := float64(j), float64(m), d.A+d.B
	after := trials + prior
	p, q := (x+d.A)/after, (trials-x+d.B)/after
	return math.Exp(logBinomial(x, trials, p, q)+logBinomial(d.A, prior, p, q)-logBinomial(x+d.A, after, p, q)) *
		(d.A * d.B / prior) * (after / ((x + d.A) * (trials - x + d.B)))
}
