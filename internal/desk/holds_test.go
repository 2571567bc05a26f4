package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

func failed(s *reprocessing.Step) { s.Result = reprocessing.Fail }

// liftBy lifts the one hold of a kind that is open.
func (b *bench) liftBy(kind reprocessing.HoldKind, by, second string) error {
	b.Helper()
	for _, h := range b.openHolds() {
		if h.Of() == kind {
			_, err := b.lift(reprocessing.Lift{Hold: h.ID, By: by, Second: second, Reason: "looked into"})
			return err
		}
	}
	b.Fatalf("no hold for %s is open", kind)
	return nil
}

func wantRefused(tb testing.TB, err error, words string) {
	tb.Helper()
	if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), words) {
		tb.Errorf("%v, want it refused with %q", err, words)
	}
}

// A step that fails puts the scope on hold, for as long as it stands and until what it takes is on record.
func TestFailedStepHolds(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Hour)
	b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(20 * time.Minute)})
	b.step(reprocessing.PointOfUse, 2*time.Minute, nil)
	b.step(reprocessing.LeakTest, 2*time.Minute, failed)
	b.wantHeldFor("a failed leak test", reprocessing.LeakHold)
	// Another cycle with a leak test that passes, and another use: nothing of that ends it.
	b.step(reprocessing.LeakTest, 2*time.Minute, passed)
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	wantRefused(t, b.liftBy(reprocessing.LeakHold, "L-01", "H-01"), "no repair to which the scope was sent after it, and from which it came back, is on record")
	b.reprocessed()
	b.wantHeldFor("used again", reprocessing.LeakHold, reprocessing.ExposureHold)
	wantRefused(t, b.liftBy(reprocessing.LeakHold, "L-01", "H-01"), "no repair to which the scope was sent after it, and from which it came back, is on record")
	b.repaired()
	wantRefused(t, b.liftBy(reprocessing.LeakHold, "L-01", ""), "no leak test that passed, with who did it, is on record after a repair")
	b.step(reprocessing.LeakTest, 2*time.Minute, passed)
	tested := b.latest(record.Step)
	wantRefused(t, b.liftBy(reprocessing.LeakHold, "H-01", ""), "ends with the signature of a lead")
	if err := b.liftBy(reprocessing.LeakHold, "L-01", ""); err != nil {
		t.Fatal(err)
	}
	b.wantHeldFor("repaired and tested", reprocessing.ExposureHold)
	b.rebuilt()
	b.wantHeldFor("from the ledger alone", reprocessing.ExposureHold)
	// What it rests on is taken back.
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: tested, Reason: "another scope"}))
	})
	b.wantHeldFor("its leak test was of another scope", reprocessing.LeakHold, reprocessing.ExposureHold)
	b.wantState("and as known now", reprocessing.OnHold, "on hold (leak) since")
	b.rebuilt()
	b.wantHeldFor("from the ledger alone, again", reprocessing.LeakHold, reprocessing.ExposureHold)
}

// latest returns the id of the record of a type that was written last.
func (b *bench) latest(kind record.Kind) (id ledger.ID) {
	b.Helper()
	b.ask(func(v desk.View) error {
		lines, err := v.Chronicle("D-01", 0, b.at(), 1000)
		var last int64 = -1
		for _, l := range lines {
			if l.Type == kind && !l.Replaced.Known() && l.Seq > last {
				last, id = l.Seq, ledger.ID(l.ID)
			}
		}
		return err
	})
	return id
}

