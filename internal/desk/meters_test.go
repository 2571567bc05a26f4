package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
)

// target adopts the limits of the check material.
func (b *bench) targets() {
	b.Helper()
	since := b.at()
	b.do(func(w *desk.Work) error {
		for _, t := range []quality.Target{
			{System: "A", Kind: quality.Positive, Material: "light", Low: 900, High: 1100},
			{System: "A", Kind: quality.Blank, Material: "empty chamber", High: 5},
		} {
			t.Source, t.Edition, t.Adopter, t.Adopted = "test", "1", "L-01", since
			if _, err := w.AtMeters().RegisterTarget(desk.Entry{By: "L-01"}, t); err != nil {
				return err
			}
		}
		return nil
	})
}

// check reads both controls of the meter a minute from now.
func (b *bench) check(positive, blank unit.Number, change ...func(*desk.Entry)) (r desk.Receipt, v quality.Verdict) {
	b.Helper()
	at := b.pass(time.Minute)
	e := desk.Entry{By: "T-01"}
	for _, f := range change {
		f(&e)
	}
	b.do(func(w *desk.Work) (err error) {
		r, v, err = w.AtMeters().CheckMeter(e, desk.Check{Meter: "M-1", Controls: []quality.Control{
			{Kind: quality.Positive, Material: "light", Value: positive, At: at},
			{Kind: quality.Blank, Material: "empty chamber", Value: blank, At: at},
		}})
		return err
	})
	return r, v
}

func (b *bench) meter() (s quality.State) {
	b.Helper()
	err := b.desk.View(b.Context(), func(v desk.View) (err error) {
		s, err = v.Measuring().MeterState("M-1", b.at())
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return s
}

func TestFailedCheckTakesTheTrust(t *testing.T) {
	b := start(t)
	b.targets()
	if s := b.meter(); s.Condition != quality.Unchecked {
		t.Errorf("never checked: %+v", s)
	}
	if _, v := b.check(1000, 2); v.Outcome != quality.Accepted {
		t.Fatalf("%+v", v)
	}
	if s := b.meter(); s.Condition != quality.Checked {
		t.Errorf("checked: %+v", s)
	}
	b.use()
	wantFollowed(t, "a cleaning verification that passes", b.verification("30", "30", "30"), record.Verification)
	b.finish()
	b.wantState("before the check", reprocessing.Ready, "")

	r, v := b.check(700, 2)
	if v.Outcome != quality.Rejected || !strings.Contains(v.Why, "700 RLU, limits 900 to 1100") {
		t.Fatalf("%+v", v)
	}
	wantFollowed(t, "a failed check", r, record.Suspect, record.Verification)
	mark := body[record.SuspectBody](t, r.Followed[0])
	if len(mark.Readings) != 3 || mark.Check != r.Record.ID || !mark.Since.Known() {
		t.Errorf("%+v", mark)
	}
	b.wantState("after the failed check", reprocessing.InReprocessing, "meter M-1 failed its check")
	if s := b.meter(); s.Condition != quality.Failed {
		t.Errorf("failed: %+v", s)
	}

	// A reading with the failed meter does not count either, unless it is over the action level.
	b.clean()
	last := b.verification("30", "30", "30")
	if !slices.Contains(types(last.Followed), record.Suspect) {
		t.Errorf("a reading with a failed meter is followed by %q", types(last.Followed))
	}
	b.wantState("read with the failed meter", reprocessing.InReprocessing, "")

	// After a good check the meter counts again; what was read in between does not.
	if r, v := b.check(1010, 1); v.Outcome != quality.Accepted || len(r.Followed) != 0 {
		t.Errorf("%+v, followed by %q", v, types(r.Followed))
	}
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("sampled again", reprocessing.Ready, "")
	b.rebuilt()
}

// A failed check that was a slip is voided: the readings count again.
func TestVoidedCheckGivesTheTrustBack(t *testing.T) {
	b := start(t)
	b.targets()
	b.check(1000, 2)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	failed, _ := b.check(100, 2)
	b.wantState("a slip", reprocessing.InReprocessing, "")
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: failed.Record.ID, Reason: "typed 100 for 1000"}))
	})
	wantFollowed(t, "voided", r, record.Void, record.Verification)
	b.wantState("voided", reprocessing.Ready, "")

	// Corrected at once: the same as voided and checked anew.
	failed, _ = b.check(100, 2)
	b.wantState("another slip", reprocessing.InReprocessing, "")
	r, v := b.check(1000, 2, func(e *desk.Entry) { *e = both(desk.Entry{Corrects: failed.Record.ID, Reason: "typed 100 for 1000"}) })
	if v.Outcome != quality.Accepted {
		t.Errorf("%+v", v)
	}
	wantFollowed(t, "corrected", r, record.Void, record.Verification)
	b.wantState("corrected", reprocessing.Ready, "")

	// A good check that never took place had ended a doubt; without it the doubt is back.
	b.check(700, 2)
	good, _ := b.check(1000, 2)
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("after a good check", reprocessing.Ready, "")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: good.Record.ID, Reason: "was made with another meter"})
	})
	b.wantState("the good check is gone", reprocessing.InReprocessing, "meter M-1 failed its check")
	b.rebuilt()
}

