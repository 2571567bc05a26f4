package stats_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// testdata/tolerance_K_onesided.csv: noncentral t quantiles in decimal arithmetic of 30 digits,
// columns such as conf95_p99.
func TestToleranceFactorTable(t *testing.T) {
	t.Parallel()
	rows := readTable(t, "testdata/tolerance_K_onesided.csv")
	if len(rows) < 20 {
		t.Fatalf("the table has only %d rows", len(rows))
	}
	for _, row := range rows {
		n := atoi(t, row["n"])
		for column, text := range row {
			conf, p, ok := strings.Cut(strings.TrimPrefix(column, "conf"), "_p")
			if !ok {
				continue
			}
			k := must[float64](t)(stats.ToleranceFactor(n, stats.MustProbability("0."+p), stats.MustConfidence("0."+conf)))
			wantNear(t, fmt.Sprintf("n %d, %s", n, column), k, atof(t, text), close12)
		}
	}
}

// Solved from the integral over the standard deviation in decimal arithmetic of 25 digits.
func TestToleranceFactorReference(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		n       int
		good, c string
		want    float64
	}{
		{2, "0.9", "0.95", 20.581467624244981},
		{43, "0.90", "0.99", 1.8739536058511997}, // NIST 7.2.6.3 prints 1.8740
		{6, "0.90", "0.99", 4.4110805723976216},  // NIST 7.2.6.3 prints 4.4111
		{59, "0.95", "0.95", 2.0258871787927675},
		{1000, "0.95", "0.95", 1.7272632696712743},
		{1000, "0.99", "0.99", 2.4745797060384957},
		{100000, "0.95", "0.95", 1.6528571890460579},
		{10, "0.999", "0.999", 8.9323108395198455},
		{20, "0.5", "0.95", 0.38664585086871138},
	} {
		k := must[float64](t)(stats.ToleranceFactor(test.n, stats.MustProbability(test.good), stats.MustConfidence(test.c)))
		wantNear(t, fmt.Sprintf("n %d, %s/%s", test.n, test.good, test.c), k, test.want, 3e-14)
	}
}

// 95/95 factors as printed in tables made before computers (D. B. Owen; M. G. Natrella, Experimental
// Statistics, table A-7), which are off by one in the third decimal for small n.
func TestToleranceFactorPrinted(t *testing.T) {
	t.Parallel()
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	printed := []float64{
		7.655, 5.145, 4.202, 3.707, 3.399, 3.188, 3.031, 2.911, 2.815, 2.736, 2.670,
		2.614, 2.566, 2.523, 2.486, 2.453, 2.423, 2.396,
	}
	for i, want := range printed {
		if k := must[float64](t)(stats.ToleranceFactor(i+3, p95, c)); math.Abs(k-want) > 0.0012 {
			t.Errorf("n %d: %v, printed %v", i+3, k, want)
		}
	}
	for n, want := range map[int]float64{30: 2.220, 35: 2.166, 40: 2.126, 50: 2.065} {
		if k := must[float64](t)(stats.ToleranceFactor(n, p95, c)); math.Abs(k-want) > 0.0012 {
			t.Errorf("n %d: %v, printed %v", n, k, want)
		}
	}
}

// Natrella's closed form, as NIST 7.2.6.3 uses it, is near the exact factor for larger n and far
// from it for small n: printed 1.8752 for n 43 and 5.2808 for n 6, 90/99.
func TestNatrellaIsAnApproximation(t *testing.T) {
	t.Parallel()
	natrella := func(n, good, c float64) float64 {
		zp, zc := stats.NormalQuantile(good), stats.NormalQuantile(c)
		a, b := 1-zc*zc/(2*(n-1)), zp*zp-zc*zc/n
		return (zp + math.Sqrt(zp*zp-a*b)) / a
	}
	wantNear(t, "n 43", natrella(43, 0.9, 0.99), 1.875189581277026, close12)
	wantNear(t, "n 6", natrella(6, 0.9, 0.99), 5.28082735821352, close12)
	exact := must[float64](t)(stats.ToleranceFactor(2000, stats.MustProbability("0.9"), stats.MustConfidence("0.99")))
	wantNear(t, "n 2000", natrella(2000, 0.9, 0.99), exact, 1e-4) // the approximation's own error
}