// A step that did not fail after all takes its hold with it, by a void or by a correction, and the same holds of a use.
func TestHoldsGoWithTheirCause(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.step(reprocessing.Inspection, 2*time.Minute, failed)
	wrong := b.latest(record.Step)
	b.wantHeldFor("a failed inspection", reprocessing.DamageHold)
	b.refused(t, []refusal{{"the hold itself", func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: ledger.ID(b.openHolds()[0].ID), Reason: "r"})
	}, fault.Invalid, "the hold on D-01 followed from record " + string(wrong) +
		" and cannot be voided\nhint: correct or void that record where it is wrong; otherwise see what ends the hold with: rinsate ready D-01"}})
	s := reprocessing.Step{Scope: "D-01", Kind: reprocessing.Inspection, Start: b.at().Add(-2 * time.Minute), End: b.at(), By: "T-01", Result: reprocessing.Pass}
	b.pass(time.Minute)
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(both(desk.Entry{Corrects: wrong, Reason: "typed wrong"}), s)
	})
	wantFollowed(t, "corrected", r, record.Void)
	b.wantHeldFor("corrected")
	s.Result = reprocessing.Fail
	b.pass(time.Minute)
	r = b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(desk.Entry{By: "T-01", Corrects: r.Record.ID, Reason: "it had failed"}, s)
	})
	wantFollowed(t, "and corrected back", r, record.Hold)
	b.wantHeldFor("and corrected back", reprocessing.DamageHold)
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: r.Record.ID, Reason: "another scope"}))
	})
	b.wantHeldFor("voided")
	b.pass(time.Hour)
	b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(20 * time.Minute)})
	b.pass(time.Minute)
	used := b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(20 * time.Minute)})
	if held := used.Held(); !strings.HasPrefix(held, "the scope was not ready: no reprocessing step is on record since") ||
		!strings.HasSuffix(held, "; it is on hold now (exposure)") {
		t.Errorf("the receipt says %q", held)
	}
	b.wantHeldFor("used twice", reprocessing.ExposureHold)
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: used.Record.ID, Reason: "another scope"}))
	})
	b.wantHeldFor("not used twice")
	b.rebuilt()
	b.wantHeldFor("from the ledger alone")
}

// A use that began while only a record was missing: the record ends the hold by a lead's signature. Where cleaning was
// missing it takes two, also when that arrives.
func TestRecordThatArrivesLate(t *testing.T) {
	for _, test := range []struct {
		missing reprocessing.StepKind
		kind    reprocessing.HoldKind
		refused string
		by      [2]string
	}{
		{reprocessing.Drying, reprocessing.RecordHold, "ends with the signature of a lead", [2]string{"L-01", ""}},
		{reprocessing.ManualCleaning, reprocessing.ExposureHold, "ends with the signature of infection prevention and a second person", [2]string{"L-01", "H-01"}},
	} {
		b := start(t)
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterPerson(desk.Entry{By: "L-01"}, b.at(), record.PersonBody{Code: "T-01", Role: "technician"})
		})
		b.reprocessed()
		var late reprocessing.Step
		b.ask(func(v desk.View) error {
			h, err := v.Around("D-01", b.at(), b.at(), b.at())
			for _, s := range h.Steps {
				if s.Kind == test.missing {
					late = s
				}
			}
			return err
		})
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(both(desk.Entry{Corrects: ledger.ID(late.ID), Reason: "to be recorded late"}))
		})
		b.pass(30 * time.Minute)
		used := b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(20 * time.Minute)})
		wantFollowed(t, "a use", used, record.Hold)
		b.wantHeldFor("a use", test.kind)
		wantRefused(t, b.liftBy(test.kind, "L-01", "H-01"), "what was missing when the use began is not on record")
		late.Stamp = reprocessing.Stamp{}
		b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, late) })
		if test.refused != "" {
			wantRefused(t, b.liftBy(test.kind, "T-01", ""), test.refused)
		}
		b.wantHeldFor("the record alone ends nothing", test.kind)
		if err := b.liftBy(test.kind, test.by[0], test.by[1]); err != nil {
			t.Fatal(err)
		}
		b.wantHeldFor("lifted")
		b.rebuilt()
		b.wantHeldFor("from the ledger alone")
		// It is taken back again: what it ended is open again.
		b.pass(time.Minute)
		again := b.latest(record.Step)
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(both(desk.Entry{Corrects: again, Reason: "it was another scope"}))
		})
		b.wantHeldFor("the record is gone", test.kind)
	}
}

// A failed step of a time before a use that had looked fine has that use looked at again.
func TestBadNewsAfterTheUse(t *testing.T) {
	b := start(t)
	b.reprocessed()
	failed := b.pass(10 * time.Minute)
	b.pass(20 * time.Minute)
	b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(20 * time.Minute)})
	b.wantHeldFor("a use of a scope that was ready")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{
			Scope: "D-01", Kind: reprocessing.LeakTest, Start: failed, End: failed.Add(2 * time.Minute), By: "T-01", Result: reprocessing.Fail,
		})
	})
	b.wantHeldFor("a leak test before it had failed", reprocessing.LeakHold, reprocessing.ExposureHold)
}

