package stats

import (
	"cmp"
	"fmt"
	"slices"
)

// BenjaminiHochberg returns the adjusted p values in the order of p: the smallest false discovery rate
// at which each would be among the discoveries, min over all p' ≥ p of m·p'/rank(p'), at most 1.
// It holds for independent tests and for tests with positive dependence; see [BenjaminiYekutieli].
// Empty gives empty; [ErrArgument] for a p outside 0 to 1 or NaN.
//
// Source: Y. Benjamini & Y. Hochberg, J R Stat Soc B 1995;57:289-300.
func BenjaminiHochberg(p []float64) ([]float64, error) {
	return stepUp(p, 1)
}

// BenjaminiYekutieli is [BenjaminiHochberg] for tests that depend on each other in any way: m·p/rank is
// multiplied by 1 + 1/2 + … + 1/m.
//
// Source: Y. Benjamini & D. Yekutieli, Ann Stat 2001;29:1165-1188.
func BenjaminiYekutieli(p []float64) ([]float64, error) {
	harmonic := 0.0
	for i := len(p); i > 0; i-- {
		harmonic += 1 / float64(i)
	}
	return stepUp(p, harmonic)
}

// Discoveries returns the indices of the p values, ascending, that are discoveries at a false
// discovery rate of q by Benjamini & Hochberg: the k smallest, k being the largest rank with
// p ≤ q·k/m. Errors as for [BenjaminiHochberg], and for q not given.
func Discoveries(p []float64, q Probability) ([]int, error) {
	if !q.Known() {
		return nil, fmt.Errorf("no false discovery rate given: %w", ErrArgument)
	}
	adjusted, err := BenjaminiHochberg(p)
	if err != nil {
		return nil, err
	}
	var found []int
	for i, a := range adjusted {
		if a <= q.Float() {
			found = append(found, i)
		}
	}
	return found, nil
}

func stepUp(p []float64, factor float64) ([]float64, error) {
	order := make([]int, len(p))
	for i, v := range p {
		if !(0 <= v && v <= 1) {
			return nil, fmt.Errorf("p value %d is %v: want 0 to 1: %w", i+1, v, ErrArgument)
		}
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(p[b], p[a]) })
	adjusted, least := make([]float64, len(p)), 1.0
	for above, i := range order { // from the largest
		rank := float64(len(p) - above)
		least = min(least, factor*float64(len(p))/rank*p[i])
		adjusted[i] = least
	}
	return adjusted, nil
}
