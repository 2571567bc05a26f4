package quality_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

var (
	oldLot = quality.Setup{Meter: meter, Kit: "surface kit", Lot: "L1"}
	newLot = quality.Setup{Meter: meter, Kit: "surface kit", Lot: "L2"}
)

// Extra hours of sleep of ten people under two drugs: A. R. Cushny & A. R. Peebles, J Physiol
// 1905;32:501-510, as used by "Student", Biometrika 1908;6:1-25.
var (
	sleep1 = []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}
	sleep2 = []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
)

// powers returns 10^x, so that log10 gives the published data back.
func powers(x []float64) []unit.Number {
	values := make([]unit.Number, len(x))
	for i := range x {
		values[i] = unit.Number(math.Pow(10, x[i]))
	}
	return values
}

func pairUp(old, new []unit.Number) []quality.Pair {
	pairs := make([]quality.Pair, len(old))
	for i := range old {
		pairs[i] = quality.Pair{Sample: fmt.Sprint("S", i), Old: old[i], New: new[i]}
	}
	return pairs
}

func plan(change func(*quality.Plan)) quality.Plan {
	p := quality.DefaultPlan()
	change(&p)
	return p
}

// Two one-sided tests of the paired sleep data against ±2.5, reference values of 12 digits from a
// general-purpose statistics package; and Welch's test of the same numbers as groups: t −1.8608,
// df 17.776, as printed in many textbooks.
func TestEquivalenceReference(t *testing.T) {
	t.Parallel()
	p := plan(func(p *quality.Plan) { p.Margin, p.MinPairs = unit.Number(math.Pow(10, 2.5)), 10 })
	got := must[quality.Paired](t)(p.Paired(oldLot, newLot, pairUp(powers(sleep1), powers(sleep2))))
	e := got.Equivalence
	wantNear(t, "lower t", e.Above, 10.489544903923, close12)
	wantNear(t, "upper t", e.Below, -2.3652895371592, close12)
	wantNear(t, "p", e.P, 0.021116860246501, close12)
	wantInterval(t, "90 % interval", e.Interval, 0.86699473297072, 2.29300526702928, close12)
	wantNear(t, "ratio", got.Ratio, math.Pow(10, 1.58), close12)
	if got.Answer != quality.SameLevel || !e.Equivalent || got.More != 0 {
		t.Errorf("got %+v", got.Finding)
	}
	groups := must[quality.Unpaired](t)(p.Unpaired(oldLot, newLot, powers(sleep1), powers(sleep2)))
	wantNear(t, "Welch's degrees of freedom", groups.Equivalence.DF, 17.776474, 1e-7)
	// t = (Above + Below)/2, since the margins are symmetric.
	wantNear(t, "Welch's t", (groups.Equivalence.Above+groups.Equivalence.Below)/2, 1.8608135, 1e-7)
}

// series returns n pairs with log10 ratios mean ± spread in turn, at rising heights.
func series(n int, mean, spread float64) []quality.Pair {
	var pairs []quality.Pair
	for i := range n {
		ratio := mean - spread
		if i%2 == 0 {
			ratio = mean + spread
		}
		// Heights come in twos, so that the ratio does not hang on the height.
		height := 2 + float64(i/2)/20 - ratio/2
		pairs = append(pairs, quality.Pair{Old: unit.Number(math.Pow(10, height)), New: unit.Number(math.Pow(10, height+ratio))})
	}
	return pairs
}

