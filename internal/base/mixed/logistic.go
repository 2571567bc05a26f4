package mixed

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// LogisticVariance is the variance of the standard logistic distribution, π²/3: the residual of the
// log odds, against which the variances of a [Logistic] are measured as shares.
const LogisticVariance = math.Pi * math.Pi / 3

// Logistic is a logistic mixed model fitted to rows. Fixed and random effects are log odds.
type Logistic struct {
	// Deviance is −2 log-likelihood by the Laplace approximation, binomial coefficients included.
	Deviance      float64 `json:"deviance"`
	LogLikelihood float64 `json:"log_likelihood"`

	Rows       int           `json:"rows"`
	Trials     int           `json:"trials"`
	Fixed      []Coefficient `json:"fixed"`
	Covariance [][]float64   `json:"covariance"` // of the estimates in Fixed
	Dropped    []Dropped     `json:"dropped,omitempty"`

	// Terms are in the order of Design.Random. Share is the part of the sum of the variances and
	// [LogisticVariance]. The SE of an effect has the uncertainty of the fixed effects added to its
	// conditional variance by the delta method.
	Terms       []Term      `json:"terms"`
	Convergence Convergence `json:"convergence"`
}

// FitLogistic estimates a mixed model for yes or no by maximum likelihood, with the random effects
// integrated out by the Laplace approximation: log odds = Xβ + Σ Z_f b_f. The standard errors of
// fixed effects come from the curvature of the deviance in all parameters; terms of variance zero
// count as known. With few trials in a level the approximation puts variances too low.
//
// Response is the number of yes in Trials, or 0 or 1. It needs a design that [Design.Check]
// accepts, two trials more than fixed columns, and no random factor with a level for every trial.
// It returns [ErrData] if all answers are the same, [ErrSeparation] if a fixed level has one answer
// only, if the fixed terms predict answers without error or if a standard deviation exceeds 10, a
// [stats.TooFewError], [stats.ErrArgument], or [ErrConvergence]. It is not penalised: what cannot be
// estimated is refused.
//
// Source: N. E. Breslow & D. G. Clayton, J Am Stat Assoc 1993;88:9-25, section 2.1; D. Bates, M.
// Mächler, B. Bolker & S. Walker, J Stat Softw 2015;67(1) for K. Shares: S. Nakagawa & H. Schielzeth,
// Methods Ecol Evol 2013;4:133-142 (from memory).
func FitLogistic(d Design) (*Logistic, error) {
	b, err := newBinomial(d)
	if err != nil {
		return nil, err
	}
	beta, err := b.withoutGroups()
	if err != nil {
		return nil, err
	}
	weight := 0.0
	for _, w := range b.weight {
		weight += w
	}
	start := make([]float64, len(b.terms), len(b.terms)+b.p())
	for f := range b.terms {
		b.terms[f].perLevel = weight / float64(used(b.terms[f].counts))
		start[f] = 1
	}
	l := newLaplace(b)
	v := variances{objective: l.deviance, terms: len(l.terms), noise: rounding * float64(l.rows), slope: l.slopeAtZero}
	best, zero := v.settle(append(start, beta...))
	for f, t := range l.terms {
		if theta, _ := thetaOf(best.x[f], t.perLevel); theta > widest {
			return nil, separation("the log odds differ between levels of %s by a standard deviation of more than %d: "+
				"most levels have one answer only; leave it out or collect more",
				d.Random[t.position].Name, widest)
		}
	}
	if !(best.decrement < settled) {
		return nil, fmt.Errorf("still %.1g standard errors away after %d steps: %w",
			math.Sqrt(best.decrement), best.iterations, ErrConvergence)
	}
	return l.report(d, v, best, zero)
}

// widest is the standard deviation of log odds that is taken for infinite: at 10, half of all levels
// have odds of more than 800 to one or less than one to 800.
const widest = 10

// thetaOf returns θ of a φ, with its sign, and its derivative.
func thetaOf(phi, perLevel float64) (theta, slope float64) {
	root := math.Sqrt(perLevel)
	return math.Sinh(phi) / root, math.Cosh(phi) / root
}

// deviance is the objective: φ of the terms, then β for standardised columns.
func (l *laplace) deviance(x, gradient []float64) float64 {
	l.evaluated++
	theta, slope := make([]float64, len(l.terms)), make([]float64, len(l.terms))
	for f, t := range l.terms {
		if theta[f], slope[f] = thetaOf(x[f], t.perLevel); math.Abs(theta[f]) > 10*widest {
			return math.Inf(1)
		}
	}
	l.setTheta(theta)
	l.combine(x[len(theta):])
	value, ok := l.modes()
	if !ok {
		clear(l.u)
		return math.Inf(1)
	}
	byTheta, byBeta, ok := l.slopes()
	if !ok {
		return math.Inf(1)
	}
	for f := range theta {
		gradient[f] = byTheta[f] * slope[f]
	}
	copy(gradient[len(theta):], byBeta)
	return value
}

