package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

func (b *bench) cycles(at unit.Instant, limit int) (all []desk.Cycle) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		all, err = v.Records().Cycles("D-01", at, limit)
		return err
	})
	return all
}

func (b *bench) exposure(at unit.Instant) (x desk.Exposure) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		x, err = v.Numbers().Exposure("D-01", at)
		return err
	})
	return x
}

// passing records a use that goes on for a quarter of an hour, with a patient.
func (b *bench) passing() reprocessing.Use {
	b.Helper()
	u := reprocessing.Use{Scope: "D-01", Start: b.pass(time.Hour), End: b.pass(15 * time.Minute), Procedure: "ercp", Room: "3"}
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(tech, u, "patient 2063") })
	return u
}

// repaired records a repair from beginning to end.
func (b *bench) repaired() scope.Repair {
	b.Helper()
	r := scope.Repair{Scope: "D-01", Sent: b.pass(time.Hour), Fault: "leak"}
	sent := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordRepair(lead, r, "") })
	r.Returned, r.Work = b.pass(48*time.Hour), "sealed"
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordRepair(lead, r, string(sent.Record.ID)) })
	return r
}

func TestCycles(t *testing.T) {
	t.Parallel()
	b := start(t)
	since := b.at()
	first := b.passing()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{Scope: "D-01", Kind: reprocessing.PointOfUse, Start: b.at(), End: b.pass(time.Minute), By: "T-01"})
	})
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	repair := b.repaired()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.LiftHold(lead, reprocessing.Lift{Hold: string(hold.Record.ID), By: "L-01", Second: "L-02", Reason: "does not smell"})
	})
	second := b.passing()
	now := b.pass(time.Minute)

	want := []struct {
		cause, ended                      reprocessing.Cause
		from, start, end                  unit.Instant
		uses, steps, holds, lifts, repair int
	}{
		{reprocessing.AfterUse, "", second.Start, second.End, now, 1, 0, 1, 0, 0}, // used without a cycle
		{reprocessing.AfterRepair, reprocessing.AfterUse, repair.Sent, repair.Returned, second.Start - 1, 0, 0, 0, 1, 1},
		{reprocessing.AfterUse, reprocessing.AfterRepair, first.Start, first.End, repair.Sent - 1, 1, 1, 1, 0, 0},
		{reprocessing.OnArrival, reprocessing.AfterUse, 0, since, first.Start - 1, 0, 0, 0, 0, 0},
	}
	got := b.cycles(now, 10)
	if len(got) != len(want) {
		t.Fatalf("%d cycles, want %d", len(got), len(want))
	}
	for i, w := range want {
		g := got[i]
		if g.Cause != w.cause || g.Ended != w.ended || g.From != w.from || g.Start != w.start || g.End != w.end {
			t.Errorf("%d: after %q, ended by %q, from %s, began %s, to %s; want %+v", i, g.Cause, g.Ended, g.From, g.Start, g.End, w)
		}
		if n := [...]int{len(g.Uses), len(g.Steps), len(g.Holds), len(g.Lifts), len(g.Repairs)}; n != [...]int{w.uses, w.steps, w.holds, w.lifts, w.repair} {
			t.Errorf("%d: uses, steps, holds, lifts, repairs: %v, want %+v", i, n, w)
		}
		for _, u := range g.Uses {
			if u.Patient != "" || u.Procedure != "ercp" || u.Room != "3" {
				t.Errorf("%d: the use: %+v", i, u)
			}
		}
		// Each is what a page that begins with it says.
		if again := b.cycles(g.End, 1); len(again) != 1 || again[0].From != g.From || again[0].Ended != g.Ended || again[0].Answer.State != g.Answer.State {
			t.Errorf("%d: asked for alone it is %+v", i, again)
		}
	}
	if got[2].Answer.State != reprocessing.OnHold {
		t.Errorf("before the repair it was %s, want held", got[2].Answer.State)
	}
	if one := b.cycles(now, 2); len(one) != 2 {
		t.Errorf("%d cycles, want at most 2", len(one))
	}
	err := b.desk.View(context.Background(), func(v desk.View) error {
		_, err := v.Records().Cycles("X-99", now, 1)
		return err
	})
	if fault.CodeOf(err) != fault.NotFound {
		t.Errorf("a scope that there is not: %v", err)
	}
}

