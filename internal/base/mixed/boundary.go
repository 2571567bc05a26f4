package mixed

import (
	"math"
	"slices"
)

// The variance ratio γ of a term is searched for as γ = sinh²φ/n, n being the rows per level. In a
// balanced one-way layout 1+nγ = cosh²φ, whose logarithm is smooth and convex in φ, quadratic near
// zero and linear far from it. The deviance is even in φ and smooth across zero, so that no bound
// is needed: where the best γ ≥ 0 is zero, it has an ordinary minimum at φ = 0.

// ratioOf returns γ and its derivative by φ.
func ratioOf(phi, perLevel float64) (ratio, slope float64) {
	root := math.Sinh(phi)
	return root * root / perLevel, math.Sinh(2*phi) / perLevel
}

// phiOf returns the φ ≥ 0 of a ratio.
func phiOf(ratio, perLevel float64) float64 { return math.Asinh(math.Sqrt(ratio * perLevel)) }

const (
	farthest = 16  // φ beyond which a variance ratio of 1e13 rows is taken for infinite
	nearZero = 0.1 // φ below which zero is tried
	outward  = 0.5 // φ at which a term that was zero is tried again
	// gain is the fall of the deviance that makes one minimum better than another.
	gain = 1e-9
)

// variances is a deviance of which the first parameters are the φ of the terms.
type variances struct {
	objective
	terms int
	noise float64 // as for minimise
	// slope returns the derivative of the deviance by γ of a term whose φ is 0.
	slope func(x []float64, f int) float64
}

// settle finds the minimum over γ ≥ 0 and says which terms are exactly zero. A likelihood can have
// one maximum at zero and another away from it; if a term ends at zero, a second search from a
// large variance decides.
func (v variances) settle(start []float64) (minimum, []bool) {
	best, zero := v.from(start)
	if !slices.Contains(zero, true) {
		return best, zero
	}
	far := slices.Clone(start)
	for f := range v.terms {
		far[f] = 3
	}
	if other, z := v.from(far); other.decrement < settled && other.value < best.value-gain {
		return other, z
	}
	return best, zero
}

// from searches from one start.
func (v variances) from(start []float64) (minimum, []bool) {
	zero, tried := make([]bool, v.terms), make([]bool, v.terms)
	at := v.within(start, zero)
	for {
		f := v.smallest(at.x, zero, tried)
		if f < 0 {
			break
		}
		tried[f], zero[f] = true, true
		trial := v.within(at.x, zero)
		minimal := v.slope(trial.x, f) >= 0
		switch better := trial.value <= at.value+gain; {
		case better && minimal:
			at = trial
			continue
		case better:
			// The search ran into φ = 0, where the deviance is level but falls to both sides.
			trial.x[f] = outward
			zero[f] = false
			if again := v.within(trial.x, zero); again.value <= at.value+gain {
				at = again
			}
		}
		zero[f] = false
	}
	for f, z := range zero {
		if !z || v.slope(at.x, f) >= 0 {
			continue
		}
		// Terms set to zero later made room for this one.
		zero[f], at.x[f] = false, outward
		at = v.within(at.x, zero)
	}
	for f := range v.terms {
		at.x[f] = math.Abs(at.x[f])
	}
	return at, zero
}

// smallest returns the term nearest to zero that is still to be tried there, or -1.
func (v variances) smallest(x []float64, zero, tried []bool) int {
	best := -1
	for f := range v.terms {
		if zero[f] || tried[f] || math.Abs(x[f]) > nearZero {
			continue
		}
		if best < 0 || math.Abs(x[f]) < math.Abs(x[best]) {
			best = f
		}
	}
	return best
}

// within searches over the parameters that are not held at zero. The gradient is of those alone.
func (v variances) within(start []float64, zero []bool) minimum {
	f, free, full := v.free(start, zero)
	m := minimise(f, pick(full, free), v.noise)
	for k, i := range free {
		full[i] = m.x[k]
	}
	m.x = full
	return m
}

// free returns the deviance as a function of the parameters that are not held at zero, their
// positions, and all parameters, which the function overwrites.
func (v variances) free(start []float64, zero []bool) (f objective, free []int32, full []float64) {
	full = slices.Clone(start)
	for i := range start {
		if i < v.terms && zero[i] {
			full[i] = 0
		} else {
			free = append(free, int32(i))
		}
	}
	gradient := make([]float64, len(full))
	return func(x, g []float64) float64 {
		for k, i := range free {
			full[i] = x[k]
		}
		value := v.objective(full, gradient)
		for k, i := range free {
			g[k] = gradient[i]
		}
		return value
	}, free, full
}
