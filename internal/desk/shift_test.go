package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
)

func (b *bench) shift(hours int) (l desk.ShiftList) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		l, err = v.Day().ShiftList(b.at(), hours)
		return err
	})
	return l
}

// listed says until when the scope is on the list of a shift; zero where it is not on it.
func listed(l desk.ShiftList) unit.Instant {
	for _, c := range l.Cabinets {
		for _, s := range c.Scopes {
			if s.Scope == "D-01" && c.Cabinet == "drying-cabinet" {
				return s.Until
			}
		}
	}
	return 0
}

// On the list is what is ready and hangs in a closed cabinet, each until the earlier of its own end and that of the shift.
func TestShiftList(t *testing.T) {
	b := start(t)
	if l := b.shift(8); l.Count() != 0 {
		t.Errorf("a new scope is on it: %+v", l)
	}
	b.use()
	b.verification("30", "30", "30")
	b.step(reprocessing.Disinfection, 30*time.Minute, func(s *reprocessing.Step) {
		s.Result, s.Disinfectant, s.DisinfectantLot, s.MEC, s.Contact, s.Coldest, s.HasTemperature = reprocessing.Pass, "opa-0.55", "L9", reprocessing.Pass,
			12*unit.Minute, 21, true
		s.DisinfectantFilled, s.DisinfectantExpires = s.Start.Add(-time.Hour), s.Start.Add(240*time.Hour)
	})
	b.step(reprocessing.Drying, 12*time.Minute, nil)
	b.pass(time.Minute)
	if l := b.shift(8); l.Count() != 0 || len(l.Elsewhere) != 0 || !strings.Contains(l.Doubt, "paper decides") {
		t.Errorf("before the start is signed: %+v", l)
	}
	b.signStart()
	if l := b.shift(8); l.Doubt != "" {
		t.Errorf("once it is signed: %+v", l)
	}
	if a := b.release(); a.State != reprocessing.InReprocessing {
		t.Fatalf("%s though nobody has stored it", a.State)
	}
	b.step(reprocessing.Storage, 10*time.Minute, func(s *reprocessing.Step) { s.Cabinet = "drying-cabinet" })
	if a := b.release(); a.State != reprocessing.Ready {
		t.Fatalf("not ready outside a cabinet: %q", blocking(a))
	}
	if l := b.shift(8); listed(l).Known() || !slices.Equal(l.Elsewhere, []string{"D-01"}) {
		t.Errorf("a scope that hangs in no cabinet: %+v", l)
	}
	b.step(reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet, s.End = "drying-cabinet", 0 })
	b.pass(time.Minute)
	l := b.shift(8)
	if got, want := listed(l), b.at().Add(8*time.Hour); got != want || l.Until != want || l.Count() != 1 {
		t.Errorf("until %s, want %s: %+v", got, want, l)
	}
	if l.Size != b.size() || l.Root == "" || l.Printed != b.at() || !strings.Contains(l.Rules, "edition") {
		t.Errorf("true by %+v", l)
	}
	own := b.release().Until
	b.pass(own.Sub(b.at()) - time.Hour)
	if got := listed(b.shift(12)); got != own {
		t.Errorf("until %s, want its own end %s", got, own)
	}
	b.pass(time.Hour)
	if l := b.shift(8); l.Count() != 0 || len(l.Elsewhere) != 0 {
		t.Errorf("what has run out is on it: %+v", l)
	}
}

// A scope that two people have listed hangs where their list says, as long as that makes it ready.
func TestShiftListByStockTake(t *testing.T) {
	b := start(t)
	b.signStart()
	b.pass(time.Minute)
	x := b.onList("D-01")
	x.Until = b.at().Add(5 * time.Hour)
	if _, err := b.takeStock("L-01", "H-01", x); err != nil {
		t.Fatal(err)
	}
	b.pass(time.Minute)
	if a := b.presently(); a.State != reprocessing.Ready {
		t.Fatalf("listed: %s: %q", a.State, blocking(a))
	}
	if l := b.shift(8); listed(l) != x.Until || l.Count() != 1 || len(l.Elsewhere) != 0 {
		t.Errorf("%+v, want it until %s", l, x.Until)
	}
	b.step(reprocessing.Issue, 0, nil)
	if l := b.shift(8); l.Count() != 0 {
		t.Errorf("it was taken out: %+v", l)
	}
}

// What was taken out, or anybody knows bad news of, is not on the next list, and nothing is while the clock is in doubt.
func TestShiftListLeavesOut(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Minute)
	if !listed(b.shift(8)).Known() {
		t.Fatal("it is not on the list")
	}
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.DamageHold, By: "T-01", Reason: "a dent"})
	})
	if l := b.shift(8); l.Count() != 0 {
		t.Errorf("it is on hold: %+v", l)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: hold.Record.ID, Reason: "another scope"})
	})
	if !listed(b.shift(8)).Known() {
		t.Fatal("it is not on the list again")
	}
	b.pass(time.Minute)
	b.step(reprocessing.Issue, 0, nil)
	if l := b.shift(8); l.Count() != 0 || len(l.Elsewhere) != 0 {
		t.Errorf("it was taken out: %+v", l)
	}
	b.pass(-time.Hour)
	b.write()
	if l := b.shift(8); l.Count() != 0 || l.Doubt == "" {
		t.Errorf("the clock went back: %+v", l)
	}
}

// A list is for a shift and no longer.
func TestShiftListHours(t *testing.T) {
	b := start(t)
	for hours, good := range map[int]bool{0: false, -1: false, 1: true, 12: true, 13: false} {
		err := b.desk.View(t.Context(), func(v desk.View) error {
			_, err := v.Day().ShiftList(b.at(), hours)
			return err
		})
		if (err == nil) != good {
			t.Errorf("%d hours: %v", hours, err)
		}
	}
}

// The forms are in the words of the rule set in force.
func TestBlanks(t *testing.T) {
	b := start(t)
	b.ask(func(v desk.View) error {
		got, err := v.Day().Blanks(b.at())
		if err != nil {
			return err
		}
		rules, err := v.Registry().Rules(b.at(), store.Forever)
		if err != nil {
			return err
		}
		var steps []reprocessing.StepKind
		for _, r := range rules.Reprocessing.Steps {
			if r.Step != reprocessing.Verification && r.Step != reprocessing.Storage && r.Step != reprocessing.Issue {
				steps = append(steps, r.Step)
			}
		}
		var on []reprocessing.StepKind
		for _, s := range got.Steps {
			on = append(on, s.Step)
			if s.Result != (s.Step == reprocessing.LeakTest || s.Step == reprocessing.Inspection || s.Step == reprocessing.Disinfection) {
				t.Errorf("%s asks for a result: %v", s.Step, s.Result)
			}
		}
		if !slices.Equal(on, steps) || !slices.Contains(got.Cabinets, "drying-cabinet") || !slices.Contains(got.Disinfectants, "opa-0.55") ||
			len(got.Models) != 1 || len(got.Models[0].Points) != len(points) || len(got.Holds) != len(reprocessing.HoldKinds) || len(got.Clocks) == 0 {
			t.Errorf("%+v", got)
		}
		return nil
	})
}

// Who dries a scope has taken it out, also where nobody has written that down.
func TestShiftListOfWhatWasTakenOut(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Minute)
	if !listed(b.shift(8)).Known() {
		t.Fatal("it is not on the list")
	}
	b.step(reprocessing.Drying, 12*time.Minute, nil)
	b.pass(time.Minute)
	if l := b.shift(8); l.Count() != 0 {
		t.Errorf("it was taken out and dried: %+v", l)
	}
}