// A doubt never clears a scope: a reading over the action level keeps it held.
func TestDoubtKeepsActionReadings(t *testing.T) {
	b := start(t)
	b.targets()
	b.check(1000, 2)
	b.use()
	b.read("outer-distal-end", "900")
	b.wantState("over", reprocessing.OnHold, "")
	b.check(700, 2)
	b.wantState("over, and the meter failed", reprocessing.OnHold, "action level exceeded")
}

func TestCheckRefusals(t *testing.T) {
	b := start(t)
	b.targets()
	control := quality.Control{Kind: quality.Positive, Material: "light", Value: 1000, At: b.at()}
	for name, test := range map[string]struct {
		check desk.Check
		want  string
	}{
		"no controls":   {desk.Check{Meter: "M-1"}, `a check of meter "M-1" needs at least one control`},
		"unknown meter": {desk.Check{Meter: "M-9", Controls: []quality.Control{control}}, `meter "M-9" is not known`},
		"unknown kind":  {desk.Check{Meter: "M-1", Controls: []quality.Control{{Kind: "odd", Material: "x", At: b.at()}}}, "allowed: positive, negative, blank"},
		"no such control": {
			desk.Check{Meter: "M-1", Controls: []quality.Control{{Kind: quality.Positive, Material: "light", Value: -1, At: b.at()}}},
			"is not a whole number",
		},
	} {
		err := b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) error {
			_, _, err := w.AtMeters().CheckMeter(desk.Entry{By: "T-01"}, test.check)
			return err
		})
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %q", name, err, test.want)
		}
	}
	// A check without a target shows nothing, and what followed from a check cannot be voided.
	_, v := func() (r desk.Receipt, v quality.Verdict) {
		b.do(func(w *desk.Work) (err error) {
			r, v, err = w.AtMeters().
				CheckMeter(desk.Entry{By: "T-01"}, desk.Check{Meter: "M-1", Controls: []quality.Control{{Kind: quality.Positive, Material: "other", Value: 1, At: b.at()}}})
			return err
		})
		return r, v
	}()
	if v.Outcome != quality.Unjudged {
		t.Errorf("no target: %+v", v)
	}
	b.use()
	b.verification("30", "30", "30")
	r, _ := b.check(700, 2)
	err := b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) error {
		_, err := w.Void(desk.Entry{By: "T-01", Corrects: r.Followed[0].ID, Reason: "no"})
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "a suspect record cannot be voided") {
		t.Errorf("void of a mark: %v", err)
	}
}

// The same check sent twice is stored once, with the same verdict.
func TestCheckSentTwice(t *testing.T) {
	b := start(t)
	b.targets()
	id := ledger.DerivedID("check", "1")
	at := b.at()
	send := func(value unit.Number) (r desk.Receipt, v quality.Verdict, err error) {
		err = b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) (err error) {
			r, v, err = w.AtMeters().CheckMeter(desk.Entry{ID: id, By: "T-01"}, desk.Check{Meter: "M-1", Controls: []quality.Control{
				{Kind: quality.Positive, Material: "light", Value: value, At: at}, {Kind: quality.Blank, Material: "empty chamber", At: at},
			}})
			return err
		})
		return r, v, err
	}
	first, one, err := send(1000)
	if err != nil || !first.Fresh {
		t.Fatal(first, err)
	}
	second, two, err := send(1000)
	if err != nil || second.Fresh || one.Outcome != two.Outcome || one.Outcome != quality.Accepted {
		t.Errorf("sent again: %t, %+v, %v", second.Fresh, two, err)
	}
	if _, _, err := send(1001); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("another content: %v", err)
	}
}

// rebuilt compares the tables with those that the ledger alone gives, and goes on with these.
func (b *bench) rebuilt() {
	b.Helper()
	b.desk = desk.New(storetest.Rebuilt(b.TB, b.desk.DB, b.now.Now))
	b.Cleanup(func() {
		if err := b.desk.DB.Close(); err != nil {
			b.Error(err)
		}
	})
}
