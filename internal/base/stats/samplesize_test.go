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

var perfect = stats.MustProbability("1")

// The zero-failure row is the smallest n with p^n ≤ 0.05, R 4.2.2; the others are the same search
// over pbinom. 59, 93 and 299, 473 are also the sample sizes of the distribution-free tolerance
// limits in Meeker, Hahn & Escobar 2017.
func TestAssuranceSizeReference(t *testing.T) {
	tests := []struct {
		good     string
		failures int
		want     int
	}{
		{"0.90", 0, 29},
		{"0.95", 0, 59},
		{"0.98", 0, 149},
		{"0.99", 0, 299},
		{"0.995", 0, 598},
		{"0.999", 0, 2995},
		{"0.90", 1, 46},
		{"0.95", 1, 93},
		{"0.99", 1, 473},
	}
	for _, test := range tests {
		t.Run(fmt.Sprintf("%s with %d failures", test.good, test.failures), func(t *testing.T) {
			got := must[int](t)(stats.AssuranceSize(stats.MustProbability(test.good), test.failures, stats.MustConfidence("0.95")))
			if got != test.want {
				t.Errorf("got %d, want %d", got, test.want)
			}
		})
	}
}

func TestAssuranceSizeTies(t *testing.T) {
	tests := []struct {
		good     string
		failures int
		c        string
		want     int
		reason   string
	}{
		{"0.1", 0, "0.9", 1, "0.1¹ = 1 − 0.9, where ln(1−0.9)/ln 0.1 is a little above 1 in floating point"},
		{"0.1", 0, "0.99", 2, "0.1² = 1 − 0.99"},
		{"0.5", 0, "0.75", 2, "0.5² = 1 − 0.75"},
		{"0.9", 0, "0.271", 3, "0.9³ = 0.729"},
		{"0.9", 0, "0.2710000001", 4, "just above that tie"},
		{"0.9", 0, "0.2709999999", 3, "just below it"},
		{"0.5", 1, "0.25", 2, "P(X ≤ 1) of 2 is 3/4 = 1 − 0.25"},
		{"0.5", 1, "0.2500001", 3, "just above that tie"},
		{"0.5", 2, "0.5", 5, "P(X ≤ 2) of 5 is ½ by symmetry"},
		{"0", 3, "0.95", 4, "every trial fails, so the fourth failure comes at the fourth trial"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			got := must[int](t)(stats.AssuranceSize(stats.MustProbability(test.good), test.failures, stats.MustConfidence(test.c)))
			if got != test.want {
				t.Errorf("good %s, %d failures, confidence %s: got %d, want %d", test.good, test.failures, test.c, got, test.want)
			}
		})
	}
}

func TestAssuranceSizeLarge(t *testing.T) {
	// ln 0.05/ln(1−10⁻⁸) = 299,573,225.9 (mpmath, 30 digits).
	got := must[int](t)(stats.AssuranceSize(stats.MustProbability("0.99999999"), 0, stats.MustConfidence("0.95")))
	if got != 299_573_226 {
		t.Errorf("got %d, want 299573226", got)
	}
	for _, failures := range []int{0, 1} {
		n, err := stats.AssuranceSize(stats.MustProbability("0.9999999999"), failures, stats.MustConfidence("0.95"))
		if !errors.Is(err, stats.ErrUnreachable) {
			t.Errorf("%d failures: got %d, %v; want ErrUnreachable", failures, n, err)
		}
	}
}

// The answer reaches the confidence and one trial fewer does not, in rational arithmetic.
func TestAssuranceSizeIsTheSmallest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		good := must[stats.Probability](t)(probabilityOf(float64(rapid.IntRange(1, 97).Draw(t, "good × 100")) / 100))
		failures := rapid.IntRange(0, 6).Draw(t, "failures")
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(1, 99).Draw(t, "confidence × 100")) / 100))
		n := must[int](t)(stats.AssuranceSize(good, failures, c))
		if n <= failures {
			t.Fatalf("%d trials allow %d failures: that shows nothing", n, failures)
		}
		risk := new(big.Rat).Sub(big.NewRat(1, 1), c.Rat())
		if passes(good, n, failures).Cmp(risk) > 0 {
			t.Fatalf("%d trials are too few", n)
		}
		if n > failures+1 && passes(good, n-1, failures).Cmp(risk) <= 0 {
			t.Fatalf("%d trials are enough, got %d", n-1, n)
		}
	})
}

