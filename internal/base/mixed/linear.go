package mixed

import (
	"fmt"
	"math"
	"slices"
)

// Criterion is what the variances are chosen by.
type Criterion string

const (
	// REML is the restricted likelihood, that of the part of the response that does not depend on
	// the fixed effects. Its variances are not biased by the estimation of the fixed effects; in a
	// balanced layout they are those of the analysis of variance, where these are positive. Fits
	// with different fixed effects cannot be compared by it.
	REML Criterion = "reml"

	// ML is the likelihood itself.
	ML Criterion = "ml"
)

// Linear is a linear mixed model fitted to rows.
type Linear struct {
	Criterion Criterion `json:"criterion"`

	// Deviance is −2 log of the restricted or the full likelihood, all constants included; for REML
	// it is called the REML criterion, and depends on the units of the covariates.
	Deviance      float64 `json:"deviance"`
	LogLikelihood float64 `json:"log_likelihood"`

	Rows        int           `json:"rows"`
	Fixed       []Coefficient `json:"fixed"`
	Covariance  [][]float64   `json:"covariance"` // of the estimates in Fixed
	Dropped     []Dropped     `json:"dropped,omitempty"`
	Terms       []Term        `json:"terms"` // in the order of Design.Random
	Residual    Residual      `json:"residual"`
	Convergence Convergence   `json:"convergence"`

	profile profile
}

// Residual is the scatter that no term explains.
type Residual struct {
	Variance float64 `json:"variance"`
	SD       float64 `json:"sd"`
	Share    float64 `json:"share"`
}

// FitLinear estimates a linear mixed model, by REML unless told otherwise ("" is REML). The
// standard errors of fixed effects are those of generalised least squares with the estimated
// variances.
//
// It needs a design that [Design.Check] accepts, without Trials, with at least two rows more than
// fixed columns, no random factor with a level for every row and none that the fixed terms
// determine. It returns [ErrData] if the response does not vary or is fitted without any residual,
// or if a random factor cannot be told from the rest, a [stats.TooFewError], [stats.ErrArgument],
// or [ErrConvergence].
//
// Source: Bates, Mächler, Bolker & Walker, J Stat Softw 2015;67(1), sections 3.3 to 3.5; derivatives
// of the likelihood: D. A. Harville, J Am Stat Assoc 1977;72:320-338, section 4.
func FitLinear(d Design, c Criterion) (*Linear, error) {
	if c == "" {
		c = REML
	}
	switch {
	case c != REML && c != ML:
		return nil, argument("criterion %q: want %q or %q", c, REML, ML)
	case d.Trials != nil:
		return nil, argument("a linear model has no trials")
	}
	f, err := newFrame(d, d.Rows())
	if err != nil {
		return nil, err
	}
	if slices.Min(d.Response) == slices.Max(d.Response) {
		return nil, unfit("the response is %g in all %d rows", d.Response[0], d.Rows())
	}
	response := standardised(d.Response)
	l := linear{solver: newSolver(newSums(f, response), c == REML), response: response}
	start, err := l.start(d)
	if err != nil {
		return nil, err
	}
	return l.fit(d, c, start)
}

// linear is a linear model being fitted.
type linear struct {
	*solver
	response numeric
}

// freedom returns the number of independent values in the likelihood.
func (s *solver) freedom() float64 {
	if s.restricted {
		return float64(s.rows - s.p())
	}
	return float64(s.rows)
}

// start looks for terms that the fixed columns determine and for a response that they do. It
// returns the φ to start from: without other terms and in a balanced layout, |Z'Py|² is about
// 1 + nγ times what it would be for γ = 0.
func (l linear) start(d Design) ([]float64, error) {
	p, ok := newSolver(l.sums, true).at(make([]float64, len(l.terms)))
	if !ok {
		return nil, unfit("the fixed terms fit the response exactly, so that nothing is left to divide into variances")
	}
	start := make([]float64, len(l.terms))
	for f, t := range l.terms {
		if p.trace[f] <= 1e-9*float64(l.rows) {
			return nil, unfit("%s is determined by the fixed terms; leave it out or make it fixed only", d.Random[t.position].Name)
		}
		times := p.quad[f] / p.trace[f] * float64(l.rows-l.p()) / p.rss
		start[f] = math.Asinh(math.Sqrt(max(times-1, 0.1)))
	}
	return start, nil
}

// deviance is the objective: −2 log likelihood of a response in standard units at its best residual
// variance.
func (l linear) deviance(x, gradient []float64) float64 {
	ratio, slope := make([]float64, len(l.terms)), make([]float64, len(l.terms))
	for f, t := range l.terms {
		if math.Abs(x[f]) > farthest {
			return math.Inf(1)
		}
		ratio[f], slope[f] = ratioOf(x[f], t.perLevel)
	}
	p, ok := l.at(ratio)
	if !ok {
		return math.Inf(1)
	}
	m := l.freedom()
	for f := range l.terms {
		gradient[f] = (p.trace[f] - m*p.quad[f]/p.rss) * slope[f]
	}
	return p.determinants(l.restricted) + m*(1+math.Log(2*math.Pi*p.rss/m))
}