func TestPairedAnswers(t *testing.T) {
	t.Parallel()
	otherSystem, otherKit := newLot, newLot
	otherSystem.Meter = quality.Meter{Code: "M-2", System: "system B"}
	otherKit.Kit = "rinsate kit"
	otherMeter := newLot
	otherMeter.Meter.Code = "M-2"
	steep := series(20, 0, 0.001)
	for i := range steep { // a ratio from 10^−0.2 to 10^0.2 along the height
		steep[i].New *= unit.Number(math.Pow(10, 0.4*float64(i)/19-0.2))
	}
	steeper := series(20, 0.04, 0.02) // not settled by itself
	for i := range steeper {
		steeper[i].New *= unit.Number(math.Pow(10, 0.6*float64(i)/19-0.3))
	}
	gentle := series(20, 0, 0.001)
	for i := range gentle {
		gentle[i].New *= unit.Number(math.Pow(10, 0.04*float64(i)/19-0.02))
	}
	tests := []struct {
		reason string
		new    quality.Setup
		pairs  []quality.Pair
		want   quality.Answer
		more   int
		why    string
	}{
		{"the same within a little", newLot, series(20, 0.01, 0.02), quality.SameLevel, 0, "within the margin of 1.25"},
		{"another meter of the system counts on the same scale", otherMeter, series(20, 0.01, 0.02), quality.SameLevel, 0, "within the margin"},
		{"another system never does", otherSystem, series(20, 0.01, 0.02), quality.NewLevel, 0, "whatever the ratio"},
		{"another kit never does", otherKit, series(20, 0.01, 0.02), quality.NewLevel, 0, "whatever the ratio"},
		{"not even before the first pair", otherKit, nil, quality.NewLevel, 0, "whatever the ratio"},
		{"twice as high", newLot, series(20, 0.3, 0.02), quality.NewLevel, 0, "outside the margin"},
		{"half as high", newLot, series(20, -0.3, 0.02), quality.NewLevel, 0, "outside the margin"},
		{"a little outside", newLot, series(20, 0.13, 0.02), quality.NewLevel, 0, "outside the margin"},
		{"few and far apart: no more are asked for than the plan does", newLot, series(10, 0, 0.9), quality.TooFew, 10, "take 10 more"},
		{"a climb shows only with as many as the plan asks for", newLot, steep[:10], quality.TooFew, 10, "take 10 more"},
		{"no pair", newLot, nil, quality.TooFew, 20, "take 20 more"},
		{"two pairs", newLot, series(2, 0, 0.1), quality.TooFew, 18, "take 18 more"},
		{"fewer than the plan asks for, however alike", newLot, series(10, 0, 0.02), quality.TooFew, 10, "at least 20: take 10 more"},
		{"a spread that no number of pairs overcomes", newLot, series(20, 0.09, 0.3), quality.NewLevel, 0, "not even 200"},
		{"the ratio climbs out of the margin along the height", newLot, steep, quality.NewLevel, 0, "changes with the height"},
		{"the same where the mean ratio is not settled", newLot, steeper, quality.NewLevel, 0, "changes with the height"},
		{"the ratio climbs within the margin", newLot, gentle, quality.SameLevel, 0, "within the margin"},
	}
	for _, test := range tests {
		got := must[quality.Paired](t)(quality.DefaultPlan().Paired(oldLot, test.new, test.pairs))
		if got.Answer != test.want || got.More != test.more || !strings.Contains(got.Why, test.why) {
			t.Errorf("%s: got %q, %d more, %s", test.reason, got.Answer, got.More, got.Why)
		}
	}
	// Not settled: so many more that the whole number gives the plan's power.
	got := must[quality.Paired](t)(quality.DefaultPlan().Paired(oldLot, newLot, series(20, 0.03, 0.2)))
	needed, ok, err := quality.DefaultPlan().Pairs(got.Agreement.SD, got.Ratio)
	if err != nil || !ok || got.Answer != quality.TooFew || got.More != needed-20 {
		t.Errorf("got %q, %d more, needed %d, %v, %v", got.Answer, got.More, needed, ok, err)
	}
}

