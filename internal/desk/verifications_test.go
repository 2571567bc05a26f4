package desk_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// body reads the body of a record.
func body[T any](tb testing.TB, r ledger.Record) T {
	tb.Helper()
	x, err := record.Body[T](r)
	if err != nil {
		tb.Fatal(err)
	}
	return x
}

// types lists the types of records in order.
func types(records []ledger.Record) (all []record.Kind) {
	for _, r := range records {
		all = append(all, record.KindOf(r))
	}
	return all
}

// wantFollowed compares what the rules added to an act.
func wantFollowed(tb testing.TB, what string, r desk.Receipt, want ...record.Kind) {
	tb.Helper()
	if got := types(r.Followed); !slices.Equal(got, want) {
		tb.Fatalf("%s: followed by %q, want %q", what, got, want)
	}
}

// blocking lists the sentences that keep a scope from patients.
func blocking(a reprocessing.Answer) (texts []string) {
	for _, r := range a.Reasons {
		if r.Blocks {
			texts = append(texts, r.Whole())
		}
	}
	return texts
}

// wantState compares the release check's answer, and that a reason holds some words.
func (b *bench) wantState(what string, want reprocessing.State, words string) {
	b.Helper()
	a := b.release()
	if a.State != want || words != "" && !strings.Contains(strings.Join(blocking(a), "\n"), words) {
		b.Fatalf("%s: %s, want %s with %q:\n%s", what, a.State, want, words, strings.Join(blocking(a), "\n"))
	}
	// What is known today is what could be known now.
	if diff := cmp.Diff(a, b.releaseAt(b.at(), b.at())); diff != "" {
		b.Fatalf("%s: as known today (-) and as known now (+):\n%s", what, diff)
	}
}

func (b *bench) lift(l reprocessing.Lift) (desk.Receipt, error) {
	var r desk.Receipt
	err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) (err error) {
		r, err = w.LiftHold(desk.Entry{By: l.By}, l)
		return err
	})
	return r, err
}

func TestCleaningsEscalate(t *testing.T) {
	b := start(t)
	b.use()
	var holds []ledger.Record
	for cleaning := 1; cleaning <= 3; cleaning++ {
		if cleaning > 1 {
			b.clean()
		}
		b.read(scope.OuterDistalEnd, "30")
		r := b.read(scope.ElevatorRecess, "250")
		wantFollowed(t, "over the action level", r, record.Verification, record.Hold)
		d, hold := body[reprocessing.Decision](t, r.Followed[0]), body[reprocessing.Hold](t, r.Followed[1])
		if d.Verification.Cleaning != cleaning || d.Verification.Outcome != reading.Action {
			t.Errorf("cleaning %d: %+v", cleaning, d.Verification)
		}
		if hold.Escalated != (cleaning == 3) || hold.Cause != string(r.Followed[0].ID) {
			t.Errorf("cleaning %d: %+v", cleaning, hold)
		}
		holds = append(holds, r.Followed[1])
		b.wantState(
			"over the action level",
			reprocessing.OnHold,
			(reading.Verification{Cleaning: cleaning, Outcome: reading.Action}).Words()+": outer distal end OK; elevator recess action",
		)
	}
	b.clean()
	r := b.verification("30", "30", "30")
	wantFollowed(t, "a passed retest", r, record.Verification, record.Lift, record.Lift)
	for i, lifted := range r.Followed[1:] {
		l := body[reprocessing.Lift](t, lifted)
		if l.Hold != string(holds[i].ID) || l.Verification != string(r.Followed[0].ID) || !slices.Contains(lifted.Because, r.Followed[0].ID) {
			t.Errorf("lift %d: %+v because %v, want hold %s by cleaning verification %s", i, l, lifted.Because, holds[i].ID, r.Followed[0].ID)
		}
	}
	b.wantState("the escalated hold outlasts a passed verification", reprocessing.OnHold, "re-test after the 3rd cleaning: action level exceeded")

	escalated := string(holds[2].ID)
	_, err := b.lift(reprocessing.Lift{Hold: escalated, By: "L-01", Reason: "inspected inside, no damage"})
	if want := "the hold on D-01 ends with the signature of a lead and a second person\nhint: name the other person with --second"; err == nil ||
		err.Error() != want {
		t.Errorf("escalated, alone: %v", err)
	}
	_, err = b.lift(reprocessing.Lift{Hold: escalated, By: "L-01", Second: "L-01", Reason: "inspected inside, no damage"})
	if want := "lift of the hold on D-01: the second person must be another than L-01"; err == nil || err.Error() != want {
		t.Errorf("escalated, the same person twice: %v", err)
	}
	if _, err = b.lift(reprocessing.Lift{Hold: escalated, By: "L-01", Second: "L-02", Reason: "inspected inside, no damage"}); err != nil {
		t.Fatal(err)
	}
	b.finish()
	b.wantState("lifted by two", reprocessing.Ready, "")
}

