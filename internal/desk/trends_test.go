package desk_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/store"
)

// trip records a use, a cleaning by somebody, and the first reading of the outer distal end.
func (b *bench) cycle(cleaner, lot string, value int) {
	b.Helper()
	start := b.at()
	u := reprocessing.Use{Scope: "D-01", Start: start, End: b.pass(30 * time.Minute)}
	pre := reprocessing.Step{Scope: "D-01", Kind: reprocessing.PointOfUse, Start: b.at(), End: b.pass(5 * time.Minute), By: "N-01"}
	clean := reprocessing.Step{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: b.pass(20 * time.Minute), End: b.pass(15 * time.Minute), By: cleaner}
	s := b.take(scope.OuterDistalEnd)
	s.Lot = lot
	at := b.pass(15 * time.Second)
	b.do(func(w *desk.Work) error {
		e := desk.Entry{By: "T-01"}
		if _, err := w.RecordUse(e, u, ""); err != nil {
			return err
		}
		for _, step := range []reprocessing.Step{pre, clean} {
			if _, err := w.RecordStep(e, step); err != nil {
				return err
			}
		}
		taken, err := w.Collect(e, s)
		if err != nil {
			return err
		}
		_, err = w.Read(e, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu(fmt.Sprint(value)), At: at})
		return err
	})
	b.pass(4 * time.Hour)
}

// values draws readings whose log10 is normal with mean 1.5 plus a shift.
func values(n int, shift float64, seed uint64) []int {
	rng := rand.New(rand.NewPCG(seed, 1))
	list := make([]int, n)
	for i := range list {
		list[i] = int(math.Round(math.Pow(10, 1.5+shift+0.2*rng.NormFloat64())))
	}
	return list
}

var outer = trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "A", Kit: "K"}

