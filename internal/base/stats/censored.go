package stats

import (
	"errors"
	"fmt"
	"math"
)

// Observation is what is known of one value: that it lies between Lo and Hi, on the scale of the
// readings. Lo = Hi is a value known exactly, Lo = −∞ a value below a limit, Hi = +∞ one above.
// A reading 12 that was rounded to whole numbers is Between(11.5, 12.5).
type Observation struct {
	Lo, Hi float64
}

// Below returns the observation of a value that is at most limit (left-censored).
func Below(limit float64) Observation { return Observation{Lo: math.Inf(-1), Hi: limit} }

// Above returns the observation of a value that is at least limit (right-censored).
func Above(limit float64) Observation { return Observation{Lo: limit, Hi: math.Inf(1)} }

// Between returns the observation of a value from lo to hi (interval-censored).
func Between(lo, hi float64) Observation { return Observation{Lo: lo, Hi: hi} }

// Family says on which scale the values are normally distributed.
type Family uint8

const (
	LogNormal Family = iota + 1 // the natural logarithms of the values are normal
	Normal                      // the values themselves are normal
)

// toScale returns the value on the scale on which it is normal.
func (f Family) toScale(x float64) float64 {
	switch {
	case f == Normal:
		return x
	case x <= 0:
		return math.Inf(-1)
	}
	return math.Log(x)
}

// fromScale undoes toScale.
func (f Family) fromScale(y float64) float64 {
	if f == Normal {
		return y
	}
	return math.Exp(y)
}

// LimitsMethod is a way to confidence limits from a likelihood.
type LimitsMethod uint8

const (
	// WaldLimits are estimate ± z·SE, taken on the scale on which the estimate is nearest to
	// normal: μ, ln σ, the quantile of the normal scale, the standardised distance of an exceedance.
	WaldLimits LimitsMethod = iota + 1
	// ProfileLimits hold all values whose profile log-likelihood is less than z²/2 below the
	// maximum. They keep their confidence better in small and heavily censored samples. An end
	// that the observations do not bound is infinite, or 0, or 1, as the quantity allows.
	ProfileLimits
)

// CensoredFit is a normal or log-normal distribution fitted by maximum likelihood. Make one with
// [FitCensored].
type CensoredFit struct {
	Family Family
	Mu     float64 // mean on the normal scale: of the logarithms for LogNormal
	Sigma  float64 // standard deviation on the normal scale, by maximum likelihood (divisor n)

	// LogLik is the maximal log-likelihood: densities on the scale of the readings for exact
	// values, probabilities for all others.
	LogLik float64

	// Covariance of the estimates of Mu and ln Sigma, the inverse of the observed information.
	Covariance [2][2]float64

	Exact, Left, Right, Interval int // how many observations of each kind

	like         normalLikelihood
	top          curvature // at the maximum
	gamma, theta float64   // where the maximum is, in standardised units
	shift, scale float64   // normal scale = shift + scale·standardised
}

