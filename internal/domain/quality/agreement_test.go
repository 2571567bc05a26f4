package quality_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/quality"
)

// Peak expiratory flow rate in L/min of 17 people, first measurement with each of two meters:
// J. M. Bland & D. G. Altman, Lancet 1986;i:307-310, table I (from memory; mean difference, standard
// deviation and intervals agree with the printed ones).
var (
	largeMeter = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	smallMeter = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
)

func TestBlandAltman1986(t *testing.T) {
	t.Parallel()
	// The paper takes large − small.
	a := must[quality.Agreement](t)(quality.Agree(smallMeter, largeMeter, c95))
	lower, upper, err := a.ApproximateLimits(2, c95)
	if err != nil {
		t.Fatal(err)
	}
	printed := []struct {
		what      string
		got, want float64
		within    float64 // the paper goes on with rounded intermediate values
	}{
		{"mean difference", a.Bias, -2.1, 0.05},
		{"standard deviation", a.SD, 38.8, 0.05},
		{"lower limit", a.Bias - 2*a.SD, -79.7, 0.1},
		{"upper limit", a.Bias + 2*a.SD, 75.5, 0.1},
		{"mean, lower end", a.BiasCI.Lo, -22.0, 0.1},
		{"mean, upper end", a.BiasCI.Hi, 17.8, 0.1},
		{"lower limit, lower end", lower.Lo, -114.3, 0.2},
		{"lower limit, upper end", lower.Hi, -45.1, 0.2},
		{"upper limit, lower end", upper.Lo, 40.9, 0.2},
		{"upper limit, upper end", upper.Hi, 110.1, 0.2},
	}
	for _, p := range printed {
		if math.Abs(p.got-p.want) > p.within {
			t.Errorf("%s: got %.2f, printed %.1f", p.what, p.got, p.want)
		}
	}
}

// Reference values, independent implementation (regression, t and noncentral t quantiles), 12
// digits.
func TestAgreementExact(t *testing.T) {
	t.Parallel()
	a := must[quality.Agreement](t)(quality.Agree(smallMeter, largeMeter, c95))
	wantNear(t, "bias", a.Bias, -36.0/17, close12)
	wantNear(t, "sd", a.SD, 38.76512987360738, close12)
	wantInterval(t, "bias", a.BiasCI, -22.048837696642877, 17.81354357899582, close12)
	wantInterval(t, "slope", a.SlopeCI, -0.15932006368391669, 0.2166949539890151, close12)
	wantNear(t, "slope", a.Slope, 0.02868744515254921, close12)
	wantNear(t, "at the lowest", a.AtLow, -8.799290534206975, close12)
	wantNear(t, "at the highest", a.AtHigh, 3.694091829728203, close12)
	wantInterval(t, "lower limit", a.LowerCI, -124.16079829467598, -53.0949314166675, close9)
	wantInterval(t, "upper limit", a.UpperCI, 48.85963729902044, 119.92550417702891, close9)
}

// Exact intervals of a limit hold it as often as they say: 4,000 simulated studies of 8 pairs, a
// fixed seed, four standard errors.
func TestLimitCoverage(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 3))
	const studies = 4_000
	held := 0
	for range studies {
		old, new := make([]float64, 8), make([]float64, 8)
		for i := range old {
			old[i] = 10 * random.Float64()
			new[i] = old[i] + 1 + 2*random.NormFloat64()
		}
		a := must[quality.Agreement](t)(quality.Agree(old, new, c95))
		if a.UpperCI.Contains(1 + 2*1.959963984540054) {
			held++
		}
	}
	if got := float64(held) / studies; math.Abs(got-0.95) > 4*math.Sqrt(0.95*0.05/studies) {
		t.Errorf("coverage %.4f", got)
	}
}

func TestAgreeRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason   string
		old, new []float64
		c        stats.Confidence
	}{
		{"not pairs", []float64{1, 2, 3}, []float64{1, 2}, c95},
		{"two pairs have no slope", []float64{1, 2}, []float64{1, 3}, c95},
		{"NaN", []float64{1, 2, math.NaN()}, []float64{1, 3, 4}, c95},
		{"an infinity", []float64{1, 2, 3}, []float64{1, 3, math.Inf(1)}, c95},
		{"equal differences have no spread", []float64{1, 2, 3}, []float64{2, 3, 4}, c95},
		{"no confidence", []float64{1, 2, 3}, []float64{2, 3, 5}, stats.Confidence{}},
	}
	for _, test := range tests {
		if _, err := quality.Agree(test.old, test.new, test.c); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v", test.reason, err)
		}
	}
	if _, _, err := (quality.Agreement{N: 17, SD: 1}).ApproximateLimits(0, c95); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no width: %v", err)
	}
	// In the second case the means differ by rounding: 0.15+2.05 is not 1.1+1.1.
	for _, pairs := range [][2][]float64{{{1, 2, 0}, {3, 2, 4}}, {{1.1, 2.2, 0.3}, {3.3, 2.2, 4.1}}} {
		flat := must[quality.Agreement](t)(quality.Agree(pairs[0], pairs[1], c95))
		if !math.IsInf(flat.SlopeCI.Hi, 1) || !math.IsInf(flat.SlopeCI.Lo, -1) || flat.AtLow != flat.AtHigh {
			t.Errorf("equal means tell nothing of a slope: %+v", flat)
		}
	}
}

// drawPairs draws two methods on the same samples.
func drawPairs(t *rapid.T) (old, new []float64) {
	n := rapid.IntRange(3, 30).Draw(t, "n")
	value := rapid.Float64Range(1, 1000)
	for range n {
		old, new = append(old, value.Draw(t, "old")), append(new, value.Draw(t, "new"))
	}
	return old, new
}

func TestAgreementProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		old, new := drawPairs(t)
		a, err := quality.Agree(old, new, c95)
		if err != nil {
			t.Skip("equal differences")
		}
		// Exchanging the methods mirrors everything.
		b := must[quality.Agreement](t)(quality.Agree(new, old, c95))
		tolerance := 1e-9 * (1 + math.Abs(a.Bias) + a.SD*50)
		mirror := [][2]float64{
			{a.Bias, -b.Bias},
			{a.SD, b.SD},
			{a.BiasCI.Lo, -b.BiasCI.Hi},
			{a.Limits.Lo, -b.Limits.Hi},
			{a.LowerCI.Lo, -b.UpperCI.Hi},
			{a.LowerCI.Hi, -b.UpperCI.Lo},
			{a.AtLow, -b.AtLow},
			{a.AtHigh, -b.AtHigh},
		}
		for i, pair := range mirror {
			if math.Abs(pair[0]-pair[1]) > tolerance {
				t.Fatalf("mirror %d: %v and %v", i, pair[0], pair[1])
			}
		}
		// The order of the pairs changes no digit, and no argument is changed.
		order := rapid.Permutation(indices(len(old))).Draw(t, "order")
		shuffledOld, shuffledNew := pick(old, order), pick(new, order)
		if c := must[quality.Agreement](t)(quality.Agree(shuffledOld, shuffledNew, c95)); c != a {
			t.Fatalf("shuffled: %+v, was %+v", c, a)
		}
		if !slices.Equal(shuffledOld, pick(old, order)) {
			t.Fatal("an argument was changed")
		}
		// The intervals of the limits hold the limits, and are longer on the outer side.
		if !a.LowerCI.Contains(a.Limits.Lo) || !a.UpperCI.Contains(a.Limits.Hi) || a.UpperCI.Hi-a.Limits.Hi < a.Limits.Hi-a.UpperCI.Lo {
			t.Fatalf("%+v", a)
		}
	})
}

func indices(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

func pick[T any](s []T, order []int) []T {
	picked := make([]T, len(order))
	for i, j := range order {
		picked[i] = s[j]
	}
	return picked
}
