package stats

import (
	"fmt"
	"math"
)

// PredictAtMost returns the probability that at most j of the next m units have the property, the
// sum of [Posterior.Predict] from 0 to j. NaN for m < 0 or above [MaxPopulation].
func (d Posterior) PredictAtMost(j, m int) float64 {
	switch {
	case !d.valid() || m < 0 || m > MaxPopulation:
		return math.NaN()
	case j >= m:
		return 1
	}
	sum := 0.0
	for i := range j + 1 {
		sum += d.Predict(i, m)
	}
	return min(1, sum)
}

// PredictMoreThan returns the probability that more than j of the next m units have the property,
// summed from its own side. NaN for m < 0 or above [MaxPopulation].
func (d Posterior) PredictMoreThan(j, m int) float64 {
	return Posterior{A: d.B, B: d.A}.PredictAtMost(m-j-1, m)
}

// PredictInterval returns the counts lo and hi between which the number of the next m units with the
// property lies: fewer than lo have probability at most (1−c)/2, and so have more than hi. It
// returns [ErrArgument] for the zero value, for c not given and for m < 0 or above [MaxPopulation].
func (d Posterior) PredictInterval(m int, c Confidence) (lo, hi int, err error) {
	if !d.valid() || !c.Known() || m < 0 || m > MaxPopulation {
		return 0, 0, fmt.Errorf("interval for the next %d after Beta(%g, %g) at confidence %q: %w", m, d.A, d.B, c, ErrArgument)
	}
	mirrored := Posterior{A: d.B, B: d.A}
	return d.firstAbove(c.tail(), m), m - mirrored.firstAbove(c.tail(), m), nil
}

// firstAbove returns the largest j with P(X < j) ≤ tail.
func (d Posterior) firstAbove(tail float64, m int) int {
	sum := 0.0
	for j := range m {
		if sum += d.Predict(j, m); sum > tail {
			return j
		}
	}
	return m
}
