package level_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func usual(change ...func(*level.Plan)) level.Plan {
	p := level.Usual(level.Target{System: "system A", Kit: "rinsate kit", Point: scope.InstrumentLumen})
	p.Resamples = 200
	for _, c := range change {
		c(&p)
	}
	return p
}

// samplesOf gives each value a scope of its own.
func samplesOf(values ...int) []level.Sample {
	samples := make([]level.Sample, len(values))
	for i, v := range values {
		samples[i] = level.Sample{
			ID: fmt.Sprintf("r%05d", i), System: "system A", Kit: "rinsate kit", Scope: fmt.Sprintf("scope %d", i),
			Kind: scope.Colonoscope, Point: scope.InstrumentLumen, At: unit.Instant(1000 + i), Cleaning: 1, Value: v,
		}
	}
	return samples
}

// fromTo returns the whole numbers from a to b.
func fromTo(a, b int) []int {
	var list []int
	for i := a; i <= b; i++ {
		list = append(list, i)
	}
	return list
}

func derive(t *testing.T, samples []level.Sample, plan level.Plan) level.Derivation {
	t.Helper()
	d, err := level.Derive(samples, plan)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// binomialBelow returns P(B < r), B binomial, in rational arithmetic.
func binomialBelow(n, r int, p *big.Rat) float64 {
	q := new(big.Rat).Sub(big.NewRat(1, 1), p)
	sum := new(big.Rat)
	power := func(x *big.Rat, k int) *big.Rat {
		e := big.NewInt(int64(k))
		return new(big.Rat).SetFrac(new(big.Int).Exp(x.Num(), e, nil), new(big.Int).Exp(x.Denom(), e, nil))
	}
	for k := range r {
		term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(n), int64(k)))
		sum.Add(sum, term.Mul(term, new(big.Rat).Mul(power(p, k), power(q, n-k))))
	}
	f, _ := sum.Float64()
	return f
}

// The distribution-free bound is an order statistic whose coverage is a binomial probability: at
// least the confidence, and below it one rank lower. The values 1 to n tell which rank was taken.
// Ranks of P95 as in NIST/SEMATECH e-Handbook 7.2.6.4 and Meeker, Hahn & Escobar 2017, table J.13.
func TestFreeCoverageIsExact(t *testing.T) {
	for n, rank := range map[int]int{59: 59, 93: 92, 100: 99, 200: 196, 500: 484} {
		d := derive(t, samplesOf(fromTo(1, n)...), usual())
		c := d.Alert.By(level.Free)
		if c.Refused != "" || c.Rank != rank || c.Upper != unit.Number(rank) || c.Level != unit.Number(rank+1) {
			t.Errorf("%d readings: %+v, want rank %d", n, c, rank)
		}
		p := big.NewRat(95, 100)
		at, below := binomialBelow(n, rank, p), binomialBelow(n, rank-1, p)
		if at < 0.95 || below >= 0.95 || math.Abs(float64(c.Achieved)-at) > 1e-12 {
			t.Errorf("%d readings: coverage %v, one rank lower %v, stated %s", n, at, below, c.Achieved)
		}
		if c.Estimate < unit.Number(0.95*float64(n)) || c.Estimate > unit.Number(0.95*float64(n)+1) {
			t.Errorf("%d readings: P95 %s", n, c.Estimate)
		}
	}
}

