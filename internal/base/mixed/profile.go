package mixed

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
)

// profile is what the interval of a standard deviation is made from.
type profile struct {
	linear
	best   minimum
	sigma2 float64 // residual variance in standard units
	ratio  []float64
}

// Profile returns the profile likelihood interval of the standard deviation of a random factor, or
// of the residual under [ResidualName]: all values at which the deviance, at its least over
// everything else, is at most z² above the minimum, z being the normal quantile of 1−(1−c)/2. It
// uses the criterion of the fit; lme4's profiles always use ML. The lower limit is 0 if zero is
// among the values. The interval is not symmetric, and with few levels it is wide, as it should be.
//
// It returns [stats.ErrArgument] for an unknown name or no confidence, and [ErrConvergence]. It
// costs some ten to a hundred evaluations of the likelihood, and may be called at the same time
// from several goroutines.
//
// Source: Bates, Mächler, Bolker & Walker, J Stat Softw 2015;67(1), section 5.1.
func (fit *Linear) Profile(name string, c stats.Confidence) (stats.Interval, error) {
	if !c.Known() {
		return stats.Interval{}, argument("no confidence given")
	}
	which, sd := residualOnly, fit.Residual.SD
	if name != ResidualName {
		position := slices.IndexFunc(fit.Terms, func(t Term) bool { return t.Name == name })
		which = slices.IndexFunc(fit.profile.terms, func(t term) bool { return t.position == position })
		if which < 0 {
			return stats.Interval{}, argument("no random factor is called %q", name)
		}
		sd = fit.Terms[position].SD
	}
	// A solver of its own: the fit may be shared.
	p := fit.profile
	p.solver = newSolver(p.sums, p.restricted)
	z := -distuv.UnitNormal.Quantile((1 - c.Float()) / 2)
	unit := p.response.scale
	curve := p.curve(which, sd/unit)
	hi, err := curve.reach(z, 1)
	if err != nil {
		return stats.Interval{}, fmt.Errorf("upper limit of %s: %w", name, err)
	}
	lo := 0.0
	if sd > 0 {
		if lo, err = curve.reach(z, -1); err != nil {
			return stats.Interval{}, fmt.Errorf("lower limit of %s: %w", name, err)
		}
	}
	return stats.Interval{Lo: lo * unit, Hi: hi * unit}, nil
}

// near is the decrement at which a point of the profile is taken: its deviance is off by half as
// much. It is above settled because far from the estimate, where a term with few levels can hardly
// be told from the intercept, digits are lost.
const near = 1e-8

// residualOnly stands for the residual where a number stands for a term.
const residualOnly = -1

// free returns the deviance of a response in standard units at any residual variance, with its
// derivatives by the logarithm of that variance and by the ratios.
func (p profile) free(ratio []float64, logSigma2 float64) (value, bySigma float64, byRatio []float64) {
	k, ok := p.at(ratio)
	if !ok {
		return math.Inf(1), 0, make([]float64, len(ratio))
	}
	m, sigma2 := p.freedom(), math.Exp(logSigma2)
	byRatio = make([]float64, len(ratio))
	for f := range ratio {
		byRatio[f] = k.trace[f] - k.quad[f]/sigma2
	}
	return k.determinants(p.restricted) + m*(math.Log(2*math.Pi)+logSigma2) + k.rss/sigma2, m - k.rss/sigma2, byRatio
}

// curve is the profile deviance of one standard deviation.
type curve struct {
	profile
	which int
	sd    float64 // the estimate, in standard units
	// warm is where the last search ended: log σ², then the φ of the other terms.
	warm []float64
}

func (p profile) curve(which int, sd float64) *curve {
	c := &curve{profile: p, which: which, sd: sd, warm: []float64{math.Log(p.sigma2)}}
	if which == residualOnly {
		c.warm = nil
	}
	for f, t := range p.terms {
		if f != which {
			// A search cannot leave φ = 0, where the deviance is level.
			c.warm = append(c.warm, max(0.05, phiOf(p.ratio[f], t.perLevel)))
		}
	}
	return c
}

// at returns the least deviance with the standard deviation at sd, and its derivative by sd.
func (c *curve) at(sd float64) (value, slope float64, err error) {
	value, slope, warm, err := c.from(sd, c.warm)
	if err == nil {
		c.warm = warm
	}
	return value, slope, err
}