// What speaks against a scope has the same holds whatever arrives first, and what arrives late of what speaks for it
// never makes the answer better than in order.
func TestOrderOfArrival(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rapid.Check(t, func(rt *rapid.T) {
		begin := start(checked{t, rt}).at()
		at := func(minutes int) unit.Instant { return begin.Add(48*time.Hour + time.Duration(minutes)*time.Minute) }
		step := func(kind reprocessing.StepKind, from, to int, result reprocessing.Result) func(*desk.Work) error {
			s := reprocessing.Step{Scope: "D-01", Kind: kind, Start: at(from), End: at(to), By: "T-01", Result: result}
			return func(w *desk.Work) error { return only(w.RecordStep(tech, s)) }
		}
		use := func(from, to int) func(*desk.Work) error {
			return func(w *desk.Work) error {
				return only(w.RecordUse(nurse, reprocessing.Use{Scope: "D-01", Start: at(from), End: at(to)}, ""))
			}
		}
		acts := []func(*desk.Work) error{
			use(0, 20), use(200, 220), use(400, 420),
			step(reprocessing.LeakTest, 30, 32, reprocessing.Fail), step(reprocessing.Inspection, 240, 242, reprocessing.Fail),
			step(reprocessing.Disinfection, 260, 280, reprocessing.Fail),
			func(w *desk.Work) error {
				return only(w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.CultureHold, At: at(150), By: "T-01", Reason: "grew"}))
			},
			func(w *desk.Work) error {
				return only(w.RecordRepair(lead, scope.Repair{Scope: "D-01", Sent: at(300), Returned: at(350), Fault: "a leak"}, ""))
			},
		}
		order := rapid.Permutation(acts).Draw(rt, "order")
		told := func(acts []func(*desk.Work) error) (kinds []string, state reprocessing.State) {
			b := start(checked{t, rt})
			b.pass(100 * time.Hour)
			for _, act := range acts {
				b.pass(time.Minute)
				b.do(act)
			}
			for _, h := range b.openHolds() {
				kinds = append(kinds, string(h.Of())+" "+h.At.String())
			}
			slices.Sort(kinds)
			return kinds, b.release().State
		}
		want, state := told(acts)
		got, other := told(order)
		if !slices.Equal(got, want) || other != state {
			rt.Fatalf("%s, on hold for %q, want %s and %q", other, got, state, want)
		}
	})
}

// A hold becomes only stricter, and keeps what it followed from and since when.
func TestStricterHold(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.step(reprocessing.LeakTest, 2*time.Minute, failed)
	old := b.openHolds()[0]
	change := func(kind reprocessing.HoldKind) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) {
			e := desk.Entry{By: "H-01", Corrects: ledger.ID(old.ID), Reason: "an index patient"}
			return w.PlaceHold(e, reprocessing.Hold{Scope: "D-01", Kind: kind, By: "H-01", Reason: "an index patient"})
		}
	}
	b.pass(time.Minute)
	b.refused(t, []refusal{{
		"milder", change(reprocessing.CleaningHold), fault.Invalid,
		"the hold on D-01 is for leak: it can only become a stricter one, and cleaning is milder\nhint: lift the hold when what it is for is settled",
	}})
	b.must(change(reprocessing.ExposureHold))
	b.wantHeldFor("stricter", reprocessing.ExposureHold)
	if h := b.openHolds()[0]; h.At != old.At || h.Cause != old.Cause || h.By != "H-01" {
		t.Errorf("the stricter hold: %+v, the older one: %+v", h, old)
	}
	// What a person made stricter does not go with the step.
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: ledger.ID(old.Cause), Reason: "another scope"}))
	})
	b.wantHeldFor("without its step", reprocessing.ExposureHold)
}