func TestRefusedLifts(t *testing.T) {
	b := start(t)
	b.use()
	passed := b.verification("30", "30", "30").Followed[0]
	b.finish()
	placed := b.pass(time.Minute)
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "dent at the tip"})
	}).Record
	b.pass(time.Minute)
	id := string(hold.ID)
	lift := func(l reprocessing.Lift) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) { return w.LiftHold(desk.Entry{By: l.By}, l) }
	}
	const alone = "the hold on D-01 ends with the signature of a lead and a second person\nhint: name the other person with --second"
	early := "cleaning verification " + string(passed.ID) + " does not show that D-01 passed after the hold was placed at " + placed.In(b.desk.DB.Zone())
	b.refused(t, []refusal{
		{"no name", lift(reprocessing.Lift{Hold: id, Reason: "r", Second: "L-02"}), fault.Invalid, "lift of the hold on D-01: who lifts it?"},
		{"no reason", lift(reprocessing.Lift{Hold: id, By: "L-01", Second: "L-02"}), fault.Invalid, "lift of the hold on D-01: the reason is missing"},
		{"alone", lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r"}), fault.Invalid, alone},
		{
			"a second person whom nobody knows",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-09"}),
			fault.NotFound,
			"the second person \"L-09\" is not registered here\nhint: register the person, or name another with --second",
		},
		{
			"a first person whom nobody knows",
			lift(reprocessing.Lift{Hold: id, By: "L-09", Reason: "r", Second: "L-02"}),
			fault.NotFound,
			"the person \"L-09\" is not registered here\nhint: register the person, or let somebody do it who is registered",
		},
		{
			"the same person in other letters",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "l-01"}),
			fault.Invalid,
			"lift of the hold on D-01: the second person must be another than L-01",
		},
		{
			"twice the same person",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-01"}),
			fault.Invalid,
			"lift of the hold on D-01: the second person must be another than L-01",
		},
		{
			"a cleaning verification before the hold",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Verification: string(passed.ID)}),
			fault.Invalid,
			early,
		},
		{
			"a cleaning verification before the hold, although two agree",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", Verification: string(passed.ID)}),
			fault.Invalid,
			early,
		},
		{
			"what is no cleaning verification",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", Verification: id}),
			fault.Invalid,
			"record " + id + " is not the decision on a cleaning verification",
		},
		{
			"before it was placed",
			lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", At: placed - 1}),
			fault.Invalid,
			"lift of the hold on D-01: it would end at " + placed.In(b.desk.DB.Zone()) + ", before it was placed at " + placed.In(b.desk.DB.Zone()),
		},
		{
			"what is no hold",
			lift(reprocessing.Lift{Hold: string(passed.ID), By: "L-01", Reason: "r", Second: "L-02"}),
			fault.Invalid,
			"record " + string(passed.ID) + " is not a hold",
		},
		{
			"nothing",
			lift(reprocessing.Lift{Hold: string(ledger.DerivedID("x")), By: "L-01", Reason: "r", Second: "L-02"}),
			fault.NotFound,
			"there is no record " + string(ledger.DerivedID("x")),
		},
	})
	b.wantState("still on hold", reprocessing.OnHold, "on hold since")
	if _, err := b.lift(reprocessing.Lift{Hold: id, By: "L-01", Second: "L-02", Reason: "no dent"}); err != nil {
		t.Fatal(err)
	}
	b.wantState("lifted by two", reprocessing.Ready, "")
	b.refused(
		t,
		[]refusal{
			{
				"twice",
				lift(reprocessing.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02"}),
				fault.Conflict,
				"hold " + id + " on D-01 is not open\nhint: see the open holds with: rinsate ready D-01",
			},
		},
	)
}