func TestUnpairedAnswers(t *testing.T) {
	t.Parallel()
	group := func(n int, mean, spread float64) []unit.Number {
		var values []unit.Number
		for i := range n {
			values = append(values, unit.Number(math.Pow(10, mean+spread*float64(2*(i%2)-1))))
		}
		return values
	}
	tests := []struct {
		reason   string
		old, new []unit.Number
		want     quality.Answer
		more     int
		why      string
	}{
		{"the same", group(30, 3, 0.05), group(30, 3.01, 0.05), quality.SameLevel, 0, "readings in each group"},
		{"the same, more scattered", group(60, 3, 0.02), group(60, 3.01, 0.06), quality.SameLevel, 0, "vary 3 times as much"},
		{"higher", group(30, 3, 0.05), group(30, 3.2, 0.05), quality.NewLevel, 0, "outside the margin"},
		{"the smaller group counts", group(30, 3, 0.05), group(12, 3, 0.05), quality.TooFew, 8, "take 8 more"},
		{"one reading has no spread", group(30, 3, 0.05), group(1, 3, 0.05), quality.TooFew, 19, "take 19 more"},
	}
	for _, test := range tests {
		got := must[quality.Unpaired](t)(quality.DefaultPlan().Unpaired(oldLot, newLot, test.old, test.new))
		if got.Answer != test.want || got.More != test.more || !strings.Contains(got.Why, test.why) {
			t.Errorf("%s: got %q, %d more, %s", test.reason, got.Answer, got.More, got.Why)
		}
	}
	// The 2.5 % and 97.5 % points of F with 5 and 9 degrees of freedom, reference values.
	const f025, f975 = 0.1496769743430872, 4.484411314185033
	x := powers([]float64{1, 2, 3, 4, 5, 6})
	y := powers([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10})
	got := must[quality.Unpaired](t)(quality.DefaultPlan().Unpaired(oldLot, newLot, x, y))
	ratio := math.Sqrt((110.0 / 12) / 3.5) // variances of 1..10 and of 1..6
	wantNear(t, "SD ratio", got.SDRatio, ratio, close12)
	wantInterval(t, "SD ratio", got.SDRatioCI, ratio*math.Sqrt(f025), ratio*math.Sqrt(f975), close9)
}