// FitCensored fits the family to observations of which any may be censored at any limit.
//
// The likelihood is maximised over μ/σ and 1/σ, in which it is concave, so that Newton's method
// finds the one maximum from any start. Equal limits are counted once, so that a million
// readings cost what their distinct limits cost.
//
// Conditions: Lo ≤ Hi, neither NaN, not both infinite; Lo < +∞ and Hi > −∞; for [LogNormal] Hi > 0,
// and a Lo of 0 or less counts as no lower limit. Else [ErrArgument]. [ErrNotEstimable] if no
// maximum exists: when one value agrees with every observation (all censored on one side, all
// equal, fewer than two), and when nothing but limits is known and those from above do not lie,
// on average, above those from below.
//
// Source: A. C. Cohen, Truncated and Censored Samples, 1991; D. R. Helsel, Statistics for Censored
// Environmental Data, 2nd ed. 2012, chapter 6; concavity: J. W. Pratt, J Am Stat Assoc
// 1981;76:103-106.
func FitCensored(observations []Observation, family Family) (CensoredFit, error) {
	if family != LogNormal && family != Normal {
		return CensoredFit{}, fmt.Errorf("family %d: want LogNormal or Normal: %w", family, ErrArgument)
	}
	fit := CensoredFit{Family: family}
	scaled := make([]Observation, len(observations))
	jacobian := 0.0
	for i, o := range observations {
		lo, hi := family.toScale(o.Lo), family.toScale(o.Hi)
		if !(o.Lo <= o.Hi) || math.IsInf(lo, 1) || math.IsInf(hi, -1) || (math.IsInf(o.Lo, -1) && math.IsInf(o.Hi, 1)) {
			return CensoredFit{}, fmt.Errorf("observation %d, from %v to %v, cannot be a value of this distribution: %w",
				i+1, o.Lo, o.Hi, ErrArgument)
		}
		scaled[i] = Observation{Lo: lo, Hi: hi}
		switch {
		case lo == hi:
			fit.Exact++
			if family == LogNormal {
				jacobian -= lo
			}
		case math.IsInf(lo, -1):
			fit.Left++
		case math.IsInf(hi, 1):
			fit.Right++
		default:
			fit.Interval++
		}
	}
	if err := checkEstimable(scaled); err != nil {
		return CensoredFit{}, err
	}
	fit.like, fit.shift, fit.scale = newNormalLikelihood(scaled)
	var ok bool
	if fit.gamma, fit.theta, fit.top, ok = fit.like.maximum(); !ok {
		return CensoredFit{}, fmt.Errorf("the likelihood of %d observations has no clear maximum: %w",
			len(observations), ErrNotEstimable)
	}
	fit.Sigma = fit.scale / fit.theta
	fit.Mu = fit.shift + fit.scale*fit.gamma/fit.theta
	fit.LogLik = fit.top.value + jacobian - float64(fit.Exact)*math.Log(fit.scale)
	fit.Covariance = fit.covariance()
	return fit, nil
}

// checkEstimable says whether the likelihood has a maximum with 0 < σ < ∞.
func checkEstimable(scaled []Observation) error {
	highest, lowest := math.Inf(-1), math.Inf(1) // of the lower limits, of the upper limits
	var below, above, belowCount, aboveCount float64
	limitsOnly := true
	for _, o := range scaled {
		highest, lowest = max(highest, o.Lo), min(lowest, o.Hi)
		switch {
		case math.IsInf(o.Lo, -1):
			below, belowCount = below+o.Hi, belowCount+1
		case math.IsInf(o.Hi, 1):
			above, aboveCount = above+o.Lo, aboveCount+1
		default:
			limitsOnly = false
		}
	}
	if highest <= lowest {
		return fmt.Errorf("%d observations, and one value agrees with all of them: there is no spread to estimate: %w",
			len(scaled), ErrNotEstimable)
	}
	// The slope of the likelihood at 1/σ = 0.
	if limitsOnly && below/belowCount <= above/aboveCount {
		return fmt.Errorf("only limits are known, and those of the values below do not lie above those of the values above: %w",
			ErrNotEstimable)
	}
	return nil
}

// covariance transforms the information from μ/σ and 1/σ to μ and ln σ, and inverts it.
func (f CensoredFit) covariance() [2][2]float64 {
	g, t, h := f.gamma, f.theta, f.top
	// With γ = μθ and θ = e^−τ in standardised units: ∂γ/∂μ = θ, ∂γ/∂τ = −γ, ∂θ/∂τ = −θ. The
	// gradient is 0, so that no second derivatives of the transformation enter.
	mm := t * t * h.gg
	mt := -t*g*h.gg - t*t*h.gt
	tt := g*g*h.gg + 2*g*t*h.gt + t*t*h.tt
	det := mm*tt - mt*mt
	s := f.scale
	return [2][2]float64{
		{-tt / det * s * s, mt / det * s},
		{mt / det * s, -mm / det},
	}
}

// SEMu returns the standard error of Mu.
func (f CensoredFit) SEMu() float64 { return math.Sqrt(f.Covariance[0][0]) }

// SELogSigma returns the standard error of ln Sigma.
func (f CensoredFit) SELogSigma() float64 { return math.Sqrt(f.Covariance[1][1]) }

// SESigma returns the standard error of Sigma, Sigma·SE(ln Sigma).
func (f CensoredFit) SESigma() float64 { return f.Sigma * f.SELogSigma() }

// EstimateMu returns Mu with its interval. Errors: [ErrArgument] for a confidence or method not
// given and for a fit that [FitCensored] did not make.
func (f CensoredFit) EstimateMu(c Confidence, method LimitsMethod) (Estimate, error) {
	if err := f.check(c, method); err != nil {
		return Estimate{}, err
	}
	return Estimate{Value: f.Mu, Interval: f.quantileLimits(0, c, method)}, nil
}

