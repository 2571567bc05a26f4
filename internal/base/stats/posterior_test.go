package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// Beta(½, ½) and 2 of 40, R 4.2.2.
func TestPosteriorReference(t *testing.T) {
	d := must[stats.Posterior](t)(stats.JeffreysPosterior(2, 40))
	wantNear(t, "mean", d.Mean(), .0609756097560976, close12)
	i := must[stats.Interval](t)(d.Interval(stats.MustConfidence("0.95")))
	wantInterval(t, "equal-tailed", i, stats.Interval{Lo: .0105344850222367, Hi: .150865051234679})
	wantNear(t, "P(p ≤ 0.05)", d.AtMost(0.05), .454267198401057, close12)
	wantNear(t, "P(p > 0.1)", d.MoreThan(0.1), .142058946765795, close12)
	for j, want := range []float64{.357101544872017, .310523082497406, .182741460053783, .0889012508369757, .0381296649231983} {
		wantNear(t, fmt.Sprintf("%d of the next 20", j), d.Predict(j, 20), want, close12)
	}
}

func TestPosteriorPredictionSumsToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 300).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		m := rapid.IntRange(0, 200).Draw(t, "m")
		d := must[stats.Posterior](t)(stats.JeffreysPosterior(k, n))
		sum, mean := 0.0, 0.0
		for j := range m + 1 {
			sum += d.Predict(j, m)
			mean += float64(j) * d.Predict(j, m)
		}
		if math.Abs(sum-1) > 1e-10 || math.Abs(mean-float64(m)*d.Mean()) > 1e-8 {
			t.Fatalf("%d of %d, next %d: probabilities sum to %v, mean %v", k, n, m, sum, mean)
		}
	})
}

func TestPosteriorEdges(t *testing.T) {
	d := must[stats.Posterior](t)(stats.JeffreysPosterior(0, 0))
	if d.Mean() != 0.5 {
		t.Errorf("mean of the prior %v, want 0.5", d.Mean())
	}
	if d.AtMost(-0.01) != 0 || d.AtMost(1.01) != 1 || d.MoreThan(-0.01) != 1 || d.MoreThan(1.01) != 0 {
		t.Error("outside 0 to 1 the distribution is not 0 and 1")
	}
	if d.Predict(-1, 5) != 0 || d.Predict(6, 5) != 0 {
		t.Error("impossible counts have a probability")
	}
	if d.Predict(0, 0) != 1 {
		t.Errorf("none of none has probability %v, want 1", d.Predict(0, 0))
	}
	var zero stats.Posterior
	for name, got := range map[string]float64{
		"AtMost(NaN)":      d.AtMost(math.NaN()),
		"MoreThan(NaN)":    d.MoreThan(math.NaN()),
		"Predict m < 0":    d.Predict(0, -1),
		"zero Mean":        zero.Mean(),
		"zero AtMost":      zero.AtMost(0.5),
		"zero MoreThan":    zero.MoreThan(0.5),
		"zero Predict 0 0": zero.Predict(0, 0),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s is %v, want NaN", name, got)
		}
	}
	if _, err := zero.Interval(stats.MustConfidence("0.95")); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("interval of the zero value: %v, want ErrArgument", err)
	}
	if _, err := d.Interval(stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("interval without confidence: %v, want ErrArgument", err)
	}
	for _, bad := range [][2]int{{-1, 5}, {6, 5}, {0, -1}, {0, stats.MaxCount + 1}} {
		if _, err := stats.JeffreysPosterior(bad[0], bad[1]); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%d of %d: %v, want ErrArgument", bad[0], bad[1], err)
		}
	}
}

func ExamplePosterior() {
	d, err := stats.JeffreysPosterior(2, 40)
	fmt.Printf("mean %.4f, P(p > 0.1) %.4f, none of the next 20: %.4f, error %v\n",
		d.Mean(), d.MoreThan(0.1), d.Predict(0, 20), err)
	// Output: mean 0.0610, P(p > 0.1) 0.1421, none of the next 20: 0.3571, error <nil>
}
