package stats_test

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// exactProb is C(K, k)·C(N−K, n−k)/C(N, n) in whole numbers.
func exactProb(h stats.Hypergeometric, k int) *big.Rat {
	if k < 0 || k > h.Marked || h.Drawn-k < 0 || h.Drawn-k > h.Size-h.Marked {
		return new(big.Rat)
	}
	binomial := func(n, k int) *big.Int { return new(big.Int).Binomial(int64(n), int64(k)) }
	ways := binomial(h.Marked, k)
	ways.Mul(ways, binomial(h.Size-h.Marked, h.Drawn-k))
	return new(big.Rat).SetFrac(ways, binomial(h.Size, h.Drawn))
}

func TestHypergeometricAgainstWholeNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(0, 300).Draw(t, "size")
		h := stats.Hypergeometric{
			Size:   size,
			Marked: rapid.IntRange(0, size).Draw(t, "marked"),
			Drawn:  rapid.IntRange(0, size).Draw(t, "drawn"),
		}
		sum := new(big.Rat)
		mean := 0.0
		for k := -1; k <= h.Drawn+1; k++ {
			p := exactProb(h, k)
			sum.Add(sum, p)
			want, _ := p.Float64()
			below, _ := sum.Float64()
			above, _ := new(big.Rat).Sub(big.NewRat(1, 1), sum).Float64()
			if got := h.Prob(k); !near(got, want, 1e-11) {
				t.Fatalf("%+v: P(X = %d) = %.15g, want %.15g", h, k, got, want)
			}
			if got := h.AtMost(k); !near(got, below, 1e-11) {
				t.Fatalf("%+v: P(X ≤ %d) = %.15g, want %.15g", h, k, got, below)
			}
			if got := h.MoreThan(k); !near(got, above, 1e-11) {
				t.Fatalf("%+v: P(X > %d) = %.15g, want %.15g", h, k, got, above)
			}
			mean += float64(k) * want
		}
		if sum.Cmp(big.NewRat(1, 1)) != 0 {
			t.Fatalf("%+v: the oracle sums to %s", h, sum)
		}
		if !near(h.Mean(), mean, 1e-10) {
			t.Fatalf("%+v: mean %v, want %v", h, h.Mean(), mean)
		}
	})
}

// Small tails keep their digits where 1 − CDF would give 0, and the logarithm does not underflow.
func TestHypergeometricTails(t *testing.T) {
	h := stats.Hypergeometric{Size: 1000, Marked: 500, Drawn: 500}
	want, _ := exactProb(h, 500).Float64() // 1/C(1000, 500)
	wantNear(t, "P(X > 499)", h.MoreThan(499), want, 1e-12)
	wantNear(t, "P(X ≤ 0)", h.AtMost(0), want, 1e-12)
	if !(want > 0 && want < 1e-290) {
		t.Errorf("the case is not extreme: %g", want)
	}
	h = stats.Hypergeometric{Size: 100_000, Marked: 50_000, Drawn: 50_000}
	if h.Prob(0) != 0 {
		t.Errorf("P = %g, expected to underflow", h.Prob(0))
	}
	// ln C(100000, 50000) = 100000·ln 2 − ½·ln(50000π) − 1/400000 + …
	wantNear(t, "ln P", h.LogProb(0), -(100_000*math.Ln2 - 0.5*math.Log(50_000*math.Pi) - 1.0/400_000), 1e-12)
	// The distribution is symmetric about 25,000.
	wantNear(t, "half", h.AtMost(25_000)-h.Prob(25_000)/2, 0.5, 1e-11)
}

func TestHypergeometricOutsideConditions(t *testing.T) {
	for _, h := range []stats.Hypergeometric{
		{Size: -1},
		{Size: 5, Marked: 6},
		{Size: 5, Marked: -1},
		{Size: 5, Drawn: 6},
		{Size: 5, Drawn: -1},
		{Size: stats.MaxCount + 1},
	} {
		for name, got := range map[string]float64{
			"Mean": h.Mean(), "Prob": h.Prob(0), "LogProb": h.LogProb(0),
			"AtMost": h.AtMost(0), "MoreThan": h.MoreThan(0),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%+v: %s is %v, want NaN", h, name, got)
			}
		}
		if lo, hi := h.Support(); lo != 0 || hi != -1 {
			t.Errorf("%+v: support %d to %d, want none", h, lo, hi)
		}
	}
	var zero stats.Hypergeometric
	if zero.Prob(0) != 1 || zero.AtMost(0) != 1 || zero.Mean() != 0 {
		t.Error("the empty population does not give 0 with certainty")
	}
}

func ExampleHypergeometric() {
	// 5 of 100 scopes carry residue; 45 are sampled.
	h := stats.Hypergeometric{Size: 100, Marked: 5, Drawn: 45}
	fmt.Printf("none %.6f, at least one %.6f\n", h.Prob(0), h.MoreThan(0))
	// Output: none 0.046206, at least one 0.953794
}
