package trend_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

func TestShewhartARL(t *testing.T) {
	// 1/(P(|Z+shift| > 3)), from the normal distribution.
	for shift, want := range map[float64]float64{0: 370.398347345, 1: 43.8946817, 2: 6.30296299} {
		wantNear(t, "3 sigma", must(trend.Individuals{Limit: 3}.ARL(shift, 1)), want, 1e-9)
	}
}

// The table is converged to 12 digits; 1e-10 is what the package states.
func TestCUSUMARL(t *testing.T) {
	for _, row := range readTable(t, "cusum_arl.csv") {
		chart := trend.CUSUM{K: atof(t, row["k"]), H: atof(t, row["h"])}
		shift := atof(t, row["mu"])
		_, one, err := chart.OneSided(shift, 1)
		if err != nil {
			t.Fatal(err)
		}
		wantNear(t, "one-sided h "+row["h"]+" shift "+row["mu"], one, atof(t, row["one"]), 1e-10)
		wantNear(t, "two-sided h "+row["h"]+" shift "+row["mu"], must(chart.ARL(shift, 1)), atof(t, row["two"]), 1e-10)
		chart.HeadStart = 0.5
		wantNear(t, "head start h "+row["h"]+" shift "+row["mu"], must(chart.ARL(shift, 1)), atof(t, row["two_FIR_half"]), 1e-10)
	}
	// Montgomery table 9.3 and Lucas & Crosier 1982 for the head start (from memory), as printed.
	chart := trend.CUSUM{K: 0.5, H: 5}
	within(t, "Montgomery, in control", must(chart.ARL(0, 1)), 465, 0.5)
	within(t, "Montgomery, 1 sigma", must(chart.ARL(1, 1)), 10.4, 0.05)
	chart.HeadStart = 0.5
	within(t, "Lucas & Crosier, in control", must(chart.ARL(0, 1)), 430, 0.5)
	within(t, "Lucas & Crosier, 1 sigma", must(chart.ARL(1, 1)), 6.35, 0.005)
}

// (k, h) for a run length of 370, reference values with 9 digits; Hawkins published 8.01, 4.77, 3.34,
// 2.52, 1.99 and 1.61 (from memory).
func TestCUSUMParametersFor370(t *testing.T) {
	for k, h := range map[float64]float64{0.25: 8.00828871, 0.5: 4.77383371, 0.75: 3.33897337, 1: 2.51626010, 1.25: 1.98622427, 1.5: 1.60409941} {
		// h has 9 significant digits; the length moves by 2k·e^… < 5 relative in h.
		wantNear(t, "run length", must(trend.CUSUM{K: k, H: h}.ARL(0, 1)), 370, 5e-8)
	}
}

func TestEWMAARL(t *testing.T) {
	for name, p := range map[string][2]float64{
		"lam0.4_L3.054": {.4, 3.054}, "lam0.25_L2.998": {.25, 2.998}, "lam0.2_L2.962": {.2, 2.962},
		"lam0.1_L2.814": {.1, 2.814}, "lam0.05_L2.615": {.05, 2.615},
	} {
		for _, row := range readTable(t, "ewma_arl.csv") {
			chart := trend.EWMA{Lambda: p[0], Limit: p[1]}
			wantNear(t, name+" shift "+row["mu"], must(chart.ARL(atof(t, row["mu"]), 1)), atof(t, row[name]), 1e-10)
		}
	}
	// Limits for given run lengths, reference values with 12 digits.
	for _, want := range []struct{ lambda, limit, arl float64 }{
		{.05, 2.49014366771, 370.398},
		{.1, 2.70145903167, 370.398},
		{.2, 2.85933592928, 370.398},
		{.3, 2.92501165701, 370.398},
		{.4, 2.95892207, 370.398},
		{.1, 2.81430999548, 500},
		{.2, 2.9621783797, 500},
	} {
		wantNear(t, "limit", must(trend.EWMA{Lambda: want.lambda, Limit: want.limit}.ARL(0, 1)), want.arl, 3e-8)
	}
	// λ = 1 is the chart of single values.
	wantNear(t, "no memory", must(trend.EWMA{Lambda: 1, Limit: 3}.ARL(0.7, 1.1)), must(trend.Individuals{Limit: 3}.ARL(0.7, 1.1)), 1e-11)
}

