package trend_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

func TestBaseline(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	points := series(random, 0, 25, 0)
	b := must(trend.NewBaseline(key(), points))
	var y []float64
	for _, p := range points {
		y = append(y, math.Log10(p.Value+1))
	}
	mean, ss, mr := 0.0, 0.0, 0.0
	for _, v := range y {
		mean += v / 25
	}
	for i, v := range y {
		ss += (v - mean) * (v - mean)
		if i > 0 {
			mr += math.Abs(v-y[i-1]) / 24
		}
	}
	wantNear(t, "mean", float64(b.Mean), mean, 1e-13)
	wantNear(t, "sigma", float64(b.Sigma), math.Sqrt(ss/24), 1e-13)
	wantNear(t, "moving range sigma", float64(b.MovingRangeSigma), mr/(2/math.Sqrt(math.Pi)), 1e-12)
	wantNear(t, "centre in RLU", b.RLU(), math.Pow(10, mean)-1, 1e-12)
	if b.N != 25 || b.DF != 24 || len(b.Screened)+len(b.Notes) != 0 || b.First != points[0].At || b.Last != points[24].At {
		t.Errorf("%+v", b)
	}
	var again trend.Baseline
	if err := json.Unmarshal(must(json.Marshal(b)), &again); err != nil || !reflect.DeepEqual(b, again) {
		t.Errorf("read back %+v, error %v", again, err)
	}
	// A record of the ledger holds no number with a point.
	if _, err := ledger.Canonical(must(json.Marshal(b))); err != nil {
		t.Error(err)
	}
}

func TestBaselineTooShort(t *testing.T) {
	_, err := trend.NewBaseline(key(), series(rand.New(rand.NewPCG(1, 1)), 0, 13, 0))
	if !errors.Is(err, stats.ErrTooFew) || !strings.Contains(err.Error(), "7 readings are missing") {
		t.Errorf("13 readings: %v", err)
	}
}

func TestBaselineScreensOutliers(t *testing.T) {
	points := series(rand.New(rand.NewPCG(8, 8)), 0, 30, 0)
	clean := must(trend.NewBaseline(key(), points))
	points[11].Value, points[20].Value = 90_000, 40_000
	b := must(trend.NewBaseline(key(), points))
	if len(b.Screened) != 2 || b.Screened[0].ID != points[11].ID || b.Screened[1].ID != points[20].ID || b.N != 28 {
		t.Fatalf("screened %+v of 30, %d kept", b.Screened, b.N)
	}
	s := b.Screened[0]
	// Critical value for the first of 30 at level 0.01 by the formula of Rosner 1983.
	wantNear(t, "critical value", float64(s.Critical), 3.23607830143085039, 1e-12)
	if s.Statistic <= s.Critical || s.At != points[11].At || s.Value != 90_000 {
		t.Errorf("%+v", s)
	}
	if b.Sigma > 1.2*clean.Sigma {
		t.Errorf("sigma %v with outliers screened, %v without any", b.Sigma, clean.Sigma)
	}
	// Four of 30 are more than a tenth: three go, and the rest is in the notes.
	points[3].Value, points[7].Value = 1e6, 1e6
	if b := must(trend.NewBaseline(key(), points)); len(b.Screened) > 3 {
		t.Errorf("%d of 30 screened", len(b.Screened))
	}
}

func TestBaselineNotes(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 2))
	drift := series(random, 0, 40, 0)
	for i := range drift {
		drift[i].Value = trend.RLU(1.6 + 0.3*random.NormFloat64() + 0.04*float64(i))
	}
	jump := slices.Concat(series(random, 0, 20, 0), series(random, 20, 20, 6))
	zeros := series(random, 0, 30, 0)
	for i := range 5 {
		zeros[i*6].Value = 0
	}
	skewed := series(random, 0, 30, 0)
	for i := range skewed {
		skewed[i].Value = 20 + 20*random.ExpFloat64()*random.ExpFloat64()*random.ExpFloat64()
	}
	swing := series(random, 0, 60, 0)
	swing[30].Value, swing[31].Value = trend.RLU(1.6+0.3*3.3), trend.RLU(1.6-0.3*3.3)
	for _, test := range []struct {
		reason string
		points []trend.Point
		want   trend.Check
	}{
		{"a drift", drift, trend.Autocorrelated},
		{"two levels", jump, trend.OneSided},
		{"high, then low, neither an outlier", swing, trend.Jump},
		{"many zeros", zeros, trend.Zeros},
		{"a long tail", skewed, trend.Skewed},
	} {
		t.Run(test.reason, func(t *testing.T) {
			b, err := trend.NewBaseline(key(), test.points)
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, n := range b.Notes {
				found = found || n.Check == test.want && n.Words != ""
			}
			if !found {
				t.Errorf("notes %+v, want one on %s; screened %+v", b.Notes, test.want, b.Screened)
			}
		})
	}
}

