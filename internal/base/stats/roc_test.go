package stats_test

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// repeated writes out a table of counts by rating 1, 2, …
func repeated(negative, positive []int) (values []float64, truth []bool) {
	for class, counts := range [][]int{negative, positive} {
		for i, n := range counts {
			for range n {
				values = append(values, float64(i+1))
				truth = append(truth, class == 1)
			}
		}
	}
	return values, truth
}

// Ratings of computed tomography images: Hanley & McNeil, Radiology 1982;143:29-36, Table I.
func hanleyMcNeil() (values []float64, truth []bool) {
	return repeated([]int{33, 6, 6, 11, 2}, []int{3, 2, 2, 11, 33})
}

// twoMarkers are whole numbers with many ties, made by a rule: 24 positive cases, 36 negative.
func twoMarkers() (a, b []float64, truth []bool) {
	for i := 1; i <= 60; i++ {
		x, y := float64(i*37%53), float64((i*29+11)%47)
		yes := i*17%5 < 2
		if yes {
			x, y = x+8, y+15
		}
		a, b, truth = append(a, x), append(b, y), append(truth, yes)
	}
	return a, b, truth
}

func TestAreaReference(t *testing.T) {
	c := stats.MustConfidence("0.95")
	v, truth := hanleyMcNeil()
	r := must[stats.ROC](t)(stats.NewROC(v, truth))
	if all := r.Best(); all.Positives() != 51 || all.Negatives() != 58 {
		t.Errorf("%d and %d cases, want 51 and 58", all.Positives(), all.Negatives())
	}
	if math.Abs(r.Area()-0.893) > 0.0005 {
		t.Errorf("area %.4f, printed 0.893", r.Area())
	}
	// Reference values, independent implementation, 15 digits.
	wantNear(t, "area", r.Area(), 0.893171061528059, close12)
	wantNear(t, "DeLong", must[float64](t)(r.DeLong()), math.Sqrt(0.000943989270262985), close12)
	wantInterval(t, "Newcombe", must[stats.Interval](t)(r.Newcombe(c)),
		stats.Interval{Lo: 0.8116884072884325, Hi: 0.94000618264046033})

	a, b, truth := twoMarkers()
	ra, rb := must[stats.ROC](t)(stats.NewROC(a, truth)), must[stats.ROC](t)(stats.NewROC(b, truth))
	wantNear(t, "area a", ra.Area(), 0.588541666666667, close12)
	wantNear(t, "area b", rb.Area(), 0.744791666666667, close12)
	wantNear(t, "variance a", square(must[float64](t)(ra.DeLong())), 0.00596345130661631, close12)
	wantNear(t, "variance b", square(must[float64](t)(rb.DeLong())), 0.00407098236251693, close12)
	wantInterval(t, "logit a", must[stats.Interval](t)(ra.LogitInterval(c)),
		stats.Interval{Lo: 0.433624104416960, Hi: 0.727695125635998})
	paired := must[stats.AreaDifference](t)(stats.ComparePaired(a, b, truth, c))
	wantNear(t, "paired Z", paired.Z, -1.51301705561455, close12)
	wantNear(t, "paired P", paired.P, 0.130275326590055, close12)
	wantInterval(t, "paired", paired.Interval, stats.Interval{Lo: -0.358656424599089, Hi: 0.0461564245990892})
}

func square(x float64) float64 { return x * x }

