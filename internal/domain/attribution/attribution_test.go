package attribution_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/scope"
)

// simulated makes readings of 12 scopes, 8 people, 6 lots and 2 meters. Person p0 reads high by shift,
// and cleans the difficult scopes more often than others, so that a plain mean would blame the wrong
// things.
func simulated(n int, shift float64, seed uint64) []attribution.Row {
	rng := rand.New(rand.NewPCG(seed, 2))
	scopes, people, lots := make([]float64, 12), make([]float64, 8), make([]float64, 6)
	for _, effects := range [][]float64{scopes, people, lots} {
		for i := range effects {
			effects[i] = 0.05 * rng.NormFloat64()
		}
	}
	scopes[0] = 0.3
	people[0] = shift
	var rows []attribution.Row
	for i := range n {
		s, p, l, m := rng.IntN(12), rng.IntN(8), i*6/n, rng.IntN(2)
		if rng.Float64() < 0.5 && p == 0 {
			s = 0
		}
		point := []scope.PointKind{scope.OuterDistalEnd, scope.InstrumentLumen}[rng.IntN(2)]
		kind := []scope.Kind{scope.Duodenoscope, scope.Gastroscope, scope.Colonoscope}[s%3]
		y := 1.5 + scopes[s] + people[p] + lots[l] + 0.25*rng.NormFloat64()
		if point == scope.InstrumentLumen {
			y += 0.1
		}
		rows = append(rows, attribution.Row{
			Log: y, Point: point, Kind: kind, Scope: fmt.Sprintf("S%d", s), Person: fmt.Sprintf("p%d", p), Lot: fmt.Sprintf("L%d", l),
			Meter: fmt.Sprintf("M%d", m), Age: float64(rng.IntN(300)), Delay: 5 + 30*rng.Float64(),
		})
	}
	return rows
}

