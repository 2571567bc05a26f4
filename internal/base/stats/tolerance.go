package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// ToleranceFactor returns the one-sided normal tolerance factor K: in samples of n from a normal
// distribution, mean + K·SD (divisor n−1) is above at least good of the population with confidence
// c; mean − K·SD is below it likewise. It is the quantile c of the noncentral t distribution with
// n−1 degrees of freedom and noncentrality z₍good₎·√n, divided by √n.
//
// Conditions: 2 ≤ n ≤ MaxCount, ½ ≤ good < 1, ½ ≤ c, else [ErrArgument]; a [TooFewError] for n < 2.
// If the readings are log-normal, apply it to their logarithms.
//
// Source: G. J. Resnikoff & G. J. Lieberman, Tables of the Non-Central t-Distribution, 1957; D. B.
// Owen, Technometrics 1968;10:445-478; NIST/SEMATECH e-Handbook 7.2.6.3.
func ToleranceFactor(n int, good Probability, c Confidence) (float64, error) {
	if err := checkTolerance(n, good, c); err != nil {
		return 0, err
	}
	z, risk, root := -NormalQuantile(toFloat(good.complement())), toFloat(c.risk()), math.Sqrt(float64(n))
	if z == 0 && risk == 0.5 {
		return 0, nil
	}
	law := newScaleLaw(n - 1)
	// K misses if √n·(K·S − z) < Z, with S the sample's SD and Z its standardised mean.
	return solve(z+1/root, math.MaxFloat64, func(k float64) (excess, slope float64) {
		miss, fall := 0.0, 0.0
		law.integrate(z/k, 1/(k*root), func(s, weight float64) {
			u := root * (k*s - z)
			miss += weight * NormalSurvival(u)
			fall += weight * root * s * distuv.UnitNormal.Prob(u)
		})
		return risk - miss, fall
	}), nil
}

func checkTolerance(n int, good Probability, c Confidence) error {
	switch {
	case !good.Known() || good.text == "1" || good.Float() < 0.5:
		return fmt.Errorf("proportion of the population %q: want at least 0.5 and less than 1: %w", good, ErrArgument)
	case !c.Known() || c.Float() < 0.5:
		return fmt.Errorf("confidence %q: want at least 0.5 and less than 1: %w", c, ErrArgument)
	case n < 0 || n > MaxCount:
		return fmt.Errorf("%d observations: want at most %d: %w", n, MaxCount, ErrArgument)
	case n < 2:
		return &TooFewError{Have: n, Need: 2}
	}
	return nil
}

// scaleLaw is the distribution of a sample's standard deviation in units of the population's:
// √(χ²/2h) with 2h degrees of freedom. Outside lo to hi its density is below 1e-18 of its peak.
type scaleLaw struct {
	h, lo, hi float64
}

func newScaleLaw(df int) scaleLaw {
	// The density falls as e^−h(s²−1−2·ln s) from about s = 1.
	h := float64(df) / 2
	fall := 42 / h
	hi := solve(1+math.Sqrt(fall), math.MaxFloat64, func(s float64) (excess, slope float64) {
		return s*s - 1 - 2*math.Log(s) - fall, 2 * (s - 1/s)
	})
	below := solve(fall/2, math.MaxFloat64, func(v float64) (excess, slope float64) {
		return 2*v - 1 + math.Exp(-2*v) - fall, 2 * (1 - math.Exp(-2*v))
	})
	return scaleLaw{h: h, lo: math.Exp(-below), hi: hi}
}

// integrate calls f with nodes and weights for the expectation of a function that changes only
// within a few widths of centre; the nodes are closer there.
func (l scaleLaw) integrate(centre, width float64, f func(s, weight float64)) {
	const nodes, far = 48, 9
	within := func(s float64) float64 { return min(max(s, l.lo), l.hi) }
	ends := [4]float64{l.lo, within(centre - far*width), within(centre + far*width), l.hi}
	var at, weight [nodes]float64
	for i, lo := range ends[:3] {
		hi := ends[i+1]
		if !(lo < hi) {
			continue
		}
		quad.Legendre{}.FixedLocations(at[:], weight[:], lo, hi)
		for j, s := range at {
			density := 2 * l.h / s * math.Exp(logPoisson(l.h, l.h*s*s))
			f(s, weight[j]*density)
		}
	}
}
