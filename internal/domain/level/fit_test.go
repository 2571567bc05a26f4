package level_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/level"
)

// counts are invented; 9 is their detection limit.
var counts = []int{3, 5, 8, 9, 12, 12, 14, 15, 18, 21, 21, 26, 30, 33, 34, 41, 47, 55, 60, 72, 88, 110, 140, 185, 260}

// Reference values, independent implementation of interval-censored regression, 12 digits; the
// bounds by a general optimiser over its likelihood, 6 digits.
func TestFitReference(t *testing.T) {
	f, err := level.FitCounts(counts, 9)
	if err != nil {
		t.Fatal(err)
	}
	wantClose(t, "mean", float64(f.Mean), 3.37879147505092, 1e-10)
	wantClose(t, "SD", float64(f.SD), 1.12223432410341, 1e-10)
	wantClose(t, "log-likelihood", f.LogLik(), -114.358483128719, 1e-9)
	wantClose(t, "drop", level.Calibrated(21, 1.64485362695147, 2.37142190395608), 1.75097968605658, 1e-9)

	plan := usual(func(p *level.Plan) { p.Detection = 9 })
	d := derive(t, samplesOf(counts...), plan)
	c := d.Alert.By(level.LogNormal)
	wantClose(t, "P95", float64(c.Estimate), 185.805917259783, 1e-6)
	wantClose(t, "upper bound", float64(c.Upper), 432.937636632577, 1e-3)
	wantClose(t, "lower end", float64(c.Interval.Lo), 108.151381635461, 1e-3)
	wantClose(t, "upper end", float64(c.Interval.Hi), 524.912783481415, 1e-3)
	if d.Baseline.Censored != 4 || c.Level != 434 {
		t.Errorf("%d censored, level %s; want 4 and 434", d.Baseline.Censored, c.Level)
	}
}

// Without censoring, and with counts so large that rounding does not matter, the bound is that of
// the normal tolerance factor: mean + K·SD of ln RLU, divisor n−1.
func TestLogNormalBoundIsTheToleranceLimit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(10, 80).Draw(rt, "n")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		values, logs := make([]int, n), make([]float64, n)
		mean, sd := 0.0, 0.0
		for i := range values {
			values[i] = int(math.Exp(11 + 0.8*rng.NormFloat64()))
			logs[i] = math.Log(float64(values[i]))
			mean += logs[i] / float64(n)
		}
		for _, x := range logs {
			sd += (x - mean) * (x - mean) / float64(n-1)
		}
		sd = math.Sqrt(sd)
		d, err := level.Derive(samplesOf(values...), usual())
		if err != nil {
			rt.Fatal(err)
		}
		for _, p := range []level.Percentile{d.Alert, d.Action} {
			k, err := stats.ToleranceFactor(n, p.Of, d.Plan.Confidence)
			if err != nil {
				rt.Fatal(err)
			}
			got, want := math.Log(float64(p.By(level.LogNormal).Upper)), mean+k*sd
			if math.Abs(got-want) > 1e-6 {
				rt.Fatalf("%d readings, percentile %s: ln bound %v, tolerance limit %v", n, p.Of, got, want)
			}
		}
	})
}

func TestFitRefuses(t *testing.T) {
	if _, err := level.FitCounts([]int{0, 0, 0, 5, 6, 7, 8, 9, 10, 11, 12, 13}, 0); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("nine readings above the limit: %v, want ErrTooFew", err)
	}
	if _, err := level.FitCounts(slices.Repeat([]int{20}, 50), 0); !errors.Is(err, stats.ErrNotEstimable) {
		t.Errorf("all alike: %v, want ErrNotEstimable", err)
	}
}

// Whatever the counts, the fit is where the likelihood is highest: its mean and spread moved a
// little are less likely. Huge, tiny and censored counts together must not make it fail.
func TestFitIsOrdered(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(12, 60).Draw(rt, "n")
		values := make([]int, n)
		value := rapid.OneOf(rapid.IntRange(0, 30), rapid.IntRange(0, 9_999_999))
		for i := range values {
			values[i] = value.Draw(rt, "value")
		}
		detection := rapid.IntRange(0, 10).Draw(rt, "detection")
		d, err := level.Derive(samplesOf(values...), usual(func(p *level.Plan) { p.Detection = detection }))
		if err != nil {
			rt.Fatal(err)
		}
		for _, p := range []level.Percentile{d.Alert, d.Action} {
			c := p.By(level.LogNormal)
			if c.Refused != "" {
				continue
			}
			if !(0 < c.Interval.Lo && c.Interval.Lo < c.Estimate && c.Estimate < c.Upper && c.Upper < c.Interval.Hi && !math.IsInf(float64(c.Interval.Hi), 1)) {
				rt.Fatalf("out of order: %+v, interval %+v", c, *c.Interval)
			}
		}
		if a, b := d.Alert.By(level.LogNormal), d.Action.By(level.LogNormal); a.Refused == "" && a.Estimate > b.Estimate {
			rt.Fatalf("P95 %v is over P99 %v", a.Estimate, b.Estimate)
		}
	})
}

// Coverage of the one-sided 95 % bound for P95 by simulation of 600 baselines, of which the binomial
// standard error is 0.89 %. Uncensored it is exact; with a third of the readings below the detection
// limit it must be near. The usual drop of the profile likelihood covers in 93 and 91 %.
func TestLogNormalCoverage(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason    string
		n         int
		detection int
		lo, hi    float64
	}{
		{"uncensored", 40, 0, 0.925, 0.975},
		{"a third below the limit", 40, 32, 0.925, 0.98},
		{"few", 12, 0, 0.925, 0.975},
	}
	const trials, mean, sd, z = 600, 4, 1, 1.6448536269514722
	p, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	truth := math.Exp(mean + z*sd)
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(17, uint64(test.n)))
			values := make([]int, test.n)
			covered := 0
			for range trials {
				above := 0
				for i := range values {
					values[i] = int(math.Round(math.Exp(mean + sd*rng.NormFloat64())))
					if values[i] > test.detection {
						above++
					}
				}
				drop, err := level.UpperDrop(above, p, z, c)
				if err != nil {
					t.Fatal(err)
				}
				bound, err := level.UpperLogNormal(values, test.detection, p, drop)
				if err != nil {
					t.Fatal(err)
				}
				if bound >= truth {
					covered++
				}
			}
			if rate := float64(covered) / trials; rate < test.lo || rate > test.hi {
				t.Errorf("covered in %.2f %% of baselines", 100*rate)
			}
		})
	}
}