// What a person saw, or a culture grew, is not shown to be gone by a low reading: no verification ends such a
// hold, neither by itself nor in the hands of one person.
func TestPersonsHoldTakesTwoPeople(t *testing.T) {
	b := start(t)
	b.use()
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "culture positive"})
	}).Record
	b.pass(time.Minute)
	r := b.verification("30", "30", "30")
	wantFollowed(t, "a cleaning verification under a person's hold", r, record.Verification)
	verification := string(r.Followed[0].ID)
	b.finish()
	b.wantState("passed, still held", reprocessing.OnHold, "culture positive")
	if next := b.release().Next; !slices.Contains(next, "settle what the hold is for; then a lead and a second person lift it") {
		t.Errorf("next: %q", next)
	}
	b.pass(time.Minute)
	for name, l := range map[string]reprocessing.Lift{
		"the cleaning verification found": {Hold: string(hold.ID), By: "L-01", Reason: "clean"},
		"the cleaning verification named": {Hold: string(hold.ID), By: "L-01", Reason: "clean", Verification: verification},
		"the same person twice":           {Hold: string(hold.ID), By: "L-01", Second: "L-01", Reason: "clean", Verification: verification},
		"in other letters":                {Hold: string(hold.ID), By: "L-01", Second: "l-01", Reason: "clean", Verification: verification},
		"somebody unknown agrees":         {Hold: string(hold.ID), By: "L-01", Second: "X-99", Reason: "clean", Verification: verification},
	} {
		if _, err := b.lift(l); err == nil {
			t.Errorf("%s: lifted", name)
		}
		b.wantState(name, reprocessing.OnHold, "culture positive")
	}
	lifted, err := b.lift(reprocessing.Lift{Hold: string(hold.ID), By: "L-01", Second: "L-02", Reason: "two repeat cultures negative"})
	if err != nil {
		t.Fatal(err)
	}
	if got := body[reprocessing.Lift](t, lifted.Record); !slices.Equal(got.ByRoles, []access.Role{access.Lead}) ||
		!slices.Equal(got.SecondRoles, []access.Role{access.Lead}) {
		t.Errorf("the lift says of those who signed %q and %q, want two leads", got.ByRoles, got.SecondRoles)
	}
	b.wantState("lifted by two", reprocessing.Ready, "")
	b.rebuilt()
	b.wantState("from the ledger alone", reprocessing.Ready, "")

	// Two people agreed, so the hold stays ended when the verification is decided otherwise; the verification does not.
	b.pass(time.Minute)
	voided := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "wrong scope"})
	})
	wantFollowed(t, "void of a reading", voided, record.Verification)
	b.wantState("without the verification", reprocessing.InReprocessing, "first test: not judged")
}

// Nobody but the rules says that a hold follows from a verification: such a hold would end by the next one.
func TestPersonsHoldNamesNoVerification(t *testing.T) {
	b := start(t)
	b.use()
	r := b.verification("30", "30", "30")
	b.refused(t, []refusal{{"a cause", func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells", Cause: string(r.Followed[0].ID)})
	}, fault.Invalid, "hold of D-01: only the rules name the record that a hold follows from"}})
}

// A lift of the rules falls with its verification, and names it.
func TestLiftByVerificationFallsWithIt(t *testing.T) {
	b := start(t)
	b.use()
	failed := b.read(scope.OuterDistalEnd, "250")
	hold := string(failed.Followed[1].ID)
	b.clean()
	r := b.verification("30", "30", "30")
	wantFollowed(t, "retest", r, record.Verification, record.Lift)
	b.finish()
	b.wantState("lifted", reprocessing.Ready, "")
	b.pass(time.Minute)
	voided := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "wrong scope"})
	})
	wantFollowed(t, "void of a reading", voided, record.Verification)
	b.wantState("without the verification", reprocessing.OnHold, "action level exceeded")
	replaced := string(r.Followed[0].ID)
	b.refused(t, []refusal{{"a cleaning verification that was decided again", func(w *desk.Work) (desk.Receipt, error) {
		return w.LiftHold(lead, reprocessing.Lift{Hold: hold, By: "L-01", Reason: "r", Verification: replaced})
	}, fault.Invalid, "cleaning verification " + replaced + " was decided again since: name the decision that stands"}})
}

