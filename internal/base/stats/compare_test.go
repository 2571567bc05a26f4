package stats_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// Additional hours of sleep with two drugs, ten patients: Student 1908.
var (
	sleepA = []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}
	sleepB = []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
)

func wantTTest(t *testing.T, what string, got, want stats.TTest) {
	t.Helper()
	wantNear(t, what+", difference", got.Difference, want.Difference, close12)
	wantNear(t, what+", SE", got.SE, want.SE, close12)
	wantNear(t, what+", t", got.T, want.T, close12)
	wantNear(t, what+", df", got.DF, want.DF, close12)
	wantTail(t, what+", p", got.P, want.P, 1e-11)
	wantInterval(t, what, got.Interval, want.Interval)
}

// R 4.2.2, t.test().
func TestTTestsReference(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	wantTTest(t, "paired", must[stats.TTest](t)(stats.PairedT(sleepB, sleepA, c)), stats.TTest{
		Difference: 1.58, SE: 0.38895872388839520, T: 4.06212768338203656, DF: 9, P: 0.00283289019738427,
		Interval: stats.Interval{Lo: 0.70011423672301754, Hi: 2.45988576327698238},
	})
	wantTTest(t, "Welch", must[stats.TTest](t)(stats.WelchT(sleepB, sleepA, c)), stats.TTest{
		Difference: 1.58, SE: 0.84909101723876201, T: 1.86081346748685306, DF: 17.77647351617849836, P: 0.07939414018735817,
		Interval: stats.Interval{Lo: -0.20548323071171018, Hi: 3.36548323071171041},
	})
}

// Miles per gallon of cars from the United States and from Japan: NIST/SEMATECH e-Handbook 1.3.5.3,
// file AUTO83B, which whose critical value has 326 degrees of freedom. Values: R 4.2.2.
func TestTTestCars(t *testing.T) {
	t.Parallel()
	us := []float64{
		18, 15, 18, 16, 17, 15, 14, 14, 14, 15, 15, 14, 15, 14, 22, 18, 21, 21, 10, 10, 11, 9, 28, 25, 19,
		16, 17, 19, 18, 14, 14, 14, 14, 12, 13, 13, 18, 22, 19, 18, 23, 26, 25, 20, 21, 13, 14, 15, 14, 17,
		11, 13, 12, 13, 15, 13, 13, 14, 22, 28, 13, 14, 13, 14, 15, 12, 13, 13, 14, 13, 12, 13, 18, 16, 18,
		18, 23, 11, 12, 13, 12, 18, 21, 19, 21, 15, 16, 15, 11, 20, 21, 19, 15, 26, 25, 16, 16, 18, 16, 13,
		14, 14, 14, 28, 19, 18, 15, 15, 16, 15, 16, 14, 17, 16, 15, 18, 21, 20, 13, 23, 20, 23, 18, 19, 25,
		26, 18, 16, 16, 15, 22, 22, 24, 23, 29, 25, 20, 18, 19, 18, 27, 13, 17, 13, 13, 13, 30, 26, 18, 17,
		16, 15, 18, 21, 19, 19, 16, 16, 16, 16, 25, 26, 31, 34, 36, 20, 19, 20, 19, 21, 20, 25, 21, 19, 21,
		21, 19, 18, 19, 18, 18, 18, 30, 31, 23, 24, 22, 20, 22, 20, 21, 17, 18, 17, 18, 17, 16, 19, 19, 36,
		27, 23, 24, 34, 35, 28, 29, 27, 34, 32, 28, 26, 24, 19, 28, 24, 27, 27, 26, 24, 30, 39, 35, 34, 30,
		22, 27, 20, 18, 28, 27, 34, 31, 29, 27, 24, 23, 38, 36, 25, 38, 26, 22, 36, 27, 27, 32, 28, 31,
	}
	japan := []float64{
		24, 27, 27, 25, 31, 35, 24, 19, 28, 23, 27, 20, 22, 18, 20, 31, 32, 31, 32, 24, 26, 29, 24, 24, 33,
		33, 32, 28, 19, 32, 34, 26, 30, 22, 22, 33, 39, 36, 28, 27, 21, 24, 30, 34, 32, 38, 37, 30, 31, 37,
		32, 47, 41, 45, 34, 33, 24, 32, 39, 35, 32, 37, 38, 34, 34, 32, 33, 32, 25, 24, 37, 31, 36, 36, 34,
		38, 32, 38, 32,
	}
	c := stats.MustConfidence("0.95")
	wantNear(t, "critical value", -stats.TQuantile(0.025, 326), 1.96726752225977, close12)
	welch := must[stats.TTest](t)(stats.WelchT(us, japan, c))
	wantNear(t, "Welch t", welch.T, -12.946273274932, close12)
	wantNear(t, "Welch df", welch.DF, 136.874976672583, close12)
	wantTail(t, "Welch p", welch.P, 1.570854784295466e-25, 1e-11)
	wantInterval(t, "Welch", welch.Interval, stats.Interval{Lo: -11.91524809463758, Hi: -8.757620595312089})
}