func (b *bench) allSeries() (list []desk.Series) {
	b.Helper()
	err := b.desk.View(b.Context(), func(v desk.View) (err error) {
		list, err = v.Numbers().AllSeries(b.at(), desk.UsualWatching())
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return list
}

func (b *bench) series() desk.Series {
	b.Helper()
	for _, s := range b.allSeries() {
		if s.Key == outer {
			return s
		}
	}
	b.Fatal("no series of the outer distal end")
	return desk.Series{}
}

func (b *bench) freeze(f desk.Freeze) (frozen []desk.Frozen) {
	b.Helper()
	f.Watching = desk.UsualWatching()
	b.do(func(w *desk.Work) (err error) {
		frozen, err = w.OnSignals().AdoptCharts(desk.Entry{By: "L-01"}, f)
		return err
	})
	return frozen
}

// secondLot registers another lot of the kit.
func (b *bench) secondLot() {
	b.Helper()
	b.do(func(w *desk.Work) error {
		_, err := w.SettingUp().RegisterLot(desk.Entry{By: "L-01"}, b.at(), quality.Lot{Kit: "K", Lot: "8", Expires: b.at().Add(400 * 24 * time.Hour)})
		return err
	})
}

func TestSeriesFromFirstReadingToSignal(t *testing.T) {
	b := start(t)
	b.secondLot()
	for i, v := range values(40, 0, 7) {
		b.cycle("T-01", "7", v)
		s := b.series()
		if len(s.Points) != i+1 {
			t.Fatalf("%d readings in the series after %d", len(s.Points), i+1)
		}
		switch n := len(s.Points); {
		case n < trend.MinBaseline && (s.Baseline != nil || s.Missing != trend.MinBaseline-n):
			t.Fatalf("after %d readings: baseline %v, %d missing", n, s.Baseline, s.Missing)
		case n >= trend.MinBaseline && (s.Baseline == nil || !s.Provisional || s.Chart != ""):
			t.Fatalf("after %d readings: %+v", n, s)
		}
	}
	if frozen := b.freeze(desk.Freeze{}); len(frozen) != 1 || frozen[0].Chart == "" || frozen[0].Baseline.N+len(frozen[0].Baseline.Screened) != 40 {
		t.Fatalf("adopted: %+v", frozen)
	}
	if frozen := b.freeze(desk.Freeze{}); frozen[0].Chart != "" || frozen[0].Why != "its chart holds" {
		t.Errorf("adopted again: %+v", frozen)
	}
	if s := b.series(); s.Provisional || s.Chart == "" || s.From != 40 || len(s.After()) != 0 {
		t.Errorf("after the adoption: chart %s from %d of %d", s.Chart, s.From, len(s.Points))
	}

	for _, v := range values(15, 0.45, 8) { // somewhat over two standard deviations
		b.cycle("T-02", "8", v)
	}
	s := b.series()
	if n := len(s.Watched.Signals); n != 1 {
		t.Fatalf("%d signals", n)
	}
	a := s.Watched.Signals[0]
	if a.Direction != trend.Higher || !a.Open || a.First.Index >= 12 || a.Since == nil || a.Since.Index > 3 {
		t.Errorf("%+v since %+v", a, a.Since)
	}
	signals := desk.Signals(b.allSeries(), 0)
	if len(signals) != 1 || !slices.Equal(signals[0].Coincides, []string{"lot 8", "cleaned by T-02"}) {
		t.Errorf("came with %q", signals[0].Coincides)
	}
	rises, err := desk.Rises(b.allSeries(), 0.1)
	if err != nil || len(rises) != 1 || !rises[0].Found {
		t.Errorf("rises: %+v, %v", rises, err)
	}

	if frozen := b.freeze(desk.Freeze{Anew: true}); frozen[0].Chart != "" || !strings.Contains(frozen[0].Why, "a signal is open") {
		t.Errorf("adopted with an open signal: %+v", frozen)
	}

	// One series alone gives what the fleet gives.
	err = b.desk.View(t.Context(), func(v desk.View) error {
		one, err := v.Numbers().Series(outer, b.at())
		if diff := cmp.Diff(s.Watched, one.Watched, cmp.AllowUnexported(trend.Signal{})); diff != "" {
			t.Errorf("of the fleet (-) and alone (+):\n%s", diff)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	b.rebuilt()
	if diff := cmp.Diff(s.Watched, b.series().Watched, cmp.AllowUnexported(trend.Signal{})); diff != "" {
		t.Errorf("after a rebuild:\n%s", diff)
	}
}

// Repeats, retests and readings in doubt are not part of a series.
func TestWhatBelongsToASeries(t *testing.T) {
	b := start(t)
	b.targets()
	b.check(1000, 1)
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.pass(2 * time.Minute)
	b.read(scope.OuterDistalEnd, "35") // a duplicate in the same verification
	b.read(scope.ElevatorRecess, "250")
	b.clean()
	b.read(scope.OuterDistalEnd, "20") // after a further cleaning
	if s := b.series(); len(s.Points) != 1 || s.Points[0].Value != 30 {
		t.Errorf("points: %+v", s.Points)
	}
	b.check(700, 1)
	if list := b.allSeries(); len(list) != 0 {
		t.Errorf("in doubt: %+v", list)
	}
	b.check(1000, 1)
	b.use()
	b.read(scope.OuterDistalEnd, "40")
	if s := b.series(); len(s.Points) != 1 || s.Points[0].Value != 40 {
		t.Errorf("after a good check: %+v", s.Points)
	}
}

func TestBreaksEndABaseline(t *testing.T) {
	b := start(t)
	for _, v := range values(22, 0, 3) {
		b.cycle("T-01", "7", v)
	}
	b.freeze(desk.Freeze{})
	if s := b.series(); s.Provisional || s.Baseline == nil {
		t.Fatalf("before: %+v", s)
	}
	// The same protocols under another edition change nothing.
	next := bytes.Replace(policy.Preset(), []byte(`edition: "2026-1"`), []byte(`edition: "2026-2"`), 1)
	adopt := func(text []byte) {
		t.Helper()
		b.pass(time.Hour)
		b.do(func(w *desk.Work) error {
			_, _, err := w.SettingUp().AdoptRules(desk.Entry{By: "L-01"}, desk.Adoption{At: b.at(), Name: "rules.yaml", Text: text, Second: "L-02"})
			return err
		})
		b.pass(time.Hour)
	}
	adopt(next)
	if s := b.series(); s.Provisional || s.Baseline == nil || len(s.Breaks) != 0 {
		t.Fatalf("another edition: %+v", s.Breaks)
	}
	changed := bytes.Replace(next, []byte("Swab about 10 cm"), []byte("Swab about 12 cm"), 1)
	changed = bytes.Replace(changed, []byte(`edition: "2026-2"`), []byte(`edition: "2026-3"`), 1)
	adopt(changed)
	s := b.series()
	if s.Baseline != nil || s.Missing != trend.MinBaseline || len(s.Breaks) != 1 || s.Breaks[0].Reason != trend.ProtocolChange {
		t.Fatalf("another protocol: missing %d, breaks %+v", s.Missing, s.Breaks)
	}
	for _, v := range values(21, 0, 4) {
		b.cycle("T-01", "7", v)
	}
	frozen := b.freeze(desk.Freeze{Scopes: []string{"D-01"}})
	if len(frozen) != 1 || frozen[0].Chart == "" {
		t.Fatalf("after the change: %+v", frozen)
	}
	repair := scope.Repair{Scope: "D-01", Sent: b.at(), Returned: b.pass(time.Hour), Fault: "leak"}
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordRepair(desk.Entry{By: "L-01"}, repair, "") })
	b.pass(time.Minute)
	if s := b.series(); s.Baseline != nil || s.Chart != "" || s.Missing != trend.MinBaseline || s.Breaks[1].Reason != trend.Repair {
		t.Errorf("after a repair: %+v", s)
	}
	if frozen := b.freeze(desk.Freeze{}); !strings.Contains(frozen[0].Why, "needed") {
		t.Errorf("adopted after a repair: %+v", frozen)
	}
}

func TestAdoptingNeedsAName(t *testing.T) {
	b := start(t)
	err := b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) error {
		_, err := w.OnSignals().AdoptCharts(desk.Entry{}, desk.Freeze{Watching: desk.UsualWatching()})
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "who adopts the limits?") {
		t.Errorf("%v", err)
	}
}

// Who cleaned, how long the scope waited and how many uses it had come from the records of its steps.
func TestMeasuredKnowsItsCleaning(t *testing.T) {
	b := start(t)
	first := b.at()
	b.cycle("T-01", "7", 30)
	second := b.at()
	b.cycle("T-02", "7", 40)
	begins := []unit.Instant{first, second, b.at()}
	b.use() // by T-01, without a wait on record longer than its leak test
	b.read(scope.OuterDistalEnd, "50")
	var all []desk.Measured
	err := b.desk.View(t.Context(), func(v desk.View) (err error) {
		all, err = v.Numbers().Measured(0, store.Forever)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	type seen struct {
		cleaner string
		age     int
		delay   float64
	}
	var got []seen
	for i, m := range all {
		if m.Cycle != begins[i] {
			t.Errorf("reading %d is of the cycle of %s, want %s", i, m.Cycle, begins[i])
		}
		got = append(got, seen{m.Cleaner, m.Age, m.Delay})
	}
	want := []seen{{"T-01", 1, 20}, {"T-02", 2, 20}, {"T-01", 3, 2}}
	if !slices.Equal(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestFailuresCountOnce(t *testing.T) {
	b := start(t)
	for i := range 12 {
		b.cycle([]string{"T-01", "T-02"}[i%2], "7", []int{30, 300}[i%2])
	}
	var units []trend.Unit
	err := b.desk.View(t.Context(), func(v desk.View) (err error) {
		units, err = v.Numbers().Failures(desk.ByPerson, 0, store.Forever)
		return err
	})
	if want := []trend.Unit{{Name: "T-01", Trials: 6}, {Name: "T-02", Failures: 6, Trials: 6}}; err != nil || !slices.Equal(units, want) {
		t.Errorf("%+v, %v; want %+v", units, err, want)
	}
	err = b.desk.View(t.Context(), func(v desk.View) error {
		_, err := v.Numbers().Failures("mood", 0, store.Forever)
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "allowed: [person scope lot meter kind point]") {
		t.Errorf("%v", err)
	}
}

// BenchmarkSignalsAfterReading looks at the series of a reading that was just stored, as a page does
// that shows what it means. The goal is under a millisecond.
func BenchmarkSignalsAfterReading(b *testing.B) {
	x := start(b)
	for _, v := range values(160, 0, 5) {
		x.cycle("T-01", "7", v)
	}
	x.freeze(desk.Freeze{To: x.at().Add(-100 * 5 * time.Hour)})
	at := x.at()
	for b.Loop() {
		err := x.desk.View(b.Context(), func(v desk.View) error {
			s, err := v.Numbers().Series(outer, at)
			if err == nil && (s.Chart == "" || len(s.After()) < 50) {
				b.Fatalf("chart %q, %d readings after the baseline", s.Chart, len(s.After()))
			}
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// An import says which series its readings moved beyond their limits.
func TestImportTellsOfSignals(t *testing.T) {
	b := start(t)
	for _, v := range values(25, 0, 3) {
		b.cycle("T-01", "7", v)
	}
	text := func(from, n, value int) string {
		var s strings.Builder
		fmt.Fprintln(&s, "scope,point,kit,lot,person,collected,activated,shaken_s,read,meter,value")
		for i := range n {
			at := b.at().Add(time.Duration(from+i-n) * 13 * time.Hour).Time()
			fmt.Fprintf(
				&s,
				"D-01,outer-distal-end,K,7,T-01,%s,%s,6,%s,M-1,%d\n",
				at.Format(time.RFC3339),
				at.Add(20*time.Second).Format(time.RFC3339),
				at.Add(40*time.Second).Format(time.RFC3339),
				value,
			)
		}
		return s.String()
	}
	read := func(text string) desk.Imported {
		t.Helper()
		out, err := b.desk.As(access.Operator("L-01")).
			Import(t.Context(), desk.File{Kind: desk.Readings, Name: "x.csv", Content: strings.NewReader(text), By: "L-01"}, false)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	b.freeze(desk.Freeze{})
	b.pass(30 * 24 * time.Hour)
	if out := read(text(-20, 3, 32)); len(out.Signals) != 0 || out.Stored != 3 {
		t.Errorf("ordinary readings: %+v", out)
	}
	high := text(0, 6, 190)
	out := read(high)
	if len(out.Signals) != 1 || out.Signals[0].Direction != trend.Higher || out.Signals[0].Key != outer {
		t.Errorf("high readings: %+v", out)
	}
	if out := read(high); len(out.Signals) != 0 || out.Known != 6 {
		t.Errorf("the same again: %+v", out)
	}
}