func TestCompareRefuses(t *testing.T) {
	t.Parallel()
	good := series(20, 0, 0.02)
	zero, twice := slices.Clone(good), slices.Clone(good)
	zero[3].New = 0
	twice[3].Sample, twice[4].Sample = "S", "S"
	tests := []struct {
		reason string
		plan   quality.Plan
		new    quality.Setup
		pairs  []quality.Pair
		want   string
	}{
		{"in order", quality.DefaultPlan(), newLot, good, ""},
		{"a ratio to nothing", quality.DefaultPlan(), newLot, zero, "readings over 0"},
		{"a sample twice", quality.DefaultPlan(), newLot, twice, "paired twice"},
		{"no kit", quality.DefaultPlan(), quality.Setup{Meter: meter}, good, "name the kit"},
		{"no meter", quality.DefaultPlan(), quality.Setup{Kit: "k"}, good, "give a code"},
		{"a margin of 1", plan(func(p *quality.Plan) { p.Margin = 1 }), newLot, good, "ratio over 1"},
		{"a margin of NaN", plan(func(p *quality.Plan) { p.Margin = unit.Number(math.NaN()) }), newLot, good, "ratio over 1"},
		{"no alpha", plan(func(p *quality.Plan) { p.Alpha = stats.Probability{} }), newLot, good, "alpha"},
		{"alpha of a half", plan(func(p *quality.Plan) { p.Alpha = stats.MustProbability("0.5") }), newLot, good, "alpha"},
		{"power of 1", plan(func(p *quality.Plan) { p.Power = stats.MustProbability("1") }), newLot, good, "power"},
		{"no confidence", plan(func(p *quality.Plan) { p.Confidence = stats.Confidence{} }), newLot, good, "no confidence"},
		{"2 pairs at least", plan(func(p *quality.Plan) { p.MinPairs = 2 }), newLot, good, "at least 3"},
		{"less at most than at least", plan(func(p *quality.Plan) { p.MostPairs = 19 }), newLot, good, "no fewer at most"},
	}
	for _, test := range tests {
		_, err := test.plan.Paired(oldLot, test.new, test.pairs)
		if !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
	for name, values := range map[string][]unit.Number{"zero": {0, 1, 2}, "equal": {5, 5, 5}, "NaN": {unit.Number(math.NaN()), 1}} {
		if _, err := quality.DefaultPlan().Unpaired(oldLot, newLot, []unit.Number{1, 2, 3}, values); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Power of the two one-sided tests in a 2×2 crossover at a true ratio of 0.95 and limits of 80 to
// 125 %, for the sample sizes that E. Diletti, D. Hauschke & V. W. Steinijans, Int J Clin
// Pharmacol 1991;29:1-8, give for a power of 0.8 (CV 0.2: 20, 0.25: 28, 0.3: 40; from memory).
// The digits are reference values, integrated with 25 digits.
func TestEquivalencePowerPublished(t *testing.T) {
	t.Parallel()
	margin := math.Log(1.25)
	for _, test := range []struct{ cv, n, power, smaller float64 }{
		{0.2, 20, 0.8346801908569, 0.791239944387468},
		{0.25, 28, 0.80743946416477, 0.776055337640808},
		{0.3, 40, 0.815845280273126, 0.795328475764425},
	} {
		s := math.Sqrt(math.Log1p(test.cv * test.cv))
		power := func(n float64) float64 {
			return quality.EquivalencePower(math.Log(0.95), s*math.Sqrt(2/n), n-2, margin, 0.05)
		}
		wantNear(t, fmt.Sprintf("CV %v, %v subjects", test.cv, test.n), power(test.n), test.power, close9)
		wantNear(t, fmt.Sprintf("CV %v, two fewer", test.cv), power(test.n-2), test.smaller, close9)
		if power(test.n) < 0.8 || power(test.n-2) >= 0.8 {
			t.Errorf("CV %v: %v subjects are not the smallest even number", test.cv, test.n)
		}
	}
}

// Reference values: the first number at which the power, integrated by an independent
// implementation, reaches 0.9.
func TestPairsNeeded(t *testing.T) {
	t.Parallel()
	p := plan(func(p *quality.Plan) { p.MostPairs = 1000 })
	for _, test := range []struct {
		sd, ratio   float64
		pairs, each int
	}{
		{0.15, 1, 28, 53},
		{0.2, 1, 48, 93},
		{0.1, 1.1, 30, 57},
		{0.1, 1 / 1.1, 30, 57},
		{0.05, 1, 5, 7},
		{0.02, 1, 3, 3},
		{0.3, 1, 106, 209},
		{0.05, 1.2, 70, 137},
	} {
		pairs, ok, err := p.Pairs(test.sd, test.ratio)
		each, alsoOK, alsoErr := p.PerGroup(test.sd, test.ratio)
		if pairs != test.pairs || each != test.each || !ok || !alsoOK || err != nil || alsoErr != nil {
			t.Errorf("sd %v, ratio %v: %d pairs (%v, %v), %d in each group (%v, %v)", test.sd, test.ratio, pairs, ok, err, each, alsoOK, alsoErr)
		}
		// The number of pairs is the smallest with the wanted power.
		enough, err1 := p.PairsPower(pairs, test.sd, test.ratio)
		short, err2 := p.PairsPower(pairs-1, test.sd, test.ratio)
		if wanted := p.Power.Float(); enough < wanted || short >= wanted || err1 != nil || err2 != nil {
			t.Errorf("sd %v, ratio %v: power %v with %d pairs (%v), %v with one less (%v)", test.sd, test.ratio, enough, pairs, err1, short, err2)
		}
	}
	if n, ok, err := p.Pairs(0.1, 1.25); n != 0 || ok || err != nil {
		t.Errorf("at the margin no number will do: %v, %v", ok, err)
	}
	if n, ok, err := p.Pairs(5, 1); n != 0 || ok || err != nil {
		t.Errorf("a spread beyond the largest number: %v, %v", ok, err)
	}
	for _, bad := range [][2]float64{{0, 1}, {-1, 1}, {math.NaN(), 1}, {math.Inf(1), 1}, {1, 0}, {1, math.NaN()}, {1, math.Inf(1)}} {
		if _, _, err := p.Pairs(bad[0], bad[1]); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%v: %v", bad, err)
		}
		if _, err := p.PairsPower(20, bad[0], bad[1]); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("power of %v: %v", bad, err)
		}
	}
	if _, err := (quality.Plan{}).PairsPower(20, 0.1, 1); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("power of no plan: %v", err)
	}
}

