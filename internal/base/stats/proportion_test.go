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

// method is one way to an interval, with what its definition promises.
type method struct {
	name     string
	interval func(k, n int, c stats.Confidence) (stats.Interval, error)
	columns  string // prefix in binom_ci_grid.csv
}

var methods = []method{
	{"Wilson", stats.Wilson, "wilson"},
	{"ClopperPearson", stats.ClopperPearson, "cp"},
}

func TestProportionGrid(t *testing.T) {
	rows := readTable(t, "testdata/binom_ci_grid.csv")
	if len(rows) != 351 {
		t.Fatalf("the grid has %d rows, want 351", len(rows))
	}
	for _, m := range methods {
		t.Run(m.name, func(t *testing.T) {
			for _, row := range rows {
				k, n := atoi(t, row["x"]), atoi(t, row["n"])
				got := must[stats.Interval](t)(m.interval(k, n, stats.MustConfidence(row["conf"])))
				want := stats.Interval{Lo: atof(t, row[m.columns+"_lo"]), Hi: atof(t, row[m.columns+"_hi"])}
				wantInterval(t, fmt.Sprintf("%d/%d at %s", k, n, row["conf"]), got, want)
			}
		})
	}
}

// Values at 95 %, computed with R 4.2.2.
func TestProportionReference(t *testing.T) {
	tests := []struct {
		interval func(k, n int, c stats.Confidence) (stats.Interval, error)
		name     string
		k, n     int
		want     stats.Interval
	}{
		{stats.ClopperPearson, "ClopperPearson", 0, 30, stats.Interval{Lo: 0, Hi: .115703308222028}},
		{stats.Wilson, "Wilson", 0, 30, stats.Interval{Lo: 0, Hi: .113513393173969}},
		{stats.ClopperPearson, "ClopperPearson", 1, 100, stats.Interval{Lo: .000253146032977421, Hi: .0544593853920806}},
		{stats.Wilson, "Wilson", 1, 100, stats.Interval{Lo: .00176743206414065, Hi: .0544861961787053}},
		{stats.ClopperPearson, "ClopperPearson", 3, 50, stats.Interval{Lo: .0125485878353341, Hi: .165481946603773}},
		{stats.Wilson, "Wilson", 3, 50, stats.Interval{Lo: .020614970348974, Hi: .162170916888382}},
		{stats.ClopperPearson, "ClopperPearson", 5, 100, stats.Interval{Lo: .0164318791820522, Hi: .112834911105463}},
		{stats.Wilson, "Wilson", 5, 100, stats.Interval{Lo: .021543679154368, Hi: .111750469231919}},
	}
	for _, test := range tests {
		t.Run(fmt.Sprintf("%s %d of %d", test.name, test.k, test.n), func(t *testing.T) {
			got := must[stats.Interval](t)(test.interval(test.k, test.n, stats.MustConfidence("0.95")))
			wantInterval(t, "95 %", got, test.want)
		})
	}
}

// 95 % limits of large samples, solved in decimal arithmetic of 40 digits. An incomplete beta
// function through logarithms of gamma functions misses the second by 1e-10 and the third by more.
func TestExactLimitsOfLargeSamples(t *testing.T) {
	tests := []struct {
		k, n  int
		exact stats.Interval
	}{
		{
			2, 8505,
			stats.Interval{Lo: 2.8479726021875594e-05, Hi: .00084920269457416388},
		},
		{
			2000, 100_000,
			stats.Interval{Lo: .019141229780473303, Hi: .020886766971820001},
		},
		{
			17, 999_999_999,
			stats.Interval{Lo: 9.9031265096994686e-09, Hi: 2.721864670405639e-08},
		},
	}
	for _, test := range tests {
		t.Run(fmt.Sprintf("%d of %d", test.k, test.n), func(t *testing.T) {
			c := stats.MustConfidence("0.95")
			wantInterval(t, "exact", must[stats.Interval](t)(stats.ClopperPearson(test.k, test.n, c)), test.exact)
			// The same seen from the good ones; 1 − p has no digits below 1e-16.
			mirror := must[stats.Interval](t)(stats.ClopperPearson(test.n-test.k, test.n, c))
			if math.Abs(1-mirror.Hi-test.exact.Lo) > 2e-15 || math.Abs(1-mirror.Lo-test.exact.Hi) > 2e-15 {
				t.Errorf("the mirror image is %v", mirror)
			}
		})
	}
}