// Reference values of an independent implementation that lets the limits settle to 1e-9.
func TestEWMAARLTimeVarying(t *testing.T) {
	for _, want := range []struct{ lambda, limit, shift, arl float64 }{
		{.4, 3.054, 0, 498.064608038},
		{.1, 2.814, 0, 486.42933474724},
		{.05, 2.615, 0, 469.47990477189},
		{.4, 3.054, 1, 13.8350390809},
		{.1, 2.814, 1, 8.15702749219},
		{.05, 2.615, 1, 7.19500417415},
	} {
		chart := trend.EWMA{Lambda: want.lambda, Limit: want.limit, TimeVarying: true}
		wantNear(t, "time-varying limits", must(chart.ARL(want.shift, 1)), want.arl, 1e-8)
	}
	one := trend.EWMA{Lambda: 1, Limit: 3, TimeVarying: true}
	wantNear(t, "no memory", must(one.ARL(0, 1)), 370.398347345, 1e-11)
}

// Champ & Woodall 1987, table 1 (from memory), to two decimals, and the exact values of an
// independent Markov chain to nine digits.
func TestRunRuleARL(t *testing.T) {
	for _, want := range []struct {
		rules   []trend.Rule
		run     int
		arl     float64
		printed float64
	}{
		{[]trend.Rule{1}, 8, 370.398347, 370.40},
		{[]trend.Rule{1, 5}, 8, 225.438407, 225.44},
		{[]trend.Rule{1, 6}, 8, 166.054517, 166.05},
		{[]trend.Rule{1, 2}, 8, 152.730065, 152.73},
		{[]trend.Rule{1, 5, 6}, 8, 132.892811, 132.89},
		{[]trend.Rule{1, 5, 2}, 8, 122.050772, 122.05},
		{[]trend.Rule{1, 6, 2}, 8, 105.783065, 105.78},
		{[]trend.Rule{1, 2, 5, 6}, 8, 91.750773, 91.75},
		{[]trend.Rule{1, 2}, 9, 216.695544, 0},
		{[]trend.Rule{1, 2, 5, 6}, 9, 109.049317, 0},
	} {
		got := must(trend.Rules{On: trend.RulesOf(want.rules...), Run: want.run}.ARL(0, 1))
		wantNear(t, trend.RulesOf(want.rules...).String(), got, want.arl, 5e-9)
		if want.printed > 0 {
			within(t, "printed "+trend.RulesOf(want.rules...).String(), got, want.printed, 0.005)
		}
	}
	// Closed forms: a run of nine on either side takes 2⁹−1 tosses; r in a row of probability p take
	// (1−p^r)/((1−p)p^r).
	wantNear(t, "rule 2", must(trend.Rules{On: trend.RulesOf(2)}.ARL(0, 1)), 511, 1e-12)
	inside := 1 - 2*stats.NormalSurvival(1)
	inARow := func(p, r float64) float64 { return (1 - math.Pow(p, r)) / ((1 - p) * math.Pow(p, r)) }
	wantNear(t, "rule 7", must(trend.Rules{On: trend.RulesOf(7)}.ARL(0, 1)), inARow(inside, 15), 1e-11)
	wantNear(t, "rule 8", must(trend.Rules{On: trend.RulesOf(8)}.ARL(0, 1)), inARow(1-inside, 8), 1e-11)
	// Rules 3 and 4: sums of P(T > n) with rational polynomials for the density of the last value,
	// n up to 150, the rest as a geometric series.
	wantNear(t, "rule 3", must(trend.Rules{On: trend.RulesOf(3)}.ARL(2, 3)), 421.5986260314776, 1e-11)
	wantNear(t, "rule 4", must(trend.Rules{On: trend.RulesOf(4)}.ARL(0, 1)), 601.0078040224265, 1e-11)
	if never := must(trend.Rules{}.ARL(0, 1)); !math.IsInf(never, 1) {
		t.Errorf("no rule signals after %v", never)
	}
}