// determinants returns the part of the deviance without the response.
func (p parts) determinants(restricted bool) float64 {
	if restricted {
		return p.logH + p.logX
	}
	return p.logH
}

// slopeAtZero returns the derivative of the deviance by the ratio of a term that is zero.
func (l linear) slopeAtZero(x []float64, f int) float64 {
	ratio := make([]float64, len(l.terms))
	for g, t := range l.terms {
		if g != f {
			ratio[g], _ = ratioOf(x[g], t.perLevel)
		}
	}
	p, ok := l.at(ratio)
	if !ok {
		return math.Inf(-1)
	}
	return p.trace[f] - l.freedom()*p.quad[f]/p.rss
}

func (l linear) fit(d Design, c Criterion, start []float64) (*Linear, error) {
	v := variances{objective: l.deviance, terms: len(l.terms), noise: rounding * l.freedom(), slope: l.slopeAtZero}
	best, zero := v.settle(start)
	if slices.Max(best.x) > farthest-2 || math.IsInf(best.value, 1) {
		return nil, unfit("the terms fit the response exactly, so that no residual is left")
	}
	if !(best.decrement < settled) {
		return nil, fmt.Errorf("still %.1g standard errors away after %d steps: %w",
			math.Sqrt(best.decrement), best.iterations, ErrConvergence)
	}
	ratio := make([]float64, len(l.terms))
	for f, t := range l.terms {
		if !zero[f] {
			ratio[f], _ = ratioOf(best.x[f], t.perLevel)
		}
	}
	p, ok := l.at(ratio)
	if !ok {
		return nil, fmt.Errorf("the likelihood cannot be evaluated at its maximum: %w", ErrConvergence)
	}
	return l.report(d, c, best, ratio, p), nil
}

// report fills in the result from the solver's state at the maximum.
func (l linear) report(d Design, c Criterion, best minimum, ratio []float64, p parts) *Linear {
	m, unit := l.freedom(), l.response.scale
	sigma2 := p.rss / m
	fit := &Linear{
		Criterion: c, Rows: l.rows, Dropped: l.fixed.dropped, Terms: terms(d, l.frame),
		Deviance:    best.value + l.unitsDeviance(),
		Convergence: Convergence{Evaluations: l.evaluated, Distance: math.Sqrt(best.decrement)},
	}
	fit.LogLikelihood = -fit.Deviance / 2
	residual := sigma2 * unit * unit
	for f, t := range l.terms {
		term := &fit.Terms[t.position]
		term.Variance = ratio[f] * residual
		term.SD = math.Sqrt(term.Variance)
	}
	fit.Residual = Residual{Variance: residual, SD: math.Sqrt(residual), Share: share(fit.Terms, residual)}
	l.predict(fit, math.Sqrt(residual))
	q, width := l.q, l.p()
	covariance := make([]float64, width*width)
	for a := range width {
		for b := range width {
			covariance[a*width+b] = sigma2 * l.inverse[(q+a)*(l.width-1)+q+b]
		}
	}
	fit.Fixed = l.fixed.coefficients(l.coefficient[q:], covariance, unit, l.response.centre)
	fit.Covariance = matrix(covariance, width)
	fit.profile = profile{linear: l, best: best, sigma2: sigma2, ratio: ratio}
	return fit
}

// unitsDeviance returns what the deviance in standard units lacks.
func (l linear) unitsDeviance() float64 {
	units := 2 * l.freedom() * math.Log(l.response.scale)
	if l.restricted {
		units += 2 * l.fixed.logScales()
	}
	return units
}

// predict fills in the effects; it leaves K⁻¹ of all dense columns in the solver.
func (l linear) predict(fit *Linear, sigma float64) {
	l.invert(false)
	l.deviations(fit, sigma, func(e *Effect, sd float64) { e.ConditionalSD = sd })
	l.invert(true)
	l.deviations(fit, sigma, func(e *Effect, sd float64) { e.SE = sd })
	unit := l.response.scale
	lead := fit.Terms[l.terms[0].position].Effects
	for i, n := range l.count {
		lead[i].Mode = unit * l.ratio[0] * l.residual(i) / (1 + l.ratio[0]*n)
	}
	for _, t := range l.terms[1:] {
		for level := range fit.Terms[t.position].Effects {
			fit.Terms[t.position].Effects[level].Mode = unit * l.coefficient[t.from+level]
		}
	}
}

// deviations hands out the root of the diagonal of σ²ΛK⁻¹Λ for each level, for the K⁻¹ that is in
// the solver.
func (l linear) deviations(fit *Linear, sigma float64, set func(e *Effect, sd float64)) {
	lead := fit.Terms[l.terms[0].position].Effects
	for i, n := range l.count {
		shrink := l.ratio[0] / (1 + l.ratio[0]*n)
		set(&lead[i], sigma*math.Sqrt(shrink+shrink*shrink*l.spread(i)))
	}
	for f, t := range l.terms[1:] {
		for c := t.from; c < t.to; c++ {
			set(&fit.Terms[t.position].Effects[c-t.from], sigma*math.Sqrt(l.ratio[f+1]*l.inverse[c*(l.width-1)+c]))
		}
	}
}
