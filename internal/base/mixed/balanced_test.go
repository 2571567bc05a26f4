package mixed_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/mixed"
)

// source draws the seed of a random source, so that a failing case is found again.
func source(t *rapid.T) *rand.Rand {
	return rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
}

// levelsOf returns n level names.
func levelsOf(n int) []string {
	names := make([]string, n)
	for i := range names {
		names[i] = strconv.Itoa(i)
	}
	return names
}

// meanSquares returns the mean squares between and within the groups of a balanced one-way layout.
func meanSquares(y [][]float64) (between, within float64) {
	groups, each := float64(len(y)), float64(len(y[0]))
	grand := 0.0
	means := make([]float64, len(y))
	for i, group := range y {
		for _, v := range group {
			means[i] += v / each
		}
		grand += means[i] / groups
	}
	for i, group := range y {
		between += each * (means[i] - grand) * (means[i] - grand) / (groups - 1)
		for _, v := range group {
			within += (v - means[i]) * (v - means[i]) / (groups * (each - 1))
		}
	}
	return between, within
}

// In a balanced one-way layout REML gives the estimators of the analysis of variance,
// (MS between − MS within)/n and MS within, if the first is positive; else zero and the variance of
// all values (S. R. Searle, G. Casella & C. E. McCulloch, Variance Components, 1992, section 3.8).
func TestBalancedOneWay(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		groups, each := rapid.IntRange(2, 12).Draw(t, "groups"), rapid.IntRange(2, 8).Draw(t, "each")
		sd := rapid.SampledFrom([]float64{0, 0, .1, .5, 1, 10, 100}).Draw(t, "sd between")
		random := source(t)
		y := make([][]float64, groups)
		d := mixed.Design{Random: []mixed.Factor{{Name: "group", Levels: levelsOf(groups)}}}
		for i := range y {
			effect := sd * random.NormFloat64()
			for range each {
				v := 5 + effect + random.NormFloat64()
				y[i] = append(y[i], v)
				d.Response = append(d.Response, v)
				d.Random[0].Index = append(d.Random[0].Index, int32(i))
			}
		}
		between, within := meanSquares(y)
		fit := must(mixed.FitLinear(d, mixed.REML))
		variance, residual := (between-within)/float64(each), within
		if variance <= 0 {
			n := float64(groups * each)
			variance, residual = 0, ((float64(groups)-1)*between+(n-float64(groups))*within)/(n-1)
			if fit.Terms[0].Variance != 0 {
				t.Errorf("the variance is %g, want exactly 0", fit.Terms[0].Variance)
			}
		}
		// Relative to all variance of a value, as the smaller of two may be nearly 0.
		tolerance := closeVariance * (variance + residual)
		if math.Abs(fit.Terms[0].Variance-variance) > 3*tolerance || math.Abs(fit.Residual.Variance-residual) > tolerance {
			t.Errorf("variances %.12g and %.12g, want %.12g and %.12g",
				fit.Terms[0].Variance, fit.Residual.Variance, variance, residual)
		}
	})
}

// In a balanced two-way layout with one value in a cell REML gives the estimators of the analysis of
// variance, if they are positive (Searle, Casella & McCulloch 1992, section 4.7).
func TestBalancedTwoWay(t *testing.T) {
	t.Parallel()
	seen := 0
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(2, 9).Draw(t, "rows"), rapid.IntRange(3, 9).Draw(t, "columns")
		random := source(t)
		y := make([][]float64, rows)
		turned := make([][]float64, columns)
		d := mixed.Design{Random: []mixed.Factor{
			{Name: "row", Levels: levelsOf(rows)}, {Name: "column", Levels: levelsOf(columns)},
		}}
		shifts := make([]float64, columns)
		for j := range shifts {
			shifts[j] = 2 * random.NormFloat64()
		}
		for i := range rows {
			shift := random.NormFloat64()
			for j := range columns {
				v := shift + shifts[j] + random.NormFloat64()
				y[i], turned[j] = append(y[i], v), append(turned[j], v)
				d.Response = append(d.Response, v)
				d.Random[0].Index = append(d.Random[0].Index, int32(i))
				d.Random[1].Index = append(d.Random[1].Index, int32(j))
			}
		}
		betweenRows, withinRows := meanSquares(y)
		betweenColumns, _ := meanSquares(turned)
		r, c := float64(rows), float64(columns)
		squares := r*(c-1)*withinRows - (c-1)*betweenColumns
		residual := squares / ((r - 1) * (c - 1))
		a, b := (betweenRows-residual)/c, (betweenColumns-residual)/r
		if a <= 0 || b <= 0 {
			return
		}
		seen++
		fit := must(mixed.FitLinear(d, mixed.REML))
		tolerance := 3 * closeVariance * (a + b + residual)
		for _, pair := range [][2]float64{
			{fit.Terms[0].Variance, a}, {fit.Terms[1].Variance, b}, {fit.Residual.Variance, residual},
		} {
			if math.Abs(pair[0]-pair[1]) > tolerance {
				t.Errorf("variance %.12g, want %.12g", pair[0], pair[1])
			}
		}
	})
	if seen == 0 {
		t.Error("no layout with positive estimates was tried")
	}
}

// A balanced nested layout, with the estimators of the analysis of variance: rounds within scopes
// are scopes combined with rounds, of which each scope has numbers 1 and up.
func TestBalancedNested(t *testing.T) {
	t.Parallel()
	const scopes, rounds, each = 8, 5, 3
	random := rand.New(rand.NewPCG(11, 12))
	scope := mixed.Factor{Name: "scope", Levels: levelsOf(scopes)}
	var rounded []string
	var y []float64
	means, values := make([][]float64, scopes), [][]float64{}
	for i := range scopes {
		byScope := 2 * random.NormFloat64()
		for j := range rounds {
			byRound, mean := random.NormFloat64(), 0.0
			var cell []float64
			for range each {
				v := byScope + byRound + random.NormFloat64()
				y, cell, mean = append(y, v), append(cell, v), mean+v/each
				scope.Index, rounded = append(scope.Index, int32(i)), append(rounded, fmt.Sprintf("%d / %d", i, j))
			}
			means[i], values = append(means[i], mean), append(values, cell)
		}
	}
	within := mixed.NewFactor("round within scope", rounded)
	if len(within.Levels) != scopes*rounds || within.Levels[within.Index[each]] != "0 / 1" {
		t.Fatalf("levels %q", within.Levels)
	}
	_, residual := meanSquares(values)
	betweenScopes, betweenRounds := meanSquares(means) // of means of `each` values
	fit := must(mixed.FitLinear(mixed.Design{Response: y, Random: []mixed.Factor{scope, within}}, mixed.REML))
	wantNear(t, "scope", fit.Terms[0].Variance, (betweenScopes-betweenRounds)/rounds, closeVariance)
	wantNear(t, "round", fit.Terms[1].Variance, betweenRounds-residual/each, closeVariance)
	wantNear(t, "residual", fit.Residual.Variance, residual, closeVariance)
}
