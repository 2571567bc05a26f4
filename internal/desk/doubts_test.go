package desk_test

import (
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// checkAt records now a check of the meter that was made at an instant.
func (b *bench) checkAt(at unit.Instant, positive unit.Number) (r desk.Receipt) {
	b.Helper()
	b.pass(time.Second)
	return b.must(func(w *desk.Work) (r desk.Receipt, err error) {
		r, _, err = w.AtMeters().CheckMeter(desk.Entry{By: "T-01"}, desk.Check{Meter: "M-1", Controls: []quality.Control{
			{Kind: quality.Positive, Material: "light", Value: positive, At: at}, {Kind: quality.Blank, Material: "empty chamber", Value: 2, At: at},
		}})
		return r, err
	})
}

const (
	goodLight   = unit.Number(1000)
	failedLight = unit.Number(700)
)

// The doubt that a failed check puts on readings is found whatever the time of the check.
func TestFailedCheckBeforeTheUse(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	const why = "meter M-1 failed its check"
	cycle := func(b *bench) {
		b.Helper()
		b.use()
		b.verification("30", "30", "30")
		b.finish()
	}
	tests := []struct {
		name  string
		do    func(b *bench)
		state reprocessing.State
	}{
		{"failed before the use, no good check since", func(b *bench) {
			b.check(goodLight, 2)
			b.check(failedLight, 2)
			b.pass(time.Hour)
			cycle(b)
		}, reprocessing.InReprocessing},
		{"failed at the instant at which the use began", func(b *bench) {
			b.checkAt(b.pass(time.Minute), goodLight)
			at := b.pass(time.Minute)
			b.checkAt(at, failedLight)
			u := reprocessing.Use{Scope: "D-01", Start: at, End: b.pass(40 * time.Minute)}
			b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") })
			b.step(reprocessing.PointOfUse, 2*time.Minute, nil)
			b.step(reprocessing.LeakTest, 2*time.Minute, passed)
			b.clean()
			b.verification("30", "30", "30")
			b.finish()
		}, reprocessing.InReprocessing},
		{"failed and never good before", func(b *bench) {
			b.check(failedLight, 2)
			cycle(b)
		}, reprocessing.InReprocessing},
		{"failed before the use and good again before the readings", func(b *bench) {
			b.check(failedLight, 2)
			b.check(goodLight, 2)
			cycle(b)
		}, reprocessing.Ready},
		{"failed before the use and recorded when the scope was ready", func(b *bench) {
			b.check(goodLight, 2)
			failed := b.pass(time.Minute)
			b.pass(time.Hour)
			cycle(b)
			b.wantState("before anybody says so", reprocessing.Ready, "")
			r := b.checkAt(failed, failedLight)
			wantFollowed(b, "a failed check that is recorded late", r, record.Suspect, record.Verification)
		}, reprocessing.InReprocessing},
		{"recorded late, and taken back", func(b *bench) {
			b.check(goodLight, 2)
			failed := b.pass(time.Minute)
			cycle(b)
			r := b.checkAt(failed, failedLight)
			b.wantState("before it is taken back", reprocessing.InReprocessing, why)
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(both(desk.Entry{Corrects: r.Record.ID, Reason: "was made with another meter"}))
			})
		}, reprocessing.Ready},
		{"recorded late, with a good check between it and the readings", func(b *bench) {
			failed := b.pass(time.Minute)
			b.check(goodLight, 2)
			cycle(b)
			b.checkAt(failed, failedLight)
		}, reprocessing.Ready},
		{"a good check before it that is recorded when it is known", func(b *bench) {
			b.check(goodLight, 2)
			cycle(b)
			before, failed := b.pass(time.Minute), b.pass(time.Minute)
			b.checkAt(failed, failedLight)
			b.wantState("before the good check", reprocessing.InReprocessing, why)
			b.checkAt(before, goodLight)
		}, reprocessing.InReprocessing},
		{"such a good check, and a reading that is recorded after both", func(b *bench) {
			b.check(goodLight, 2)
			b.use()
			b.clean()
			var taken []sampling.Sample
			var at []unit.Instant
			for _, p := range points {
				taken, at = append(taken, b.take(p)), append(at, b.pass(15*time.Second))
			}
			before, failed := b.pass(time.Minute), b.pass(time.Minute)
			b.checkAt(failed, failedLight)
			b.checkAt(before, goodLight)
			for i, s := range taken {
				b.entered(s, at[i], "30")
			}
			b.finish()
		}, reprocessing.InReprocessing},
		{"such a good check, and the failed one is corrected", func(b *bench) {
			b.check(goodLight, 2)
			cycle(b)
			before, failed := b.pass(time.Minute), b.pass(time.Minute)
			r := b.checkAt(failed, failedLight)
			b.checkAt(before, goodLight)
			b.must(func(w *desk.Work) (r2 desk.Receipt, err error) {
				r2, _, err = w.AtMeters().CheckMeter(desk.Entry{By: "T-01", Corrects: r.Record.ID, Reason: "misread"}, desk.Check{Meter: "M-1", Controls: []quality.Control{
					{Kind: quality.Positive, Material: "light", Value: failedLight - 10, At: failed}, {Kind: quality.Blank, Material: "empty chamber", Value: 2, At: failed},
				}})
				return r2, err
			})
		}, reprocessing.InReprocessing},
		{"a good and a failed check at one instant, and a reading after them", func(b *bench) {
			b.check(goodLight, 2)
			cycle(b)
			both := b.pass(time.Minute)
			b.checkAt(both, failedLight)
			b.checkAt(both, goodLight)
			b.wantState("of two at one instant the bad one counts", reprocessing.InReprocessing, why)
			// The reading asks anew which readings are in doubt: those before stay so.
			b.pass(time.Minute)
			b.read(points[0], "30")
		}, reprocessing.InReprocessing},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.targets()
			test.do(b)
			words := why
			if test.state == reprocessing.Ready {
				words = ""
			}
			b.wantState(test.name, test.state, words)
			b.rebuilt()
			b.wantState(test.name+", from the ledger alone", test.state, words)
		})
	}
}

// A check that fails after the next use began takes the trust from readings before it as well: whoever
// asks today whether the scope was fit then is told so, and whoever asks what was known then is not.
func TestFailedCheckAfterTheNextUse(t *testing.T) {
	b := start(t)
	b.targets()
	b.check(goodLight, 2)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	then := b.pass(time.Minute)
	b.pass(time.Hour)
	b.use()
	b.pass(time.Hour)
	b.check(failedLight, 2)
	if a := b.releaseAt(then, then); a.State != reprocessing.Ready {
		t.Errorf("as known then: %s: %q", a.State, blocking(a))
	}
	if a := b.releaseAt(then, store.Forever); a.State != reprocessing.InReprocessing {
		t.Errorf("as known today: %s, want %s", a.State, reprocessing.InReprocessing)
	}
}