// A duplicate reading changes a passed decision into another passed one: the hold that the first one
// lifted stays lifted, by the second.
func TestSupersedingVerificationLiftsAnew(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "250")
	b.clean()
	wantFollowed(t, "retest", b.verification("30", "30", "30"), record.Verification, record.Lift)
	b.pass(time.Second)
	r := b.read(scope.OuterDistalEnd, "31")
	wantFollowed(t, "one reading more", r, record.Verification, record.Lift)
	if d := body[reprocessing.Decision](t, r.Followed[0]); d.Supersedes == "" || !d.Verification.Complete || d.Verification.Cleaning != 2 {
		t.Errorf("decision: %+v", d)
	}
	b.finish()
	b.wantState("at the end", reprocessing.Ready, "")
}

func TestVoidAndCorrectionDecideTheVerificationAgain(t *testing.T) {
	b := start(t)
	b.use()
	last := b.verification("30", "30", "250") // typed wrong: 25
	wantFollowed(t, "over the action level", last, record.Verification, record.Hold)
	b.pass(time.Minute)
	in := desk.Reading{Sample: ledger.ID(body[reading.Reading](t, last.Record).Sample), Meter: "M-1", Value: b.rlu("25"), At: last.Record.At}
	fix := both(desk.Entry{Corrects: last.Record.ID, Reason: "typed wrong"})
	r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(fix, in) })
	// The hold was placed at the end of the verification, so the corrected verification cannot show that the scope
	// was clean after it: a person has to lift it.
	wantFollowed(t, "corrected", r, record.Verification)
	d := body[reprocessing.Decision](t, r.Followed[0])
	if !d.Verification.Complete || d.Verification.Outcome != reading.OK || d.Supersedes != string(last.Followed[0].ID) {
		t.Errorf("decision after the correction: %+v", d)
	}
	b.wantState("corrected", reprocessing.OnHold, "action level exceeded")
	if _, err := b.lift(reprocessing.Lift{Hold: string(last.Followed[1].ID), By: "L-01", Second: "L-02", Reason: "typed wrong"}); err != nil {
		t.Fatal(err)
	}
	// What two put right shows nothing by itself.
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{in.Sample}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.finish()
	b.wantState("lifted", reprocessing.Ready, "")

	b.pass(time.Minute)
	r = b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "another scope"})
	})
	wantFollowed(t, "void of the reading", r, record.Verification)
	d = body[reprocessing.Decision](t, r.Followed[0])
	if d.Verification.Complete || d.Verification.Outcome != reading.None || !slices.Contains(d.Verification.Missing, scope.InstrumentLumen) {
		t.Errorf("decision after the void: %+v", d.Verification)
	}
	b.wantState("without the reading", reprocessing.OnHold, "instrument channel taken, not yet read")
	// What the two had agreed on is gone: that the point was read right after all.
	b.wantState("and with the hold", reprocessing.OnHold, "action level exceeded")
}

// The correction of a sample leaves its reading with it: that the sample was corrected has to be attested, and nothing is
// read anew.
func TestCorrectedSampleInItsVerification(t *testing.T) {
	b := start(t)
	b.use()
	last := b.verification("30", "30", "30")
	b.finish()
	b.wantState("before", reprocessing.Ready, "")
	b.pass(time.Minute)
	id := ledger.ID(body[reading.Reading](t, last.Record).Sample)
	s := sampling.Sample{
		Scope: "D-01", Point: scope.InstrumentLumen, Cleaning: 1, Kit: "K", Lot: "7", By: "T-01",
		Collected: last.Record.At - 45_000_000, Dipped: last.Record.At - 35_000_000, Activated: last.Record.At - 15_000_000, Shaken: 7 * unit.Second, Flushed: 40,
	}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Collect(desk.Entry{By: "T-01", Corrects: id, Reason: "shaken longer"}, s)
	})
	wantFollowed(t, "corrected sample", r, record.Reading)
	// Nobody captured again when it was collected: it is somebody's word.
	b.wantState("read", reprocessing.InReprocessing, "the good reading of the instrument channel proves nothing: it was corrected after it had stood on record")
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{r.Record.ID}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
}