func TestTooFewReadings(t *testing.T) {
	d := derive(t, samplesOf(fromTo(101, 158)...), usual())
	c := d.Alert.By(level.Free)
	if c.Need != 59 || c.More != 1 || c.Refused != "58 readings are there and 59 are needed: 1 more" || c.Level != 0 {
		t.Errorf("58 readings: %+v", c)
	}
	if c := d.Action.By(level.Free); c.Need != 299 || c.More != 241 {
		t.Errorf("P99 of 58 readings: %+v", c)
	}
	if _, err := d.Proposed(level.Free); err == nil || !strings.Contains(err.Error(), "1 more") {
		t.Errorf("a level was proposed: %v", err)
	}
	if _, err := d.Proposed(level.LogNormal); err != nil {
		t.Error(err)
	}
	d = derive(t, nil, usual())
	for _, m := range level.Methods {
		if c := d.Alert.By(m); c.Refused == "" || c.More == 0 {
			t.Errorf("no reading, %s: %+v", m, c)
		}
	}
	d = derive(t, samplesOf(slices.Repeat([]int{40}, 80)...), usual())
	if c := d.Alert.By(level.LogNormal); c.Refused == "" || c.Need != 0 {
		t.Errorf("all alike: %+v", c)
	}
	if c := d.Alert.By(level.Free); c.Upper != 40 || c.Level != 41 {
		t.Errorf("all alike: %+v", c)
	}
	if d = derive(t, samplesOf(make([]int, 400)...), usual()); d.Action.By(level.Free).Level != 1 {
		t.Errorf("nothing but zeros: %+v", d.Action.By(level.Free))
	}
}

func TestNeeded(t *testing.T) {
	c := stats.MustConfidence("0.95")
	tests := []struct {
		method           level.Method
		p                string
		have, need, more int
	}{
		{level.Free, "0.9", 0, 29, 29},
		{level.Free, "0.95", 40, 59, 19},
		{level.FreeEffective, "0.95", 59, 59, 0},
		{level.ScopeBootstrap, "0.99", 1000, 299, 0},
		{level.LogNormal, "0.99", 3, 10, 7},
	}
	for _, test := range tests {
		need, more, err := level.Needed(test.method, stats.MustProbability(test.p), c, test.have)
		if err != nil || need != test.need || more != test.more {
			t.Errorf("P %s with %d: need %d, more %d, %v; want %d and %d", test.p, test.have, need, more, err, test.need, test.more)
		}
	}
	if _, _, err := level.Needed(level.Free, stats.MustProbability("0.95"), c, -1); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("-1 readings: %v", err)
	}
	if _, _, err := level.Needed(level.Free, stats.Probability{}, c, 0); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no percentile: %v", err)
	}
	if _, _, err := level.Needed("by eye", stats.MustProbability("0.95"), c, 0); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no method: %v", err)
	}
}

func TestExclusions(t *testing.T) {
	samples := samplesOf(append(fromTo(30, 99), 5000)...)
	samples[0].Excluded = "meter check failed"
	samples[1].Cleaning = 2
	d := derive(t, samples, usual())
	want := []level.Exclusion{{ID: "r00000", Why: "meter check failed"}, {ID: "r00001", Why: "re-test after the 2nd cleaning: the scope had been cleaned again"}}
	if !reflect.DeepEqual(d.Excluded, want) {
		t.Errorf("excluded %+v", d.Excluded)
	}
	if b := d.Baseline; b.Given != 71 || b.Counted != 69 || b.Lowest != 32 || b.Highest != 5000 || b.Median != 66 ||
		b.First != 1002 || b.Last != 1070 || b.Scopes != 69 {
		t.Errorf("baseline %+v", b)
	}
	screened := derive(t, samples, usual(func(p *level.Plan) { p.Outliers = 3 }))
	if len(screened.Excluded) != 3 || screened.Excluded[2].ID != "r00070" || !strings.HasPrefix(screened.Excluded[2].Why, "outlier: 5000 RLU") {
		t.Errorf("screened %+v", screened.Excluded)
	}
	if screened.Baseline.Digest != d.Baseline.Digest {
		t.Error("the digest is not that of the readings given")
	}
	if !slices.ContainsFunc(screened.Warnings, func(w string) bool { return strings.HasPrefix(w, "outliers were left out") }) {
		t.Errorf("no warning of outliers: %q", screened.Warnings)
	}
	for _, few := range [][]int{append(slices.Repeat([]int{30, 31}, 6), 5000), slices.Repeat([]int{30}, 40)} {
		if d := derive(t, samplesOf(few...), usual(func(p *level.Plan) { p.Outliers = 3 })); len(d.Excluded) != 0 {
			t.Errorf("of %d readings, or all alike, %+v were left out", len(few), d.Excluded)
		}
	}
	samples[5].Value++
	if derive(t, samples, usual()).Baseline.Digest == d.Baseline.Digest {
		t.Error("another value gives the same digest")
	}
}