// passes is P(X ≤ failures) of n trials that each fail with probability 1 − good.
func passes(good stats.Probability, n, failures int) *big.Rat {
	p := good.Rat()
	q := new(big.Rat).Sub(big.NewRat(1, 1), p)
	sum := new(big.Rat)
	for k := range failures + 1 {
		term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(n), int64(k)))
		for range k {
			term.Mul(term, q)
		}
		for range n - k {
			term.Mul(term, p)
		}
		sum.Add(sum, term)
	}
	return sum
}

func TestAssuranceSizeRefuses(t *testing.T) {
	half, c := stats.MustProbability("0.5"), stats.MustConfidence("0.95")
	tests := []struct {
		name     string
		good     stats.Probability
		failures int
		c        stats.Confidence
	}{
		{"perfection cannot be shown", stats.MustProbability("1"), 0, c},
		{"no proportion", stats.Probability{}, 0, c},
		{"negative failures", half, -1, c},
		{"too many failures", half, stats.MaxCount, c},
		{"no confidence", half, 0, stats.Confidence{}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			if n, err := stats.AssuranceSize(test.good, test.failures, test.c); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %d, %v; want ErrArgument", n, err)
			}
		})
	}
}

func TestDetectionGrid(t *testing.T) {
	rows := readTable(t, "testdata/hypergeom_n.csv")
	if len(rows) != 120 {
		t.Fatalf("the table has %d rows, want 120", len(rows))
	}
	apart := 0
	for _, row := range rows {
		size, positive, want := atoi(t, row["N"]), atoi(t, row["D"]), atoi(t, row["n"])
		c := stats.MustConfidence(row["conf"])
		what := fmt.Sprintf("%d of %d at %s", positive, size, row["conf"])
		if got := must[int](t)(stats.DetectionSize(size, positive, perfect, c)); got != want {
			t.Errorf("%s: got %d, want %d", what, got, want)
		}
		// The table has 15 decimals.
		p := stats.Hypergeometric{Size: size, Marked: positive, Drawn: want}.MoreThan(0)
		if math.Abs(p-atof(t, row["p_detect"])) > 2e-15 {
			t.Errorf("%s: detection %.16f, want %s", what, p, row["p_detect"])
		}
		// Cannon & Roe 1982, the closed form that the function does not use; the small allowance
		// is for its ties.
		d := float64(positive)
		closed := math.Ceil((1-math.Pow(1-c.Float(), 1/d))*(float64(size)-(d-1)/2) - 1e-9)
		if int(closed) != atoi(t, row["cannon_roe"]) {
			t.Errorf("%s: closed form %v, tabulated %s", what, closed, row["cannon_roe"])
		}
		if int(closed) != want {
			apart++
		}
	}
	if apart != 1 {
		t.Errorf("the closed form differs in %d rows, want 1", apart)
	}
}

// 95 %, R 4.2.2.
func TestDetectionSizeReference(t *testing.T) {
	tests := []struct{ size, positive, want int }{
		{20, 1, 19},
		{50, 3, 31},
		{50, 5, 22},
		{100, 2, 78},
		{100, 5, 45},
		{100, 10, 25},
		{500, 5, 225},
		{500, 25, 56},
	}
	for _, test := range tests {
		t.Run(fmt.Sprintf("%d of %d", test.positive, test.size), func(t *testing.T) {
			got := must[int](t)(stats.DetectionSize(test.size, test.positive, perfect, stats.MustConfidence("0.95")))
			if got != test.want {
				t.Errorf("got %d, want %d", got, test.want)
			}
		})
	}
}

func TestDetectionSizeTies(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	tests := []struct {
		size, positive int
		sensitivity, c string
		want           int
		reason         string
	}{
		{10, 1, "1", "0.90", 9, "9/10 = 0.90, where 1 − 0.90 in floating point asks for 10"},
		{10, 1, "1", "0.9000000001", 10, "just above that tie"},
		{20, 1, "1", "0.95", 19, "19/20"},
		{5, 2, "1", "0.9", 3, "1 − C(3,3)/C(5,3) = 9/10"},
		{10, 1, "0.9", "0.81", 9, "9/10 · 0.9 = 0.81"},
		{10, 1, "0.9", "0.9", 10, "all of them, at the limit of the sensitivity"},
		{2, 2, "0.5", "0.75", 2, "1 − 0.5² = 0.75"},
		{1_000_000, 1, "1", "0.95", 950_000, "950,000/1,000,000"},
		{7, 7, "1", "0.99", 1, "any one"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			got := must[int](t)(stats.DetectionSize(test.size, test.positive, stats.MustProbability(test.sensitivity), stats.MustConfidence(test.c)))
			if got != test.want {
				t.Errorf("got %d, want %d", got, test.want)
			}
		})
	}
}