// What makes a reading void: kept, and never counted.
func TestVoidReadings(t *testing.T) {
	tests := []struct {
		name string
		lot  string
		// change comes between the activation and the reading.
		change func(b *bench)
		want   string
	}{
		{
			"read too late",
			"7",
			func(b *bench) { b.pass(time.Minute) },
			"read the activated device: 1min15s after it was activated; at most 1min is allowed: take a new sample",
		},
		{"lot out of date", "old", func(*bench) {}, "lot old of kit K expired at 2026-03-02T08:00:00Z: take a new sample with another lot"},
		{"recalled lot", "7", func(b *bench) {
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().
					RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "7", Expires: b.at().Add(time.Hour), Recalled: b.at().Add(-time.Hour)})
			})
		}, "lot 7 of kit K is recalled: take a new sample with another lot"},
		{"recalled between sample and reading", "7", func(b *bench) {
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "7", Expires: b.at().Add(time.Hour), Recalled: b.at()})
			})
		}, "lot 7 of kit K is recalled: take a new sample with another lot"},
		{"expired between sample and reading", "7", func(b *bench) {
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "7", Expires: b.at().Add(5 * time.Second)})
			})
		}, "lot 7 of kit K expired at 2026-03-02T09:04:45Z: take a new sample with another lot"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "old", Expires: b.at()})
			})
			b.use()
			b.read(scope.ElevatorRecess, "30")
			b.read(scope.InstrumentLumen, "30")
			s := b.take(scope.OuterDistalEnd)
			s.Lot = test.lot
			taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) })
			test.change(b)
			in := desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("10"), At: b.pass(15 * time.Second)}
			r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) })
			x := body[reading.Reading](t, r.Record)
			if x.Judgement.Outcome != reading.Void || x.Judgement.Why != test.want || x.Value.Typed != "10" {
				t.Errorf("judgement: %+v", x.Judgement)
			}
			wantFollowed(t, "void reading", r)
			b.wantState("void reading", reprocessing.InReprocessing, "sampling is due")
			// Residue that was found was there, whatever is wrong with the sample.
			in.Value, in.At = b.rlu("900"), b.pass(time.Second)
			r = b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) })
			if x := body[reading.Reading](t, r.Record); x.Judgement.Outcome != reading.Action || !strings.Contains(x.Judgement.Why, "it counts although") {
				t.Errorf("over the action level: %+v", x.Judgement)
			}
			wantFollowed(t, "over the action level", r, record.Verification, record.Hold)
			b.wantState("over the action level", reprocessing.OnHold, "action level exceeded")
		})
	}
}

// Without an adopted level nobody can say what a count means.
func TestNoLevel(t *testing.T) {
	b := start(t)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(lead, b.at(), quality.Meter{Code: "M-2", System: "B"})
	})
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.read(scope.ElevatorRecess, "30")
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.InstrumentLumen)) })
	in := desk.Reading{Sample: taken.Record.ID, Meter: "M-2", Value: b.rlu("1"), At: b.pass(15 * time.Second)}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) })
	x := body[reading.Reading](t, r.Record)
	want := `no level is adopted for atp with meter system "B" and kit "K" at the instrument channel; ` +
		`there is one for system "A" with kit "K", which counts on another scale and cannot be used: adopt a level, then read again`
	if x.Judgement.Outcome != reading.None || x.Judgement.Why != want {
		t.Errorf("judgement: %+v", x.Judgement)
	}
	b.finish()
	b.wantState(
		"without a level",
		reprocessing.InReprocessing,
		"outer distal end was sampled at 2026-03-02 10:03 +01:00 and its cleaning verification has no result",
	)
}

// A use that is written down late takes its place by when it happened.
func TestLateUse(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	ready := b.release()
	if ready.State != reprocessing.Ready {
		t.Fatalf("%s %v", ready.State, blocking(ready))
	}
	asked := b.at()
	b.pass(2 * time.Hour)
	late := func(start unit.Instant, d time.Duration) desk.Receipt {
		u := reprocessing.Use{Scope: "D-01", Start: start, End: start.Add(d)}
		return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") })
	}
	// Before everything else: nothing changes.
	late(asked.Add(-6*time.Hour), time.Minute)
	b.wantState("a use before the last", reprocessing.Ready, "")
	// After it was stored: it is not reprocessed.
	r := late(asked.Add(time.Hour), 20*time.Minute)
	b.wantState("a use since", reprocessing.InReprocessing, "no reprocessing step is on record since the last use ended")
	if !desk.Late(r.Record.At, r.Record.Recorded) {
		t.Error("the entry is not marked late")
	}
	at := asked.Add(90 * time.Minute)
	if a := b.releaseAt(at, at); a.State != reprocessing.Ready {
		t.Errorf("as it could be known then: %s %v", a.State, blocking(a))
	}
	if a := b.releaseAt(at, store.Forever); a.State != reprocessing.InReprocessing {
		t.Errorf("as it is known today: %s", a.State)
	}
	if diff := cmp.Diff(ready, b.releaseAt(asked, asked)); diff != "" {
		t.Errorf("the answer that was given (-), asked for again (+):\n%s", diff)
	}
}

