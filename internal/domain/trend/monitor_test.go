package trend_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/trend"
)

// everything is a design with every chart and rule on.
func everything(headStart unit.Number) trend.Design {
	p := usual(30)
	p.FalseSignals, p.HeadStart = 60, headStart
	p.Charts.Rules.On = all.On
	return must(trend.NewDesign(p))
}

// zPoints returns readings that standardise to z on the baseline of [standard]: 10^z − 1, which is
// not below 0 for z ≥ 0 only, so that the baseline is put at 5.
func zPoints(z ...float64) []trend.Point {
	points := make([]float64, len(z))
	for i, v := range z {
		points[i] = trend.RLU(5 + v)
	}
	return pointsOf(points...)
}

func atFive(n int) trend.Baseline {
	b := standard(n, n-1)
	b.Mean = 5
	return b
}

// The same readings give the same bits: one at a time, one at a time with the state written to
// JSON and read back, as a whole, and in bulk.
func TestStreamingIsRecomputing(t *testing.T) {
	designs := []trend.Design{everything(0), everything(0.5), must(trend.NewDesign(usual(30)))}
	rapid.Check(t, func(t *rapid.T) {
		monitor := must(trend.NewMonitor(atFive(30), designs[rapid.IntRange(0, 2).Draw(t, "design")]))
		points := zPoints(values(0, 300).Draw(t, "z")...)
		state, crossings, first := monitor.Start(), 0, -1
		var flags trend.Flags
		rlu := make([]float64, len(points))
		for i, p := range points {
			rlu[i] = p.Value
			var f trend.Flags
			state, _, f = monitor.Step(state, monitor.Z(p.Value))
			if crossings += f.Count(); f.Any() && first < 0 {
				first, flags = i, f
			}
			if i%17 == 0 {
				var again trend.State
				if err := json.Unmarshal(must(json.Marshal(state)), &again); err != nil || again != state {
					t.Fatalf("read back %+v, want %+v, error %v", again, state, err)
				}
			}
		}
		run := must(monitor.Run(points))
		if run.State != state || run.Crossings != crossings {
			t.Fatalf("run %+v, %d signals; step by step %+v, %d", run.State, run.Crossings, state, crossings)
		}
		out := make([]trend.Scanned, 1)
		if err := trend.Scan([]*trend.Monitor{monitor}, [][]float64{rlu}, out); err != nil {
			t.Fatal(err)
		}
		if want := (trend.Scanned{Crossings: crossings, First: first, Flags: flags, State: state}); out[0] != want {
			t.Fatalf("scan %+v, want %+v", out[0], want)
		}
		if n := 0; true {
			for _, a := range run.Signals {
				n += a.Crossings
			}
			if n != crossings {
				t.Fatalf("the signals hold %d of %d signals", n, crossings)
			}
		}
	})
}

// Another unit on the log scale, or another centre, changes nothing that the charts see.
func TestChartsDoNotSeeTheScale(t *testing.T) {
	design := must(trend.NewDesign(usual(30)))
	rapid.Check(t, func(t *rapid.T) {
		z := values(1, 60).Draw(t, "z")
		centre, sigma := rapid.Float64Range(2, 4).Draw(t, "centre"), rapid.Float64Range(0.05, 0.4).Draw(t, "sigma")
		b := standard(30, 29)
		b.Mean, b.Sigma = unit.Number(centre), unit.Number(sigma)
		scaled := make([]float64, len(z))
		for i, v := range z {
			scaled[i] = trend.RLU(centre + sigma*v)
		}
		one := must(must(trend.NewMonitor(atFive(30), design)).Run(zPoints(z...)))
		two := must(must(trend.NewMonitor(b, design)).Run(pointsOf(scaled...)))
		if one.Crossings != two.Crossings || len(one.Signals) != len(two.Signals) ||
			math.Abs(one.State.EWMA.Mean-two.State.EWMA.Mean) > 1e-9 || math.Abs(one.State.CUSUM.Up-two.State.CUSUM.Up) > 1e-8 {
			t.Fatalf("%+v\n%+v", one, two)
		}
		if len(one.Signals) > 0 && one.Signals[0].Since != nil {
			if a, b := one.Signals[0].Since, two.Signals[0].Since; b == nil || a.Index != b.Index || a.Lo != b.Lo || a.Hi != b.Hi {
				t.Fatalf("since %+v and %+v", a, b)
			}
		}
	})
}