// At good = ½ the limit is for the mean: K = t/√n.
func TestToleranceFactorOfTheMedianIsStudent(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 5000).Draw(t, "n")
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(5001, 9999).Draw(t, "c × 10⁴")) / 1e4))
		k := must[float64](t)(stats.ToleranceFactor(n, stats.MustProbability("0.5"), c))
		want := -stats.TQuantile(1-c.Float(), float64(n-1)) / math.Sqrt(float64(n))
		if math.Abs(k-want) > 1e-11*want+1e-13 { // 1−c costs digits where c is near 1, and k is near 0 where it is near ½
			t.Fatalf("n %d, c %s: %v, want %v", n, c, k, want)
		}
	})
}

// More data narrow the limit, a larger share or confidence widens it.
func TestToleranceFactorsAreMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 3000).Draw(t, "n")
		goodAt := rapid.IntRange(500, 998).Draw(t, "good × 1000")
		cAt := rapid.IntRange(500, 998).Draw(t, "c × 1000")
		good := func(i int) stats.Probability { return stats.MustProbability(fmt.Sprintf("0.%03d", i)) }
		conf := func(i int) stats.Confidence { return stats.MustConfidence(fmt.Sprintf("0.%03d", i)) }
		factor := func(n, g, c int) float64 { return must[float64](t)(stats.ToleranceFactor(n, good(g), conf(c))) }
		k := factor(n, goodAt, cAt)
		// At the median confidence the factor need not fall with n.
		if cAt > 600 && factor(n+1, goodAt, cAt) >= k {
			t.Fatalf("n %d, good %d, c %d: %v does not fall with n", n, goodAt, cAt, k)
		}
		if factor(n, goodAt+1, cAt) <= k || factor(n, goodAt, cAt+1) <= k {
			t.Fatalf("n %d, good %d, c %d: %v does not rise with good and c", n, goodAt, cAt, k)
		}
	})
}

func TestToleranceArguments(t *testing.T) {
	t.Parallel()
	good, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	for _, test := range []struct {
		reason string
		n      int
		good   stats.Probability
		c      stats.Confidence
		want   error
	}{
		{"n 1", 1, good, c, stats.ErrTooFew},
		{"n −1", -1, good, c, stats.ErrArgument},
		{"n too large", stats.MaxCount + 1, good, c, stats.ErrArgument},
		{"good 1", 10, stats.MustProbability("1"), c, stats.ErrArgument},
		{"good 0.4", 10, stats.MustProbability("0.4"), c, stats.ErrArgument},
		{"no good", 10, stats.Probability{}, c, stats.ErrArgument},
		{"c 0.4", 10, good, stats.MustConfidence("0.4"), stats.ErrArgument},
		{"no c", 10, good, stats.Confidence{}, stats.ErrArgument},
	} {
		if k, err := stats.ToleranceFactor(test.n, test.good, test.c); !errors.Is(err, test.want) {
			t.Errorf("%s: %v, %v, want %v", test.reason, k, err, test.want)
		}
	}
	half := stats.MustProbability("0.5")
	if k, err := stats.ToleranceFactor(10, half, stats.MustConfidence("0.5")); k != 0 || err != nil {
		t.Errorf("median at confidence ½: %v, %v, want 0", k, err)
	}
	for _, n := range []int{2, stats.MaxCount} {
		k, err := stats.ToleranceFactor(n, stats.MustProbability("0.99999"), stats.MustConfidence("0.99999"))
		if err != nil || !(k > 4) || math.IsInf(k, 0) {
			t.Errorf("n %d: %v, %v", n, k, err)
		}
	}
}

func ExampleToleranceFactor() {
	k, err := stats.ToleranceFactor(59, stats.MustProbability("0.95"), stats.MustConfidence("0.95"))
	fmt.Printf("%.4f %v\n", k, err)
	// Output: 2.0259 <nil>
}

func BenchmarkToleranceFactor(b *testing.B) {
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	for b.Loop() {
		if _, err := stats.ToleranceFactor(59, p95, c); err != nil {
			b.Fatal(err)
		}
	}
}