// Exchanging old and new gives the inverse ratio and the same answer; so does counting in another
// unit give the same ratio; the order of pairs changes no digit.
func TestCompareProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var pairs []quality.Pair
		offset := rapid.Float64Range(-0.2, 0.2).Draw(t, "offset")
		spread := rapid.Float64Range(0.01, 0.4).Draw(t, "spread")
		for range rapid.IntRange(3, 40).Draw(t, "n") {
			height := float64(rapid.IntRange(10, 40).Draw(t, "height")) / 10
			ratio := offset + spread*float64(rapid.IntRange(-10, 10).Draw(t, "ratio"))/10
			pairs = append(pairs, quality.Pair{Old: unit.Number(math.Pow(10, height)), New: unit.Number(math.Pow(10, height+ratio))})
		}
		p := quality.DefaultPlan()
		a, err := p.Paired(oldLot, newLot, pairs)
		if err != nil {
			t.Skip("equal ratios")
		}
		exchanged, scaled := slices.Clone(pairs), slices.Clone(pairs)
		var old, new, old7, new7 []unit.Number
		for i, pair := range pairs {
			exchanged[i] = quality.Pair{Old: pair.New, New: pair.Old}
			scaled[i] = quality.Pair{Old: 7 * pair.Old, New: 7 * pair.New}
			old, new = append(old, pair.Old), append(new, pair.New)
			old7, new7 = append(old7, 7*pair.Old), append(new7, 7*pair.New)
		}
		b := must[quality.Paired](t)(p.Paired(newLot, oldLot, exchanged))
		c := must[quality.Paired](t)(p.Paired(oldLot, newLot, scaled))
		shuffled := must[quality.Paired](t)(p.Paired(oldLot, newLot, rapid.Permutation(slices.Clone(pairs)).Draw(t, "order")))
		same := func(what string, x, y float64) {
			if !near(x, y, 1e-9) {
				t.Fatalf("%s: %v and %v", what, x, y)
			}
		}
		same("ratio exchanged", a.Ratio, 1/b.Ratio)
		same("interval exchanged", a.RatioCI.Lo, 1/b.RatioCI.Hi)
		same("limits exchanged", a.LowerCI.Lo, 1/b.UpperCI.Hi)
		same("p exchanged", a.Equivalence.P, b.Equivalence.P)
		same("ratio scaled", a.Ratio, c.Ratio)
		same("limits scaled", a.UpperCI.Hi, c.UpperCI.Hi)
		if a.Answer != b.Answer || a.Answer != c.Answer || a.More != b.More || a.More != c.More {
			t.Fatalf("%q %d, exchanged %q %d, scaled %q %d", a.Answer, a.More, b.Answer, b.More, c.Answer, c.More)
		}
		if shuffled != a {
			t.Fatalf("%+v, shuffled %+v", a, shuffled)
		}
		if (a.Answer == quality.TooFew) != (a.More > 0) {
			t.Fatalf("%+v", a.Finding)
		}
		g, err := p.Unpaired(oldLot, newLot, old, new)
		if err != nil {
			t.Skip("a group of equal readings")
		}
		h := must[quality.Unpaired](t)(p.Unpaired(newLot, oldLot, new, old))
		k := must[quality.Unpaired](t)(p.Unpaired(oldLot, newLot, old7, new7))
		same("groups exchanged", g.Ratio, 1/h.Ratio)
		same("spread exchanged", g.SDRatioCI.Lo, 1/h.SDRatioCI.Hi)
		same("spread scaled", g.SDRatio, k.SDRatio)
		if g.Answer != h.Answer || g.Answer != k.Answer {
			t.Fatalf("groups %q, exchanged %q, scaled %q", g.Answer, h.Answer, k.Answer)
		}
	})
}
