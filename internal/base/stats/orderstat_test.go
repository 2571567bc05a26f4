package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// testdata/quantile_order_bounds.csv: ranks from the binomial distribution function, R 4.2.2.
func TestQuantileRankTable(t *testing.T) {
	t.Parallel()
	rows := readTable(t, "testdata/quantile_order_bounds.csv")
	if len(rows) < 200 {
		t.Fatalf("the table has only %d rows", len(rows))
	}
	for _, row := range rows {
		n := atoi(t, row["n"])
		p, c := stats.MustProbability(row["p"]), stats.MustConfidence(row["conf"])
		name := fmt.Sprintf("n %d, p %s, confidence %s", n, p, c)
		check := func(end string, bound stats.RankBound, err error) {
			t.Helper()
			if row[end+"_rank"] == "NA" {
				if !errors.Is(err, stats.ErrTooFew) {
					t.Errorf("%s, %s: %+v, %v, want ErrTooFew", name, end, bound, err)
				}
				return
			}
			if want := atoi(t, row[end+"_rank"]); err != nil || bound.Rank != want {
				t.Errorf("%s, %s: %+v, %v, want rank %d", name, end, bound, err, want)
				return
			}
			wantNear(t, name+", "+end, bound.Achieved, atof(t, row[end+"_conf"]), close12)
		}
		upper, err := stats.UpperQuantileRank(n, p, c)
		check("upper", upper, err)
		lower, err := stats.LowerQuantileRank(n, p, c)
		check("lower", lower, err)
		if row["two_lo"] == "NA" || row["two_hi"] == "NA" {
			if _, err := stats.QuantileRanks(n, p, c); !errors.Is(err, stats.ErrTooFew) {
				t.Errorf("%s, two-sided: %v, want ErrTooFew", name, err)
			}
			continue
		}
		both, err := stats.QuantileRanks(n, p, c)
		if err != nil || both.Lo != atoi(t, row["two_lo"]) || both.Hi != atoi(t, row["two_hi"]) {
			t.Errorf("%s, two-sided: %+v, %v, want %s to %s", name, both, err, row["two_lo"], row["two_hi"])
		}
	}
}

// Upper 95 % bounds of the 95th percentile, computed with R 4.2.2.
func TestUpperBoundOfP95(t *testing.T) {
	t.Parallel()
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	for _, test := range []struct {
		n, rank  int
		achieved float64 // 0 where no reference value is at hand
	}{
		{59, 59, .9515054748},
		{93, 92, .9500242048},
		{100, 99, .9629187907},
		{200, 196, 0},
		{500, 484, 0},
		{1000, 962, .9566518094},
	} {
		b := must[stats.RankBound](t)(stats.UpperQuantileRank(test.n, p95, c))
		if b.Rank != test.rank {
			t.Errorf("n %d: rank %d, want %d", test.n, b.Rank, test.rank)
		}
		if test.achieved != 0 && math.Abs(b.Achieved-test.achieved) > 5e-11 { // ten printed digits
			t.Errorf("n %d: confidence %v, want %v", test.n, b.Achieved, test.achieved)
		}
	}
	var few *stats.TooFewError
	if _, err := stats.UpperQuantileRank(58, p95, c); !errors.As(err, &few) || few.Have != 58 || few.Need != 59 {
		t.Errorf("n 58: %v, want a need of 59", err)
	}
	// Both ends at 97.5 %: 0.95ⁿ ≤ 0.025 from n = 72 on.
	if _, err := stats.QuantileRanks(71, p95, c); !errors.As(err, &few) || few.Need != 72 {
		t.Errorf("two-sided, n 71: %v, want a need of 72", err)
	}
	if _, err := stats.QuantileRanks(71, p95.Complement(), c); !errors.As(err, &few) || few.Need != 72 {
		t.Errorf("two-sided of the 5th percentile, n 71: %v, want a need of 72", err)
	}
	if i, err := stats.QuantileRanks(72, p95, c); err != nil || i.Hi != 72 {
		t.Errorf("two-sided, n 72: %+v, %v", i, err)
	}
}