// Dyestuff yields of Davies & Goldsmith, Statistical Methods in Research and Production, 1972: six
// batches of five. Between 1764.05, within 2451.25, from the balanced analysis of variance.
func TestIntraclassCorrelation(t *testing.T) {
	x := []float64{
		1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560,
		1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445,
	}
	of := make([]int, len(x))
	for i := range of {
		of[i] = i / 5
	}
	c := level.ClusterBy(x, of, 6)
	rho := 1764.05 / (1764.05 + 2451.25)
	wantClose(t, "correlation", float64(c.Correlation), rho, 1e-9)
	wantClose(t, "design effect", float64(c.DesignEffect), 1+4*rho, 1e-9)
	if want := int(30 / (1 + 4*rho)); c.Effective != want || !c.Estimable {
		t.Errorf("%+v, want %d effective readings", c, want)
	}
	if c := level.ClusterBy(x, fromTo(0, 29), 30); c.Estimable || c.Effective != 30 || c.DesignEffect != 1 {
		t.Errorf("a scope for each reading: %+v", c)
	}
	if c := level.ClusterBy(x, make([]int, 30), 1); c.Estimable {
		t.Errorf("one scope: %+v", c)
	}
}

// The bootstrap law of an order statistic is known: with a scope for each of n readings,
// P(X*₍ₖ₎ ≤ x₍ⱼ₎) = P(Bin(n, j/n) ≥ k). 20,000 resamples: four standard errors are at most 0.0141.
func TestResampledLaw(t *testing.T) {
	const n, resamples = 40, 20_000
	values := make([]float64, n)
	for i := range values {
		values[i] = float64(i + 1)
	}
	drawn := level.Resampled(values, fromTo(0, n-1), n, []float64{0.5, 0.95}, resamples, rand.New(rand.NewPCG(1, 1)))
	for q, k := range []int{20, 38} {
		for j := 1; j <= n; j++ {
			at, _ := slices.BinarySearch(drawn[q], float64(j)+0.5)
			want := 1 - binomialBelow(n, k, big.NewRat(int64(j), n))
			wantClose(t, fmt.Sprintf("P(X*(%d) ≤ %d)", k, j), float64(at)/resamples, want, 0.0141)
		}
	}
}

// With a scope for each reading the bootstrap bounds follow from that law, but for the chance of
// 4,000 resamples: one rank.
func TestScopeBootstrapBounds(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	const n = 400
	d := derive(t, samplesOf(fromTo(1, n)...), usual(func(p *level.Plan) { p.Resamples = 4000 }))
	c := d.Alert.By(level.ScopeBootstrap)
	quantile := func(q float64) float64 {
		j := 365
		for 1-binomialBelow(n, 380, big.NewRat(int64(j), n)) < q {
			j++
		}
		return float64(j)
	}
	wantClose(t, "estimate", float64(c.Estimate), 380, 0)
	wantClose(t, "upper bound", float64(c.Upper), quantile(0.95), 1)
	wantClose(t, "lower end", float64(c.Interval.Lo), quantile(0.025), 1)
	wantClose(t, "upper end", float64(c.Interval.Hi), quantile(0.975), 1)
	if c.Interval.Hi <= c.Upper || c.Interval.Hi == n {
		t.Errorf("interval %v, upper bound %s", *c.Interval, c.Upper)
	}
}

