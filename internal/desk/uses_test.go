package desk_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// recordUse records a use, whenever it was.
func (b *bench) recordUse(u reprocessing.Use, change ...func(*desk.Entry)) desk.Receipt {
	b.Helper()
	u.Scope = "D-01"
	e := nurse
	for _, f := range change {
		f(&e)
	}
	return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(e, u, "") })
}

func correcting(id ledger.ID) func(*desk.Entry) {
	return func(e *desk.Entry) { e.Corrects, e.Reason = id, "typed wrong"; *e = both(*e) }
}

// reprocess records everything from the sink to the cabinet after a use.
func (b *bench) reprocess() {
	b.Helper()
	b.step(reprocessing.PointOfUse, 2*time.Minute, nil)
	b.reprocessAnew()
}

// reprocessAnew records everything from the leak test to the cabinet, of a scope that was not used.
func (b *bench) reprocessAnew() {
	b.Helper()
	b.step(reprocessing.LeakTest, 2*time.Minute, passed)
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
}

// A use that nobody has ended is not forgotten because others came after it, however many and however long
// since.
func TestUnfinishedUseIsNotForgotten(t *testing.T) {
	b := start(t)
	began := b.at()
	lost := b.recordUse(reprocessing.Use{Start: began, Room: "2"})
	why := "the use that began at " + began.In(b.desk.DB.Zone()) + " in 2 has no end on record"
	for range 3 {
		b.pass(48 * time.Hour)
		b.use()
		b.verification("30", "30", "30")
		b.finish()
		b.wantState("used again and reprocessed", reprocessing.OnHold, why)
	}
	before := b.pass(time.Minute)
	b.pass(time.Minute)
	ended := b.recordUse(reprocessing.Use{Start: began, End: began.Add(time.Hour), Room: "2", Finishes: string(lost.Record.ID)})
	// Each use began while the one before was open, by all that was known then.
	b.wantHeldFor("its end is on record", reprocessing.ExposureHold, reprocessing.ExposureHold, reprocessing.ExposureHold)
	if a := b.releaseAt(before, before); !slices.Contains(blocking(a), why) {
		t.Errorf("as known before: %q", blocking(a))
	}
	if a := b.releaseAt(before, store.Forever); slices.Contains(blocking(a), why) {
		t.Errorf("as known today: %q", blocking(a))
	}
	b.pass(time.Minute)
	b.liftAll()
	b.wantState("lifted", reprocessing.Ready, "")
	b.pass(time.Minute)
	again := b.recordUse(reprocessing.Use{Start: began, Room: "2"}, correcting(ended.Record.ID))
	b.wantState("the end was wrong", reprocessing.InReprocessing, why)
	b.rebuilt()
	b.wantState("from the ledger alone", reprocessing.InReprocessing, why)
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: again.Record.ID, Reason: "was another scope"}))
	})
	b.wantState("it never was", reprocessing.Ready, "")
}

// A use that ended after another began: its end counts, and both are asked about.
func TestUseThatEndsAfterALaterOne(t *testing.T) {
	b := start(t)
	zero := b.at()
	b.recordUse(reprocessing.Use{Start: zero, End: b.pass(20 * time.Minute)})
	b.reprocess()
	b.pass(time.Hour)
	first := b.at()
	second := b.pass(time.Hour)
	b.recordUse(reprocessing.Use{Start: second, End: b.pass(30 * time.Minute)})
	b.reprocess()
	b.wantState("one use", reprocessing.Ready, "")
	long := b.recordUse(reprocessing.Use{Start: first, End: second.Add(40 * time.Minute)})
	b.wantState("one that ended after it, recorded late", reprocessing.OnHold, "two uses overlap")
	b.wantHeldFor("the other began while it went on", reprocessing.ExposureHold)
	// It ended when the scope was being reprocessed: what was done before that does not count.
	b.wantState("ended between the steps", reprocessing.OnHold, "point-of-use treatment is not on record")
	short := b.recordUse(reprocessing.Use{Start: first, End: second + 1}, correcting(long.Record.ID))
	b.wantState("ended when the other had begun", reprocessing.OnHold, "two uses overlap")
	b.rebuilt()
	b.wantState("from the ledger alone", reprocessing.OnHold, "two uses overlap")
	b.recordUse(reprocessing.Use{Start: first, End: second}, correcting(short.Record.ID))
	// It was used twice without a cycle between.
	b.wantHeldFor("ended when the other began", reprocessing.ExposureHold)
	b.pass(time.Minute)
	b.liftAll()
	b.wantState("lifted", reprocessing.Ready, "")
}

// A chain of uses, each of which overlaps only with the next, is found from its last one on.
func TestOverlapsAreFoundAlongAChain(t *testing.T) {
	b := start(t)
	at := func(minutes int) unit.Instant { return b.at().Add(time.Duration(minutes) * time.Minute) }
	uses := []reprocessing.Use{{Start: at(0), End: at(100)}, {Start: at(10), End: at(20)}, {Start: at(30), End: at(40)}}
	b.pass(101 * time.Minute)
	for _, u := range uses {
		b.recordUse(u)
	}
	b.reprocess()
	var overlaps int
	for _, why := range blocking(b.release()) {
		if len(why) > 16 && why[:16] == "two uses overlap" {
			overlaps++
		}
	}
	if overlaps != 2 {
		t.Errorf("%d overlaps are asked about, want 2: %q", overlaps, blocking(b.release()))
	}
}