// Smallest samples, from Wilks's formula: coverage content good (first number) with the confidence
// (second), e.g. Meeker, Hahn & Escobar 2017, table J.7 ff.; computed with R 4.2.2.
func TestFreeToleranceSize(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		good, c string
		blocks  int
		want    int
	}{
		{"0.90", "0.95", 1, 29},
		{"0.95", "0.95", 1, 59},
		{"0.99", "0.95", 1, 299},
		{"0.90", "0.95", 2, 46},
		{"0.95", "0.95", 2, 93},
		{"0.99", "0.95", 2, 473},
		{"0.95", "0.90", 1, 45},
		{"0.90", "0.90", 1, 22},
		{"0.95", "0.99", 1, 90},
		{"0.99", "0.99", 1, 459},
	} {
		good, c := stats.MustProbability(test.good), stats.MustConfidence(test.c)
		n := must[int](t)(stats.FreeToleranceSize(test.blocks, good, c))
		if n != test.want {
			t.Errorf("%s/%s with %d blocks outside: %d, want %d", test.good, test.c, test.blocks, n, test.want)
		}
		if stats.FreeToleranceConfidence(n, test.blocks, good) < c.Float() ||
			stats.FreeToleranceConfidence(n-1, test.blocks, good) >= c.Float() {
			t.Errorf("%s/%s: %d is not the smallest", test.good, test.c, n)
		}
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.4 prints 95 % for n = 46.
func TestFreeToleranceRanks(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	i := must[stats.RankInterval](t)(stats.FreeToleranceRanks(46, stats.MustProbability("0.9"), c))
	if i.Lo != 1 || i.Hi != 46 {
		t.Errorf("n 46: %+v, want 1 to 46", i)
	}
	wantNear(t, "n 46", i.Achieved, .951996200375518, close12)
	i = must[stats.RankInterval](t)(stats.FreeToleranceRanks(93, stats.MustProbability("0.95"), c))
	wantNear(t, "n 93", i.Achieved, .950024204757384, close12)
	var few *stats.TooFewError
	if _, err := stats.FreeToleranceRanks(45, stats.MustProbability("0.9"), c); !errors.As(err, &few) || few.Need != 46 {
		t.Errorf("n 45: %v, want a need of 46", err)
	}
}

// binomialBelow returns P(B < r) exactly, as a sum of integers over a power of ten.
func binomialBelow(n, r int, p stats.Probability) *big.Rat {
	q := p.Complement().Rat()
	sum := new(big.Rat)
	for k := range r {
		term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(n), int64(k)))
		for range k {
			term.Mul(term, p.Rat())
		}
		for range n - k {
			term.Mul(term, q)
		}
		sum.Add(sum, term)
	}
	return sum
}

// The rank is the first whose exact binomial sum reaches the confidence, ties included: one half of
// one value at confidence one half is such a tie.
func TestUpperQuantileRankCoversExactly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 25).Draw(t, "n")
		places := rapid.SampledFrom([]int{1, 2}).Draw(t, "places")
		scale := math.Pow10(places)
		draw := func(what string) float64 { return float64(rapid.IntRange(1, int(scale)-1).Draw(t, what)) / scale }
		p := must[stats.Probability](t)(stats.ProbabilityOf(draw("p")))
		c := must[stats.Confidence](t)(stats.ConfidenceOf(draw("c")))
		first := 0
		for r := 1; r <= n && first == 0; r++ {
			if binomialBelow(n, r, p).Cmp(c.Rat()) >= 0 {
				first = r
			}
		}
		b, err := stats.UpperQuantileRank(n, p, c)
		if first == 0 {
			var few *stats.TooFewError
			if !errors.As(err, &few) || binomialBelow(few.Need, few.Need, p).Cmp(c.Rat()) < 0 ||
				binomialBelow(few.Need-1, few.Need-1, p).Cmp(c.Rat()) >= 0 {
				t.Fatalf("n %d, p %s, c %s: %+v, %v", n, p, c, b, err)
			}
			return
		}
		if err != nil || b.Rank != first {
			t.Fatalf("n %d, p %s, c %s: %+v, %v, want rank %d", n, p, c, b, err, first)
		}
		exact, _ := binomialBelow(n, first, p).Float64()
		if !near(b.Achieved, exact, close12) {
			t.Fatalf("n %d, p %s, c %s: achieved %v, want %v", n, p, c, b.Achieved, exact)
		}
	})
}

// The coverage of order statistics that leave m gaps outside is Beta(n+1−m, m): the confidence is
// the binomial sum, and one value less on either side would not hold it.
func TestFreeToleranceRanksCoverExactly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 40).Draw(t, "n")
		good := must[stats.Probability](t)(stats.ProbabilityOf(float64(rapid.IntRange(1, 99).Draw(t, "good %")) / 100))
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(1, 99).Draw(t, "c %")) / 100))
		i, err := stats.FreeToleranceRanks(n, good, c)
		// At least `blocks` of n values in a set of probability 1−good: 1 − P(B < blocks).
		reached := func(n, blocks int) bool {
			return binomialBelow(n, blocks, good.Complement()).Cmp(new(big.Rat).Sub(big.NewRat(1, 1), c.Rat())) <= 0
		}
		if errors.Is(err, stats.ErrTooFew) {
			if reached(n, 2) {
				t.Fatalf("n %d, good %s, c %s: refused, though the extremes hold", n, good, c)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		blocks := i.Lo + n + 1 - i.Hi
		if !reached(n, blocks) || (blocks < n && reached(n, blocks+1)) || i.Lo-(n+1-i.Hi) < 0 || i.Lo-(n+1-i.Hi) > 1 {
			t.Fatalf("n %d, good %s, c %s: %+v", n, good, c, i)
		}
		exact, _ := binomialBelow(n, blocks, good.Complement()).Float64()
		if !near(i.Achieved, 1-exact, 1e-11) {
			t.Fatalf("n %d, good %s, c %s: achieved %v, want %v", n, good, c, i.Achieved, 1-exact)
		}
	})
}