// slopeAtZero returns the derivative by θ² of a term that is zero, from just beside it: the deviance
// is even in φ, so that the error is of the order of φ².
func (l *laplace) slopeAtZero(x []float64, f int) float64 {
	const beside = 1e-3
	at, gradient := slices.Clone(x), make([]float64, len(x))
	at[f] = beside
	if math.IsInf(l.deviance(at, gradient), 1) {
		return math.Inf(-1)
	}
	theta, slope := thetaOf(beside, l.terms[f].perLevel)
	return gradient[f] / slope / (2 * theta)
}

// report fills in the result at the maximum.
func (l *laplace) report(d Design, v variances, best minimum, zero []bool) (*Logistic, error) {
	covariance, ok := l.covariance(v, best, zero)
	if !ok {
		return nil, fmt.Errorf("the likelihood has no maximum in all directions; two terms may mean the same: %w", ErrConvergence)
	}
	fit := &Logistic{
		Rows: l.rows, Dropped: l.fixed.dropped, Terms: terms(d, l.frame),
		Deviance: best.value, LogLikelihood: -best.value / 2,
		Convergence: Convergence{Distance: math.Sqrt(best.decrement)},
	}
	for _, m := range l.trials {
		fit.Trials += int(m)
	}
	// The last evaluation was elsewhere.
	if gradient := make([]float64, len(best.x)); math.IsInf(l.deviance(best.x, gradient), 1) {
		return nil, fmt.Errorf("the likelihood cannot be evaluated at its maximum: %w", ErrConvergence)
	}
	for f, t := range l.terms {
		term := &fit.Terms[t.position]
		term.SD = l.theta[f]
		term.Variance = term.SD * term.SD
	}
	share(fit.Terms, LogisticVariance)
	l.predict(fit, covariance)
	fit.Fixed = l.fixed.coefficients(best.x[len(l.terms):], covariance, 1, 0)
	fit.Covariance = matrix(covariance, l.p())
	fit.Convergence.Evaluations = l.evaluated
	return fit, nil
}

// covariance returns that of β, by rows, from the curvature in all parameters that are not zero.
func (l *laplace) covariance(v variances, best minimum, zero []bool) ([]float64, bool) {
	const step = 1e-4
	f, free, full := v.free(best.x, zero)
	x := pick(full, free)
	gradient := make([]float64, len(x))
	f(x, gradient)
	up, down := curvature(f, x, gradient, step), curvature(f, x, gradient, -step)
	if up == nil || down == nil {
		return nil, false
	}
	up.AddSym(up, down) // twice the curvature of the deviance: four times the information
	var factor mat.Cholesky
	if !factor.Factorize(up) {
		return nil, false
	}
	inverse := mat.NewSymDense(len(x), nil)
	if err := factor.InverseTo(inverse); err != nil {
		return nil, false
	}
	width := l.p()
	first, covariance := len(x)-width, make([]float64, width*width)
	for a := range width {
		for b := range width {
			covariance[a*width+b] = 4 * inverse.At(first+a, first+b)
		}
	}
	return covariance, true
}

// predict fills in the effects from û and K⁻¹. The modes move with β as dû = −K⁻¹ΛZ'WX dβ, which
// adds the variance of the fixed effects to the conditional variance.
func (l *laplace) predict(fit *Logistic, covariance []float64) {
	levels, width := l.levels(), l.p()
	added := make([]float64, len(l.u))
	var factor mat.Cholesky
	if factor.Factorize(mat.NewSymDense(width, slices.Clone(covariance))) {
		var lower mat.TriDense
		factor.LTo(&lower)
		for k := range width {
			for i, x := range l.moved(mat.Col(nil, k, &lower)) {
				added[i] += x * x
			}
		}
	}
	t := make([]float64, l.q)
	for i, e := range fit.Terms[l.terms[0].position].Effects {
		fit.Terms[l.terms[0].position].Effects[i] = e.with(l.theta[0], l.u[i], l.towards(i, t), added[i])
	}
	for f, term := range l.terms[1:] {
		effects := fit.Terms[term.position].Effects
		for level, e := range effects {
			c := term.from + level
			effects[level] = e.with(l.theta[f+1], l.u[levels+c], l.inverse[c*l.q+c], added[levels+c])
		}
	}
}

// moved returns by how much û falls when β changes.
func (l *laplace) moved(beta []float64) []float64 {
	l.combine(beta)
	for i, w := range l.weight {
		l.xb[i] *= w
	}
	v := make([]float64, len(l.u))
	l.gather(l.xb, v)
	l.solve(v)
	return v
}

// with returns the effect with the mode and variances of its u in units of θ.
func (e Effect) with(theta, u, conditional, added float64) Effect {
	e.Mode = theta * u
	e.ConditionalSD = theta * math.Sqrt(conditional)
	e.SE = theta * math.Sqrt(conditional+added)
	return e
}