// Single-window probabilities, reference values with 10 digits: the chance that the first window of a
// rule signals.
func TestRunRuleWindows(t *testing.T) {
	const n = 2_000_000
	random := rand.New(rand.NewPCG(3, 14))
	for _, want := range []struct {
		rule   trend.Rule
		points int
		p      float64
	}{
		{1, 1, .002699796063},
		{2, 9, .00390625},
		{3, 6, .002777777778},
		{4, 14, .004573638190},
		{5, 3, .003058312015},
		{6, 5, .005531842200},
		{7, 15, .003260981046},
		{8, 8, .000102772195},
	} {
		rules, hit := trend.Rules{On: trend.RulesOf(want.rule)}, 0
		tries := n / want.points
		for range tries {
			var s trend.RuleState
			var any trend.RuleSet
			for range want.points {
				var h trend.RuleSet
				s, h = rules.Step(s, random.NormFloat64())
				any |= h
			}
			if any != 0 {
				hit++
			}
		}
		// Four standard errors with a fixed seed.
		got := float64(hit) / float64(tries)
		if math.Abs(got-want.p) > 4*math.Sqrt(want.p/float64(tries)) {
			t.Errorf("rule %d signals in %.6f of windows, want %.6f", want.rule, got, want.p)
		}
	}
}

// A process of another mean and sigma is one of mean 0 and sigma 1 with other limits.
func TestARLScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shift, scale := rapid.Float64Range(-1.5, 1.5).Draw(t, "shift"), rapid.Float64Range(0.7, 1.5).Draw(t, "scale")
		k, h := rapid.Float64Range(0.2, 1).Draw(t, "k"), rapid.Float64Range(1, 5).Draw(t, "h")
		a := must(trend.CUSUM{K: k, H: h}.ARL(shift, scale))
		b := must(trend.CUSUM{K: k / scale, H: h / scale}.ARL(-shift/scale, 1))
		if !near(a, b, 1e-7) && a < 1e6 {
			t.Fatalf("CUSUM %v, rescaled and mirrored %v", a, b)
		}
		lambda, limit := rapid.Float64Range(0.05, 1).Draw(t, "lambda"), rapid.Float64Range(1.5, 3.5).Draw(t, "limit")
		a = must(trend.EWMA{Lambda: lambda, Limit: limit}.ARL(shift, scale))
		b = must(trend.EWMA{Lambda: lambda, Limit: limit / scale}.ARL(-shift/scale, 1))
		if !near(a, b, 1e-7) && a < 1e6 {
			t.Fatalf("EWMA %v, rescaled and mirrored %v", a, b)
		}
	})
}

// Longer with the limit, shorter with the shift and the scale.
func TestARLMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, h := rapid.Float64Range(0.25, 1).Draw(t, "k"), rapid.Float64Range(1, 6).Draw(t, "h")
		shift := rapid.Float64Range(0, 2).Draw(t, "shift")
		base := must(trend.CUSUM{K: k, H: h}.ARL(shift, 1))
		longer := must(trend.CUSUM{K: k, H: h + 0.1}.ARL(shift, 1))
		sooner := must(trend.CUSUM{K: k, H: h}.ARL(shift+0.1, 1))
		wider := must(trend.CUSUM{K: k, H: h}.ARL(0, 1.1))
		if !(longer > base && sooner < base && wider < must(trend.CUSUM{K: k, H: h}.ARL(0, 1))) {
			t.Fatalf("CUSUM: %v, higher limit %v, larger shift %v, wider %v", base, longer, sooner, wider)
		}
		lambda, limit := rapid.Float64Range(0.05, 1).Draw(t, "lambda"), rapid.Float64Range(1.5, 3.5).Draw(t, "limit")
		base = must(trend.EWMA{Lambda: lambda, Limit: limit}.ARL(shift, 1))
		longer = must(trend.EWMA{Lambda: lambda, Limit: limit + 0.05}.ARL(shift, 1))
		sooner = must(trend.EWMA{Lambda: lambda, Limit: limit}.ARL(shift+0.1, 1))
		if !(longer > base && sooner < base) {
			t.Fatalf("EWMA: %v, higher limit %v, larger shift %v", base, longer, sooner)
		}
	})
}