func TestLate(t *testing.T) {
	const at unit.Instant = 1_000_000_000
	for _, test := range []struct {
		name     string
		recorded unit.Instant
		want     bool
	}{
		{"before it happened", at - 1, false},
		{"at once", at, false},
		{"15 min later", at.Add(15 * time.Minute), false},
		{"just over 15 min later", at.Add(15*time.Minute) + 1, true},
	} {
		if got := desk.Late(at, test.recorded); got != test.want {
			t.Errorf("%s: %t, want %t", test.name, got, test.want)
		}
	}
}

// The chronicle shows everything, what was replaced as well; what is written at its end is not late.
func TestChronicle(t *testing.T) {
	b := start(t)
	u := reprocessing.Use{Scope: "D-01", Start: b.at()}
	begun := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") }).Record
	u.End, u.Finishes = b.pass(40*time.Minute), string(begun.ID)
	ended := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") }).Record
	b.pass(time.Minute)
	void := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "N-01", Corrects: ended.ID, Reason: "another scope"})
	}).Record
	var lines []desk.Line
	var shown desk.Line
	err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		if lines, err = v.Chronicle("D-01", 0, store.Forever, 10); err != nil {
			return err
		}
		shown, err = v.Show(string(begun.ID))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	type seen struct {
		ID       ledger.ID
		Late     bool
		Replaced unit.Instant
	}
	var got []seen
	for _, l := range lines {
		got = append(got, seen{ledger.ID(l.ID), l.Late, l.Replaced})
	}
	want := []seen{{void.ID, false, 0}, {ended.ID, false, void.Recorded}, {begun.ID, false, ended.Recorded}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("chronicle (-want +got):\n%s", diff)
	}
	if shown.Replaced != ended.Recorded || shown.ID != string(begun.ID) {
		t.Errorf("shown alone: %+v", shown)
	}
}

// The same entries sent twice, as a tablet does after a lost answer, leave the same ledger; also when
// levels and rules have changed in between.
func TestSentTwice(t *testing.T) {
	b := start(t)
	b.use()
	id := func(name string) ledger.ID { return ledger.DerivedID("sent", name) }
	entry := func(name string) desk.Entry { return desk.Entry{ID: id(name), By: "T-01"} }
	s := b.take(scope.ElevatorRecess)
	m := sampling.Moment{Sample: string(id("capped")), Mark: sampling.Capped, At: b.at()}
	other := sampling.Sample{Scope: "D-01", Point: scope.InstrumentLumen, Kit: "K", Lot: "7", Collected: b.at()}
	in := desk.Reading{Sample: id("sample"), Meter: "M-1", Value: b.rlu("250"), At: b.pass(15 * time.Second)}
	long := b.at().Add(-1000 * time.Hour)
	acts := []func(*desk.Work) (desk.Receipt, error){
		func(w *desk.Work) (desk.Receipt, error) { return w.Collect(entry("sample"), s) },
		func(w *desk.Work) (desk.Receipt, error) { return w.Collect(entry("capped"), other) },
		func(w *desk.Work) (desk.Receipt, error) { return w.Mark(entry("mark"), m) },
		func(w *desk.Work) (desk.Receipt, error) { return w.Read(entry("reading"), in) },
		func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordUse(entry("use"), reprocessing.Use{Scope: "D-01", Start: long}, "patient 1")
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(entry("hold"), reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.Ask(entry("request"), sampling.Request{Scope: "D-01", By: "L-01", Reason: "outbreak"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.LiftHold(entry("lift"), reprocessing.Lift{Hold: string(id("hold")), By: "L-01", Second: "L-02", Reason: "no smell"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(both(desk.Entry{ID: id("void"), Corrects: id("reading"), Reason: "another scope"}))
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordRepair(entry("repair"), scope.Repair{Scope: "D-01", Sent: 1_000_000}, "")
		},
	}
	var first []ledger.Record
	for _, act := range acts {
		b.pass(time.Second)
		r := b.must(act)
		if !r.Fresh {
			t.Fatalf("%s: not fresh the first time", record.KindOf(r.Record))
		}
		first = append(first, r.Record)
	}
	b.pass(time.Hour)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().
			AdoptLevel(lead, reading.Level{
				System: "A", Kit: "K", Point: scope.ElevatorRecess, Analyte: reading.ATP, Unit: reading.RLU, Action: 900,
				Comparison: reading.Over, Source: "test", Edition: "2", Adopter: "L-01", Adopted: long, Second: "L-02",
			})
	})
	size, release := b.size(), b.release()
	for i, act := range acts {
		r := b.must(act)
		if r.Fresh || r.Record.ID != first[i].ID || r.Record.Seq != first[i].Seq || len(r.Followed) != 0 {
			t.Errorf(
				"%s sent again: fresh %t, record %d, followed by %q; want record %d",
				first[i].Type,
				r.Fresh,
				r.Record.Seq,
				types(r.Followed),
				first[i].Seq,
			)
		}
	}
	if got := b.size(); got != size {
		t.Errorf("%d records, before %d", got, size)
	}
	if diff := cmp.Diff(release, b.release()); diff != "" {
		t.Errorf("the release check's answer changed:\n%s", diff)
	}
	b.refused(t, []refusal{
		{"another value under the same id", func(w *desk.Work) (desk.Receipt, error) {
			changed := in
			changed.Value = b.rlu("10")
			return w.Read(entry("reading"), changed)
		}, fault.Conflict, "record " + string(id("reading")) + " is stored with another content" + contentHint},
		{"another void under the same id", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{ID: id("void"), By: "T-02", Corrects: id("reading"), Reason: "another scope"})
		}, fault.Conflict, "record " + string(id("void")) + " is stored with another content" + contentHint},
	})
}

