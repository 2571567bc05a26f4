package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// Permeability of two membranes: M. Hollander & D. A. Wolfe, Nonparametric Statistical Methods, 1973,
// p. 69 (from memory); one-sided p printed as 0.127. Digits beyond: R 4.2.2, wilcox.test().
func TestRankSumReference(t *testing.T) {
	t.Parallel()
	x := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	y := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	r := must[stats.RankSum](t)(stats.MannWhitney(x, y))
	if r.U != 35 || !r.Exact {
		t.Errorf("%+v, want U 35, exact", r)
	}
	wantNear(t, "upper", r.Upper, 0.1272061272061272, close12)
	wantNear(t, "two-sided", r.P, 0.2544122544122544, close12)
	s := must[stats.Shift](t)(stats.HodgesLehmann(x, y, stats.MustConfidence("0.95")))
	wantNear(t, "shift", s.Value, 0.305, close12)
	wantInterval(t, "shift", s.Interval, stats.Interval{Lo: -0.15, Hi: 0.76})
	wantNear(t, "achieved", s.Achieved, 0.9600399600399601, close12)
	// The other way round everything is mirrored.
	other := must[stats.RankSum](t)(stats.MannWhitney(y, x))
	if other.U != 15 {
		t.Errorf("mirrored U %v, want 15", other.U)
	}
	wantNear(t, "mirrored lower", other.Lower, r.Upper, close12)
	wantNear(t, "mirrored upper", other.Upper, r.Lower, close12)
}

// All 6435 divisions of fifteen values with ties were listed by a separate program: 2781 have U ≥ 30
// and 3945 have U ≤ 30.
func TestRankSumTiesReference(t *testing.T) {
	t.Parallel()
	r := must[stats.RankSum](t)(stats.MannWhitney([]float64{1, 2, 2, 3, 5, 5, 8}, []float64{2, 3, 3, 4, 5, 1, 1, 9}))
	if r.U != 30 {
		t.Errorf("U %v, want 30", r.U)
	}
	wantNear(t, "upper", r.Upper, 2781.0/6435, close12)
	wantNear(t, "lower", r.Lower, 3945.0/6435, close12)
}

// 52 by 56 values with ties, R 4.2.2 wilcox.test(exact = FALSE, correct = TRUE).
func TestRankSumApproximationReference(t *testing.T) {
	t.Parallel()
	x := []float64{
		24, 27, 27, 25, 31, 35, 24, 19, 28, 23, 27, 20, 22, 18, 20, 31, 32, 31, 32, 24, 26, 29, 24, 24, 33, 33,
		32, 28, 19, 32, 34, 26, 30, 22, 22, 33, 39, 36, 28, 27, 21, 24, 30, 34, 32, 38, 37, 30, 31, 37, 32, 47,
	}
	y := []float64{
		18, 15, 18, 16, 17, 15, 14, 14, 14, 15, 15, 14, 15, 14, 22, 18, 21, 21, 10, 10, 11, 9, 28, 25, 19, 16, 17, 19,
		18, 14, 14, 14, 14, 12, 13, 13, 18, 22, 19, 18, 23, 26, 25, 20, 21, 13, 14, 15, 14, 17, 27, 28, 31, 30, 33, 35,
	}
	r := must[stats.RankSum](t)(stats.MannWhitney(x, y))
	if r.U != 2589.5 || r.Exact {
		t.Errorf("%+v, want U 2589.5, approximate", r)
	}
	wantTail(t, "two-sided", r.P, 3.050490104973754e-12, 1e-11)
	for i := range y {
		y[i] += 12
	}
	r = must[stats.RankSum](t)(stats.MannWhitney(x, y))
	wantNear(t, "shifted, two-sided", r.P, 0.3457509307939562, close12)
	wantNear(t, "shifted, lower", r.Lower, 0.1728754653969781, close12)
}

// The definition: every choice of len(x) of the pooled values, each as likely.
func listDivisions(x, y []float64) (u, lower, upper float64) {
	pooled := slices.Concat(x, y)
	statistic := func(taken uint) float64 {
		sum := 0.0
		for i, a := range pooled {
			for j, b := range pooled {
				if taken>>i&1 == 1 && taken>>j&1 == 0 {
					switch {
					case a > b:
						sum++
					case a == b:
						sum += 0.5
					}
				}
			}
		}
		return sum
	}
	u = statistic(1<<len(x) - 1)
	total := 0.0
	for taken := range uint(1) << len(pooled) {
		bits := 0
		for b := taken; b > 0; b &= b - 1 {
			bits++
		}
		if bits != len(x) {
			continue
		}
		v := statistic(taken)
		total++
		if v <= u {
			lower++
		}
		if v >= u {
			upper++
		}
	}
	return u, lower / total, upper / total
}

func TestRankSumCountsAllDivisions(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(what string) []float64 {
			var values []float64
			for _, v := range rapid.SliceOfN(rapid.IntRange(0, 6), 1, 5).Draw(t, what) {
				values = append(values, float64(v))
			}
			return values
		}
		x, y := draw("x"), draw("y")
		r := must[stats.RankSum](t)(stats.MannWhitney(x, y))
		u, lower, upper := listDivisions(x, y)
		if r.U != u || !near(r.Lower, lower, close12) || !near(r.Upper, upper, close12) || !r.Exact {
			t.Fatalf("%+v, by listing U %v, lower %v, upper %v", r, u, lower, upper)
		}
	})
}