// EstimateSigma returns Sigma with its interval. Errors as for [CensoredFit.EstimateMu].
func (f CensoredFit) EstimateSigma(c Confidence, method LimitsMethod) (Estimate, error) {
	if err := f.check(c, method); err != nil {
		return Estimate{}, err
	}
	logs := f.around(math.Log(f.Sigma), f.SELogSigma(), c)
	if method == ProfileLimits {
		logs = f.profileLogSigma(logs, c)
	}
	return Estimate{Value: f.Sigma, Interval: Interval{Lo: math.Exp(logs.Lo), Hi: math.Exp(logs.Hi)}}, nil
}

// Quantile returns the p quantile of the fitted distribution on the scale of the readings, with its
// interval. For [LogNormal] the quantile of ½ is the geometric mean. Errors as for
// [CensoredFit.EstimateMu], and for p not strictly between 0 and 1.
func (f CensoredFit) Quantile(p Probability, c Confidence, method LimitsMethod) (Estimate, error) {
	if err := errors.Join(f.check(c, method), checkRank(0, p, c)); err != nil {
		return Estimate{}, err
	}
	z := quantileZ(p)
	i := f.quantileLimits(z, c, method)
	return Estimate{
		Value:    f.Family.fromScale(f.Mu + z*f.Sigma),
		Interval: Interval{Lo: f.Family.fromScale(i.Lo), Hi: f.Family.fromScale(i.Hi)},
	}, nil
}

// Exceedance returns P(X > x) by the fitted distribution, with its interval. Errors as for
// [CensoredFit.EstimateMu], and for x infinite, NaN or, for [LogNormal], not above 0.
func (f CensoredFit) Exceedance(x float64, c Confidence, method LimitsMethod) (Estimate, error) {
	if err := f.check(c, method); err != nil {
		return Estimate{}, err
	}
	y := f.Family.toScale(x)
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return Estimate{}, fmt.Errorf("exceedance of %v: want a value that the distribution can take: %w", x, ErrArgument)
	}
	eta := (f.Mu - y) / f.Sigma
	v := f.Covariance
	// ∂η/∂μ = 1/σ, ∂η/∂ln σ = −η.
	se := math.Sqrt(v[0][0]/(f.Sigma*f.Sigma) - 2*eta*v[0][1]/f.Sigma + eta*eta*v[1][1])
	i := f.around(eta, se, c)
	if method == ProfileLimits {
		i = f.profileDistance(y, i, c)
	}
	return Estimate{Value: NormalCDF(eta), Interval: Interval{Lo: NormalCDF(i.Lo), Hi: NormalCDF(i.Hi)}}, nil
}

// quantileLimits returns the interval for μ + zσ.
func (f CensoredFit) quantileLimits(z float64, c Confidence, method LimitsMethod) Interval {
	v, zs := f.Covariance, z*f.Sigma
	wald := f.around(f.Mu+zs, math.Sqrt(v[0][0]+2*zs*v[0][1]+zs*zs*v[1][1]), c)
	if method == ProfileLimits {
		return f.profileQuantile(z, wald, c)
	}
	return wald
}

// around returns estimate ± z·se.
func (CensoredFit) around(estimate, se float64, c Confidence) Interval {
	half := normalZ(c) * se
	return Interval{Lo: estimate - half, Hi: estimate + half}
}

func (f CensoredFit) check(c Confidence, method LimitsMethod) error {
	switch {
	case !(f.Sigma > 0):
		return fmt.Errorf("no distribution was fitted: %w", ErrArgument)
	case !c.Known():
		return fmt.Errorf("no confidence given: %w", ErrArgument)
	case method != WaldLimits && method != ProfileLimits:
		return fmt.Errorf("limits method %d: want WaldLimits or ProfileLimits: %w", method, ErrArgument)
	}
	return nil
}

// quantileZ returns the standard normal quantile of p from the tail that keeps its digits.
func quantileZ(p Probability) float64 {
	if f := p.Float(); f <= 0.5 {
		return NormalQuantile(f)
	}
	return -NormalQuantile(toFloat(p.complement()))
}
