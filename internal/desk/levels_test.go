package desk_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// distal is what the readings of storetest.Past and of trip are of.
var distal = level.Target{System: "A", Kit: "K", Point: scope.OuterDistalEnd}

// distalLevel is a level for it.
func (b *bench) distalLevel(action unit.Number, edition string, adopted unit.Instant) reading.Level {
	return reading.Level{
		System:     "A",
		Kit:        "K",
		Point:      scope.OuterDistalEnd,
		Analyte:    reading.ATP,
		Unit:       reading.RLU,
		Alert:      action / 2,
		Action:     action,
		Comparison: reading.Over,
		Source:     "own",
		Edition:    edition,
		Adopter:    "L-01",
		Adopted:    adopted,
	}
}

// past writes cycles a day apart whose first tests read as given at all three points.
func (b *bench) past(values ...int) {
	b.Helper()
	past := storetest.Past{At: b.at(), Every: 24 * time.Hour, RLU: func(n int) int { return values[min(n/3, len(values)-1)] }}
	err := b.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
		for range values {
			if err := past.Cycle(tx, "D-01"); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	b.pass(past.At.Sub(b.at()))
}

// Everything that may not count is there with the reason, and a bound keeps the latest readings.
func TestStudy(t *testing.T) {
	b := start(t)
	begin := b.at()
	values := []int{10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130}
	b.past(values...)
	b.cycle("T-01", "7", 5)
	b.do(func(w *desk.Work) error {
		_, err := w.SettingUp().RegisterLot(desk.Entry{By: "L-01"}, begin, quality.Lot{Kit: "K", Lot: "8", Expires: begin.Add(90 * 24 * time.Hour)})
		return err
	})
	b.cycle("T-01", "8", 25)
	b.do(func(w *desk.Work) error {
		_, err := w.SettingUp().
			RegisterLot(desk.Entry{By: "L-01"}, b.at(), quality.Lot{Kit: "K", Lot: "8", Expires: begin.Add(90 * 24 * time.Hour), Recalled: b.at()})
		return err
	})
	study := desk.Study{Plan: level.Usual(distal), From: begin, To: b.at() + 1}
	b.ask(func(v desk.View) error {
		d, err := v.Studies().Study(study)
		if err != nil {
			return err
		}
		if d.Baseline.Given != 15 || d.Baseline.Counted != 14 || d.From != begin {
			t.Errorf("%d of %d readings count from %s, want 14 of 15", d.Baseline.Counted, d.Baseline.Given, d.From)
		}
		if want := map[string]int{"lot 8 was recalled": 1}; !cmp.Equal(desk.Tally(d.Derivation), want) {
			t.Errorf("left out: %v", desk.Tally(d.Derivation))
		}
		id := d.Samples[0].ID
		doubted := study
		doubted.Doubted = []desk.Doubted{{ID: id[:8], Why: "a slip"}}
		if d, err = v.Studies().Study(doubted); err != nil {
			return err
		}
		if d.Samples[0].Excluded != "a slip" {
			t.Errorf("the doubted reading: %+v", d.Samples[0])
		}
		doubted.Doubted = []desk.Doubted{{ID: "Q-99", Why: "gone"}}
		if _, err := v.Studies().Study(doubted); fault.CodeOf(err) != fault.NotFound {
			t.Errorf("a scope without readings: %v", err)
		}
		bounded := study
		bounded.Most = 4
		if d, err = v.Studies().Study(bounded); err != nil {
			return err
		}
		var got []int
		for _, s := range d.Samples {
			got = append(got, s.Value)
		}
		if want := []int{120, 130, 5, 25}; !cmp.Equal(got, want) || d.From <= begin {
			t.Errorf("bounded to 4: %v from %s, want %v", got, d.From, want)
		}
		// The bound is told by From: the same time without a bound has the same readings.
		again := study
		again.From = d.From
		if x, err := v.Studies().Study(again); err != nil || x.Baseline.Digest != d.Baseline.Digest {
			t.Errorf("from %s on: %v, other readings than within the bound", d.From, err)
		}
		study.To = begin
		if _, err := v.Studies().Study(study); fault.CodeOf(err) != fault.NotFound {
			t.Errorf("a time without readings: %v", err)
		}
		return nil
	})
}

// Readings of one cycle belong together, those of the next one do not, whenever the time begins.
func TestPastFollowsCycles(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.past(30, 250, 40)
	b.ask(func(v desk.View) error {
		for _, from := range []unit.Instant{begin, begin.Add(24 * time.Hour)} {
			p, err := v.Studies().Past(from, b.at(), 8, nil)
			if err != nil {
				return err
			}
			want := 3
			if from > begin {
				want = 2
			}
			if len(p.Cycles) != want || p.Begin != from {
				t.Errorf("from %s: %d cycles from %s, want %d", from, len(p.Cycles), p.Begin, want)
			}
		}
		p, err := v.Studies().LatestPast(begin, b.at(), 3, 8, nil)
		if err != nil {
			return err
		}
		if len(p.Cycles) != 1 || len(p.Rows) != 3 || p.Begin <= begin {
			t.Errorf("the latest 3: %d readings in %d cycles from %s", len(p.Rows), len(p.Cycles), p.Begin)
		}
		return nil
	})
}

// What a level rests on is in its record, names the verifications whose outcome changes, and reads back.
func TestGrounds(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.past(30, 250, 40, 120, 20, 35, 45, 50, 55, 60, 65, 70)
	l := b.distalLevel(110, "2", b.at())
	study := desk.Study{Plan: level.Usual(distal), From: begin, To: b.at()}
	var cultures []desk.Culture
	b.ask(func(v desk.View) error {
		p, err := v.Studies().Past(begin, b.at(), 8, nil)
		for i, cycle := range p.Cycles {
			cultures = append(cultures, desk.Culture{Scope: cycle.Scope, Taken: cycle.Last.Add(time.Hour), Positive: i == 2 || i == 3})
		}
		cultures = append(cultures, desk.Culture{Scope: "D-02", Taken: b.at()})
		return err
	})
	entry := desk.Entry{ID: "0190a1b2-c3d4-7e5f-8a6b-7c8d9e0f1a2b", By: "L-01"}
	adopt := func(l reading.Level) (r desk.Receipt, err error) {
		return r, b.desk.As(access.Scribe()).Do(b.Context(), func(w *desk.Work) error {
			g, err := w.Studies().Grounds(l, study, desk.Costs{SampleMinutes: 8, CleaningMinutes: 16}, cultures)
			if err != nil {
				return err
			}
			g.Note = "a trial"
			r, err = w.OnSignals().AdoptDerived(entry, l, g)
			return err
		})
	}
	first, err := adopt(l)
	if err != nil {
		t.Fatal(err)
	}
	b.past(33) // more readings do not make another record of the same form
	study.To = b.at()
	if again, err := adopt(l); err != nil || again.Fresh || again.Record.Seq != first.Record.Seq {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	l.Action = 111
	if _, err := adopt(l); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("another level under the same id: %v", err)
	}
	b.ask(func(v desk.View) error {
		e, g, err := v.Studies().LevelOf(string(entry.ID)[:12])
		if err != nil {
			return err
		}
		if e.Action != 110 || !e.Derived || g.Note != "a trial" || g.SampleMinutes != 8 || g.Derivation.Baseline.Counted != 12 || g.Unlinked != 1 {
			t.Errorf("the record: %+v, %+v", e, g)
		}
		// 250 is over 200 as well; 120 is over the new level alone.
		if len(g.Verifications) == 0 || g.Replay.Changed != len(g.Verifications) || g.Replay.Proposed.Over <= g.Replay.Today.Over {
			t.Fatalf("replayed: %+v, %v", g.Replay, g.Verifications)
		}
		if r := g.Reference; r.Positives != 2 || r.Negatives != 10 || r.AtLevel.Counts.TruePositive == 0 {
			t.Errorf("by cultures: %+v", r)
		}
		id, err := v.Studies().VerificationOf(g.Verifications[0])
		if err != nil {
			return err
		}
		if line, err := v.Show(string(id)); err != nil || line.Type != record.Verification {
			t.Errorf("the cleaning verification of the first change: %+v, %v", line, err)
		}
		none := g.Verifications[0]
		none.Cleaning = 7
		if id, err := v.Studies().VerificationOf(none); err != nil || id != "" {
			t.Errorf("a cleaning verification that nobody decided on: %q, %v", id, err)
		}
		if _, _, err := v.Studies().LevelOf(string(id)); fault.CodeOf(err) != fault.NotFound {
			t.Errorf("a record that is no level: %v", err)
		}
		return nil
	})
}

// The edition in force, those to come and those that were are told apart, and readings without a level of
// their own are named.
func TestLevelTargets(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.cycle("T-01", "7", 30)
	lead := desk.Entry{By: "L-01"}
	var taken desk.Receipt
	b.do(func(w *desk.Work) (err error) {
		for _, l := range []reading.Level{b.distalLevel(90, "2", b.at()), b.distalLevel(80, "3", b.at().Add(48*time.Hour)), b.distalLevel(70, "early",
			begin.Add(-time.Hour))} {
			if _, err = w.SettingUp().AdoptLevel(lead, l); err != nil {
				return err
			}
		}
		taken, err = w.SettingUp().AdoptLevel(lead, byTwo(b.distalLevel(96, "a slip", b.at())))
		return err
	})
	b.pass(time.Minute)
	b.do(func(w *desk.Work) error {
		e := lead
		e.Corrects, e.Reason = taken.Record.ID, "a slip"
		_, err := w.Void(e)
		return err
	})
	b.ask(func(v desk.View) error {
		all, err := v.Studies().LevelTargets()
		if err != nil {
			return err
		}
		names := func(list ...desk.LevelEdition) (s []string) {
			for _, e := range list {
				s = append(s, e.Edition)
			}
			return s
		}
		for _, x := range all {
			if x.Any().Point != scope.OuterDistalEnd {
				continue
			}
			got := strings.Join([]string{x.InForce.Edition, strings.Join(names(x.Coming...), "+"), strings.Join(names(x.Earlier...), "+")}, "; ")
			// The early one was signed with 2 and so judged after 1, for no time at all.
			if want := "2; 3; a slip+early+1"; got != want {
				t.Errorf("in force; to come; earlier: %s, want %s", got, want)
			}
		}
		if len(all) != len(points) {
			t.Errorf("%d targets, want %d", len(all), len(points))
		}
		measured, err := v.Studies().MeasuredTargets()
		if err != nil {
			return err
		}
		if len(measured) != 1 || measured[0].Kind != scope.Duodenoscope || measured[0].Level == nil || measured[0].Level.Edition != "2" ||
			measured[0].Scope != "D-01" {
			t.Errorf("measured: %+v", measured)
		}
		// Two levels set side by side change nothing for one that both judge alike.
		p, err := v.Studies().Past(0, b.at(), 8, nil)
		if err != nil {
			return err
		}
		r, err := v.Studies().Contrast(p, b.distalLevel(40, "x", 1), b.distalLevel(20, "y", 1), desk.Costs{MostChanges: 5})
		if err != nil {
			return err
		}
		if r.Changed != 1 || r.Today.Over != 0 || r.Proposed.Over != 1 {
			t.Errorf("30 RLU under action levels of 40 and 20: %+v", r)
		}
		return nil
	})
}

// The table of a curve says what level.Operate says.
func TestOperatingLines(t *testing.T) {
	b := start(t)
	o := desk.Operating{
		Level:     b.distalLevel(100, "1", 1),
		Points:    []int{1, 4},
		Cleanings: []int{3},
		Spread:    0.5,
		Retest:    reading.AllPoints,
		Costs:     desk.Costs{SampleMinutes: 8},
	}
	lines, err := o.Lines()
	if err != nil || len(lines) != 20 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	for _, n := range lines {
		want, err := level.Operate(
			level.Trial{Level: o.Level, Median: n.Median, Spread: 0.5, Points: n.Points, Cleanings: 3, Retest: reading.AllPoints, SampleMinutes: 8},
		)
		if err != nil || n.Operation != want {
			t.Errorf("median %g: %+v, want %+v, %v", n.Median, n.Operation, want, err)
		}
	}
	// Half of the scopes whose median is the level are over it, or a little less: a count at it is not.
	if p := lines[5].Over; p < 0.45 || p > 0.5 {
		t.Errorf("at the level %g are cleaned again", p)
	}
	o.Spread = 0
	if _, err := o.Lines(); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("without a spread: %v", err)
	}
	if _, err := desk.Discriminate(nil, o.Level, stats.MustConfidence("0.95"), stats.Probability{}); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("without cultures: %v", err)
	}
}