// The answer reaches the confidence and one unit fewer does not, in rational arithmetic.
func TestDetectionSizeIsTheSmallest(t *testing.T) {
	missed := func(size, positive, n int, sensitivity stats.Probability) *big.Rat {
		s := new(big.Rat).Sub(big.NewRat(1, 1), sensitivity.Rat())
		h := stats.Hypergeometric{Size: size, Marked: positive, Drawn: n}
		sum, power := new(big.Rat), big.NewRat(1, 1)
		for k := range positive + 1 {
			sum.Add(sum, new(big.Rat).Mul(exactProb(h, k), power))
			power = new(big.Rat).Mul(power, s)
		}
		return sum
	}
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 60).Draw(t, "size")
		positive := rapid.IntRange(1, size).Draw(t, "positive")
		sensitivity := must[stats.Probability](t)(probabilityOf(float64(rapid.IntRange(1, 20).Draw(t, "sensitivity × 20")) / 20))
		c := must[stats.Confidence](t)(stats.ConfidenceOf(float64(rapid.IntRange(1, 99).Draw(t, "confidence × 100")) / 100))
		risk := new(big.Rat).Sub(big.NewRat(1, 1), c.Rat())
		n, err := stats.DetectionSize(size, positive, sensitivity, c)
		if errors.Is(err, stats.ErrUnreachable) {
			if missed(size, positive, size, sensitivity).Cmp(risk) <= 0 {
				t.Fatalf("drawing all is enough, got %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if missed(size, positive, n, sensitivity).Cmp(risk) > 0 {
			t.Fatalf("%d units are too few", n)
		}
		if missed(size, positive, n-1, sensitivity).Cmp(risk) <= 0 {
			t.Fatalf("%d units are enough, got %d", n-1, n)
		}
	})
}

func TestDetectionRefuses(t *testing.T) {
	c := stats.MustConfidence("0.95")
	tests := []struct {
		name           string
		size, positive int
		sensitivity    stats.Probability
	}{
		{"negative population", -1, 0, perfect},
		{"population too large", stats.MaxPopulation + 1, 1, perfect},
		{"more positive than all", 5, 6, perfect},
		{"negative positives", 5, -1, perfect},
		{"no sensitivity given", 5, 1, stats.Probability{}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			if n, err := stats.DetectionSize(test.size, test.positive, test.sensitivity, c); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("DetectionSize gives %d, %v; want ErrArgument", n, err)
			}
		})
	}
	if n, err := stats.DetectionSize(5, 0, perfect, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("nothing to detect gives %d, %v; want ErrArgument", n, err)
	}
	if n, err := stats.DetectionSize(5, 1, stats.MustProbability("0"), c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("a blind test gives %d, %v; want ErrArgument", n, err)
	}
	if n, err := stats.DetectionSize(5, 1, perfect, stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no confidence gives %d, %v; want ErrArgument", n, err)
	}
	if n, err := stats.DetectionSize(10, 1, stats.MustProbability("0.9"), c); !errors.Is(err, stats.ErrUnreachable) {
		t.Errorf("one positive at sensitivity 0.9 gives %d, %v; want ErrUnreachable", n, err)
	}
}

func ExampleAssuranceSize() {
	// A tie counts as reached: 0.1¹ is exactly 1 − 0.9.
	n, err := stats.AssuranceSize(stats.MustProbability("0.1"), 0, stats.MustConfidence("0.9"))
	fmt.Println(n, err)
	n, err = stats.AssuranceSize(stats.MustProbability("0.95"), 0, stats.MustConfidence("0.95"))
	fmt.Println(n, err)
	// Output:
	// 1 <nil>
	// 59 <nil>
}

func ExampleDetectionSize() {
	// A tie counts as reached: 9 of 10 find the one positive with probability exactly 0.90.
	n, err := stats.DetectionSize(10, 1, stats.MustProbability("1"), stats.MustConfidence("0.90"))
	fmt.Println(n, err)
	// With a test that misses one positive in ten, no draw can promise 0.95.
	_, err = stats.DetectionSize(10, 1, stats.MustProbability("0.9"), stats.MustConfidence("0.95"))
	fmt.Println(err)
	// Output:
	// 9 <nil>
	// 1 of 10 at sensitivity 0.9 and confidence 0.95: no sample size reaches the confidence
}

func BenchmarkDetectionSize(b *testing.B) {
	se, c := stats.MustProbability("0.8"), stats.MustConfidence("0.95")
	for b.Loop() {
		if _, err := stats.DetectionSize(500, 25, se, c); err != nil {
			b.Fatal(err)
		}
	}
}
