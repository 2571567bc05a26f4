package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// retesting is a bench whose rules have only the failing points sampled again, with a second meter.
func retesting(t *testing.T) *bench {
	t.Helper()
	b := start(t)
	b.pass(time.Second)
	rules := strings.NewReplacer("retest: all-points", "retest: failing-points", `edition: "2026-1"`, `edition: "2026-2"`).
		Replace(string(policy.Preset()))
	b.do(func(w *desk.Work) error {
		if _, _, err := w.SettingUp().AdoptRules(lead, desk.Adoption{At: b.at(), Name: "general.yaml", Text: []byte(rules), Second: "L-02"}); err != nil {
			return err
		}
		_, err := w.SettingUp().RegisterMeter(lead, b.at(), quality.Meter{Code: "M-2", System: "A"})
		return err
	})
	b.targets()
	b.check(goodLight, 2)
	return b
}

// sampled samples a point after a cleaning and reads it with a meter.
func (b *bench) sampled(cleaning int, point scope.PointKind, meter, value string) desk.Receipt {
	b.Helper()
	s := b.take(point)
	s.Cleaning = cleaning
	b.pass(15 * time.Second)
	id := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) }).Record.ID
	return b.readAs(id, s, meter, value)
}

// readAs reads a sample 15 s after its activation.
func (b *bench) readAs(id ledger.ID, s sampling.Sample, meter, value string) desk.Receipt {
	b.Helper()
	b.checkMeter(meter, s.Activated)
	return b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(tech, desk.Reading{Sample: id, Meter: meter, Value: b.rlu(value), At: s.Activated.Add(15 * time.Second)})
	})
}

// carrying is a cycle whose re-test carries the tip from the first test: tip 20, recess 30, channel 250; cleaned again;
// channel 50. The tip was read with M-1, the rest with M-2.
func (b *bench) carrying() (tip desk.Receipt) {
	b.Helper()
	b.use()
	tip = b.sampled(1, scope.OuterDistalEnd, "M-1", "20")
	b.sampled(1, scope.ElevatorRecess, "M-2", "30")
	r := b.sampled(1, scope.InstrumentLumen, "M-2", "250")
	wantFollowed(b, "over the action level", r, record.Verification, record.Hold)
	b.clean()
	r = b.sampled(2, scope.InstrumentLumen, "M-2", "50")
	wantFollowed(b, "the re-test", r, record.Verification, record.Lift)
	b.finish()
	b.wantState("with the tip carried over", reprocessing.Ready, "")
	b.pass(time.Minute)
	return tip
}

// decisions returns those among records, by their cleaning.
func decisions(t *testing.T, records []ledger.Record) map[int]reprocessing.Decision {
	t.Helper()
	all := map[int]reprocessing.Decision{}
	for _, r := range records {
		if record.KindOf(r) == record.Verification {
			d := body[reprocessing.Decision](t, r)
			if _, twice := all[d.Verification.Cleaning]; twice {
				t.Errorf("cleaning %d is decided on twice", d.Verification.Cleaning)
			}
			all[d.Verification.Cleaning] = d
		}
	}
	return all
}

// A result that a re-test carried over counts there no longer than in the test that it comes from.
func TestCarriedPointGoesWithItsReading(t *testing.T) {
	for _, test := range []struct {
		name string
		do   func(b *bench, tip desk.Receipt) desk.Receipt
	}{
		{"its reading is voided", func(b *bench, tip desk.Receipt) desk.Receipt {
			return b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(desk.Entry{By: "L-01", Corrects: tip.Record.ID, Reason: "of another scope"})
			})
		}},
		{"its sample is voided", func(b *bench, tip desk.Receipt) desk.Receipt {
			return b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(desk.Entry{By: "L-01", Corrects: ledger.ID(body[reading.Reading](b, tip.Record).Sample), Reason: "of another scope"})
			})
		}},
		{"a second reading is over the action level", func(b *bench, tip desk.Receipt) desk.Receipt {
			return b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Read(tech, desk.Reading{
					Sample: ledger.ID(body[reading.Reading](b, tip.Record).Sample), Meter: "M-2", Value: b.rlu("500"), At: tip.Record.At.Add(time.Second),
				})
			})
		}},
		{"its reading is corrected", func(b *bench, tip desk.Receipt) desk.Receipt {
			return b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Read(desk.Entry{By: "T-01", Corrects: tip.Record.ID, Reason: "a digit was missing"}, desk.Reading{
					Sample: ledger.ID(body[reading.Reading](b, tip.Record).Sample), Meter: "M-1", Value: b.rlu("500"), At: tip.Record.At,
				})
			})
		}},
		{"its meter fails a check", func(b *bench, _ desk.Receipt) desk.Receipt {
			r, _ := b.check(failedLight, 2)
			return r
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := retesting(t)
			tip := b.carrying()
			before := b.at()
			b.pass(time.Minute)
			r := test.do(b, tip)
			decided := decisions(t, r.Followed)
			first, again := decided[1].Verification, decided[2].Verification
			missing := []scope.PointKind{scope.OuterDistalEnd}
			if first.Outcome != reading.Action || again.Outcome != reading.None || again.Complete || !slices.Equal(again.Missing, missing) {
				t.Errorf("first test: %+v\nre-test: %+v, want it without the tip", first, again)
			}
			if decided[1].Supersedes == "" || decided[2].Supersedes == "" {
				t.Errorf("the decisions supersede %q and %q", decided[1].Supersedes, decided[2].Supersedes)
			}
			b.wantState("with the tip gone", reprocessing.OnHold, "instrument channel action")
			if a := b.releaseAt(before, before); a.State != reprocessing.Ready {
				t.Errorf("as known before: %s %q", a.State, blocking(a))
			}
			b.rebuilt()
			b.wantState("from the ledger alone", reprocessing.OnHold, "instrument channel action")

			// The way out: the point is sampled, here after another cleaning.
			b.clean()
			b.sampled(3, scope.OuterDistalEnd, "M-2", "20")
			b.sampled(3, scope.ElevatorRecess, "M-2", "20")
			b.sampled(3, scope.InstrumentLumen, "M-2", "20")
			b.finish()
			b.wantState("sampled again", reprocessing.Ready, "")
		})
	}
}