// Newcombe's limits at the ends and in the middle, by bisection of their equation in decimal
// arithmetic of 30 digits.
func TestNewcombeReference(t *testing.T) {
	apart := func(m, n int) (values []float64, truth []bool) { return repeated([]int{n, 0}, []int{0, m}) }
	tests := []struct {
		reason string
		m, n   int
		lo     float64
	}{
		{"no overlap", 10, 20, 0.8489213534739999},
		{"no overlap of few", 3, 3, 0.50101876070153011},
		{"one case of each class", 1, 1, 0.20654931437723739},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			v, truth := apart(test.m, test.n)
			r := must[stats.ROC](t)(stats.NewROC(v, truth))
			got, method, err := r.Interval(stats.MustConfidence("0.95"))
			if err != nil || method != stats.AreaNewcombe {
				t.Fatalf("method %q, error %v", method, err)
			}
			wantInterval(t, test.reason, got, stats.Interval{Lo: test.lo, Hi: 1})
			for i := range v { // and mirrored
				v[i] = -v[i]
			}
			r = must[stats.ROC](t)(stats.NewROC(v, truth))
			wantInterval(t, "mirrored", must[stats.Interval](t)(r.Newcombe(stats.MustConfidence("0.95"))),
				stats.Interval{Lo: 0, Hi: 1 - test.lo})
		})
	}
	v, truth := repeated([]int{10}, []int{10})
	r := must[stats.ROC](t)(stats.NewROC(v, truth))
	if r.Area() != 0.5 {
		t.Errorf("all values alike: area %v, want 0.5", r.Area())
	}
	got, method, err := r.Interval(stats.MustConfidence("0.95"))
	if err != nil || method != stats.AreaNewcombe {
		t.Fatalf("all values alike: method %q, error %v", method, err)
	}
	wantInterval(t, "all values alike", got, stats.Interval{Lo: 0.27351558818989395, Hi: 0.72648441181010605})
}

func TestSeparatedClasses(t *testing.T) {
	c := stats.MustConfidence("0.95")
	r := must[stats.ROC](t)(stats.NewROC([]float64{1, 2, 3, 4, 5}, []bool{false, false, true, true, true}))
	if se := must[float64](t)(r.DeLong()); r.Area() != 1 || se != 0 {
		t.Errorf("area %v, standard error %v, want 1 and 0", r.Area(), se)
	}
	if i, err := r.LogitInterval(c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("logit interval %v, error %v, want ErrArgument", i, err)
	}
	if best := r.Best(); best.At != 3 || best.Youden() != 1 {
		t.Errorf("best cut %+v, want 3 with index 1", best)
	}
	same, err := stats.ComparePaired([]float64{1, 2, 3, 4}, []float64{10, 20, 30, 40}, []bool{false, false, true, true}, c)
	if err != nil || same.P != 1 || same.Difference != 0 || same.Interval != (stats.Interval{}) {
		t.Errorf("markers that order alike: %+v, error %v", same, err)
	}
	if d, err := stats.ComparePaired([]float64{1, 2, 3, 4}, []float64{4, 3, 2, 1}, []bool{false, false, true, true}, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("areas of 1 and 0 without variation: %+v, error %v, want ErrArgument", d, err)
	}
}

func TestROCRefuses(t *testing.T) {
	tests := []struct {
		reason string
		values []float64
		truth  []bool
	}{
		{"nothing", nil, nil},
		{"positives only", []float64{1, 2}, []bool{true, true}},
		{"negatives only", []float64{1, 2}, []bool{false, false}},
		{"not a number", []float64{1, math.NaN()}, []bool{true, false}},
		{"an infinity", []float64{math.Inf(-1), 1}, []bool{true, false}},
		{"truth missing", []float64{1, 2}, []bool{true}},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			if _, err := stats.NewROC(test.values, test.truth); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %v, want ErrArgument", err)
			}
			if _, err := stats.ComparePaired(test.values, test.values, test.truth, stats.MustConfidence("0.95")); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %v, want ErrArgument", err)
			}
		})
	}
	one := must[stats.ROC](t)(stats.NewROC([]float64{1, 2, 3}, []bool{true, false, false}))
	if _, err := one.DeLong(); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("one positive case: got %v, want ErrArgument", err)
	}
	if _, err := one.Newcombe(stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no confidence: got %v, want ErrArgument", err)
	}
	if _, err := (stats.ROC{}).Newcombe(stats.MustConfidence("0.95")); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no cases: got %v, want ErrArgument", err)
	}
	if (stats.ROC{}).Area() != 0 {
		t.Error("the zero ROC has an area")
	}
}

// cases are drawn with many ties, both signs and both zeros.
type cases struct {
	a, b  []float64
	truth []bool
}

func drawCases(t *rapid.T) cases {
	n := rapid.IntRange(4, 60).Draw(t, "n")
	value := rapid.SampledFrom([]float64{-1e9, -2.5, math.Copysign(0, -1), 0, 1e-300, 1, 2, 3, 4, 7, 200, 1e12})
	c := cases{truth: make([]bool, n)}
	for i := range n {
		c.a = append(c.a, value.Draw(t, "a"))
		c.b = append(c.b, value.Draw(t, "b"))
		c.truth[i] = i < 2 || i > 3 && rapid.Bool().Draw(t, "positive")
	}
	return c
}

