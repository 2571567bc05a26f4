package trend

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"

	"rinsate/internal/base/stats"
)

// Unit is a person, a site or a lot in a funnel: Failures of Trials.
type Unit struct {
	Name             string
	Failures, Trials int
}

// FunnelUnit is a unit beside the limits for its number of trials.
type FunnelUnit struct {
	Unit
	Proportion float64
	// Z is (proportion − target)/√(target(1−target)/trials).
	Z float64
	// Inner and Outer are the limits that all but 5 % and all but 0.2 % of units lie within when
	// nothing but chance divides them: exact binomial limits, or those of the random effects where
	// the funnel is over-dispersed.
	Inner, Outer Limits
	// Beyond is how many of the two pairs of limits the unit lies outside: positive above,
	// negative below, 0 for within both.
	Beyond int
}

// Limits is a pair of limits for a proportion, within 0 to 1.
type Limits struct{ Lo, Hi float64 }

// Funnel compares units that should be alike.
type Funnel struct {
	Target float64 // the proportion of all units together
	// Phi is the mean z² after winsorising the most extreme tenth at either end, RawPhi without:
	// 1 is expected when nothing but chance divides the units.
	Phi, RawPhi float64
	// TauSquared is the variance between units (method of moments from Phi), 0 unless
	// OverDispersed.
	TauSquared float64
	// OverDispersed says that Phi is larger than chance allows at level 0.05: Phi·I against χ² with
	// I degrees of freedom. The limits are then target ± z·√(target(1−target)/n + TauSquared).
	OverDispersed bool
	Units         []FunnelUnit // in the order given
}

// winsorised is the share of z-scores pulled in at either end, to their interpolated quantiles.
var winsorised = stats.MustProbability("0.1")

// NewFunnel compares the units with their common proportion. Conditions: two units or more
// (stats.TooFewError), each with 0 ≤ Failures ≤ Trials and Trials over 0 ([ErrReadings]). If nobody
// failed, or everybody, nobody lies outside.
//
// Units are ranked by chance as much as by merit: within the limits there is nothing to rank.
//
// Source: D. J. Spiegelhalter, Stat Med 2005;24:1185-1202, appendix A.1.1 for the limits, A.3 for
// over-dispersion.
func NewFunnel(units []Unit) (Funnel, error) {
	if len(units) < 2 {
		return Funnel{}, tooFew(len(units), 2)
	}
	failures, trials := 0, 0
	for _, u := range units {
		if u.Failures < 0 || u.Failures > u.Trials || u.Trials < 1 {
			return Funnel{}, unreadable("%s has %d failures in %d trials", u.Name, u.Failures, u.Trials)
		}
		failures, trials = failures+u.Failures, trials+u.Trials
	}
	f := Funnel{Target: float64(failures) / float64(trials)}
	f.disperse(units)
	for _, u := range units {
		f.Units = append(f.Units, f.place(u))
	}
	return f, nil
}

// disperse estimates the over-dispersion.
func (f *Funnel) disperse(units []Unit) {
	variance := f.Target * (1 - f.Target)
	if variance <= 0 {
		return
	}
	z := make([]float64, len(units))
	var w1, w2 float64
	for i, u := range units {
		z[i] = f.z(u)
		w := float64(u.Trials) / variance
		w1, w2 = w1+w, w2+w*w
	}
	lo, _ := stats.Quantile(z, winsorised, stats.Gumbel) // z has values, all finite
	hi, _ := stats.Quantile(z, winsorised.Complement(), stats.Gumbel)
	n := float64(len(units))
	for _, v := range z {
		f.RawPhi += v * v / n
		v = min(max(v, lo), hi)
		f.Phi += v * v / n
	}
	f.OverDispersed = mathext.GammaIncRegComp(n/2, n*f.Phi/2) < 0.05
	if f.OverDispersed {
		f.TauSquared = max(0, (n*f.Phi-(n-1))/(w1-w2/w1))
	}
}

func (f *Funnel) z(u Unit) float64 {
	n := float64(u.Trials)
	return (float64(u.Failures)/n - f.Target) / math.Sqrt(f.Target*(1-f.Target)/n)
}

// place puts a unit beside its limits.
func (f *Funnel) place(u Unit) FunnelUnit {
	p := FunnelUnit{Unit: u, Proportion: float64(u.Failures) / float64(u.Trials)}
	if f.Target > 0 && f.Target < 1 {
		p.Z = f.z(u)
	}
	p.Inner, p.Outer = f.LimitsAt(u.Trials, 0.025), f.LimitsAt(u.Trials, 0.001)
	for _, l := range []Limits{p.Inner, p.Outer} {
		// A proportion on a limit up to rounding lies within.
		switch {
		case p.Proportion > l.Hi+1e-12:
			p.Beyond++
		case p.Proportion < l.Lo-1e-12:
			p.Beyond--
		}
	}
	return p
}

// LimitsAt returns the limits for so many trials that leave tail at either end.
func (f Funnel) LimitsAt(trials int, tail float64) Limits {
	if f.TauSquared > 0 {
		half := -stats.NormalQuantile(tail) * math.Sqrt(f.Target*(1-f.Target)/float64(trials)+f.TauSquared)
		return Limits{Lo: max(0, f.Target-half), Hi: min(1, f.Target+half)}
	}
	return Limits{
		Lo: min(1, max(0, FunnelLimit(trials, f.Target, tail))),
		Hi: min(1, max(0, FunnelLimit(trials, f.Target, 1-tail))),
	}
}

// FunnelLimit returns the exact binomial control limit (r−α)/n at probability p, for n trials and
// the proportion target: r is the smallest number with P(X ≤ r) ≥ p, and α = (P(X ≤ r) − p)/P(X = r)
// interpolates between r−1 and r. It may be a little below 0. NaN unless n ≥ 1, 0 ≤ target ≤ 1
// and 0 < p < 1; the target itself when it is 0 or 1.
//
// Source: Spiegelhalter 2005, appendix A.1.1.
func FunnelLimit(n int, target, p float64) float64 {
	switch {
	case n < 1 || !(0 <= target && target <= 1) || !(0 < p && p < 1):
		return math.NaN()
	case target == 0 || target == 1:
		return target
	}
	atMost := func(r int) float64 {
		if r >= n {
			return 1
		}
		return mathext.RegIncBeta(float64(n-r), float64(r+1), 1-target)
	}
	r := sort.Search(n, func(r int) bool { return atMost(r) >= p })
	below := 0.0
	if r > 0 {
		below = atMost(r - 1)
	}
	return (float64(r) - (atMost(r)-p)/(atMost(r)-below)) / float64(n)
}
