package trend_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

// The annual flow of the Nile dropped after 1898, the 28th year (G. W. Cobb, Biometrika
// 1978;65:243-251): means, sums of squares and sup F are reference values of 12 digits.
func TestNile(t *testing.T) {
	flow := column(t, "Nile.csv", "flow")
	c := must(trend.FindChange(flow))
	if c.Index != 28 {
		t.Errorf("change after %d years, want 28", c.Index)
	}
	wantNear(t, "mean before", c.Before, 1097.75, 1e-12)
	wantNear(t, "mean after", c.After, 849.972222222, 1e-11)
	wantNear(t, "squares about one mean", c.SSE0, 2835156.75, 1e-12)
	wantNear(t, "squares about two means", c.SSE1, 1597457.19444, 1e-11)
	wantNear(t, "sup F", c.SupF, 75.929769427485, 1e-11)
	// n·ln(SSE(τ)/SSE1) is 5.34, 3.79, 0 and 5.80 at 26 to 29, 12.0 at 25 and 9.20 at 30 (reference
	// values), against 7.352 allowed. The interval of J. Bai, Rev Econ Stat 1997;79:551-563, from the
	// law of the estimate and not from the likelihood, is 25 to 32.
	if c.Lo != 26 || c.Hi != 29 {
		t.Errorf("interval %d to %d, want 26 to 29", c.Lo, c.Hi)
	}
	// Penalty 2·ln n on the series divided by its standard deviation: one change.
	sd := math.Sqrt(c.SSE0 / 99)
	if got := must(trend.Partition(flow, sd, 2*math.Log(100))); !slices.Equal(got, []int{28}) {
		t.Errorf("partition %v, want 28", got)
	}
	// With half the mean squared difference of neighbours as the variance it cuts much finer.
	squares := 0.0
	for i := 1; i < len(flow); i++ {
		squares += (flow[i] - flow[i-1]) * (flow[i] - flow[i-1]) / 99
	}
	if got := must(trend.Partition(flow, math.Sqrt(squares/2), math.Log(100))); len(got) < 5 || !slices.Equal(got[:5], []int{6, 7, 10, 19, 28}) {
		t.Errorf("partition %v, want one that begins 6, 7, 10, 19, 28", got)
	}
}

// The Nile with the first 20 years as baseline: the change is found after year 28, the interval is
// much like that of the whole series.
func TestNileSinceBaseline(t *testing.T) {
	flow := column(t, "Nile.csv", "flow")
	mean, ss := 0.0, 0.0
	for _, v := range flow[:20] {
		mean += v / 20
	}
	for _, v := range flow[:20] {
		ss += (v - mean) * (v - mean)
	}
	z := make([]float64, 80)
	for i := range z {
		z[i] = (flow[20+i] - mean) / math.Sqrt(ss/19)
	}
	for _, years := range []int{25, 80} {
		s := must(trend.ChangeSince(atFive(20), zPoints(z[:years]...), -1))
		if s.Index != 8 || s.Lo < 4 || s.Hi > 13 {
			t.Errorf("%d years: %+v, want the change after year 28", years, s)
		}
	}
	if s := must(trend.ChangeSince(atFive(20), zPoints(z[:8]...), 1)); s.Shift <= 0 {
		t.Errorf("upward: %+v", s)
	}
}

// Least squares over all places of the change, term by term.
func TestFindChangeByDefinition(t *testing.T) {
	sse := func(y []float64) float64 {
		mean, s := 0.0, 0.0
		for _, v := range y {
			mean += v / float64(len(y))
		}
		for _, v := range y {
			s += (v - mean) * (v - mean)
		}
		return s
	}
	rapid.Check(t, func(t *rapid.T) {
		y := values(4, 25).Draw(t, "y")
		c, err := trend.FindChange(y)
		if err != nil {
			return // all alike
		}
		least := math.Inf(1)
		for i := 1; i < len(y); i++ {
			least = min(least, sse(y[:i])+sse(y[i:]))
		}
		at := sse(y[:c.Index]) + sse(y[c.Index:])
		if math.Abs(c.SSE1-least) > 1e-9 || math.Abs(at-least) > 1e-9 || c.Lo > c.Index || c.Index > c.Hi {
			t.Fatalf("%+v, least %v", c, least)
		}
		// Moved, scaled and turned over, the change stays where it is.
		z := make([]float64, len(y))
		for i, v := range y {
			z[i] = 7 - 3*v
		}
		if d := must(trend.FindChange(z)); math.Abs(sse(y[:d.Index])+sse(y[d.Index:])-least) > 1e-9 {
			t.Fatalf("turned over %+v, was %+v", d, c)
		}
	})
}