// A reading that arrives late counts in the re-test as well: over the action level it asks for a sample after
// the second cleaning, below it is carried over.
func TestLateReadingOfTheFirstTest(t *testing.T) {
	for _, test := range []struct {
		value    string
		followed []record.Kind
		state    reprocessing.State
	}{
		{"500", []record.Kind{record.Verification}, reprocessing.OnHold},
		{"20", []record.Kind{record.Verification, record.Verification, record.Lift}, reprocessing.Ready},
	} {
		t.Run(test.value, func(t *testing.T) {
			b := retesting(t)
			b.use()
			tip := b.take(scope.OuterDistalEnd)
			tip.Cleaning = 1
			id := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, tip) }).Record.ID
			b.sampled(1, scope.ElevatorRecess, "M-2", "30")
			b.sampled(1, scope.InstrumentLumen, "M-2", "250")
			b.clean()
			r := b.sampled(2, scope.InstrumentLumen, "M-2", "50")
			wantFollowed(t, "a re-test without the tip", r)
			b.finish()
			b.wantState("the tip is not read", reprocessing.OnHold, "")
			b.pass(time.Minute)
			wantFollowed(t, "late", b.readAs(id, tip, "M-1", test.value), test.followed...)
			b.wantState("read late", test.state, "")
			b.rebuilt()
		})
	}
}

// A cleaning that failed after all brings the last one nearer: the hold of that one then takes people.
func TestLateFailureEscalates(t *testing.T) {
	b := retesting(t)
	b.use()
	first := b.sampled(1, scope.OuterDistalEnd, "M-1", "30")
	b.sampled(1, scope.ElevatorRecess, "M-1", "30")
	b.sampled(1, scope.InstrumentLumen, "M-1", "30")
	for cleaning := 2; cleaning <= 3; cleaning++ {
		b.clean()
		r := b.sampled(cleaning, scope.ElevatorRecess, "M-1", "250")
		if hold := body[reprocessing.Hold](t, r.Followed[1]); hold.Escalated {
			t.Fatalf("escalated after cleaning %d, of which the first passed", cleaning)
		}
	}
	b.clean()
	for _, p := range points {
		b.sampled(4, p, "M-1", "30")
	}
	b.finish()
	b.wantState("passed in the end", reprocessing.Ready, "")
	b.pass(time.Minute)
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(desk.Entry{By: "T-01", Corrects: first.Record.ID, Reason: "a digit was missing"}, desk.Reading{
			Sample: ledger.ID(body[reading.Reading](t, first.Record).Sample), Meter: "M-1", Value: b.rlu("300"), At: first.Record.At,
		})
	})
	escalated := 0
	for _, x := range r.Followed {
		if record.KindOf(x) == record.Hold && body[reprocessing.Hold](t, x).Escalated {
			escalated++
		}
	}
	if escalated != 1 {
		t.Errorf("%d escalated holds in %q, want 1", escalated, types(r.Followed))
	}
	b.wantState("three cleanings failed", reprocessing.OnHold, "re-test after the 3rd cleaning")
}

// What is decided again before a repair leaves what came after it alone.
func TestDecidedAgainAcrossARepair(t *testing.T) {
	b := retesting(t)
	b.use()
	tip := b.sampled(1, scope.OuterDistalEnd, "M-1", "20")
	b.sampled(1, scope.ElevatorRecess, "M-1", "30")
	b.sampled(1, scope.InstrumentLumen, "M-1", "40")
	b.repaired()
	b.step(reprocessing.LeakTest, 2*time.Minute, passed)
	b.clean()
	for _, p := range points {
		b.sampled(1, p, "M-1", "30")
	}
	b.finish()
	before := b.release()
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: tip.Record.ID, Reason: "of another scope"})
	})
	decided := decisions(t, r.Followed)
	if d := decided[1]; len(decided) != 1 || d.Cycle >= tip.Record.At || d.Last >= before.Cycle {
		t.Errorf("decided again: %+v", decided)
	}
	b.wantState("after the repair", before.State, "")
}
