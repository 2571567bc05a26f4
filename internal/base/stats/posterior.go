package stats

import (
	"math"
)

// Posterior is a Beta(A, B) distribution of an unknown proportion, A > 0 and B > 0. Methods of
// the zero value return NaN.
type Posterior struct {
	A, B float64
}

func (d Posterior) valid() bool { return d.A > 0 && d.B > 0 }

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