// The least cost over all 2^(n−1) partitions.
func TestPartitionIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := values(1, 11).Draw(t, "y")
		penalty := rapid.Float64Range(0.1, 8).Draw(t, "penalty")
		cost := func(changes []int) float64 {
			from, total := 0, penalty*float64(len(changes))
			for _, to := range append(slices.Clone(changes), len(y)) {
				mean := 0.0
				for _, v := range y[from:to] {
					mean += v / float64(to-from)
				}
				for _, v := range y[from:to] {
					total += (v - mean) * (v - mean)
				}
				from = to
			}
			return total
		}
		least := math.Inf(1)
		for bits := range 1 << (len(y) - 1) {
			var changes []int
			for i := 1; i < len(y); i++ {
				if bits>>(i-1)&1 == 1 {
					changes = append(changes, i)
				}
			}
			least = min(least, cost(changes))
		}
		got := must(trend.Partition(y, 1, penalty))
		if cost(got) > least+1e-9 {
			t.Fatalf("partition %v costs %v, the best %v", got, cost(got), least)
		}
	})
}

// The interval of the change covers as the package says: simulated with the signal as the end of the
// series, baselines of 30 that err, fixed seeds. 400 cases have a standard error of 1 to 2 %.
func TestSinceCoverage(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	const cases = 400
	random := rand.New(rand.NewPCG(9, 11))
	design := must(trend.NewDesign(usual(30)))
	for _, test := range []struct {
		shift  float64
		before int
		least  float64
	}{{0.5, 20, 0.80}, {1, 0, 0.93}, {1, 20, 0.93}, {2, 5, 0.95}, {2, 40, 0.95}, {3, 20, 0.96}} {
		covered, n := 0, 0
		for n < cases {
			b := newBaseline(random)
			monitor := must(trend.NewMonitor(b, design))
			points := append(series(random, 30, test.before, 0), series(random, 30+test.before, 400, test.shift)...)
			state := monitor.Start()
			for i, p := range points {
				var f trend.Flags
				state, _, f = monitor.Step(state, monitor.Z(p.Value))
				if f.Any() && i < test.before {
					break // a false signal; another case
				}
				if f.Individuals > 0 || f.EWMA > 0 || f.CUSUM > 0 {
					s := must(trend.ChangeSince(b, points[:i+1], 1))
					if n++; s.Lo <= test.before && test.before <= s.Hi {
						covered++
						if s.After >= points[test.before].At || s.Until < points[test.before].At {
							t.Fatalf("%+v", s)
						}
					}
					break
				}
			}
		}
		if share := float64(covered) / cases; share < test.least {
			t.Errorf("shift %v after %d readings: the interval covers in %.3f of cases, want %.2f", test.shift, test.before, share, test.least)
		} else {
			t.Logf("shift %v after %d readings: coverage %.3f", test.shift, test.before, share)
		}
	}
}

// Coverage in a series of fixed length with everything unknown.
func TestFindChangeCoverage(t *testing.T) {
	t.Parallel()
	const cases = 1000
	random := rand.New(rand.NewPCG(13, 17))
	for _, shift := range []float64{1, 2} {
		covered := 0
		for range cases {
			y := make([]float64, 100)
			for i := range y {
				if y[i] = random.NormFloat64(); i >= 28 {
					y[i] += shift
				}
			}
			if c := must(trend.FindChange(y)); c.Lo <= 28 && 28 <= c.Hi {
				covered++
			}
		}
		if share := float64(covered) / cases; share < 0.94 {
			t.Errorf("shift %v: coverage %.3f", shift, share)
		}
	}
}

func TestChangeRefuses(t *testing.T) {
	for reason, err := range map[string]error{
		"three values":          second(trend.FindChange([]float64{1, 2, 3})),
		"nothing to partition":  second(trend.Partition(nil, 1, 1)),
		"no reading since then": second(trend.ChangeSince(atFive(20), nil, 1)),
		"nothing lower":         second(trend.ChangeSince(atFive(20), zPoints(1, 2, 3), -1)),
	} {
		if !errors.Is(err, stats.ErrTooFew) {
			t.Errorf("%s: %v", reason, err)
		}
	}
	if _, err := trend.FindChange([]float64{1, 1, 1, 1}); !errors.Is(err, trend.ErrReadings) {
		t.Errorf("all alike: %v", err)
	}
	if _, err := trend.FindChange([]float64{1, 2, math.NaN(), 3}); !errors.Is(err, trend.ErrReadings) {
		t.Errorf("not a number: %v", err)
	}
}