// On both sides of the switch to the approximation the probabilities are near each other: 50 by 50
// values are counted, 50 by 51 approximated.
func TestRankSumApproximationIsNear(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 5))
	x, y := make([]float64, 50), make([]float64, 50)
	for i := range x {
		x[i], y[i] = rng.NormFloat64()+0.35, rng.NormFloat64()
	}
	exact := must[stats.RankSum](t)(stats.MannWhitney(x, y))
	// A value in the middle of x moves U by its expected half.
	more := must[stats.RankSum](t)(stats.MannWhitney(x, append(slices.Clone(y), 0.35)))
	if !exact.Exact || more.Exact {
		t.Fatalf("%+v and %+v", exact, more)
	}
	if math.Abs(exact.P-more.P) > 0.01 {
		t.Errorf("p %v counted, %v approximated", exact.P, more.P)
	}
}

// Every rank of the differences, against the sorted list of all of them.
func TestHodgesLehmannIsTheMedianDifference(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.8")
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 4, 12).Draw(t, "x")
		y := rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 4, 12).Draw(t, "y")
		s := must[stats.Shift](t)(stats.HodgesLehmann(x, y, c))
		var d []float64
		for _, a := range x {
			for _, b := range y {
				d = append(d, a-b)
			}
		}
		slices.Sort(d)
		n := len(d)
		median := d[(n-1)/2] + (d[n/2]-d[(n-1)/2])/2
		if s.Value != median {
			t.Fatalf("%v, median of the differences %v", s.Value, median)
		}
		lo, hi := slices.Index(d, s.Interval.Lo), slices.Index(d, s.Interval.Hi)
		if lo < 0 || hi < 0 || s.Achieved < c.Float() || !s.Exact {
			t.Fatalf("limits %v are not differences, or %v is too little", s.Interval, s.Achieved)
		}
	})
}

// Coverage by counting: among all orders of m + n values without ties, the rank interval contains
// the shift 0 with just the probability Achieved. 0 lies between the k-th smallest and the k-th
// largest difference unless U < k or U > mn − k.
func TestHodgesLehmannCoversExactly(t *testing.T) {
	t.Parallel()
	for _, size := range [][2]int{{4, 4}, {3, 6}, {5, 5}, {6, 4}} {
		m, n := size[0], size[1]
		for _, text := range []string{"0.5", "0.8", "0.9", "0.95"} {
			c := stats.MustConfidence(text)
			covered, total, achieved := 0, 0, 0.0
			failed := false
			for taken := range uint(1) << (m + n) {
				var x, y []float64
				for i := range m + n {
					v := float64(i*i + 1) // all differences distinct enough, none is 0
					if taken>>i&1 == 1 {
						x = append(x, v)
					} else {
						y = append(y, v)
					}
				}
				if len(x) != m {
					continue
				}
				s, err := stats.HodgesLehmann(x, y, c)
				if err != nil {
					failed = true
					break
				}
				achieved = s.Achieved
				total++
				if s.Interval.Contains(0) {
					covered++
				}
			}
			if failed {
				t.Errorf("%d and %d values at %s: refused", m, n, text)
				continue
			}
			wantNear(t, fmt.Sprintf("coverage of %d and %d at %s", m, n, text), float64(covered)/float64(total), achieved, close12)
			if achieved < c.Float() {
				t.Errorf("%d and %d at %s: only %v", m, n, text, achieved)
			}
		}
	}
}

func TestRankSumArguments(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	good := []float64{1, 2, 3}
	for _, test := range []struct {
		reason string
		x, y   []float64
		want   error
	}{
		{"empty", nil, good, stats.ErrTooFew},
		{"empty second", good, nil, stats.ErrTooFew},
		{"NaN", good, []float64{math.NaN()}, stats.ErrArgument},
		{"infinite", []float64{math.Inf(-1)}, good, stats.ErrArgument},
	} {
		if _, err := stats.MannWhitney(test.x, test.y); !errors.Is(err, test.want) {
			t.Errorf("test, %s: %v, want %v", test.reason, err, test.want)
		}
		if _, err := stats.HodgesLehmann(test.x, test.y, c); !errors.Is(err, test.want) {
			t.Errorf("shift, %s: %v, want %v", test.reason, err, test.want)
		}
	}
	if _, err := stats.HodgesLehmann(good, good, stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no confidence: %v", err)
	}
	// Two samples of three reach 1 − 2/20 = 0.9; two of four 1 − 2/70.
	var few *stats.TooFewError
	if _, err := stats.HodgesLehmann(good, good, c); !errors.As(err, &few) || few.Need != 4 {
		t.Errorf("three and three: %v, want a need of 4", err)
	}
	flat := must[stats.RankSum](t)(stats.MannWhitney([]float64{2, 2}, []float64{2, 2, 2}))
	if flat.P != 1 || flat.Lower != 1 || flat.Upper != 1 || flat.U != 3 {
		t.Errorf("all equal: %+v", flat)
	}
	many := slices.Repeat([]float64{2}, 60)
	flat = must[stats.RankSum](t)(stats.MannWhitney(many, many))
	if flat.P != 1 || flat.U != 1800 {
		t.Errorf("sixty and sixty equal: %+v", flat)
	}
	s := must[stats.Shift](t)(stats.HodgesLehmann(many, many, c))
	if s.Value != 0 || s.Interval != (stats.Interval{}) || s.Exact {
		t.Errorf("shift of equal samples: %+v", s)
	}
}

func BenchmarkRankSum(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{20, 50, 100_000} {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = rng.NormFloat64(), rng.NormFloat64()
		}
		b.Run(fmt.Sprintf("test %d and %d", n, n), func(b *testing.B) {
			for b.Loop() {
				if _, err := stats.MannWhitney(x, y); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("shift %d and %d", n, n), func(b *testing.B) {
			for b.Loop() {
				if _, err := stats.HodgesLehmann(x, y, stats.MustConfidence("0.95")); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