func TestSignal(t *testing.T) {
	design := must(trend.NewDesign(usual(30)))
	monitor := must(trend.NewMonitor(atFive(30), design))
	z := []float64{0.3, -0.8, 1.1, -0.4, 0.2, -1.3, 0.6, 0.1, -0.2, 0.9, 3.1, 2.2, 2.9, 2.4, 3.3, 2.6, 2.8, 2.2}
	points := zPoints(z...)
	run := must(monitor.Run(points))
	if len(run.Signals) != 1 || run.Crossings < 2 {
		t.Fatalf("%d signals of %d signals, want one of several", len(run.Signals), run.Crossings)
	}
	a := run.Signals[0]
	if a.Direction != trend.Higher || a.First.Chart != trend.EWMAChart || a.Key != key() || !a.Open || a.Crossings != run.Crossings {
		t.Errorf("%+v", a)
	}
	joined := map[trend.ChartName]bool{}
	for _, s := range a.Joined {
		joined[s.Chart] = true
		if s.Direction != trend.Higher || !strings.HasSuffix(s.Words, ".") || s.Statistic <= s.Limit {
			t.Errorf("%+v", s)
		}
	}
	if !joined[trend.CUSUMChart] || joined[trend.EWMAChart] {
		t.Errorf("joined %+v", a.Joined)
	}
	s := a.Since
	if s == nil || s.Index != 10 || s.ID != points[10].ID || s.At != points[10].At || s.Until < points[10].At || s.After > points[9].At {
		t.Fatalf("since %+v, want the eleventh reading", s)
	}
	for _, want := range []string{"higher than in the baseline", "standard deviations", "95 % confidence"} {
		if !strings.Contains(a.Words, want) {
			t.Errorf("%q does not say %q", a.Words, want)
		}
	}
	if _, err := ledger.Canonical(must(json.Marshal(a))); err != nil {
		t.Errorf("a signal cannot be recorded: %v", err)
	}
	if again := must(monitor.Run(points)); !cmp.Equal(again.Signals[0].Words, a.Words) || !cmp.Equal(again.Signals[0].Since, a.Since) {
		t.Error("the second run differs")
	}
}

func TestSignalKinds(t *testing.T) {
	single := func(n int, at map[int]float64) []float64 {
		z := make([]float64, n)
		for i := range z {
			z[i] = 0.4 * float64(1-2*(i%2))
		}
		for i, v := range at {
			z[i] = v
		}
		return z
	}
	tests := []struct {
		reason string
		z      []float64
		want   []trend.Direction
		first  trend.ChartName
	}{
		{"nothing", single(60, nil), nil, ""},
		{"one high reading", single(60, map[int]float64{20: 5.5}), []trend.Direction{trend.Higher}, trend.IndividualsChart},
		{"one low reading", single(60, map[int]float64{20: -4.6}), []trend.Direction{trend.Lower}, trend.IndividualsChart},
		{"two readings far apart from each other", single(60, map[int]float64{20: 3.8, 21: -3.8}), []trend.Direction{trend.Spread}, trend.MovingRangeChart},
		{"high, and high again long after", single(90, map[int]float64{20: 5.5, 60: 5.5}), []trend.Direction{trend.Higher, trend.Higher}, trend.IndividualsChart},
		{"high, and high again soon after", single(90, map[int]float64{20: 5.5, 40: 5.5}), []trend.Direction{trend.Higher}, trend.IndividualsChart},
		{"high, then low", single(90, map[int]float64{20: 4.5, 25: -4.5}), []trend.Direction{trend.Higher, trend.Lower}, trend.IndividualsChart},
	}
	monitor := must(trend.NewMonitor(atFive(30), must(trend.NewDesign(usual(30)))))
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			run := must(monitor.Run(zPoints(test.z...)))
			var got []trend.Direction
			for _, a := range run.Signals {
				got = append(got, a.Direction)
				if (a.Since == nil) != (a.Direction == trend.Spread) {
					t.Errorf("since %+v for %s", a.Since, a.Direction)
				}
			}
			if !slices.Equal(got, test.want) {
				t.Fatalf("signals %v, want %v: %+v", got, test.want, run.Signals)
			}
			if len(got) > 0 && run.Signals[0].First.Chart != test.first {
				t.Errorf("first signal %+v, want chart %s", run.Signals[0].First, test.first)
			}
		})
	}
}

