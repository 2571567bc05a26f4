package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// Reference values of an independent implementation: distribution function and upper tail.
// The first is Beta(½, ½) after 2 of 40. Its own accuracy is about eleven digits.
func TestPredictReference(t *testing.T) {
	t.Parallel()
	const digits = 2e-11
	for _, test := range []struct {
		d            stats.Posterior
		m, j         int
		below, above float64
	}{
		{stats.Posterior{A: 2.5, B: 38.5}, 20, 0, 0.3571015448720167, 0.6428984551279833},
		{stats.Posterior{A: 2.5, B: 38.5}, 20, 2, 0.8503660874232055, 0.14963391257679448},
		{stats.Posterior{A: 2.5, B: 38.5}, 20, 5, 0.9922212467423048, 0.00777875325769517},
		{stats.Posterior{A: 0.5, B: 0.5}, 10, 2, 0.34257507324218756, 0.6574249267578125},
		{stats.Posterior{A: 0.5, B: 0.5}, 10, 8, 0.7310676574707033, 0.26893234252929665},
		{stats.Posterior{A: 30.5, B: 0.5}, 200, 198, 0.4795932924421007, 0.5204067075578993},
		{stats.Posterior{A: 0.5, B: 900.5}, 1000, 2, 0.940978918641739, 0.05902108135826101},
	} {
		name := fmt.Sprintf("Beta(%v, %v), %d of %d", test.d.A, test.d.B, test.j, test.m)
		wantNear(t, name+" at most", test.d.PredictAtMost(test.j, test.m), test.below, digits)
		wantNear(t, name+" more than", test.d.PredictMoreThan(test.j, test.m), test.above, 2e-10)
	}
	// Where the upper tail is 6e-13, 1 − (distribution function) has no digit of it.
	far := stats.Posterior{A: 2.5, B: 38.5}.PredictMoreThan(18, 20)
	exact := stats.Posterior{A: 2.5, B: 38.5}
	wantTail(t, "far tail", far, exact.Predict(19, 20)+exact.Predict(20, 20), 1e-12)
}

func TestPredictProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 100).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		m := rapid.IntRange(0, 60).Draw(t, "m")
		j := rapid.IntRange(-1, m).Draw(t, "j")
		d := jeffreys(k, n)
		below, above := d.PredictAtMost(j, m), d.PredictMoreThan(j, m)
		if math.Abs(below+above-1) > 1e-10 {
			t.Fatalf("%v and %v do not add up to 1", below, above)
		}
		c := drawConfidence(t)
		lo, hi, err := d.PredictInterval(m, c)
		tail := (1 - c.Float()) / 2
		if err != nil || lo < 0 || hi > m || d.PredictAtMost(lo-1, m) > tail+1e-12 || d.PredictMoreThan(hi, m) > tail+1e-12 ||
			d.PredictAtMost(lo, m) <= tail-1e-12 && lo < m || d.PredictMoreThan(hi-1, m) <= tail-1e-12 && hi > 0 {
			t.Fatalf("%d to %d, %v, at confidence %s", lo, hi, err, c)
		}
	})
}

func TestPredictArguments(t *testing.T) {
	t.Parallel()
	var zero stats.Posterior
	d := stats.Posterior{A: 2, B: 3}
	for name, got := range map[string]float64{
		"m < 0":       d.PredictAtMost(0, -1),
		"m too large": d.PredictMoreThan(0, stats.MaxPopulation+1),
		"zero value":  zero.PredictAtMost(0, 1),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", name, got)
		}
	}
	if d.PredictAtMost(-1, 5) != 0 || d.PredictAtMost(5, 5) != 1 || d.PredictMoreThan(-1, 5) != 1 || d.PredictMoreThan(5, 5) != 0 {
		t.Error("outside 0 to m the distribution is not 0 and 1")
	}
	c := stats.MustConfidence("0.9")
	for name, f := range map[string]func() (int, error){
		"interval, 0": func() (int, error) { lo, _, err := zero.PredictInterval(5, c); return lo, err },
		"interval, m": func() (int, error) { lo, _, err := d.PredictInterval(-1, c); return lo, err },
		"interval, c": func() (int, error) { lo, _, err := d.PredictInterval(5, stats.Confidence{}); return lo, err },
	} {
		if got, err := f(); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v, %v, want ErrArgument", name, got, err)
		}
	}
}

func BenchmarkPredictInterval(b *testing.B) {
	d := stats.Posterior{A: 2.5, B: 38.5}
	for b.Loop() {
		if _, _, err := d.PredictInterval(1000, stats.MustConfidence("0.95")); err != nil {
			b.Fatal(err)
		}
	}
}
