package desk_test

import (
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Three readings of one point at 0, 8 and 16 hours after one cleaning are one verification wherever
// readings are counted.
func TestOneVerificationEverywhere(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.use()
	for i, value := range []string{"30", "250", "40"} {
		if i > 0 {
			b.pass(8*time.Hour - 35*time.Second)
		}
		b.read(scope.OuterDistalEnd, value)
	}
	end := b.at() + 1
	b.ask(func(v desk.View) error {
		verifications, err := v.Numbers().FirstTests(begin, end, "", "")
		if err != nil {
			return err
		}
		if len(verifications) != 1 || verifications[0].Over {
			t.Errorf("shares of failures count %+v, want one cleaning verification that was not over at first", verifications)
		}
		firsts, err := v.Numbers().Firsts(begin, end)
		if err != nil {
			return err
		}
		if len(firsts) != 1 || firsts[0].Value != 30 {
			t.Errorf("comparisons count %d readings, want the first", len(firsts))
		}
		past, err := v.Studies().Past(begin, end, 8, nil)
		if err != nil {
			return err
		}
		if len(past.Cycles) != 1 || len(past.Rows) != 3 {
			t.Errorf("a replay sees %d cycles with %d readings, want 1 with 3", len(past.Cycles), len(past.Rows))
		}
		allSeries, err := v.Numbers().AllSeries(end, desk.UsualWatching())
		if err != nil {
			return err
		}
		if len(allSeries) != 1 || len(allSeries[0].Points) != 1 {
			t.Errorf("charts have %d series, the first with %d points: want 1 with 1", len(allSeries), len(allSeries[0].Points))
		}
		alone, err := v.Numbers().SeriesIn(outer, end, desk.UsualWatching(), 10)
		if err != nil {
			return err
		}
		if len(alone.Points) != 1 {
			t.Errorf("a chart by itself has %d points, want 1", len(alone.Points))
		}
		samples, err := v.Studies().Baseline(level.Target{System: "A", Kit: "K", Point: scope.OuterDistalEnd}, begin, end, nil)
		if err != nil {
			return err
		}
		counted := 0
		for _, s := range samples {
			if s.Excluded == "" {
				counted++
			}
		}
		if len(samples) != 3 || counted != 1 {
			t.Errorf("a level is derived from %d of %d readings, want 1 of 3", counted, len(samples))
		}
		return nil
	})
}

// A repair begins a cycle as a use does.
func TestReadingAfterARepairIsAnotherVerification(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.pass(time.Minute)
	b.repaired()
	b.clean()
	b.read(scope.OuterDistalEnd, "35")
	b.ask(func(v desk.View) error {
		verifications, err := v.Numbers().FirstTests(0, store.Forever, "", "")
		if len(verifications) != 2 {
			t.Errorf("%d cleaning verifications, want 2", len(verifications))
		}
		past, failed := v.Studies().Past(unit.Instant(1), b.at()+1, 8, nil)
		if failed != nil {
			return failed
		}
		if len(past.Cycles) != 2 {
			t.Errorf("a replay sees %d cycles, want 2", len(past.Cycles))
		}
		return err
	})
}

// readIn is a reading that somebody reads in from a file, so many hours after the beginning of a test.
type readIn struct {
	tag      string
	point    scope.PointKind
	cleaning int
	hours    float64
	value    int
}

// readIn writes readings, without a use or a step. Values over 200 are over the action level.
func (b *bench) readIn(begin unit.Instant, list []readIn) {
	b.Helper()
	err := b.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
		for i, x := range list {
			at := begin.Add(time.Duration(x.hours * float64(time.Hour)))
			v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(x.value), Typed: strconv.Itoa(x.value)}
			outcome := reading.OK
			if x.value > 200 {
				outcome = reading.Action
			}
			_, _, err := tx.Append(store.Draft{
				Type: record.Reading, ID: ledger.DerivedID("read in", strconv.Itoa(int(begin)), strconv.Itoa(i)), At: at, By: "T-01", Body: reading.Reading{
					Sample: "s" + strconv.Itoa(i), Scope: x.tag, Cleaning: x.cleaning, Meter: "M-1", Lot: "7", By: "T-01", Value: v, Rules: "fixture",
					With:      reading.Circumstances{System: "A", Kit: "K", Point: x.point, Kind: scope.Duodenoscope, At: at},
					Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "fixture"},
				},
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
}

const (
	tip     = scope.OuterDistalEnd
	channel = scope.InstrumentLumen
)

// counted are the values of first readings as each kind of statistics sees them.
type counted struct{ failures, series, levels map[scope.PointKind][]float64 }

// counts asks for the first readings of a time; series only know an end.
func (b *bench) counts(from, to unit.Instant, tags ...string) counted {
	b.Helper()
	c := counted{map[scope.PointKind][]float64{}, map[scope.PointKind][]float64{}, map[scope.PointKind][]float64{}}
	b.ask(func(v desk.View) error {
		firsts, err := v.Numbers().Firsts(from, to)
		if err != nil {
			return err
		}
		for _, m := range firsts {
			c.failures[m.Point] = append(c.failures[m.Point], m.Value)
		}
		for _, p := range []scope.PointKind{tip, channel} {
			samples, err := v.Studies().Baseline(level.Target{System: "A", Kit: "K", Point: p}, from, to, nil)
			if err != nil {
				return err
			}
			for _, s := range samples {
				if s.Excluded == "" && s.Cleaning == 1 {
					c.levels[p] = append(c.levels[p], float64(s.Value))
				}
			}
			for _, tag := range tags {
				alone, err := v.Numbers().SeriesIn(trend.Key{Scope: tag, Point: p, System: "A", Kit: "K"}, to-1, desk.UsualWatching(), 10)
				if err != nil {
					return err
				}
				for _, x := range alone.Points {
					if x.At >= from {
						c.series[p] = append(c.series[p], x.Value)
					}
				}
			}
		}
		return nil
	})
	for _, m := range []map[scope.PointKind][]float64{c.failures, c.series, c.levels} {
		for _, values := range m {
			slices.Sort(values)
		}
	}
	return c
}

// With no use on record all readings of a scope say which are first tests, those of other points as well; a level is
// derived from the readings that failures and charts count.
func TestFirstsWithoutUses(t *testing.T) {
	b := start(t)
	begin := b.at().Add(8 * time.Hour)
	b.readIn(begin, []readIn{
		{"D-02", tip, 1, 0, 1},
		{"D-02", channel, 1, 5, 2},
		{"D-02", channel, 1, 13, 3}, // more than 12 h after the tip, 8 h after the channel
		{"D-03", tip, 1, 0, 4},
		{"D-03", channel, 1, 0.1, 300},
		{"D-03", channel, 2, 1, 5},
		{"D-03", tip, 1, 4, 6},
		{"D-03", channel, 1, 4.1, 7}, // the next trip, since the first cleaning is sampled again
	})
	// Counted by hand: at the tip the readings 1, 4 and 6, at the channel 2, 3, 7 and 300. The 5 is of a re-test.
	want := map[scope.PointKind][]float64{tip: {1, 4, 6}, channel: {2, 3, 7, 300}}
	got := b.counts(begin, begin.Add(24*time.Hour), "D-02", "D-03")
	if diff := cmp.Diff(counted{want, want, want}, got, cmp.AllowUnexported(counted{})); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// What is a first test follows from the cycle, not from the time that is asked about: whenever that begins or
// ends, it holds the same first tests.
func TestFirstsOfATime(t *testing.T) {
	b := start(t)
	begin := b.at().Add(8 * time.Hour)
	b.pass(400 * time.Hour)
	list := []readIn{
		// One test over midnight of which the later point is over the action level, and a repeat of the tip.
		{"D-02", tip, 1, 15, 10},
		{"D-02", channel, 1, 16.5, 300},
		{"D-02", tip, 1, 17, 11},
		{"D-02", tip, 2, 18, 12},
		{"D-02", channel, 2, 18, 13},
		{"D-02", tip, 1, 50, 14},
		{"D-02", tip, 1, 51, 250},
	}
	for i := range 40 { // one cleaning sampled every 7 hours for 11 days: two readings make a test, the third begins another
		list = append(list, readIn{"D-03", tip, 1, float64(7 * i), 20 + i})
	}
	b.readIn(begin, list)
	// One cycle on record, of which the tip is sampled on three days.
	b.do(func(w *desk.Work) error {
		_, err := w.RecordUse(nurse, reprocessing.Use{Scope: "D-01", Start: begin.Add(100 * time.Hour), End: begin.Add(101 * time.Hour)}, "")
		return err
	})
	b.readIn(begin.Add(102*time.Hour), []readIn{{"D-01", tip, 1, 0, 70}, {"D-01", tip, 1, 24, 71}, {"D-01", channel, 1, 25, 260}, {"D-01", tip, 1, 69, 72}})
	end := begin.Add(300 * time.Hour)
	all := b.counts(begin, end)
	// Counted by hand: 10, 14 and 70, and every other of the 40.
	if len(all.failures[tip]) != 23 || len(all.failures[channel]) != 2 {
		t.Fatalf("of the whole time: %v", all.failures)
	}
	tests := func(from, to unit.Instant) (list []desk.FirstTest) {
		b.ask(func(v desk.View) (err error) {
			list, err = v.Numbers().FirstTests(from, to, "", "")
			return err
		})
		return list
	}
	past := func(from, to unit.Instant) (cycles []desk.PastCycle) {
		b.ask(func(v desk.View) error {
			p, err := v.Studies().Past(from, to, 8, nil)
			cycles = p.Cycles
			return err
		})
		return cycles
	}
	cycles := past(begin, end)
	whole := tests(begin, end)
	if over := slices.DeleteFunc(slices.Clone(whole), func(x desk.FirstTest) bool { return !x.Over }); len(whole) != 23 || len(over) != 2 {
		t.Fatalf("%d first tests, %d over, want 23 and 2", len(whole), len(over))
	}
	for hours := 0.25; hours < 300; hours += 8.5 {
		edge := begin.Add(time.Duration(hours * float64(time.Hour)))
		before, after := b.counts(begin, edge), b.counts(edge, end)
		for _, p := range []scope.PointKind{tip, channel} {
			for what, got := range map[string][2][]float64{
				"failures": {before.failures[p], after.failures[p]}, "levels": {before.levels[p], after.levels[p]},
			} {
				sum := append(slices.Clone(got[0]), got[1]...)
				slices.Sort(sum)
				if diff := cmp.Diff(all.failures[p], sum); diff != "" {
					t.Fatalf("%s, %s, cut %v h after the beginning:\n%s", what, p, hours, diff)
				}
			}
		}
		if diff := cmp.Diff(whole, append(tests(begin, edge), tests(edge, end)...)); diff != "" {
			t.Fatalf("first tests, cut %v h after the beginning:\n%s", hours, diff)
		}
		seen := map[string]bool{}
		for _, c := range past(edge, end) {
			// Only a cycle that the beginning of the time cuts in two has another first reading.
			if !slices.Contains(cycles, c) && seen[c.Scope] {
				t.Errorf("cut %v h after the beginning a cycle of %s begins at %s", hours, c.Scope, c.First)
			}
			seen[c.Scope] = true
		}
	}
}

// A chart that was adopted begins to count where its baseline ended. What is a first test then follows all the same
// from the readings before.
func TestSeriesAfterItsBaseline(t *testing.T) {
	b := start(t)
	u := reprocessing.Use{Scope: "D-01", Start: b.at(), End: b.pass(time.Hour)}
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") })
	begin := b.at().Add(100 * time.Hour) // the use does not speak for the readings any more
	b.pass(40 * 24 * time.Hour)
	const last = 24 * 29
	list := []readIn{{"D-01", channel, 1, last - 6, 40}}
	for i := range 30 {
		list = append(list, readIn{"D-01", tip, 1, float64(24 * i), 20 + i%7})
	}
	b.readIn(begin, list)
	if frozen := b.freeze(desk.Freeze{}); !slices.ContainsFunc(frozen, func(f desk.Frozen) bool { return f.Baseline != nil }) {
		t.Fatalf("no baseline: %+v", frozen)
	}
	b.readIn(begin+1, []readIn{
		{"D-01", tip, 1, last + 5, 150}, // 11 h after the channel, with which the test began
		{"D-01", tip, 1, last + 7, 30},  // 13 h after it
	})
	var s desk.Series
	b.ask(func(v desk.View) (err error) {
		s, err = v.Numbers().Series(outer, b.at())
		return err
	})
	if after := s.After(); len(after) != 1 || after[0].Value != 30 {
		t.Errorf("after the baseline: %+v, want the reading of 30 alone", after)
	}
}
