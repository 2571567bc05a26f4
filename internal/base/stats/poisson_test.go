package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// Exact 95 % limits: ½ of χ² quantiles, R 4.2.2, except the upper limit of 10 and both of 10,000,
// which were solved in decimal arithmetic of 40 digits.
func TestPoissonReference(t *testing.T) {
	tests := []struct {
		k    int
		want stats.Interval
	}{
		{0, stats.Interval{Lo: 0, Hi: 3.68887945411394}},
		{1, stats.Interval{Lo: .0253178079842899, Hi: 5.5716433909389}},
		{3, stats.Interval{Lo: .618672122895601, Hi: 8.76727306974232}},
		{10, stats.Interval{Lo: 4.79538869613243, Hi: 18.3903560420177787}},
		{10_000, stats.Interval{Lo: 9804.9524672601838, Hi: 10197.951624661473}},
	}
	for _, test := range tests {
		t.Run(fmt.Sprint(test.k), func(t *testing.T) {
			got := must[stats.Interval](t)(stats.PoissonExact(test.k, stats.MustConfidence("0.95")))
			wantInterval(t, "95 %", got, test.want)
		})
	}
}

// Both limits put into the defining sums give back the tail.
func TestPoissonLimitsSolveTheirEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(0, 150).Draw(t, "k")
		c := drawConfidence(t)
		i := must[stats.Interval](t)(stats.PoissonExact(k, c))
		tail := (1 - c.Float()) / 2
		atMost := func(k int, mean float64) float64 { // Σ e^−μ μ^j/j!
			term := math.Exp(-mean)
			sum := 0.0
			for j := range k + 1 {
				sum += term
				term *= mean / float64(j+1)
			}
			return sum
		}
		if got := atMost(k, i.Hi); math.Abs(got-tail) > 1e-10 {
			t.Fatalf("k = %d at %s: P(X ≤ k | %v) = %v, want %v", k, c, i.Hi, got, tail)
		}
		if k == 0 {
			if i.Lo != 0 {
				t.Fatalf("lower limit %v of no events, want 0", i.Lo)
			}
			return
		}
		if got := 1 - atMost(k-1, i.Lo); math.Abs(got-tail) > 1e-10 {
			t.Fatalf("k = %d at %s: P(X ≥ k | %v) = %v, want %v", k, c, i.Lo, got, tail)
		}
	})
}

// For a large count the limits approach the normal ones, k + z²/2 ± z·√k within a few hundredths
// (Johnson, Kemp & Kotz 2005, section 4.7).
func TestPoissonLargeCount(t *testing.T) {
	const k, z = 1_000_000, 1.959963984540054
	i := must[stats.Interval](t)(stats.PoissonExact(k, stats.MustConfidence("0.95")))
	if math.Abs(i.Lo-(k-z*math.Sqrt(k))) > 2 || math.Abs(i.Hi-(k+z*math.Sqrt(k))) > 3 {
		t.Errorf("%d events: %v", k, i)
	}
}

func TestPoissonRefuses(t *testing.T) {
	for _, k := range []int{-1, stats.MaxCount + 1} {
		if i, err := stats.PoissonExact(k, stats.MustConfidence("0.95")); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%d events give %v, %v; want ErrArgument", k, i, err)
		}
	}
	if i, err := stats.PoissonExact(3, stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no confidence gives %v, %v; want ErrArgument", i, err)
	}
}

func ExamplePoissonExact() {
	// No event in 500 scope days: at 95 % at most 7.4 in a thousand days.
	i, err := stats.PoissonExact(0, stats.MustConfidence("0.95"))
	fmt.Printf("%.4f to %.4f events, %.1f per 1,000 days, error %v\n", i.Lo, i.Hi, i.Hi/500*1000, err)
	// Output: 0.0000 to 3.6889 events, 7.4 per 1,000 days, error <nil>
}