// Readings of few scopes that differ are worth fewer readings: the bounds that know of scopes are
// higher than the one that does not, and the warning says so.
func TestClusteredReadings(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	var values []int
	for range 20 {
		centre := 4 + rng.NormFloat64()
		for range 10 {
			values = append(values, int(math.Round(math.Exp(centre+0.3*rng.NormFloat64()))))
		}
	}
	samples := samplesOf(values...)
	for i := range samples {
		samples[i].Scope = fmt.Sprintf("scope %d", i/10)
	}
	d := derive(t, samples, usual())
	if c := d.Clustering; c.Correlation < 0.7 || c.Effective > 40 || c.Scopes != 20 || !c.Estimable {
		t.Errorf("clustering %+v", c)
	}
	if c := d.Alert.By(level.FreeEffective); c.Refused == "" || c.Need != 59 {
		t.Errorf("effective readings: %+v", c)
	}
	if a, b := d.Alert.By(level.ScopeBootstrap), d.Alert.By(level.Free); a.Upper <= b.Upper {
		t.Errorf("bootstrap of scopes %v is not over the plain bound %v", a.Upper, b.Upper)
	}
	if !slices.ContainsFunc(d.Warnings, func(w string) bool { return strings.Contains(w, "intraclass correlation 0.") }) {
		t.Errorf("no warning: %q", d.Warnings)
	}
	// With many more scopes the effective readings are enough, and their rank is the higher one.
	more := samplesOf(fromTo(1, 300)...)
	for i := range more {
		more[i].Scope = fmt.Sprintf("scope %d", i/2)
	}
	d = derive(t, more, usual())
	a, b := d.Alert.By(level.FreeEffective), d.Alert.By(level.Free)
	if a.Refused != "" || a.Rank < b.Rank || d.Clustering.Effective >= 300 {
		t.Errorf("effective rank %d, plain rank %d, clustering %+v", a.Rank, b.Rank, d.Clustering)
	}
	ideal, err := stats.UpperQuantileRank(d.Clustering.Effective, d.Plan.Alert, d.Plan.Confidence)
	if err != nil {
		t.Fatal(err)
	}
	if want := int(math.Ceil(float64(ideal.Rank) * 300 / float64(d.Clustering.Effective))); a.Rank != want {
		t.Errorf("rank %d, want %d of %d stretched to %d", a.Rank, ideal.Rank, d.Clustering.Effective, want)
	}
	one := samplesOf(fromTo(1, 70)...)
	for i := range one {
		one[i].Scope = "the only one"
	}
	if d = derive(t, one, usual()); !slices.ContainsFunc(d.Warnings, func(w string) bool { return strings.HasPrefix(w, "all readings are of one scope") }) {
		t.Errorf("one scope: %q", d.Warnings)
	}
	if c := d.Alert.By(level.ScopeBootstrap); c.Need != 10 || c.More != 9 {
		t.Errorf("one scope: %+v", c)
	}
}

func TestShape(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	draw := func(n int, f func() float64) []level.Sample {
		values := make([]int, n)
		for i := range values {
			values[i] = int(math.Round(f()))
		}
		return samplesOf(values...)
	}
	logNormal := func() float64 { return math.Exp(2.5 + rng.NormFloat64()) }
	// At a significance of 5 % about 5 of 100 log-normal baselines are doubted, whatever rounding and
	// censoring do: 12 or more has a probability below 0.005.
	doubted := 0
	for range 100 {
		if d := derive(t, draw(60, logNormal), usual(func(p *level.Plan) { p.Detection = 8 })); !d.Shape.Fits {
			doubted++
		}
	}
	if doubted > 11 {
		t.Errorf("%d of 100 log-normal baselines are doubted", doubted)
	}
	two := func() float64 {
		if rng.IntN(4) == 0 {
			return math.Exp(6 + 0.2*rng.NormFloat64())
		}
		return math.Exp(3 + 0.4*rng.NormFloat64())
	}
	d := derive(t, draw(120, two), usual())
	if d.Shape.Fits || !d.Shape.Known || !slices.ContainsFunc(d.Warnings, func(w string) bool { return strings.Contains(w, "do not look log-normal") }) {
		t.Errorf("a mixture of two: %+v, %q", d.Shape, d.Warnings)
	}
	if d := derive(t, samplesOf(0, 0, 0, 0, 3), usual()); d.Shape.Known || !d.Shape.Fits {
		t.Errorf("one reading above the limit: %+v", d.Shape)
	}
}