func (c *curve) from(sd float64, start []float64) (value, slope float64, warm []float64, err error) {
	m := minimise(func(x, gradient []float64) float64 {
		v, by := c.constrained(sd, x, gradient)
		slope = by
		return v
	}, start, 100*rounding*c.freedom())
	if !(m.decrement < near) {
		return 0, 0, nil, fmt.Errorf("the profile at %g was not found: %w", sd*c.response.scale, ErrConvergence)
	}
	value, slope = c.constrained(sd, m.x, m.gradient)
	for i := range m.x {
		if i > 0 || c.which == residualOnly {
			m.x[i] = max(0.05, math.Abs(m.x[i]))
		}
	}
	return value, slope, m.x, nil
}

// constrained evaluates the deviance with the standard deviation held; x as in warm.
func (c *curve) constrained(sd float64, x, gradient []float64) (value, bySD float64) {
	logSigma2, rest, byRest := 2*math.Log(sd), x, gradient
	if c.which != residualOnly {
		logSigma2, rest, byRest = x[0], x[1:], gradient[1:]
	}
	ratio, slope := make([]float64, len(c.terms)), make([]float64, len(c.terms))
	next := 0
	for f, t := range c.terms {
		if f == c.which {
			ratio[f] = sd * sd * math.Exp(-logSigma2)
			continue
		}
		if math.Abs(rest[next]) > farthest {
			return math.Inf(1), 0
		}
		ratio[f], slope[f] = ratioOf(rest[next], t.perLevel)
		next++
	}
	value, bySigma, byRatio := c.free(ratio, logSigma2)
	next = 0
	for f := range c.terms {
		if f != c.which {
			byRest[next] = byRatio[f] * slope[f]
			next++
		}
	}
	if c.which == residualOnly {
		return value, 2 * bySigma / sd
	}
	gradient[0] = bySigma - byRatio[c.which]*ratio[c.which]
	return value, 2 * byRatio[c.which] * sd * math.Exp(-logSigma2)
}

// reach returns the standard deviation above or below the estimate at which the root of the rise
// of the deviance is z; 0 if it is less than that at 0.
func (c *curve) reach(z, side float64) (float64, error) {
	warm := c.warm
	defer func() { c.warm = warm }()
	rise := func(sd float64) (root, slope float64, err error) {
		value, by, err := c.at(sd)
		root = math.Sqrt(max(0, value-c.best.value))
		return root, by / (2 * root), err
	}
	inside, outside, err := c.bracket(z, side, rise)
	if err != nil || outside == 0 || math.IsInf(outside, 1) {
		return outside, err
	}
	// Newton's method, kept between the two.
	at := outside
	for range 100 {
		root, slope, err := rise(at)
		if err != nil {
			return 0, err
		}
		if root < z {
			inside = at
		} else {
			outside = at
		}
		next := at - (root-z)/slope
		if !(min(inside, outside) < next && next < max(inside, outside)) {
			next = inside + (outside-inside)/2
		}
		if math.Abs(next-at) <= 1e-11*at {
			return next, nil
		}
		at = next
	}
	return at, nil
}

// bracket returns a value where the root of the rise is below z and one where it is not; 0 if there
// is none below the estimate, and infinity if there is none above.
func (c *curve) bracket(z, side float64, rise func(sd float64) (root, slope float64, err error)) (inside, outside float64, err error) {
	inside = c.sd
	if side < 0 {
		if c.which != residualOnly {
			if root, _, err := rise(0); err != nil || root <= z {
				return c.sd, 0, err
			}
		}
		for outside = c.sd / 2; ; outside /= 2 {
			root, _, err := rise(outside)
			if err != nil || root > z {
				return inside, outside, err
			}
			inside = outside
		}
	}
	// Zero has no scale of its own: begin where a level's mean would show it.
	outside = 1.5 * c.sd
	if c.sd == 0 {
		outside = math.Sqrt(c.sigma2 / c.terms[c.which].perLevel)
	}
	for range 200 {
		root, _, err := rise(outside)
		if err != nil || root > z {
			return inside, outside, err
		}
		inside, outside = outside, 2*outside
	}
	return inside, math.Inf(1), nil
}