// A signal of a run rule names the rule, points where the pattern points, and shows no limit.
func TestRuleCrossings(t *testing.T) {
	p := trend.Promise{FalseSignals: 100, Readings: 1200, Baseline: 30, Charts: trend.Charts{Rules: all}}
	monitor := must(trend.NewMonitor(atFive(30), must(trend.NewDesign(p))))
	tests := []struct {
		z         []float64
		rule      trend.Rule
		direction trend.Direction
	}{
		{[]float64{0.2, -3.2}, trend.BeyondThree, trend.Lower},
		{[]float64{.3, .1, .4, .1, .5, .2, .6, .1, .3}, trend.SameSide, trend.Higher},
		{[]float64{-.9, -.5, -.1, .2, .3, .8}, trend.Monotone, trend.Higher},
		{[]float64{.9, .5, .1, -.2, -.3, -.8}, trend.Monotone, trend.Lower},
		{[]float64{.1, -2.2, .4, -2.4}, trend.TwoOfThree, trend.Lower},
		{[]float64{1.2, 1.3, .2, 1.5, 1.1}, trend.FourOfFive, trend.Higher},
		{[]float64{.1, -.2, .3, .2, .5, -.1, .2, -.3, .4, .3, .1, -.2, .3, -.4, .5}, trend.Hugging, trend.Spread},
		{[]float64{1.2, -1.3, 1.5, 1.1, -1.6, -1.2, 1.4, -1.1}, trend.Avoiding, trend.Spread},
	}
	for _, test := range tests {
		run := must(monitor.Run(zPoints(test.z...)))
		if len(run.Signals) != 1 || run.Signals[0].First.Rule != test.rule || run.Signals[0].First.Direction != test.direction ||
			run.Signals[0].First.Chart != trend.RuleChart || run.Signals[0].First.Limit != 0 || run.Signals[0].First.Index != len(test.z)-1 {
			t.Errorf("%v: %+v, want rule %d %s", test.z, run.Signals, test.rule, test.direction)
		}
	}
}

func TestMonitorRefuses(t *testing.T) {
	design := must(trend.NewDesign(usual(30)))
	pooled := usual(30)
	pooled.DF = 300
	bare := atFive(30)
	bare.Sigma = 0
	noLimit := design
	noLimit.Shares = slices.Clone(design.Shares)
	noLimit.Shares[0].Limit = 0
	for reason, err := range map[string]error{
		"a shorter baseline":    second(trend.NewMonitor(atFive(29), design)),
		"an unpooled sigma":     second(trend.NewMonitor(atFive(30), must(trend.NewDesign(pooled)))),
		"no sigma":              second(trend.NewMonitor(bare, design)),
		"no design":             second(trend.NewMonitor(atFive(30), trend.Design{})),
		"no limit":              second(trend.NewMonitor(atFive(30), noLimit)),
		"slices of two lengths": trend.Scan(nil, [][]float64{{1}}, nil),
	} {
		if !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v", reason, err)
		}
	}
	monitor := must(trend.NewMonitor(atFive(30), design))
	early := zPoints(0, 0)
	early[0].At = monitor.Baseline().Last - 1
	if _, err := monitor.Run(early); !errors.Is(err, trend.ErrReadings) {
		t.Errorf("a reading of the baseline: %v", err)
	}
	if err := trend.Scan([]*trend.Monitor{monitor}, [][]float64{{1, -1}}, make([]trend.Scanned, 1)); !errors.Is(err, trend.ErrReadings) {
		t.Errorf("a negative value: %v", err)
	}
	if run := must(monitor.Run(nil)); len(run.Signals) != 0 || run.State != monitor.Start() {
		t.Errorf("no readings: %+v", run)
	}
}

// A series that deteriorates by two sigma is found within 15 readings, with the promise of one
// false signal a month over 40 series and baselines of 30 that err: in nine of ten cases with a
// sigma of its own, and in 98 of 100 with one that is pooled over the series.
func TestPower(t *testing.T) {
	t.Parallel()
	const all = 1000
	random := rand.New(rand.NewPCG(20, 26))
	baselines := make([]trend.Baseline, all)
	for i := range baselines {
		baselines[i] = newBaseline(random)
	}
	pooled := must(trend.PoolSigma(baselines[:40]))
	promise := usual(30)
	promise.DF = pooled.DF
	own, common := must(trend.NewDesign(usual(30))), must(trend.NewDesign(promise))
	alone, together := 0, 0
	for _, b := range baselines {
		points := append(series(random, 30, 20, 0), series(random, 50, 15, 2)...)
		if finds(must(trend.NewMonitor(b, own)), points) {
			alone++
		}
		if finds(must(trend.NewMonitor(must(b.WithSigma(pooled)), common)), points) {
			together++
		}
	}
	t.Logf("found %d of %d alone, %d with a pooled sigma", alone, all, together)
	if alone < all*90/100 || together < all*98/100 {
		t.Errorf("found %d of %d alone, %d with a pooled sigma", alone, all, together)
	}
}

// finds says whether an upward signal sounds at the 21st reading or later.
func finds(m *trend.Monitor, points []trend.Point) bool {
	for _, a := range must(m.Run(points)).Signals {
		if a.Direction == trend.Higher && a.Last >= points[20].At {
			return true
		}
	}
	return false
}
