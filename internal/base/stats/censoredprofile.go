package stats

import "math"

// The limits of a profile likelihood are looked for along straight lines. All (γ, θ) with the same
// quantile μ + zσ = q lie on γ = qθ − z, all with the same standardised distance (μ − y)/σ = η on
// γ = yθ + η, all with the same σ on θ = 1/σ; and along a line the likelihood is concave. Because
// the region of high likelihood is convex, the values that it holds form one interval.

// ray is a line of parameters: a point and a direction.
type ray struct {
	gamma, theta, dg, dt float64
}

// profiled is a quantity whose profile is wanted, in standardised units: the ray on which it has a
// value, and the slope of the likelihood when the value changes and θ, or γ for σ, stays.
type profiled struct {
	ray   func(value float64) ray
	slope func(k curvature, theta float64) float64
}

// profileQuantile returns the profile interval for μ + zσ, given the Wald interval.
func (f CensoredFit) profileQuantile(z float64, wald Interval, c Confidence) Interval {
	inUnits := func(q float64) float64 { return (q - f.shift) / f.scale }
	i := f.profile(Interval{Lo: inUnits(wald.Lo), Hi: inUnits(wald.Hi)}, c, profiled{
		ray:   func(q float64) ray { return ray{gamma: q*f.theta - z, theta: f.theta, dg: q, dt: 1} },
		slope: func(k curvature, theta float64) float64 { return k.g * theta },
	})
	return Interval{Lo: f.shift + f.scale*i.Lo, Hi: f.shift + f.scale*i.Hi}
}

// profileDistance returns the profile interval for (μ − y)/σ, given the Wald interval.
func (f CensoredFit) profileDistance(y float64, wald Interval, c Confidence) Interval {
	y = (y - f.shift) / f.scale
	return f.profile(wald, c, profiled{
		ray:   func(eta float64) ray { return ray{gamma: y*f.theta + eta, theta: f.theta, dg: y, dt: 1} },
		slope: func(k curvature, _ float64) float64 { return k.g },
	})
}

// profileLogSigma returns the profile interval for ln σ, given the Wald interval.
func (f CensoredFit) profileLogSigma(wald Interval, c Confidence) Interval {
	unit := math.Log(f.scale)
	i := f.profile(Interval{Lo: wald.Lo - unit, Hi: wald.Hi - unit}, c, profiled{
		ray:   func(tau float64) ray { return ray{gamma: f.gamma, theta: math.Exp(-tau), dg: 1, dt: 0} },
		slope: func(k curvature, theta float64) float64 { return -theta * k.t },
	})
	return Interval{Lo: unit + i.Lo, Hi: unit + i.Hi}
}

// profile returns where twice the drop of the profile log-likelihood is z², on both sides.
func (f CensoredFit) profile(wald Interval, c Confidence, p profiled) Interval {
	half := wald.Width() / 2
	centre, z := wald.Lo+half, normalZ(c)
	return Interval{
		Lo: centre - f.profileDistanceTo(z, centre, -half, p),
		Hi: centre + f.profileDistanceTo(z, centre, half, p),
	}
}

// profileDistanceTo returns how far from centre, in the direction of half, the signed root of twice
// the drop is z. The root is nearly linear, so that Newton's method needs few steps from half.
func (f CensoredFit) profileDistanceTo(z, centre, half float64, p profiled) float64 {
	sign := math.Copysign(1, half)
	root := func(distance float64) (r, slope float64) {
		k, theta := f.like.along(p.ray(centre + sign*distance))
		r = math.Sqrt(max(0, 2*(f.top.value-k.value)))
		return r, -sign * p.slope(k, theta) / r
	}
	inside, outside := 0.0, math.Abs(half)
	for r, _ := root(outside); r < z; r, _ = root(outside) {
		inside, outside = outside, 2*outside
		if outside > 1e9*math.Abs(half) {
			return math.Inf(1) // the likelihood levels off above the limit
		}
	}
	at := outside
	for range 100 {
		r, slope := root(at)
		if r < z {
			inside = at
		} else {
			outside = at
		}
		next := at - (r-z)/slope
		if !(inside <= next && next <= outside) {
			next = inside + (outside-inside)/2
		}
		if math.Abs(next-at) <= 1e-12*at {
			return next
		}
		at = next
	}
	return at
}

// along returns the likelihood where it is largest on the ray, and θ there. If it rises all the way
// to θ = 0 it returns a point so near that the value no longer changes.
func (l normalLikelihood) along(r ray) (k curvature, theta float64) {
	gamma, theta := r.gamma, r.theta
	k = l.at(gamma, theta)
	for range 100 {
		slope := r.dg*k.g + r.dt*k.t
		bend := r.dg*r.dg*k.gg + 2*r.dg*r.dt*k.gt + r.dt*r.dt*k.tt
		gain := -slope * slope / bend
		if !(gain > 0) {
			break
		}
		dg, dt := -slope/bend*r.dg, -slope/bend*r.dt
		step := l.stepLength(gamma, theta, dg, dt, k, gain)
		if step == 0 {
			break
		}
		gamma, theta = gamma+step*dg, theta+step*dt
		k = l.at(gamma, theta)
		if gain < 1e-14 {
			break
		}
	}
	return k, theta
}