// psi is the kernel of the Mann–Whitney statistic.
func psi(x, y float64) float64 { return float64(1+cmp.Compare(x+0, y+0)) / 2 }

// brute evaluates area and DeLong covariance by their definitions, in O(mn).
func brute(a, b []float64, truth []bool) (areaA, covariance float64) {
	var m, n float64
	place := func(v []float64) (of []float64, area float64) {
		of = make([]float64, len(v))
		m, n = 0, 0
		for i, yes := range truth {
			others := 0.0
			for j, other := range truth {
				if other == yes {
					continue
				}
				others++
				if yes {
					of[i] += psi(v[i], v[j])
				} else {
					of[i] += psi(v[j], v[i])
				}
			}
			of[i] /= others
			if yes {
				m++
				area += of[i]
			} else {
				n++
			}
		}
		return of, area / m
	}
	pa, areaA := place(a)
	pb, areaB := place(b)
	var s10, s01 float64
	for i, yes := range truth {
		d := (pa[i] - areaA) * (pb[i] - areaB)
		if yes {
			s10 += d
		} else {
			s01 += d
		}
	}
	return areaA, s10/(m-1)/m + s01/(n-1)/n
}

func TestDeLongAgainstDefinition(t *testing.T) {
	c := stats.MustConfidence("0.95")
	rapid.Check(t, func(t *rapid.T) {
		d := drawCases(t)
		r := must[stats.ROC](t)(stats.NewROC(d.a, d.truth))
		area, variance := brute(d.a, d.a, d.truth)
		_, other := brute(d.b, d.b, d.truth)
		_, covariance := brute(d.a, d.b, d.truth)
		if !near(r.Area(), area, close12) || math.Abs(square(must[float64](t)(r.DeLong()))-variance) > 1e-14 {
			t.Fatalf("area %v, variance %v; by definition %v, %v", r.Area(), square(must[float64](t)(r.DeLong())), area, variance)
		}
		diff, err := stats.ComparePaired(d.a, d.b, d.truth, c)
		if want := variance + other - 2*covariance; err == nil && math.Abs(diff.SE*diff.SE-want) > 1e-14 {
			t.Fatalf("variance of the difference %v, by definition %v", diff.SE*diff.SE, want)
		}
	})
}

func TestROCProperties(t *testing.T) {
	c := stats.MustConfidence("0.95")
	rapid.Check(t, func(t *rapid.T) {
		d := drawCases(t)
		before := slices.Clone(d.a)
		r := must[stats.ROC](t)(stats.NewROC(d.a, d.truth))
		if !slices.EqualFunc(before, d.a, func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) }) {
			t.Fatal("the values were changed")
		}
		// Turned round, the area is the rest; swapped classes do the same.
		turned, swapped := make([]float64, len(d.a)), make([]bool, len(d.a))
		for i := range d.a {
			turned[i], swapped[i] = -d.a[i], !d.truth[i]
		}
		for _, other := range []stats.ROC{
			must[stats.ROC](t)(stats.NewROC(turned, d.truth)),
			must[stats.ROC](t)(stats.NewROC(d.a, swapped)),
		} {
			if !near(other.Area()+r.Area(), 1, close12) || !near(must[float64](t)(other.DeLong()), must[float64](t)(r.DeLong()), 1e-10) {
				t.Fatalf("area %v and %v, standard errors %v and %v", r.Area(), other.Area(),
					must[float64](t)(r.DeLong()), must[float64](t)(other.DeLong()))
			}
		}
		i, method, err := r.Interval(c)
		if err != nil || !(0 <= i.Lo && i.Lo <= r.Area() && r.Area() <= i.Hi && i.Hi <= 1) || i.Width() == 0 {
			t.Fatalf("%s interval %v of the area %v, error %v", method, i, r.Area(), err)
		}
		checkCuts(t, r, d)
	})
}

