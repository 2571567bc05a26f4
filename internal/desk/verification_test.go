package desk_test

import (
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/scope"
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
