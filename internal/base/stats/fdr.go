package stats

import (
	"cmp"
	"fmt"
	"slices"
)

// BenjaminiHochberg returns the adjusted p values in the order of p: the smallest false discovery rate
// at which each would be among the discoveries, min over all p' ≥ p of m·p'/rank(p'), at most 1.
// It holds for independent tests and for tests with positive dependence.
// Empty gives empty; [ErrArgument] for a p outside 0 to 1 or NaN.
//
// Source: Y. Benjamini & Y. Hochberg, J R Stat Soc B 1995;57:289-300.
func BenjaminiHochberg(p []float64) ([]float64, error) {
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
		least = min(least, float64(len(p))/rank*p[i])
		adjusted[i] = least
	}
	return adjusted, nil
}