// Four tests at level 0.01 or below, most of them on the safe side: about one stable baseline in 50
// gets a note (at most one in 25 by their levels), and one in a hundred has a reading screened
// (Rosner's level). The bounds are five standard deviations of a Poisson count.
func TestBaselineNotesAreRare(t *testing.T) {
	t.Parallel()
	const baselines = 3000
	random := rand.New(rand.NewPCG(12, 1))
	noted, screened := 0, 0
	for range baselines {
		b := newBaseline(random)
		if len(b.Notes) > 0 {
			noted++
		}
		if len(b.Screened) > 0 {
			screened++
		}
	}
	if noted < 20 || noted > 100 {
		t.Errorf("%d of %d stable baselines have notes, want about 60", noted, baselines)
	}
	if screened < 12 || screened > 60 {
		t.Errorf("%d of %d clean baselines have outliers, want about 30", screened, baselines)
	}
}

func TestReadingsRefused(t *testing.T) {
	good := series(rand.New(rand.NewPCG(1, 1)), 0, 30, 0)
	tests := []struct {
		reason string
		change func(p []trend.Point)
	}{
		{"negative", func(p []trend.Point) { p[3].Value = -1 }},
		{"not a number", func(p []trend.Point) { p[3].Value = math.NaN() }},
		{"infinite", func(p []trend.Point) { p[3].Value = math.Inf(1) }},
		{"no instant", func(p []trend.Point) { p[0].At = 0 }},
		{"out of order", func(p []trend.Point) { p[3], p[4] = p[4], p[3] }},
		{"twice", func(p []trend.Point) { p[4].At, p[4].ID = p[3].At, p[3].ID }},
		{"all alike", func(p []trend.Point) {
			for i := range p {
				p[i].Value = 12
			}
		}},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			points := slices.Clone(good)
			test.change(points)
			if _, err := trend.NewBaseline(key(), points); !errors.Is(err, trend.ErrReadings) {
				t.Errorf("error %v", err)
			}
		})
	}
}

// Multiplying all RLU+1 by a factor moves the mean only.
func TestBaselineScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		factor := rapid.Float64Range(1, 100).Draw(t, "factor")
		points := series(random, 0, rapid.IntRange(20, 60).Draw(t, "n"), 0)
		a := must(trend.NewBaseline(key(), points))
		for i := range points {
			points[i].Value = (points[i].Value+1)*factor - 1
		}
		b := must(trend.NewBaseline(key(), points))
		if !near(float64(b.Sigma), float64(a.Sigma), 1e-10) || !near(float64(b.Mean-a.Mean), math.Log10(factor), 1e-10) || a.N != b.N {
			t.Fatalf("%+v\n%+v", a, b)
		}
	})
}

// Bartlett's test of three groups of 5, 6 and 4 values with these standard deviations has K² =
// 8.97824971485805 and p = 0.0112304677707169: reference value, independent implementation, 15 digits.
func TestPooledSigma(t *testing.T) {
	baselines := []trend.Baseline{standard(5, 4), standard(6, 5), standard(4, 3)}
	for i, s := range []unit.Number{1.306904740216363, 2.939671183426246, 0.386221007541882} {
		baselines[i].Sigma = s
	}
	p := must(trend.PoolSigma(baselines))
	wantNear(t, "p", float64(p.P), 0.0112304677707169, 1e-11)
	squares := 4*1.306904740216363*1.306904740216363 + 5*2.939671183426246*2.939671183426246 + 3*0.386221007541882*0.386221007541882
	wantNear(t, "sigma", float64(p.Sigma), math.Sqrt(squares/12), 1e-13)
	if p.DF != 12 || p.Series != 3 {
		t.Errorf("%+v", p)
	}
	b := must(baselines[0].WithSigma(p))
	if b.Sigma != p.Sigma || b.DF != 12 || b.N != 5 || baselines[0].DF != 4 {
		t.Errorf("%+v", b)
	}
	otherKit, otherPoint := baselines[1], baselines[1]
	otherKit.Key.Kit = "swab-2"
	otherPoint.Key.Point = scope.AirLumen
	for reason, err := range map[string]error{
		"another kit":             second(trend.PoolSigma([]trend.Baseline{baselines[0], otherKit})),
		"another point":           second(trend.PoolSigma([]trend.Baseline{baselines[0], otherPoint})),
		"pooled already":          second(trend.PoolSigma([]trend.Baseline{baselines[1], b})),
		"none":                    second(trend.PoolSigma(nil)),
		"the sigma of other kits": second(otherKit.WithSigma(p)),
		"fewer degrees":           second(standard(20, 19).WithSigma(p)),
	} {
		if !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v", reason, err)
		}
	}
}