func TestDeriveRefuses(t *testing.T) {
	tests := []struct {
		reason string
		sample func(*level.Sample)
		plan   func(*level.Plan)
		want   string
	}{
		{"another system", func(s *level.Sample) { s.System = "system B" }, nil, "scale of its own"},
		{"another kit", func(s *level.Sample) { s.Kit = "swab kit" }, nil, "scale of its own"},
		{"another point", func(s *level.Sample) { s.Point = scope.ElevatorRecess }, nil, "elevator-recess"},
		{"another kind", func(s *level.Sample) {}, func(p *level.Plan) { p.Target.Kind = scope.EBUS }, "of a colonoscope"},
		{"the same twice", func(s *level.Sample) { s.ID = "r00001" }, nil, "identifier of its own"},
		{"no scope", func(s *level.Sample) { s.Scope = "" }, nil, "which scope"},
		{"a value below 0", func(s *level.Sample) { s.Value = -1 }, nil, "-1 RLU"},
		{"cleaning 0", func(s *level.Sample) { s.Cleaning = 0 }, nil, "count from 1"},
		{"no target", nil, func(p *level.Plan) { p.Target = level.Target{} }, "one meter system"},
		{"alert over action", nil, func(p *level.Plan) { p.Alert = stats.MustProbability("0.995") }, "percentiles"},
		{"a low percentile", nil, func(p *level.Plan) { p.Alert = stats.MustProbability("0.4") }, "percentiles"},
		{"percentile 1", nil, func(p *level.Plan) { p.Action = stats.MustProbability("1") }, "percentiles"},
		{"no confidence", nil, func(p *level.Plan) { p.Confidence = stats.Confidence{} }, "confidence"},
		{"nothing to take", nil, func(p *level.Plan) { p.Take = "" }, "take"},
		{"no comparison", nil, func(p *level.Plan) { p.Comparison = "" }, "comparison"},
		{"a negative detection limit", nil, func(p *level.Plan) { p.Detection = -1 }, "detection limit"},
		{"no significance", nil, func(p *level.Plan) { p.Significance = stats.Probability{} }, "significance"},
		{"few resamples", nil, func(p *level.Plan) { p.Resamples = 10 }, "10 resamples"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			samples := samplesOf(fromTo(1, 70)...)
			if test.sample != nil {
				test.sample(&samples[40])
			}
			plan := usual()
			if test.plan != nil {
				test.plan(&plan)
			}
			if _, err := level.Derive(samples, plan); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v, want %q in it", err, test.want)
			}
		})
	}
}