func explain(t *testing.T, rows []attribution.Row) attribution.Answer {
	t.Helper()
	a, err := attribution.Explain(rows, attribution.Usual())
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestTheRightSourceIsFound(t *testing.T) {
	t.Parallel()
	a := explain(t, simulated(3000, 0.25, 5))
	if e := a.Of(attribution.Person)[0]; e.Name != "p0" || !e.Distinct || e.Ratio < 1.4 || e.Ratio > 2.2 {
		t.Errorf("first of the people: %+v", e)
	}
	if e := a.Of(attribution.Scope)[0]; e.Name != "S0" || !e.Distinct {
		t.Errorf("first of the scopes: %+v", e)
	}
	total := 0.0
	for _, p := range a.Parts {
		total += p.Share
		if p.Lo > p.SD || p.Hi < p.SD {
			t.Errorf("%s: %v is not within %v to %v", p.Source, p.SD, p.Lo, p.Hi)
		}
	}
	if math.Abs(total-1) > 1e-9 {
		t.Errorf("the shares add up to %v", total)
	}
	// Four standard errors of a standard deviation from 3,000 readings.
	if last := a.Parts[len(a.Parts)-1]; last.Source != "" || math.Abs(last.SD-0.25) > 4*0.25/math.Sqrt(2*3000) {
		t.Errorf("the rest: %+v, simulated with 0.25", last)
	}
	// Two meters that do not differ: no share to speak of, and nothing stands out.
	for _, e := range a.Of(attribution.Meter) {
		if e.Distinct {
			t.Errorf("%+v", e)
		}
	}
	points := slices.IndexFunc(a.Fixed, func(c attribution.Coefficient) bool { return strings.HasPrefix(c.Name, "point ") })
	// 0.1 of log10, up or down by which point is the first; the interval is one of 95 %.
	if c := a.Fixed[points]; (c.Lo > math.Pow(10, 0.1) || c.Hi < math.Pow(10, 0.1)) && (c.Lo > math.Pow(10, -0.1) || c.Hi < math.Pow(10, -0.1)) {
		t.Errorf("%+v, simulated with 0.1 of log10", c)
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	rows := simulated(400, 0.2, 6)
	a := explain(t, rows)
	rng := rand.New(rand.NewPCG(1, 1))
	rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	if diff := cmp.Diff(a, explain(t, rows)); diff != "" {
		t.Errorf("in another order:\n%s", diff)
	}
}

// With one source and equal numbers of readings the components have a closed form: the mean squares of
// the analysis of variance (S. R. Searle, G. Casella & C. E. McCulloch, Variance Components, 1992,
// section 3.5).
func TestBalancedClosedForm(t *testing.T) {
	t.Parallel()
	const scopes, each = 6, 9
	rng := rand.New(rand.NewPCG(9, 9))
	var rows []attribution.Row
	var means [scopes]float64
	values := [scopes][each]float64{}
	for i := range scopes {
		effect := 0.3 * rng.NormFloat64()
		for j := range each {
			values[i][j] = 1.5 + effect + 0.1*rng.NormFloat64()
			means[i] += values[i][j] / each
			rows = append(rows, attribution.Row{
				Log: values[i][j], Point: scope.OuterDistalEnd, Kind: scope.Gastroscope, Scope: fmt.Sprint(i), Person: "p", Lot: "l",
				Meter: "m", Delay: math.NaN(),
			})
		}
	}
	var grand, within, between float64
	for _, m := range means {
		grand += m / scopes
	}
	for i, m := range means {
		between += each * (m - grand) * (m - grand) / (scopes - 1)
		for _, v := range values[i] {
			within += (v - m) * (v - m) / (scopes * (each - 1))
		}
	}
	a := explain(t, rows)
	if got, want := a.Parts[0].SD, math.Sqrt((between-within)/each); math.Abs(got-want) > 1e-7 {
		t.Errorf("between scopes %v, want %v", got, want)
	}
	if got, want := a.Parts[1].SD, math.Sqrt(within); math.Abs(got-want) > 1e-7 {
		t.Errorf("the rest %v, want %v", got, want)
	}
	variance := (between - within) / each
	for _, e := range a.Effects {
		i, err := strconv.Atoi(e.Name)
		if err != nil {
			t.Fatal(err)
		}
		if want := (means[i] - grand) * each * variance / (each*variance + within); math.Abs(math.Log10(e.Ratio)-want) > 1e-7 {
			t.Errorf("scope %s: %v, want %v", e.Name, math.Log10(e.Ratio), want)
		}
	}
	want := []string{
		"no delay before cleaning is on record", "age, a hundred uses does not vary",
		"there is one person only, or none on record", "there is one lot only, or none on record", "there is one meter only, or none on record",
	}
	if diff := cmp.Diff(want, a.Notes); diff != "" {
		t.Errorf("notes (-want +got):\n%s", diff)
	}
}

func TestWhatIsLeftOut(t *testing.T) {
	t.Parallel()
	rows := simulated(600, 0.2, 7)
	for i := range rows {
		rows[i].Meter = "M" + rows[i].Lot // each lot on a meter of its own
		if i%10 == 0 {
			rows[i].Person = ""
		}
		if i%20 == 0 {
			rows[i].Delay = math.NaN()
		}
	}
	rows = append(rows, attribution.Row{
		Log: 3, Point: scope.OuterDistalEnd, Kind: scope.Duodenoscope, Scope: "S99", Person: "p1", Lot: "L1", Meter: "ML1", Age: 1,
		Delay: 5,
	})
	a := explain(t, rows)
	if a.Rows != 571 {
		t.Errorf("%d rows, want 571", a.Rows)
	}
	text := strings.Join(a.Notes, "\n")
	for _, want := range []string{
		"30 readings left out: their delay before cleaning is not on record",
		"lot and meter group the readings in the same way and cannot be told apart: lot stands for both",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("notes %q lack %q", a.Notes, want)
		}
	}
	for _, e := range a.Effects {
		if few := e.Rows < 20 || e.Name == attribution.NotOnRecord; e.Ranked == few {
			t.Errorf("%+v", e)
		}
	}
	if len(a.Of(attribution.Meter)) != 0 {
		t.Error("meters are told apart from lots")
	}
}

// A delay that is seldom on record is not taken into account, so that the answer is about all readings.
func TestDelaySeldomOnRecord(t *testing.T) {
	t.Parallel()
	rows := simulated(600, 0.2, 7)
	for _, known := range []int{0, 299, 300} {
		for i := range rows {
			rows[i].Delay = 5 + float64(i%30)
			if i >= known {
				rows[i].Delay = math.NaN()
			}
		}
		a := explain(t, rows)
		has := slices.ContainsFunc(a.Fixed, func(c attribution.Coefficient) bool { return c.Name == "delay, an hour" })
		wantRows, wantDelay := 600, false
		if known == 300 {
			wantRows, wantDelay = 300, true
		}
		if a.Rows != wantRows || has != wantDelay {
			t.Errorf("delay on record for %d: %d rows, delay in the model %v; %q", known, a.Rows, has, a.Notes)
		}
		if note := fmt.Sprintf("on record for %d of 600 readings only", known); known == 299 != strings.Contains(strings.Join(a.Notes, "\n"), note) {
			t.Errorf("delay on record for %d: notes %q", known, a.Notes)
		}
	}
}

func TestWithoutALot(t *testing.T) {
	t.Parallel()
	rows := simulated(1200, 0, 8)
	for i := range rows {
		if rows[i].Lot == "L2" {
			rows[i].Log += 0.5
		}
	}
	before := explain(t, rows)
	if e := before.Of(attribution.Lot)[0]; e.Name != "L2" || !e.Distinct {
		t.Errorf("first of the lots: %+v", e)
	}
	after := explain(t, attribution.Without(rows, attribution.Lot, "L2"))
	share := func(a attribution.Answer) float64 {
		return a.Parts[slices.IndexFunc(a.Parts, func(p attribution.Part) bool { return p.Source == attribution.Lot })].Share
	}
	if share(before) < 0.2 || share(after) > 0.1 {
		t.Errorf("share of the lots %v, without L2 %v", share(before), share(after))
	}
	if len(rows) == after.Rows || before.Rows != len(rows) {
		t.Errorf("%d rows, %d before and %d after", len(rows), before.Rows, after.Rows)
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	same := make([]attribution.Row, 50)
	for i := range same {
		same[i] = attribution.Row{Log: float64(i), Point: scope.OuterDistalEnd, Kind: scope.Gastroscope, Scope: "S"}
	}
	for name, test := range map[string]struct {
		rows     []attribution.Row
		question attribution.Question
		want     error
	}{
		"no confidence":      {simulated(100, 0, 1), attribution.Question{Least: 1}, stats.ErrArgument},
		"nothing to compare": {same, attribution.Usual(), mixed.ErrData},
		"no rows":            {nil, attribution.Usual(), mixed.ErrData},
	} {
		if _, err := attribution.Explain(test.rows, test.question); !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", name, err, test.want)
		}
	}
}

// BenchmarkExplain is a year of a large hospital.
func BenchmarkExplain(b *testing.B) {
	rows := simulated(50_000, 0.2, 3)
	for b.Loop() {
		if _, err := attribution.Explain(rows, attribution.Usual()); err != nil {
			b.Fatal(err)
		}
	}
}

// failing makes readings of which about one in ten is over, more often with person p0; nothing of one
// kind of scope is ever over.
func failing(n int, seed uint64) []attribution.Row {
	rng := rand.New(rand.NewPCG(seed, 3))
	rows := simulated(n, 0, seed)
	for i := range rows {
		odds := 0.1
		if rows[i].Person == "p0" {
			odds = 0.4
		}
		rows[i].Over = rng.Float64() < odds/(1+odds) && rows[i].Kind != scope.Colonoscope
	}
	return rows
}

func TestFailures(t *testing.T) {
	t.Parallel()
	rows := failing(4000, 11)
	a, err := attribution.ExplainFailures(rows, attribution.Usual())
	if err != nil {
		t.Fatal(err)
	}
	if e := a.Of(attribution.Person)[0]; e.Name != "p0" || !e.Distinct || e.Ratio < 2 || e.Ratio > 5 {
		t.Errorf("first of the people: %+v; its odds are four times those of others", e)
	}
	kept := 0
	for _, r := range rows {
		if r.Kind != scope.Colonoscope {
			kept++
		}
	}
	if a.Rows != kept || !slices.ContainsFunc(a.Notes, func(n string) bool {
		return strings.HasSuffix(n, "readings of kind colonoscope left out: 0 of them were over the action level")
	}) {
		t.Errorf("%d rows, want %d; notes %q", a.Rows, kept, a.Notes)
	}
	total := 0.0
	for _, p := range a.Parts {
		total += p.Share
	}
	if math.Abs(total-1) > 1e-9 {
		t.Errorf("the shares add up to %v", total)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	again, err := attribution.ExplainFailures(rows, attribution.Usual())
	if diff := cmp.Diff(a, again); err != nil || diff != "" {
		t.Errorf("in another order: %v\n%s", err, diff)
	}
	for i := range rows {
		rows[i].Over = false
	}
	if _, err := attribution.ExplainFailures(rows, attribution.Usual()); !errors.Is(err, mixed.ErrData) {
		t.Errorf("no failure at all: %v", err)
	}
}
