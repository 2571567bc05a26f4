package stats_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// jeffreys is what is known of a proportion after k of n from the Beta(½, ½) prior.
func jeffreys(k, n int) stats.Posterior {
	return stats.Posterior{A: float64(k) + 0.5, B: float64(n-k) + 0.5}
}

// Beta(½, ½) and 2 of 40, R 4.2.2.
func TestPosteriorReference(t *testing.T) {
	d := jeffreys(2, 40)
	for j, want := range []float64{.357101544872017, .310523082497406, .182741460053783, .0889012508369757, .0381296649231983} {
		wantNear(t, fmt.Sprintf("%d of the next 20", j), d.Predict(j, 20), want, close12)
	}
}

func TestPosteriorPredictionSumsToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 300).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		m := rapid.IntRange(0, 200).Draw(t, "m")
		d := jeffreys(k, n)
		sum, mean := 0.0, 0.0
		for j := range m + 1 {
			sum += d.Predict(j, m)
			mean += float64(j) * d.Predict(j, m)
		}
		if math.Abs(sum-1) > 1e-10 || math.Abs(mean-float64(m)*d.A/(d.A+d.B)) > 1e-8 {
			t.Fatalf("%d of %d, next %d: probabilities sum to %v, mean %v", k, n, m, sum, mean)
		}
	})
}

func TestPosteriorEdges(t *testing.T) {
	d := jeffreys(0, 0)
	if d.Predict(-1, 5) != 0 || d.Predict(6, 5) != 0 {
		t.Error("impossible counts have a probability")
	}
	if d.Predict(0, 0) != 1 {
		t.Errorf("none of none has probability %v, want 1", d.Predict(0, 0))
	}
	var zero stats.Posterior
	for name, got := range map[string]float64{
		"Predict m < 0":    d.Predict(0, -1),
		"zero Predict 0 0": zero.Predict(0, 0),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s is %v, want NaN", name, got)
		}
	}
}

func ExamplePosterior() {
	// After 2 of 40 from the prior Beta(½, ½).
	d := stats.Posterior{A: 2.5, B: 38.5}
	fmt.Printf("none of the next 20: %.4f\n", d.Predict(0, 20))
	// Output: none of the next 20: 0.3571
}