// Two one-sided tests of the sleep data, R 4.2.2.
func TestEquivalenceReference(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	e := must[stats.Equivalence](t)(stats.PairedEquivalence(sleepB, sleepA, 2.5, c))
	wantNear(t, "paired, above", e.Above, 10.489544903923, close12)
	wantNear(t, "paired, below", e.Below, -2.3652895371592, close12)
	wantNear(t, "paired, p", e.P, .021116860246501, close12)
	wantInterval(t, "paired", e.Interval, stats.Interval{Lo: .86699473297072, Hi: 2.29300526702928})
	if !e.Equivalent {
		t.Error("paired: not equivalent within ±2.5")
	}
	w := must[stats.Equivalence](t)(stats.WelchEquivalence(sleepB, sleepA, 3.5, c))
	wantNear(t, "Welch, above", w.Above, 5.982868616983047, close12)
	wantNear(t, "Welch, below", w.Below, -2.261241682009340, close12)
	wantNear(t, "Welch, p", w.P, 1.826536046271411e-02, 1e-11)
	wantInterval(t, "Welch", w.Interval, stats.Interval{Lo: 1.066185026683938e-01, Hi: 3.053381497331606})
}

// Equivalence at c is the interval of confidence 2c−1 within the margin.
func TestEquivalenceIsAnIntervalWithinTheMargin(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-3, 3), 3, 12).Draw(t, "x")
		y := rapid.SliceOfN(rapid.Float64Range(-3, 3), 3, 12).Draw(t, "y")
		margin := rapid.Float64Range(0.1, 5).Draw(t, "margin")
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(51, 99).Draw(t, "c %")) / 100))
		e, err := stats.WelchEquivalence(x, y, margin, c)
		if errors.Is(err, stats.ErrNotEstimable) {
			t.Skip()
		}
		if err != nil {
			t.Fatal(err)
		}
		within := -margin <= e.Interval.Lo && e.Interval.Hi <= margin
		nearly := math.Min(math.Abs(e.Interval.Lo+margin), math.Abs(e.Interval.Hi-margin)) < 1e-9
		if e.Equivalent != within && !nearly {
			t.Fatalf("%+v", e)
		}
	})
}

// The p value is 1−c for the interval of confidence c that just touches the value tested.
func TestTTestAndItsIntervalAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfNDistinct(rapid.IntRange(-100, 100), 2, 20, func(i int) int { return i }).Draw(t, "x")
		values := make([]float64, len(x))
		for i, v := range x {
			values[i] = float64(v)
		}
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(1, 99).Draw(t, "c %")) / 100))
		i := must[stats.TTest](t)(stats.PairedT(values, make([]float64, len(values)), c)).Interval
		for _, end := range []float64{i.Lo, i.Hi} {
			p := must[stats.TTest](t)(stats.PairedT(values, slices.Repeat([]float64{end}, len(values)), c)).P
			if math.Abs(p-(1-c.Float())) > 1e-10 {
				t.Fatalf("p at the limit %v is %v, confidence %s", end, p, c)
			}
		}
	})
}

func TestCompareArguments(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	good, flat := []float64{1, 2, 4}, []float64{0.1, 0.1, 0.1}
	second := func(_ stats.TTest, err error) error { return err }
	equivalence := func(_ stats.Equivalence, err error) error { return err }
	for _, test := range []struct {
		reason string
		err    error
		want   error
	}{
		{"one pair", second(stats.PairedT([]float64{1}, []float64{2}, c)), stats.ErrTooFew},
		{"NaN", second(stats.PairedT([]float64{1, math.NaN()}, []float64{1, 2}, c)), stats.ErrArgument},
		{"no confidence", second(stats.PairedT(good, flat, stats.Confidence{})), stats.ErrArgument},
		{"not pairs", second(stats.PairedT(good, []float64{1, 2}, c)), stats.ErrArgument},
		{"equal pairs", second(stats.PairedT(good, good, c)), stats.ErrNotEstimable},
		{"Welch, one value", second(stats.WelchT(good, []float64{1}, c)), stats.ErrTooFew},
		{"Welch, both flat", second(stats.WelchT(flat, flat, c)), stats.ErrNotEstimable},
		{"Welch, one flat", second(stats.WelchT(good, flat, c)), nil},
		{"Welch, infinite", second(stats.WelchT(good, []float64{1, math.Inf(1)}, c)), stats.ErrArgument},
		{"Welch, too large", second(stats.WelchT(good, []float64{1, 1e300}, c)), stats.ErrNotEstimable},
		{"margin 0", equivalence(stats.PairedEquivalence(sleepA, sleepB, 0, c)), stats.ErrArgument},
		{"margin NaN", equivalence(stats.WelchEquivalence(sleepA, sleepB, math.NaN(), c)), stats.ErrArgument},
		{"margin ∞", equivalence(stats.WelchEquivalence(sleepA, sleepB, math.Inf(1), c)), stats.ErrArgument},
		{"confidence ½", equivalence(stats.WelchEquivalence(sleepA, sleepB, 1, stats.MustConfidence("0.5"))), stats.ErrArgument},
		{"not pairs to be equivalent", equivalence(stats.PairedEquivalence(sleepA, good, 1, c)), stats.ErrArgument},
		{"flat to be equivalent", equivalence(stats.WelchEquivalence(flat, flat, 1, c)), stats.ErrNotEstimable},
	} {
		if !errors.Is(test.err, test.want) {
			t.Errorf("%s: %v, want %v", test.reason, test.err, test.want)
		}
	}
}