// A reading over the action level holds the scope also where the end of a use was typed as later than the
// sample.
func TestActionReadingBeforeTheEndOfAUse(t *testing.T) {
	b := start(t)
	u, id := b.use()
	u.End = b.at().Add(3 * time.Minute) // as far ahead as it can be typed a minute later
	b.pass(time.Minute)
	b.recordUse(u, correcting(id))
	r := b.read("outer-distal-end", "900")
	wantFollowed(t, "over", r, record.Verification, record.Hold)
	b.wantState("on hold", reprocessing.OnHold, "action level exceeded")
}

// A use that goes on in an old record counts once among the uses since the last passed verification.
func TestUnfinishedUseCountsOnce(t *testing.T) {
	b := start(t)
	b.recordUse(reprocessing.Use{Start: b.at()})
	b.pass(time.Hour)
	b.use()
	var h reprocessing.History
	err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		h, err = v.Around("D-01", b.at(), b.at(), store.Forever)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Uses) != 2 || h.Earlier.Uses != 0 {
		t.Errorf("%d uses, and %d before: want 2 and 0", len(h.Uses), h.Earlier.Uses)
	}
}

// An end may be ahead by as much as another device's clock may be, in every entry, and by no more: what ended by
// itself would count as done.
func TestEndAhead(t *testing.T) {
	b := start(t)
	b.pass(time.Hour)
	begun := b.at().Add(-time.Minute)
	const slack = 2 * time.Minute
	for _, test := range []struct {
		ahead time.Duration
		want  fault.Code
	}{{slack, ""}, {slack + time.Microsecond, fault.Invalid}} {
		end := b.at().Add(test.ahead)
		for name, do := range map[string]func(*desk.Work) error{
			"use": func(w *desk.Work) error {
				return only(w.RecordUse(desk.Entry{}, reprocessing.Use{Scope: "D-01", Start: begun, End: end}, ""))
			},
			"step": func(w *desk.Work) error {
				return only(w.RecordStep(desk.Entry{}, reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: begun, End: end, By: "T-01"}))
			},
			"repair": func(w *desk.Work) error {
				return only(w.RecordRepair(desk.Entry{}, scope.Repair{Scope: "D-01", Sent: begun, Returned: end, Fault: "a leak"}, ""))
			},
		} {
			err := b.attempt(b.as("T-01", 0, access.Technician), do)
			if got := fault.CodeOf(err); got != test.want || test.want == "" && err != nil {
				t.Errorf("%s that ends in %s: %v, want the code %q", name, test.ahead, err, test.want)
			}
		}
	}
	for kind, row := range map[desk.Kind]string{
		desk.Uses:  ",D-01," + written(begun) + "," + written(b.at().Add(time.Hour)) + ",ERCP,1,,N-01,,,",
		desk.Steps: ",D-01,drying," + written(begun) + "," + written(b.at().Add(time.Hour)) + ",T-01,,,,,,,,,,,,,,",
	} {
		if _, _, err := b.listed(kind, row); err == nil || !strings.Contains(err.Error(), "record the beginning now") {
			t.Errorf("a file of %s: %v", kind, err)
		}
	}
}

// To finish a record takes no permission to take back: it is refused for what has ended, failed, or is another one.
func TestFinishingTakesNothingBack(t *testing.T) {
	b := start(t)
	b.use()
	failed := reprocessing.Step{Scope: "D-01", Kind: reprocessing.LeakTest, Start: b.at(), Result: reprocessing.Fail, By: "T-01"}
	first := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, failed) })
	wantFollowed(t, "a failed leak test", first, record.Hold)
	open := reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: b.at(), By: "T-01"}
	drying := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, open) }).Record.ID
	b.pass(time.Minute)
	for _, test := range []struct {
		name   string
		change func(*reprocessing.Step)
		part   string
	}{
		{"a failed one", func(s *reprocessing.Step) {
			s.Finishes, s.Kind, s.Result = string(first.Record.ID), reprocessing.LeakTest, reprocessing.Pass
		}, "it failed"},
		{"another kind", func(s *reprocessing.Step) { s.Finishes, s.Kind = string(drying), reprocessing.ManualCleaning }, "another one"},
	} {
		s := open
		s.End = b.at()
		test.change(&s)
		err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
			_, err := w.RecordStep(tech, s)
			return err
		})
		if fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), test.part) {
			t.Errorf("%s: %v", test.name, err)
		}
	}
	done := open
	done.End, done.Finishes = b.at(), string(drying)
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, done) })
	b.wantHeldFor("after all that", reprocessing.LeakHold)
}

// The same use came twice; one of the two is taken back, and the other one is still one of a scope that was not ready.
func TestOneOfTwoUsesIsTakenBack(t *testing.T) {
	b := start(t)
	b.use()
	b.pass(2 * 24 * time.Hour)
	u := reprocessing.Use{Scope: "D-01", Start: b.at(), End: b.at().Add(time.Minute)}
	b.pass(2 * time.Minute)
	first := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "N-01"}, u, "") }).Record.ID
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "N-01"}, u, "") })
	b.wantHeldFor("used twice", reprocessing.ExposureHold)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: first, Reason: "twice"}))
	})
	b.wantHeldFor("one of them is left", reprocessing.ExposureHold)
}
