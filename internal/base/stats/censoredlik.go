package stats

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
)

// normalLikelihood is the likelihood of censored normal observations in the parameters γ = μ/σ and
// θ = 1/σ. Exact values enter by their count, sum and sum of squares, the others by their distinct
// limits.
type normalLikelihood struct {
	n, sum, squares float64
	limits          []countedLimits
}

// countedLimits are equal observations, not exact ones.
type countedLimits struct {
	lo, hi, count float64
}

// curvature is a function of γ and θ at one point: its value, gradient and second derivatives.
type curvature struct {
	value, g, t, gg, gt, tt float64
}

// newNormalLikelihood standardises observations by rough values of their centre and spread, so
// that the sums of squares lose no digits.
func newNormalLikelihood(scaled []Observation) (l normalLikelihood, shift, scale float64) {
	rough := make([]float64, len(scaled))
	for i, o := range scaled {
		switch {
		case math.IsInf(o.Lo, -1):
			rough[i] = o.Hi
		case math.IsInf(o.Hi, 1):
			rough[i] = o.Lo
		default:
			rough[i] = o.Lo + (o.Hi-o.Lo)/2
		}
	}
	shift, scale = rough[0], 1
	if mean, sd, err := meanSD(rough); err == nil {
		shift, scale = mean, sd
	}
	ordered := slices.Clone(scaled)
	slices.SortFunc(ordered, func(a, b Observation) int {
		return cmp.Or(cmp.Compare(a.Lo, b.Lo), cmp.Compare(a.Hi, b.Hi))
	})
	for i, o := range ordered {
		lo, hi := (o.Lo-shift)/scale, (o.Hi-shift)/scale
		switch {
		case o.Lo == o.Hi:
			l.n, l.sum, l.squares = l.n+1, l.sum+lo, l.squares+lo*lo
		case len(l.limits) > 0 && o == ordered[i-1]:
			l.limits[len(l.limits)-1].count++
		default:
			l.limits = append(l.limits, countedLimits{lo: lo, hi: hi, count: 1})
		}
	}
	return l, shift, scale
}

// at evaluates the log-likelihood for θ > 0.
func (l normalLikelihood) at(gamma, theta float64) curvature {
	k := curvature{
		value: l.n*(math.Log(theta)-0.5*math.Log(2*math.Pi)) -
			0.5*(theta*theta*l.squares-2*theta*gamma*l.sum+l.n*gamma*gamma),
		g:  theta*l.sum - l.n*gamma,
		t:  l.n/theta - theta*l.squares + gamma*l.sum,
		gg: -l.n,
		gt: l.sum,
		tt: -l.n/(theta*theta) - l.squares,
	}
	for _, o := range l.limits {
		k = k.plus(o.count, o.at(gamma, theta))
	}
	return k
}

func (k curvature) plus(times float64, o curvature) curvature {
	return curvature{
		value: k.value + times*o.value,
		g:     k.g + times*o.g, t: k.t + times*o.t,
		gg: k.gg + times*o.gg, gt: k.gt + times*o.gt, tt: k.tt + times*o.tt,
	}
}

// at returns ln(Φ(b) − Φ(a)) with a = θ·lo − γ and b = θ·hi − γ.
func (o countedLimits) at(gamma, theta float64) curvature {
	a, b := theta*o.lo-gamma, theta*o.hi-gamma
	switch {
	case math.IsInf(a, -1):
		return oneSided(b, -1, o.hi)
	case math.IsInf(b, 1):
		return oneSided(-a, 1, -o.lo)
	case b-a < 0.5 && max(math.Abs(a), math.Abs(b))*(b-a) < 2:
		return o.narrow(gamma, theta)
	}
	// From the side on which both are negative, where Φ keeps its digits.
	lower, upper := a, b
	if a+b > 0 {
		lower, upper = -b, -a
	}
	logUpper, _ := logNormalCDF(upper)
	logLower, _ := logNormalCDF(lower)
	value := logUpper + math.Log1p(-math.Exp(logLower-logUpper))
	pa, pb := math.Exp(logNormalDensity(a)-value), math.Exp(logNormalDensity(b)-value)
	aa, bb, ab := pa*(a-pa), -pb*(b+pb), pa*pb
	return curvature{
		value: value,
		g:     pa - pb, t: o.hi*pb - o.lo*pa,
		gg: aa + 2*ab + bb,
		gt: -(o.lo*aa + (o.lo+o.hi)*ab + o.hi*bb),
		tt: o.lo*o.lo*aa + 2*o.lo*o.hi*ab + o.hi*o.hi*bb,
	}
}