// Whoever may record steps lifts what ends by whoever did it, and nothing else.
func TestTechnicianLifts(t *testing.T) {
	b := start(t)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterPerson(desk.Entry{By: "L-01"}, b.at(), record.PersonBody{Code: "T-01", Role: "technician"})
	})
	b.step(reprocessing.Disinfection, 20*time.Minute, failed)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.RecallHold, By: "T-01", Reason: "a notice"})
	})
	b.pass(time.Minute)
	b.attach(tech, dossier.Attachment{Scope: "D-01", Kind: dossier.Report, Title: "what the notice asks for"}, picture(b, 4, 4))
	b.reprocessed()
	var ids []string
	for _, h := range b.openHolds() {
		if h.Of() == reprocessing.DisinfectionHold || h.Of() == reprocessing.RecallHold {
			ids = append(ids, h.ID)
		}
	}
	if len(ids) != 2 {
		t.Fatalf("%d holds", len(ids))
	}
	lift := func(id string, ago time.Duration) error {
		return b.attempt(b.as("T-01", ago, access.Technician), func(w *desk.Work) error {
			return only(w.LiftHold(desk.Entry{}, reprocessing.Lift{Hold: id, Reason: "reprocessed"}))
		})
	}
	if err := lift(ids[0], access.ProofHolds); fault.CodeOf(err) != fault.Unsigned {
		t.Errorf("not signed: %v", err)
	}
	if err := lift(ids[0], 0); err != nil {
		t.Errorf("a technician, for disinfection: %v", err)
	}
	wantRefused(t, lift(ids[1], 0), "ends with the signature of a lead")
	// Somebody else who may record steps did nothing that it ends over.
	b.step(reprocessing.Disinfection, 20*time.Minute, failed)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterPerson(desk.Entry{By: "L-01"}, b.at(), record.PersonBody{Code: "T-02", Role: "technician"})
	})
	b.pass(time.Minute)
	b.reprocessed()
	for _, h := range b.openHolds() {
		if h.Of() == reprocessing.DisinfectionHold {
			wantRefused(t, b.attempt(b.as("T-02", 0, access.Technician), func(w *desk.Work) error {
				return only(w.LiftHold(desk.Entry{}, reprocessing.Lift{Hold: h.ID, Reason: "reprocessed"}))
			}), "ends with the signature of whoever did it")
			if err := lift(h.ID, 0); err != nil {
				t.Errorf("who did it: %v", err)
			}
		}
	}
}

// What ends over a photograph or a report ends only once that is filed, and is open again when it is taken back.
func TestLiftOverWhatIsFiled(t *testing.T) {
	file := func(b *bench, a dossier.Attachment) ledger.ID {
		b.pass(time.Minute)
		r := b.attach(tech, a, picture(b, 4, 4))
		b.pass(time.Minute)
		return r.Record.ID
	}
	report := dossier.Attachment{Scope: "D-01", Kind: dossier.Report, Title: "what was found"}
	for _, test := range []struct {
		kind    reprocessing.HoldKind
		by      string
		missing string
		file    dossier.Attachment
	}{
		{reprocessing.DamageHold, "L-01", "no photograph is filed with the inspection that passed", photograph()},
		{reprocessing.CultureHold, "H-01", "no report of the laboratory was filed with the scope after it was reprocessed", report},
		{reprocessing.WaterHold, "H-01", "no report of the water was filed with the scope after it", report},
		{reprocessing.RecallHold, "L-01", "no report of what the notice asks for was filed with the scope after it", report},
	} {
		t.Run(string(test.kind), func(t *testing.T) {
			b := start(t)
			b.reprocessed()
			file(b, test.file) // of before the hold
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", Kind: test.kind, By: "T-01", Reason: "seen"})
			})
			b.pass(time.Minute)
			b.reprocessAnew()
			b.wantHeldFor("reprocessed", test.kind)
			wantRefused(t, b.liftBy(test.kind, test.by, ""), test.missing)
			filed := file(b, test.file)
			if err := b.liftBy(test.kind, test.by, ""); err != nil {
				t.Fatal(err)
			}
			b.wantState("lifted", reprocessing.Ready, "")
			b.rebuilt()
			b.wantState("from the ledger alone", reprocessing.Ready, "")
			b.pass(time.Minute)
			b.use()
			b.wantHeldFor("used", nil...)
			b.pass(time.Minute)
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(desk.Entry{By: "L-01", Corrects: filed, Reason: "of another scope"})
			})
			then := reprocessing.RecordHold
			if test.kind != reprocessing.RecallHold {
				then = reprocessing.ExposureHold
			}
			b.wantHeldFor("taken back", test.kind, then)
			b.rebuilt()
			b.wantHeldFor("taken back, from the ledger alone", test.kind, then)
		})
	}
}