func TestExposure(t *testing.T) {
	t.Parallel()
	b := start(t)
	since := b.at()
	if got, want := b.exposure(b.at()), (desk.Exposure{At: b.at(), InService: since}); got != want {
		t.Errorf("nothing has happened: %+v, want %+v", got, want)
	}
	b.passing()
	repair := b.repaired()
	b.passing()
	last := b.passing()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Ask(lead, sampling.Request{Scope: "D-01", By: "L-01", Reason: "audit"})
	})
	b.pass(25 * time.Hour)
	want := desk.Exposure{
		At: b.at(), InService: since, LastUse: last.Start, DaysSince: 1, Repaired: repair.Returned,
		Uses: 3, SinceRepair: 2, SincePassed: 3, ThisMonth: 3, Repairs: 1, OpenRequests: 1,
	}
	if got := b.exposure(b.at()); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// What lies behind an instant does not change what was the case then.
	then := repair.Sent
	want = desk.Exposure{At: then, InService: since, LastUse: since.Add(time.Hour), Uses: 1, SinceRepair: 1, SincePassed: 1, ThisMonth: 1, Repairs: 1}
	if got := b.exposure(then); got != want {
		t.Errorf("when it was sent for repair: %+v, want %+v", got, want)
	}
	// A new month begins at midnight of the site, not of UTC: on 1 April 2026 at 00:30 in Berlin it is March in UTC.
	night := unit.At(time.Date(2026, 3, 31, 22, 30, 0, 0, time.UTC))
	if got := b.exposure(night); got.ThisMonth != 0 || got.Uses != 3 {
		t.Errorf("in the first hour of April: %+v", got)
	}
}

// Verifications end what is counted since one passed, and readings over the action level are counted for a
// year.
func TestExposureOfVerifications(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.passing()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Ask(lead, sampling.Request{Scope: "D-01", By: "L-01", Reason: "audit"})
	})
	b.pass(time.Minute)
	b.verification("250", "30", "30")
	if got := b.exposure(b.at()); got.Actions == 0 || got.Passed.Known() || got.OpenRequests != 1 || got.SincePassed != 1 {
		t.Errorf("after a cleaning verification over the action level: %+v", got)
	}
	actions := b.exposure(b.at()).Actions
	b.pass(time.Minute)
	cleaned := reprocessing.Step{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: b.at(), End: b.pass(10 * time.Minute), By: "T-01"}
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, cleaned) })
	b.verification("30", "30", "30")
	got := b.exposure(b.at())
	if got.Actions != actions || !got.Passed.Known() || got.OpenRequests != 0 || got.SincePassed != 0 || got.Uses != 1 {
		t.Errorf("after a cleaning verification that passed: %+v", got)
	}
	cycles := b.cycles(b.at(), 1)
	if n := len(
		cycles[0].Decisions,
	); n != 2 || cycles[0].Decisions[0].Verification.Outcome != reading.Action ||
		cycles[0].Decisions[1].Verification.Cleaning != 2 {
		t.Errorf("%d decisions: %+v", n, cycles[0].Decisions)
	}
	if len(cycles[0].Samples) != 2*len(points) || len(cycles[0].Samples[0].Judgements) != 1 {
		t.Errorf("samples: %+v", cycles[0].Samples)
	}
	if late := b.exposure(b.at().Add(366 * 24 * time.Hour)); late.Actions != 0 {
		t.Errorf("a year later %d readings still count", late.Actions)
	}
}

func TestLiftables(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.passing()
	liftables := func() (all []desk.Liftable) {
		b.ask(func(v desk.View) (err error) {
			all, err = v.Records().Liftables("D-01", b.at())
			return err
		})
		return all
	}
	if got := liftables(); len(got) != 0 {
		t.Fatalf("%+v", got)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	got := liftables()
	if len(got) != 1 || !got[0].Second || got[0].Missing != "" || got[0].Signing != reprocessing.ByLeadAndSecond || got[0].Reason != "smells" {
		t.Fatalf("a person's hold takes two: %+v", got)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.LiftHold(lead, reprocessing.Lift{Hold: got[0].ID, By: "L-01", Second: "L-02", Reason: "does not smell"})
	})
	if got := liftables(); len(got) != 0 {
		t.Errorf("lifted by two people, as was said: %+v", got)
	}
}

func TestRepairByRecord(t *testing.T) {
	t.Parallel()
	b := start(t)
	want := b.repaired()
	var all []reprocessing.Repair
	b.ask(func(v desk.View) (err error) {
		all, err = v.Records().Repairs("D-01", 0, b.at())
		return err
	})
	if len(all) != 1 || all[0].Repair != want {
		t.Fatalf("%+v, want %+v", all, want)
	}
	b.ask(func(v desk.View) error {
		if got, err := v.Records().Repair("D-01", all[0].ID); err != nil || got.Repair != want {
			t.Errorf("%+v, %v", got, err)
		}
		_, err := v.Records().Repair("D-02", all[0].ID)
		if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "is not a repair of D-02") {
			t.Errorf("of another scope: %v", err)
		}
		return nil
	})
}