// 1 − 0.05^(1/n), R 4.2.2.
func TestRuleOfThree(t *testing.T) {
	tests := []struct {
		n    int
		want float64
	}{
		{30, .0950338528553042},
		{59, .049507609888227},
		{100, .0295130496070399},
		{299, .00996914679289929},
		{300, .00993608194445772},
	}
	for _, test := range tests {
		t.Run(fmt.Sprint(test.n), func(t *testing.T) {
			got := must[float64](t)(stats.ClopperPearsonUpper(0, test.n, stats.MustConfidence("0.95")))
			wantNear(t, "upper limit", got, test.want, close12)
			if got >= 3/float64(test.n) {
				t.Errorf("upper limit %g is not below 3/n = %g", got, 3/float64(test.n))
			}
		})
	}
}

func TestOneSidedLimitIsTwoSidedAtDoubledRisk(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		risk := rapid.IntRange(1, 4999).Draw(t, "risk × 10⁴")
		one := must[stats.Confidence](t)(stats.ConfidenceOf(float64(10_000-risk) / 1e4))
		two := must[stats.Confidence](t)(stats.ConfidenceOf(float64(10_000-2*risk) / 1e4))
		both := must[stats.Interval](t)(stats.ClopperPearson(k, n, two))
		hi := must[float64](t)(stats.ClopperPearsonUpper(k, n, one))
		if hi != both.Hi {
			t.Fatalf("one-sided %v, two-sided %v", hi, both)
		}
	})
}

func TestNothingLookedAtMeansNothingKnown(t *testing.T) {
	for _, m := range methods {
		t.Run(m.name, func(t *testing.T) {
			got := must[stats.Interval](t)(m.interval(0, 0, stats.MustConfidence("0.95")))
			if got != (stats.Interval{Lo: 0, Hi: 1}) {
				t.Errorf("0 of 0 gives %v, want 0 to 1", got)
			}
		})
	}
	if hi := must[float64](t)(stats.ClopperPearsonUpper(0, 0, stats.MustConfidence("0.95"))); hi != 1 {
		t.Errorf("upper limit of 0 of 0 is %v, want 1", hi)
	}
}

func TestProportionRefuses(t *testing.T) {
	c := stats.MustConfidence("0.95")
	tests := []struct {
		name string
		k, n int
		c    stats.Confidence
	}{
		{"more than all", 6, 5, c},
		{"fewer than none", -1, 5, c},
		{"negative trials", 0, -1, c},
		{"too many trials", 0, stats.MaxCount + 1, c},
		{"no confidence", 1, 5, stats.Confidence{}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			for _, m := range methods {
				if i, err := m.interval(test.k, test.n, test.c); !errors.Is(err, stats.ErrArgument) {
					t.Errorf("%s gives %v, %v; want ErrArgument", m.name, i, err)
				}
			}
			if hi, err := stats.ClopperPearsonUpper(test.k, test.n, test.c); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("ClopperPearsonUpper gives %v, %v; want ErrArgument", hi, err)
			}
		})
	}
}

// The battery that every interval passes: it lies within 0 to 1 and holds the observed
// proportion, mirrors when good and bad are swapped, moves up with k, and widens with confidence.
func TestProportionBattery(t *testing.T) {
	for _, m := range methods {
		t.Run(m.name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				n := rapid.IntRange(1, 2000).Draw(t, "n")
				k := rapid.IntRange(0, n).Draw(t, "k")
				c := drawConfidence(t)
				i := must[stats.Interval](t)(m.interval(k, n, c))
				const slack = 1e-12
				if !(0 <= i.Lo && i.Lo <= i.Hi && i.Hi <= 1) {
					t.Fatalf("%d of %d at %s: %v is not within 0 to 1", k, n, c, i)
				}
				// At a confidence of a few percent the exact interval shrinks to the median of p,
				// which need not be k/n.
				if p := float64(k) / float64(n); c.Float() >= 0.5 && (p < i.Lo-slack || p > i.Hi+slack) {
					t.Fatalf("%d of %d at %s: %v does not hold k/n = %g", k, n, c, i, p)
				}
				mirror := must[stats.Interval](t)(m.interval(n-k, n, c))
				if math.Abs(i.Lo-(1-mirror.Hi)) > slack || math.Abs(i.Hi-(1-mirror.Lo)) > slack {
					t.Fatalf("%d of %d at %s: %v is not the mirror of %v", k, n, c, i, mirror)
				}
				if k < n {
					up := must[stats.Interval](t)(m.interval(k+1, n, c))
					if up.Lo < i.Lo-slack || up.Hi < i.Hi-slack {
						t.Fatalf("%d of %d at %s: %v, but one more gives %v", k, n, c, i, up)
					}
				}
				d := drawConfidence(t)
				if d.Rat().Cmp(c.Rat()) > 0 {
					wide := must[stats.Interval](t)(m.interval(k, n, d))
					if wide.Lo > i.Lo+slack || wide.Hi < i.Hi-slack {
						t.Fatalf("%d of %d: %v at %s, but %v at %s", k, n, i, c, wide, d)
					}
				}
			})
		})
	}
}