// A derivation does not depend on the order of the samples, moves with the unit of the counts, and
// gives the same again when it is read back from what was stored.
func TestDeriveProperties(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(60, 75).Draw(rt, "n")
		values := make([]int, n)
		for i := range values {
			values[i] = rapid.IntRange(0, 400).Draw(rt, "value")
		}
		samples := samplesOf(values...)
		for i := range samples {
			samples[i].Scope = fmt.Sprint(rapid.IntRange(1, 30).Draw(rt, "scope"))
			samples[i].Cleaning = 1 + rapid.IntRange(0, 9).Draw(rt, "again")/9
		}
		plan := usual(func(p *level.Plan) {
			p.Detection = rapid.IntRange(0, 50).Draw(rt, "detection")
			p.Outliers = rapid.IntRange(0, 2).Draw(rt, "outliers")
		})
		given := slices.Clone(samples)
		a, err := level.Derive(samples, plan)
		if err != nil {
			rt.Fatal(err)
		}
		if !slices.Equal(given, samples) {
			rt.Fatal("the samples were changed")
		}
		b, err := level.Derive(rapid.Permutation(samples).Draw(rt, "order"), plan)
		if err != nil {
			rt.Fatal(err)
		}
		textA, errA := json.Marshal(a)
		textB, errB := json.Marshal(b)
		if errA != nil || errB != nil || string(textA) != string(textB) {
			rt.Fatalf("another order gives another result:\n%s\n%s\n%v %v", textA, textB, errA, errB)
		}
		var back level.Derivation
		if err := json.Unmarshal(textA, &back); err != nil {
			rt.Fatal(err)
		}
		if again, err := json.Marshal(back); err != nil || string(again) != string(textA) {
			rt.Fatalf("read back: %s, %v", again, err)
		}
		if plan.Outliers > 0 { // which depend on the logarithm of the detection limit
			return
		}
		for i := range samples {
			samples[i].Value *= 7
		}
		seven, err := level.Derive(samples, plan)
		if err != nil {
			rt.Fatal(err)
		}
		for _, m := range []level.Method{level.Free, level.ScopeBootstrap} {
			x, y := a.Alert.By(m), seven.Alert.By(m)
			if x.Refused != y.Refused || math.Abs(float64(7*x.Upper-y.Upper)) > 1e-9 || math.Abs(float64(7*x.Estimate-y.Estimate)) > 1e-6 {
				rt.Fatalf("%s: %+v, sevenfold %+v", m, x, y)
			}
		}
	})
}

// What is proposed can be adopted once a person has put a name to it.
func TestProposed(t *testing.T) {
	for _, comparison := range []reading.Comparison{reading.Over, reading.AtOrOver} {
		d := derive(t, samplesOf(fromTo(1, 400)...), usual(func(p *level.Plan) { p.Comparison = comparison }))
		for _, m := range level.Methods {
			l, err := d.Proposed(m)
			if err != nil {
				t.Fatal(err)
			}
			l.Source, l.Edition, l.Adopter, l.Adopted = "own baseline", "1", "A. Lead", 5000
			if err := l.Check(); err != nil {
				t.Errorf("%s: %v", m, err)
			}
			// A reading at the bound is not flagged, the next one is.
			bound := math.Round(float64(d.Action.By(m).Upper))
			for off, want := range map[float64]bool{0: false, 1: true} {
				v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(bound + off)}
				if got := l.Judge(v, reading.Circumstances{}).Outcome == reading.Action; got != want {
					t.Errorf("%s, %s: %s over the action level %s: %v", m, comparison, v, l.Action, got)
				}
			}
		}
	}
	// P95 380.65 and P99 396.66 by the median-unbiased definition; 397 is the last count that is not exceeded.
	for comparison, action := range map[reading.Comparison]unit.Number{reading.Over: 397, reading.AtOrOver: 398} {
		d := derive(t, samplesOf(fromTo(1, 400)...), usual(func(p *level.Plan) { p.Take, p.Comparison = level.Estimate, comparison }))
		l, err := d.Proposed(level.Free)
		if err != nil || l.Alert != 382 || l.Action != action {
			t.Errorf("by the estimate, %s: %s and %s, %v", comparison, l.Alert, l.Action, err)
		}
	}
	if got := level.Usual(level.Target{}).Comparison; got != reading.AtOrOver {
		t.Errorf("a level is usually exceeded %s it", got)
	}
	d := derive(t, samplesOf(fromTo(1, 400)...), usual())
	if _, err := d.Proposed("by eye"); err == nil {
		t.Error("an unknown method proposes a level")
	}
}

func BenchmarkDerive(b *testing.B) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, n := range []int{300, 10_000, level.MaxBaseline} {
		values := make([]int, n)
		for i := range values {
			values[i] = int(math.Round(math.Exp(4 + rng.NormFloat64())))
		}
		samples := samplesOf(values...)
		for i := range samples {
			samples[i].Scope = fmt.Sprint(i % 50)
		}
		plan := level.Usual(usual().Target)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := level.Derive(samples, plan); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
