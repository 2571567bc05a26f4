package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
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
		p := must[stats.Probability](t)(probabilityOf(draw("p")))
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
		for _, err := range []error{upper, lower, both} {
			if !errors.Is(err, stats.ErrArgument) {
				t.Errorf("%s: %v, want ErrArgument", test.reason, err)
			}
		}
	}
	if _, err := stats.UpperQuantileRank(0, half, c); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("n 0: %v, want ErrTooFew", err)
	}
}

func ExampleUpperQuantileRank() {
	_, err := stats.UpperQuantileRank(10, stats.MustProbability("0.95"), stats.MustConfidence("0.95"))
	fmt.Println(err)
	median, err := stats.UpperQuantileRank(10, stats.MustProbability("0.5"), stats.MustConfidence("0.95"))
	fmt.Printf("value %d of 10, confidence %.4f, %v\n", median.Rank, median.Achieved, err)
	// Output:
	// for 0.95 with confidence 0.95: 10 observations: 59 are needed: too few observations
	// value 9 of 10, confidence 0.9893, <nil>
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