// Coverage by enumeration of all k: the exact interval never falls below its confidence. The
// binomial probabilities are rational numbers here, so they owe nothing to the code under test.
func TestClopperPearsonCoverage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		thousandths := rapid.IntRange(0, 1000).Draw(t, "p × 1000")
		c := drawConfidence(t)
		covered := coverage(t, stats.ClopperPearson, n, thousandths, c)
		if covered < c.Float()-1e-9 {
			t.Fatalf("n = %d, p = %d/1000: coverage %v is below %s", n, thousandths, covered, c)
		}
	})
}

// The Wilson interval does fall below, which is why its documentation promises less: at n = 10 and
// p = 0.017 the interval of one success no longer covers, so that only 0 of 10 does, with
// probability 0.983¹⁰ = 84 %.
func TestWilsonCoverageIsNotGuaranteed(t *testing.T) {
	covered := coverage(t, stats.Wilson, 10, 17, stats.MustConfidence("0.95"))
	if want := math.Pow(0.983, 10); !near(covered, want, close12) {
		t.Errorf("coverage %v, want %v", covered, want)
	}
}

func coverage(t interface {
	Helper()
	Fatal(args ...any)
}, interval func(k, n int, c stats.Confidence) (stats.Interval, error), n, thousandths int, c stats.Confidence,
) float64 {
	t.Helper()
	p, q := big.NewRat(int64(thousandths), 1000), big.NewRat(int64(1000-thousandths), 1000)
	sum := new(big.Rat)
	for k := range n + 1 {
		i := must[stats.Interval](t)(interval(k, n, c))
		if !i.Contains(float64(thousandths) / 1000) {
			continue
		}
		term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(n), int64(k)))
		for range k {
			term.Mul(term, p)
		}
		for range n - k {
			term.Mul(term, q)
		}
		sum.Add(sum, term)
	}
	f, _ := sum.Float64()
	return f
}

func TestIntervalHelpers(t *testing.T) {
	i := stats.Interval{Lo: 0.25, Hi: 0.5}
	if !i.Contains(0.25) || !i.Contains(0.5) || i.Contains(0.51) || i.Contains(0.24) {
		t.Error("the ends belong to the interval and nothing beyond them does")
	}
	if i.Contains(math.NaN()) {
		t.Error("NaN lies in an interval")
	}
	if i.Width() != 0.25 {
		t.Errorf("width %v, want 0.25", i.Width())
	}
}

func ExampleWilson() {
	i, err := stats.Wilson(0, 30, stats.MustConfidence("0.95"))
	fmt.Printf("%.4f to %.4f, error %v\n", i.Lo, i.Hi, err)
	i, err = stats.Wilson(0, 0, stats.MustConfidence("0.95"))
	fmt.Printf("%.4f to %.4f, error %v\n", i.Lo, i.Hi, err)
	// Output:
	// 0.0000 to 0.1135, error <nil>
	// 0.0000 to 1.0000, error <nil>
}

func ExampleClopperPearsonUpper() {
	// No failure in 59 trials: with 95 % confidence fewer than 5 % fail.
	hi, err := stats.ClopperPearsonUpper(0, 59, stats.MustConfidence("0.95"))
	fmt.Printf("%.4f, error %v\n", hi, err)
	// Output: 0.0495, error <nil>
}

func BenchmarkWilson(b *testing.B) {
	c := stats.MustConfidence("0.95")
	for b.Loop() {
		if _, err := stats.Wilson(37, 500, c); err != nil {
			b.Fatal(err)
		}
	}
}