// A dry run leaves nothing behind, not even in what the desk remembers.
func TestDryRunOfRules(t *testing.T) {
	b := start(t)
	text := []byte(strings.Replace(string(policy.Preset()), "cleanings: 3 ", "cleanings: 1 ", 1))
	e := desk.Entry{ID: ledger.DerivedID("rules"), By: "L-01"}
	cleanings := func(v desk.View) int {
		rules, err := v.Registry().Rules(v.Now(), store.Forever)
		if err != nil {
			t.Fatal(err)
		}
		return rules.Reading.Cleanings
	}
	b.pass(time.Second)
	size := b.size()
	err := b.desk.As(access.Scribe()).Try(context.Background(), func(w *desk.Work) error {
		_, _, err := w.SettingUp().AdoptRules(e, desk.Adoption{At: b.at(), Name: "strict.yaml", Text: text})
		if got := cleanings(w.View); got != 1 {
			t.Errorf("within the dry run: %d cleanings, want 1", got)
		}
		return err
	})
	if err != nil || b.size() != size {
		t.Fatalf("dry run: %v, %d records, before %d", err, b.size(), size)
	}
	text = []byte(strings.Replace(string(policy.Preset()), "cleanings: 3 ", "cleanings: 2 ", 1))
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		r, _, err := w.SettingUp().AdoptRules(e, desk.Adoption{At: b.at(), Name: "strict.yaml", Text: text})
		return r, err
	})
	err = b.desk.View(context.Background(), func(v desk.View) error {
		if got := cleanings(v); got != 2 {
			t.Errorf("%d cleanings, want 2: the dry run was remembered", got)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A hold that a reading placed in the middle of a verification, and what that came to, are one thing: the answer tells it
// once, as it is now.
func TestHeldInTheMiddleOfAVerificationIsToldOnce(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.read(scope.ElevatorRecess, "250")
	b.read(scope.InstrumentLumen, "30")
	var told []string
	for _, why := range blocking(b.release()) {
		if strings.Contains(why, "action level exceeded: ") {
			told = append(told, why)
		}
	}
	if len(told) != 1 || !strings.HasPrefix(told[0], "on hold since ") || strings.Contains(told[0], "missing") ||
		!strings.Contains(told[0], "elevator recess action") {
		t.Errorf("told: %q", told)
	}
	if a := b.release(); a.State != reprocessing.OnHold || !strings.Contains(strings.Join(a.Next, "; "), "clean") {
		t.Errorf("%s, next %q", a.State, a.Next)
	}
}