// checkCuts counts every cut anew, and the trapezoids beneath them add up to the area.
func checkCuts(t *rapid.T, r stats.ROC, d cases) {
	last, area, best := stats.Cut{At: math.Inf(1)}, 0.0, math.Inf(-1)
	for cut := range r.Cuts() {
		var want stats.Crossing
		for i, v := range d.a {
			switch {
			case v >= cut.At && d.truth[i]:
				want.TruePositive++
			case v >= cut.At:
				want.FalsePositive++
			case d.truth[i]:
				want.FalseNegative++
			default:
				want.TrueNegative++
			}
		}
		if cut.Crossing != want || cut.At > last.At {
			t.Fatalf("at %v: %+v, counted %+v", cut.At, cut.Crossing, want)
		}
		area += float64(cut.FalsePositive-last.FalsePositive) * float64(cut.TruePositive+last.TruePositive) / 2
		last, best = cut, max(best, cut.Youden())
	}
	if last.FalseNegative != 0 || last.TrueNegative != 0 {
		t.Fatalf("the last cut %+v leaves cases", last)
	}
	if !near(area/float64(last.Positives()*last.Negatives()), r.Area(), close12) {
		t.Fatalf("trapezoids %v, area %v", area/float64(last.Positives()*last.Negatives()), r.Area())
	}
	if got := r.Best().Youden(); math.Abs(got-best) > 1e-12 {
		t.Fatalf("best index %v, want %v", got, best)
	}
}

// Large samples go through the radix sort, small ones through the library's: both give the area
// that counting gives.
func TestROCOfManyCases(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	const n = 20_000
	values, truth := make([]float64, n), make([]bool, n)
	for i := range values {
		truth[i] = rng.IntN(3) == 0
		values[i] = math.Exp(rng.NormFloat64())
		if i%2 == 0 {
			values[i] = -math.Round(values[i])
		}
	}
	r := must[stats.ROC](t)(stats.NewROC(values, truth))
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	// The area is that of the mean rank of the positive cases.
	var ranks, m float64
	for i, yes := range truth {
		if yes {
			lo, _ := slices.BinarySearch(sorted, values[i])
			hi, _ := slices.BinarySearch(sorted, math.Nextafter(values[i], math.Inf(1)))
			ranks += float64(lo+hi+1) / 2
			m++
		}
	}
	wantNear(t, "area", r.Area(), (ranks-m*(m+1)/2)/(m*(n-m)), close12)
}

// Coverage of the recommended interval where the area is 0.921 (two normal distributions two
// standard deviations apart), 20 and 30 cases, by simulation: the binomial standard error of 3,000
// trials at 95 % is 0.4 %. DeLong's plain interval covers too seldom there, which is why it is not
// the recommended one.
func TestAreaCoverage(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	rng := rand.New(rand.NewPCG(7, 7))
	truth := make([]bool, 50)
	values := make([]float64, 50)
	for i := range 20 {
		truth[i] = true
	}
	const area, trials = 0.92135039647485743, 3000 // Φ(2/√2)
	covered, plain := 0, 0
	for range trials {
		for i := range values {
			values[i] = rng.NormFloat64()
			if truth[i] {
				values[i] += 2
			}
		}
		r := must[stats.ROC](t)(stats.NewROC(values, truth))
		i, _, err := r.Interval(c)
		if err != nil {
			t.Fatal(err)
		}
		if i.Contains(area) {
			covered++
		}
		if math.Abs(r.Area()-area) <= 1.959963984540054*must[float64](t)(r.DeLong()) {
			plain++
		}
	}
	if rate := float64(covered) / trials; rate < 0.94 || rate > 0.985 {
		t.Errorf("the recommended interval covers in %.1f %% of trials", 100*rate)
	}
	if plain >= covered {
		t.Errorf("DeLong's plain interval covers in %d trials, the recommended one in %d", plain, covered)
	}
}

func TestBest(t *testing.T) {
	a, _, truth := twoMarkers()
	r := must[stats.ROC](t)(stats.NewROC(a, truth))
	// Two cuts have the index 0.25: 18 of 24 with 18 false alarms, and 6 of 24 with none. The
	// higher one is taken.
	got := r.Best()
	if want := (stats.Crossing{TruePositive: 6, FalseNegative: 18, TrueNegative: 36}); got.Crossing != want || got.At != 55 {
		t.Errorf("got %+v, want %+v at 55", got, want)
	}
}