// oneSided returns ln Φ(v) for v = dg·γ + dt·θ.
func oneSided(v, dg, dt float64) curvature {
	value, slope := logNormalCDF(v)
	bend := -slope * (v + slope)
	return curvature{
		value: value,
		g:     slope * dg, t: slope * dt,
		gg: bend * dg * dg, gt: bend * dg * dt, tt: bend * dt * dt,
	}
}

// narrowNodes and narrowWeights integrate over −1 to 1; for the widths for which they are used, to
// full precision.
var narrowNodes, narrowWeights = func() (at, weight [8]float64) {
	quad.Legendre{}.FixedLocations(at[:], weight[:], -1, 1)
	return at, weight
}()

// narrow integrates the density over limits so close that Φ(b) − Φ(a) would lose its digits. The
// derivatives of the logarithm of an integral are means over it: the gradient the mean gradient,
// the second derivatives their mean plus the covariance of the gradient.
func (o countedLimits) narrow(gamma, theta float64) curvature {
	half, middle := (o.hi-o.lo)/2, o.lo+(o.hi-o.lo)/2
	v := theta*middle - gamma
	var total float64
	var mean curvature
	for i, x := range narrowNodes {
		u := v + theta*half*x
		y := middle + half*x
		w := narrowWeights[i] * math.Exp((v-u)*(v+u)/2) // φ(u)/φ(v)
		total += w
		g, t := u, 1/theta-y*u
		mean = mean.plus(w, curvature{
			g: g, t: t,
			gg: -1 + g*g, gt: y + g*t, tt: -1/(theta*theta) - y*y + t*t,
		})
	}
	mean = curvature{}.plus(1/total, mean)
	return curvature{
		value: logNormalDensity(v) + math.Log(total*theta*half),
		g:     mean.g, t: mean.t,
		gg: mean.gg - mean.g*mean.g, gt: mean.gt - mean.g*mean.t, tt: mean.tt - mean.t*mean.t,
	}
}

func logNormalDensity(z float64) float64 { return -z*z/2 - 0.5*math.Log(2*math.Pi) }

// logNormalCDF returns ln Φ(v) and its derivative φ(v)/Φ(v), for any v.
func logNormalCDF(v float64) (value, slope float64) {
	switch {
	case v > 0:
		value = math.Log1p(-NormalSurvival(v))
	case v > -37:
		value = math.Log(NormalCDF(v))
	default: // Φ(v) ≈ φ(v)/|v|·(1 − 1/v² + 3/v⁴ − 15/v⁶ + 105/v⁸)
		r := 1 / (v * v)
		series := 1 - r*(1-3*r*(1-5*r*(1-7*r)))
		return logNormalDensity(v) + math.Log(series/-v), -v / series
	}
	return value, math.Exp(logNormalDensity(v) - value)
}

// maximum returns where the likelihood is largest, by Newton's method with halved steps. It says
// false if the search did not settle.
func (l normalLikelihood) maximum() (gamma, theta float64, k curvature, ok bool) {
	gamma, theta = 0, 1
	k = l.at(gamma, theta)
	for range 500 {
		det := k.gg*k.tt - k.gt*k.gt
		dg, dt := (k.gt*k.t-k.tt*k.g)/det, (k.gt*k.g-k.gg*k.t)/det
		gain := dg*k.g + dt*k.t
		if !(k.gg < 0 && det > 0) || math.IsNaN(gain) {
			return gamma, theta, k, false
		}
		step := l.stepLength(gamma, theta, dg, dt, k, gain)
		if step == 0 {
			return gamma, theta, k, false
		}
		gamma, theta = gamma+step*dg, theta+step*dt
		k = l.at(gamma, theta)
		// The error after a step is of the order of the square of the one before it.
		if gain < 1e-16 {
			return gamma, theta, k, true
		}
	}
	return gamma, theta, k, false
}

// stepLength returns the part of a Newton step that raises the likelihood and keeps θ > 0; gain is
// twice the rise that the whole step would bring to a parabola.
func (l normalLikelihood) stepLength(gamma, theta, dg, dt float64, k curvature, gain float64) float64 {
	for step := 1.0; step > 1e-12; step /= 2 {
		if theta+step*dt < theta/10 {
			continue
		}
		// Below this gain rounding hides the rise and the whole step is safe.
		if gain < 1e-9 || l.at(gamma+step*dg, theta+step*dt).value >= k.value+1e-4*step*gain {
			return step
		}
	}
	return 0
}