func TestQuantileUpperReadsTheSample(t *testing.T) {
	t.Parallel()
	x := make([]float64, 59)
	for i := range x {
		x[i] = float64((i*37)%59) * 10 // 0 to 580 in a scrambled order
	}
	before := slices.Clone(x)
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	v, b, err := stats.QuantileUpper(x, p95, c)
	if err != nil || v != 580 || b.Rank != 59 {
		t.Errorf("upper: %v, %+v, %v", v, b, err)
	}
	v, b, err = stats.QuantileLower(x, p95, c)
	if err != nil || v != 10*float64(b.Rank-1) || b.Rank != 53 { // P(B ≥ 53) = 0.9666, P(B ≥ 54) = 0.9188
		t.Errorf("lower: %v, %+v, %v", v, b, err)
	}
	if !slices.Equal(x, before) {
		t.Error("the sample was changed")
	}
	if _, _, err := stats.QuantileUpper([]float64{1, math.NaN()}, p95, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("NaN: %v, want ErrArgument", err)
	}
	if _, _, err := stats.QuantileUpper(nil, p95, c); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("empty: %v, want ErrTooFew", err)
	}
}

func TestOrderStatisticArguments(t *testing.T) {
	t.Parallel()
	half, c := stats.MustProbability("0.5"), stats.MustConfidence("0.95")
	for _, test := range []struct {
		reason string
		n      int
		p      stats.Probability
		c      stats.Confidence
	}{
		{"n −1", -1, half, c},
		{"n too large", stats.MaxCount + 1, half, c},
		{"p 0", 10, stats.MustProbability("0"), c},
		{"p 1", 10, stats.MustProbability("1"), c},
		{"no p", 10, stats.Probability{}, c},
		{"no confidence", 10, half, stats.Confidence{}},
	} {
		_, upper := stats.UpperQuantileRank(test.n, test.p, test.c)
		_, lower := stats.LowerQuantileRank(test.n, test.p, test.c)
		_, both := stats.QuantileRanks(test.n, test.p, test.c)
		_, free := stats.FreeToleranceRanks(test.n, test.p, test.c)
		for _, err := range []error{upper, lower, both, free} {
			if !errors.Is(err, stats.ErrArgument) {
				t.Errorf("%s: %v, want ErrArgument", test.reason, err)
			}
		}
	}
	if _, err := stats.FreeToleranceSize(0, half, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("0 blocks: %v, want ErrArgument", err)
	}
	for _, got := range []float64{
		stats.FreeToleranceConfidence(5, 0, half),
		stats.FreeToleranceConfidence(5, 6, half),
		stats.FreeToleranceConfidence(5, 1, stats.Probability{}),
	} {
		if !math.IsNaN(got) {
			t.Errorf("confidence outside the conditions: %v, want NaN", got)
		}
	}
	if _, err := stats.UpperQuantileRank(0, half, c); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("n 0: %v, want ErrTooFew", err)
	}
}

func ExampleQuantileUpper() {
	readings := []float64{41, 12, 96, 33, 58, 27, 140, 75, 19, 64}
	_, _, err := stats.QuantileUpper(readings, stats.MustProbability("0.95"), stats.MustConfidence("0.95"))
	fmt.Println(err)
	median, bound, err := stats.QuantileUpper(readings, stats.MustProbability("0.5"), stats.MustConfidence("0.95"))
	fmt.Printf("%v, value %d of 10, confidence %.4f, %v\n", median, bound.Rank, bound.Achieved, err)
	// Output:
	// for 0.95 with confidence 0.95: 10 observations: 59 are needed: too few observations
	// 96, value 9 of 10, confidence 0.9893, <nil>
}

func BenchmarkUpperQuantileRank(b *testing.B) {
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	for _, n := range []int{100, 10_000, 1_000_000} {
		b.Run(fmt.Sprintf("n %d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := stats.UpperQuantileRank(n, p95, c); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