func TestBestInterval(t *testing.T) {
	c := stats.MustConfidence("0.95")
	v, truth := hanleyMcNeil()
	r := must[stats.ROC](t)(stats.NewROC(v, truth))
	got := must[stats.BestCut](t)(r.BestInterval(999, c, rand.NewPCG(1, 2)))
	again := must[stats.BestCut](t)(r.BestInterval(999, c, rand.NewPCG(1, 2)))
	if got != again {
		t.Errorf("the same seed gives %+v and %+v", got, again)
	}
	if got.Cut.At != 4 || !near(got.Index.Value, 44.0/51+45.0/58-1, close12) {
		t.Errorf("best cut %+v", got.Cut)
	}
	for name, e := range map[string]stats.Estimate{"index": got.Index, "cut": got.At, "sensitivity": got.Sensitivity, "specificity": got.Specificity} {
		if !e.Interval.Contains(e.Value) {
			t.Errorf("%s: %v is not within %v", name, e.Value, e.Interval)
		}
	}
	if w := got.Index.Interval.Width(); w < 0.15 || w > 0.35 { // about 4·√(se(1−se)/m + sp(1−sp)/n) = 0.28
		t.Errorf("the interval of the index is %v wide", w)
	}
	for _, test := range []struct {
		reason    string
		resamples int
		c         stats.Confidence
		source    rand.Source
		r         stats.ROC
	}{
		{"too few resamples", 99, c, rand.NewPCG(1, 2), r},
		{"too many resamples", stats.MaxResamples + 1, c, rand.NewPCG(1, 2), r},
		{"no confidence", 999, stats.Confidence{}, rand.NewPCG(1, 2), r},
		{"no source", 999, c, nil, r},
		{"no cases", 999, c, rand.NewPCG(1, 2), stats.ROC{}},
	} {
		t.Run(test.reason, func(t *testing.T) {
			if _, err := test.r.BestInterval(test.resamples, test.c, test.source); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %v, want ErrArgument", err)
			}
		})
	}
}

func ExampleROC() {
	// Values of a marker in four clean and three dirty cases.
	r, err := stats.NewROC(
		[]float64{12, 30, 45, 80, 60, 150, 400},
		[]bool{false, false, false, false, true, true, true},
	)
	i, method, _ := r.Interval(stats.MustConfidence("0.95"))
	fmt.Printf("area %.3f, %s interval %.3f to %.3f, best cut %g, error %v\n", r.Area(), method, i.Lo, i.Hi, r.Best().At, err)
	// Output: area 0.917, delong-logit interval 0.348 to 0.996, best cut 60, error <nil>
}

func benchmarkCases(n int, whole bool) (values, other []float64, truth []bool) {
	rng := rand.New(rand.NewPCG(3, 3))
	values, other, truth = make([]float64, n), make([]float64, n), make([]bool, n)
	for i := range values {
		truth[i] = rng.IntN(10) < 3
		shift := 0.0
		if truth[i] {
			shift = 0.5
		}
		values[i], other[i] = math.Exp(4+rng.NormFloat64()+shift), math.Exp(4+rng.NormFloat64()+shift)
		if whole {
			values[i], other[i] = math.Round(values[i]), math.Round(other[i])
		}
	}
	return values, other, truth
}

// The goal is below 170 ms for the curve with DeLong's interval of a million cases.
func BenchmarkROC(b *testing.B) {
	for _, whole := range []bool{false, true} {
		values, _, truth := benchmarkCases(1_000_000, whole)
		b.Run(fmt.Sprintf("1000000 cases, whole numbers %v", whole), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				r, err := stats.NewROC(values, truth)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := r.LogitInterval(stats.MustConfidence("0.95")); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkComparePaired(b *testing.B) {
	values, other, truth := benchmarkCases(1_000_000, false)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := stats.ComparePaired(values, other, truth, stats.MustConfidence("0.95")); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBestInterval(b *testing.B) {
	values, _, truth := benchmarkCases(500, true)
	r, err := stats.NewROC(values, truth)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := r.BestInterval(1999, stats.MustConfidence("0.95"), rand.NewPCG(1, 1)); err != nil {
			b.Fatal(err)
		}
	}
}