// The run lengths of simulated charts, run by the code that runs them, within 4 standard errors.
func TestARLSimulated(t *testing.T) {
	t.Parallel()
	const runs = 4000
	random := rand.New(rand.NewPCG(2, 7))
	cusum := trend.CUSUM{K: 0.4, H: 3, HeadStart: 0.4}
	ewma := trend.EWMA{Lambda: 0.3, Limit: 2.4, TimeVarying: true}
	rules := trend.Rules{On: trend.RulesOf(1, 5, 6)}
	turning, rising := trend.Rules{On: trend.RulesOf(4)}, trend.Rules{On: trend.RulesOf(3)}
	const shift, scale = 0.2, 1.1
	for name, chart := range map[string]struct {
		arl   float64
		start func() func(z float64) bool
	}{
		"CUSUM": {must(cusum.ARL(shift, scale)), func() func(float64) bool {
			s := cusum.Start()
			return func(z float64) bool { s = cusum.Step(s, z); return cusum.Crossing(s) != 0 }
		}},
		"EWMA": {must(ewma.ARL(shift, scale)), func() func(float64) bool {
			var s trend.EWMAState
			return func(z float64) bool { s = ewma.Step(s, z); return ewma.Crossing(s) != 0 }
		}},
		"rules":  {must(rules.ARL(shift, scale)), func() func(float64) bool { return stepper(rules) }},
		"rule 3": {must(rising.ARL(shift, scale)), func() func(float64) bool { return stepper(rising) }},
		"rule 4": {must(turning.ARL(shift, scale)), func() func(float64) bool { return stepper(turning) }},
	} {
		var sum, squares float64
		for range runs {
			crossing, n := chart.start(), 1.0
			for !crossing(shift + scale*random.NormFloat64()) {
				n++
			}
			sum, squares = sum+n, squares+n*n
		}
		mean := sum / runs
		if se := math.Sqrt((squares/runs - mean*mean) / runs); math.Abs(mean-chart.arl) > 4*se {
			t.Errorf("%s: simulated %.2f ± %.2f, computed %.2f", name, mean, se, chart.arl)
		}
	}
}

func stepper(rules trend.Rules) func(z float64) bool {
	var s trend.RuleState
	return func(z float64) bool {
		var hit trend.RuleSet
		s, hit = rules.Step(s, z)
		return hit != 0
	}
}

func TestARLArguments(t *testing.T) {
	good := trend.CUSUM{K: 0.5, H: 5}
	for reason, err := range map[string]error{
		"scale 0":            second(good.ARL(0, 0)),
		"shift not a number": second(good.ARL(math.NaN(), 1)),
		"k 0":                second(trend.CUSUM{H: 5}.ARL(0, 1)),
		"head start over ½":  second(trend.CUSUM{K: .5, H: 5, HeadStart: .6}.ARL(0, 1)),
		"no weight":          second(trend.EWMA{Limit: 3}.ARL(0, 1)),
		"no limit":           second(trend.Individuals{}.ARL(0, 1)),
		"no range":           second(trend.MovingRange{}.Between(1)),
		"rules 1 and 3":      second(trend.Rules{On: trend.RulesOf(1, 3)}.ARL(0, 1)),
		"a run of 1":         second(trend.Rules{On: trend.RulesOf(2), Run: 1}.ARL(0, 1)),
	} {
		if !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: error %v", reason, err)
		}
	}
	// A lower sum that a shift of 4 sigma upward all but rules out does no harm.
	if far := must(trend.CUSUM{K: 0.5, H: 20}.ARL(9, 1)); !(far > 2 && far < 4) {
		t.Errorf("after a shift of 9 sigma: %v", far)
	}
}

func second[T any](_ T, err error) error { return err }
