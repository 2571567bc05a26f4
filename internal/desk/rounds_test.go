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
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
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
func blocking(a turnaround.Answer) (texts []string) {
	for _, r := range a.Reasons {
		if r.Blocks {
			texts = append(texts, r.Text)
		}
	}
	return texts
}

// wantState compares the gate's answer, and that a reason holds some words.
func (b *bench) wantState(what string, want turnaround.State, words string) {
	b.Helper()
	a := b.gate()
	if a.State != want || words != "" && !strings.Contains(strings.Join(blocking(a), "\n"), words) {
		b.Fatalf("%s: %s, want %s with %q:\n%s", what, a.State, want, words, strings.Join(blocking(a), "\n"))
	}
	// What is known today is what could be known now.
	if diff := cmp.Diff(a, b.gateAt(b.at(), b.at())); diff != "" {
		b.Fatalf("%s: as known today (-) and as known now (+):\n%s", what, diff)
	}
}

func (b *bench) lift(l turnaround.Lift) (desk.Receipt, error) {
	var r desk.Receipt
	err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) (err error) {
		r, err = w.LiftHold(desk.Entry{By: l.By}, l)
		return err
	})
	return r, err
}

func TestAttemptsEscalate(t *testing.T) {
	b := start(t)
	b.use()
	var holds []ledger.Record
	for attempt := 1; attempt <= 3; attempt++ {
		if attempt > 1 {
			b.clean()
		}
		b.read(scope.OuterDistalEnd, "30")
		r := b.read(scope.ElevatorRecess, "250")
		wantFollowed(t, "over the action level", r, record.Round, record.Hold)
		d, hold := body[turnaround.Decision](t, r.Followed[0]), body[turnaround.Hold](t, r.Followed[1])
		if d.Round.Attempt != attempt || d.Round.Outcome != reading.Action {
			t.Errorf("attempt %d: %+v", attempt, d.Round)
		}
		if hold.Escalated != (attempt == 3) || hold.Cause != string(r.Followed[0].ID) {
			t.Errorf("attempt %d: %+v", attempt, hold)
		}
		holds = append(holds, r.Followed[1])
		b.wantState("over the action level", turnaround.Held, "is over the action level: outer-distal-end below; elevator-recess action")
	}
	b.clean()
	r := b.round("30", "30", "30")
	wantFollowed(t, "a passed retest", r, record.Round, record.Lift, record.Lift)
	for i, lifted := range r.Followed[1:] {
		l := body[turnaround.Lift](t, lifted)
		if l.Hold != string(holds[i].ID) || l.Round != string(r.Followed[0].ID) || !slices.Contains(lifted.Because, r.Followed[0].ID) {
			t.Errorf("lift %d: %+v because %v, want hold %s by round %s", i, l, lifted.Because, holds[i].ID, r.Followed[0].ID)
		}
	}
	b.wantState("the escalated hold outlasts a passed round", turnaround.Held, "round of attempt 3 is over the action level")

	escalated := string(holds[2].ID)
	_, err := b.lift(turnaround.Lift{Hold: escalated, By: "L-01", Reason: "inspected inside, no damage"})
	if want := "the hold on D-01 was escalated after the last attempt: it takes a second person to lift it, also after a passed round\nhint: name the other person with --second"; err == nil || err.Error() != want {
		t.Errorf("escalated, alone: %v", err)
	}
	_, err = b.lift(turnaround.Lift{Hold: escalated, By: "L-01", Second: "L-01", Reason: "inspected inside, no damage"})
	if want := "lift of the hold on D-01: the second person must be another than L-01"; err == nil || err.Error() != want {
		t.Errorf("escalated, the same person twice: %v", err)
	}
	if _, err = b.lift(turnaround.Lift{Hold: escalated, By: "L-01", Second: "L-02", Reason: "inspected inside, no damage"}); err != nil {
		t.Fatal(err)
	}
	b.finish()
	b.wantState("lifted by two", turnaround.Ready, "")
}

func TestRefusedLifts(t *testing.T) {
	b := start(t)
	b.use()
	passed := b.round("30", "30", "30").Followed[0]
	b.finish()
	placed := b.pass(time.Minute)
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, turnaround.Hold{Scope: "D-01", By: "T-01", Reason: "dent at the tip"})
	}).Record
	b.pass(time.Minute)
	id := string(hold.ID)
	lift := func(l turnaround.Lift) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) { return w.LiftHold(desk.Entry{By: l.By}, l) }
	}
	const alone = "the hold on D-01 was placed by a person: it takes a second person to lift it, also after a passed round\nhint: name the other person with --second"
	early := "round " + string(passed.ID) + " does not show that D-01 passed after the hold was placed at " + placed.In(b.desk.DB.Zone())
	b.refused(t, []refusal{
		{"no name", lift(turnaround.Lift{Hold: id, Reason: "r", Second: "L-02"}), fault.Invalid, "lift of the hold on D-01: who lifts it?"},
		{"no reason", lift(turnaround.Lift{Hold: id, By: "L-01", Second: "L-02"}), fault.Invalid, "lift of the hold on D-01: the reason is missing"},
		{"alone", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r"}), fault.Invalid, alone},
		{"a second person whom nobody knows", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-09"}), fault.NotFound, "the second person \"L-09\" is not registered here\nhint: register the person, or name another with --second"},
		{"the same person in other letters", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "l-01"}), fault.Invalid, "lift of the hold on D-01: the second person must be another than L-01"},
		{"twice the same person", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-01"}), fault.Invalid, "lift of the hold on D-01: the second person must be another than L-01"},
		{"a round before the hold", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Round: string(passed.ID)}), fault.Invalid, alone},
		{"a round before the hold, although two agree", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", Round: string(passed.ID)}), fault.Invalid, early},
		{"what is no round", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", Round: id}), fault.Invalid, "record " + id + " is not the decision on a round"},
		{"before it was placed", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02", At: placed - 1}), fault.Invalid, "lift of the hold on D-01: it would end at " + placed.In(b.desk.DB.Zone()) + ", before it was placed at " + placed.In(b.desk.DB.Zone())},
		{"what is no hold", lift(turnaround.Lift{Hold: string(passed.ID), By: "L-01", Reason: "r", Second: "L-02"}), fault.Invalid, "record " + string(passed.ID) + " is not a hold"},
		{"nothing", lift(turnaround.Lift{Hold: string(ledger.DerivedID("x")), By: "L-01", Reason: "r", Second: "L-02"}), fault.NotFound, "there is no record " + string(ledger.DerivedID("x"))},
	})
	b.wantState("still held", turnaround.Held, "held since")
	if _, err := b.lift(turnaround.Lift{Hold: id, By: "L-01", Second: "L-02", Reason: "no dent"}); err != nil {
		t.Fatal(err)
	}
	b.wantState("lifted by two", turnaround.Ready, "")
	b.refused(t, []refusal{{"twice", lift(turnaround.Lift{Hold: id, By: "L-01", Reason: "r", Second: "L-02"}), fault.Conflict, "hold " + id + " on D-01 is not open\nhint: see the open holds with: rinsate gate D-01"}})
}

// What a person saw, or a culture grew, is not shown to be gone by a low reading: no round ends such a
// hold, neither by itself nor in the hands of one person.
func TestPersonsHoldTakesTwoPeople(t *testing.T) {
	b := start(t)
	b.use()
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, turnaround.Hold{Scope: "D-01", By: "T-01", Reason: "culture positive"})
	}).Record
	b.pass(time.Minute)
	r := b.round("30", "30", "30")
	wantFollowed(t, "a round under a person's hold", r, record.Round)
	round := string(r.Followed[0].ID)
	b.finish()
	b.wantState("passed, still held", turnaround.Held, "culture positive")
	if next := b.gate().Next; !slices.Contains(next, "settle what the hold is for; then two people lift it") {
		t.Errorf("next: %q", next)
	}
	b.pass(time.Minute)
	for name, l := range map[string]turnaround.Lift{
		"the round found":         {Hold: string(hold.ID), By: "L-01", Reason: "clean"},
		"the round named":         {Hold: string(hold.ID), By: "L-01", Reason: "clean", Round: round},
		"the same person twice":   {Hold: string(hold.ID), By: "L-01", Second: "L-01", Reason: "clean", Round: round},
		"in other letters":        {Hold: string(hold.ID), By: "L-01", Second: "l-01", Reason: "clean", Round: round},
		"somebody unknown agrees": {Hold: string(hold.ID), By: "L-01", Second: "X-99", Reason: "clean", Round: round},
	} {
		if _, err := b.lift(l); err == nil {
			t.Errorf("%s: lifted", name)
		}
		b.wantState(name, turnaround.Held, "culture positive")
	}
	lifted, err := b.lift(turnaround.Lift{Hold: string(hold.ID), By: "L-01", Second: "L-02", Reason: "two repeat cultures negative"})
	if err != nil {
		t.Fatal(err)
	}
	if got := body[turnaround.Lift](t, lifted.Record).Round; got != round {
		t.Errorf("the lift names %q, want %s", got, round)
	}
	b.wantState("lifted by two", turnaround.Ready, "")
	b.rebuilt()
	b.wantState("from the ledger alone", turnaround.Ready, "")

	// Two people agreed, so the hold stays ended when the round is decided otherwise; the round does not.
	b.pass(time.Minute)
	voided := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "wrong scope"})
	})
	wantFollowed(t, "void of a reading", voided, record.Round)
	b.wantState("without the round", turnaround.InWork, "round of attempt 1 is none")
}

// Nobody but the rules says that a hold follows from a round: such a hold would end by the next one.
func TestPersonsHoldNamesNoRound(t *testing.T) {
	b := start(t)
	b.use()
	r := b.round("30", "30", "30")
	b.refused(t, []refusal{{"a cause", func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, turnaround.Hold{Scope: "D-01", By: "T-01", Reason: "smells", Cause: string(r.Followed[0].ID)})
	}, fault.Invalid, "hold of D-01: only the rules name the round that a hold follows from"}})
}

// A lift of the rules falls with its round, and names it.
func TestLiftByRoundFallsWithIt(t *testing.T) {
	b := start(t)
	b.use()
	failed := b.read(scope.OuterDistalEnd, "250")
	hold := string(failed.Followed[1].ID)
	b.clean()
	r := b.round("30", "30", "30")
	wantFollowed(t, "retest", r, record.Round, record.Lift)
	b.finish()
	b.wantState("lifted", turnaround.Ready, "")
	b.pass(time.Minute)
	voided := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "wrong scope"})
	})
	wantFollowed(t, "void of a reading", voided, record.Round)
	b.wantState("without the round", turnaround.Held, "over the action level")
	replaced := string(r.Followed[0].ID)
	b.refused(t, []refusal{{"a round that was decided again", func(w *desk.Work) (desk.Receipt, error) {
		return w.LiftHold(lead, turnaround.Lift{Hold: hold, By: "L-01", Reason: "r", Round: replaced})
	}, fault.Invalid, "round " + replaced + " was decided again since: name the decision that stands"}})
}

// A duplicate reading changes a passed decision into another passed one: the hold that the first one
// lifted stays lifted, by the second.
func TestSupersedingRoundLiftsAnew(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "250")
	b.clean()
	wantFollowed(t, "retest", b.round("30", "30", "30"), record.Round, record.Lift)
	b.pass(time.Second)
	r := b.read(scope.OuterDistalEnd, "31")
	wantFollowed(t, "one reading more", r, record.Round, record.Lift)
	if d := body[turnaround.Decision](t, r.Followed[0]); d.Supersedes == "" || !d.Round.Complete || d.Round.Attempt != 2 {
		t.Errorf("decision: %+v", d)
	}
	b.finish()
	b.wantState("at the end", turnaround.Ready, "")
}

func TestVoidAndCorrectionDecideTheRoundAgain(t *testing.T) {
	b := start(t)
	b.use()
	last := b.round("30", "30", "250") // typed wrong: 25
	wantFollowed(t, "over the action level", last, record.Round, record.Hold)
	b.pass(time.Minute)
	in := desk.Reading{Sample: ledger.ID(body[reading.Reading](t, last.Record).Sample), Meter: "M-1", Value: b.rlu("25"), At: last.Record.At}
	fix := desk.Entry{By: "T-01", Corrects: last.Record.ID, Reason: "typed wrong"}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(fix, in) })
	// The hold was placed at the end of the round, so the corrected round cannot show that the scope
	// was clean after it: a person has to lift it.
	wantFollowed(t, "corrected", r, record.Round)
	d := body[turnaround.Decision](t, r.Followed[0])
	if !d.Round.Complete || d.Round.Outcome != reading.Below || d.Supersedes != string(last.Followed[0].ID) {
		t.Errorf("decision after the correction: %+v", d)
	}
	b.wantState("corrected", turnaround.Held, "is over the action level")
	if _, err := b.lift(turnaround.Lift{Hold: string(last.Followed[1].ID), By: "L-01", Second: "L-02", Reason: "typed wrong"}); err != nil {
		t.Fatal(err)
	}
	b.finish()
	b.wantState("lifted", turnaround.Ready, "")

	b.pass(time.Minute)
	r = b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "another scope"})
	})
	wantFollowed(t, "void of the reading", r, record.Round)
	d = body[turnaround.Decision](t, r.Followed[0])
	if d.Round.Complete || d.Round.Outcome != reading.None || !slices.Contains(d.Round.Missing, scope.InstrumentLumen) {
		t.Errorf("decision after the void: %+v", d.Round)
	}
	b.wantState("without the reading", turnaround.InWork, "instrument-channel taken, not yet read")
}

// The correction of a sample takes its readings out of the round until the right one is read.
func TestCorrectedSampleHasNoReading(t *testing.T) {
	b := start(t)
	b.use()
	last := b.round("30", "30", "30")
	b.finish()
	b.wantState("before", turnaround.Ready, "")
	b.pass(time.Minute)
	id := ledger.ID(body[reading.Reading](t, last.Record).Sample)
	s := sampling.Sample{
		Scope: "D-01", Point: scope.InstrumentLumen, Attempt: 1, Kit: "K", Lot: "7", By: "T-01",
		Collected: last.Record.At - 45_000_000, Dipped: last.Record.At - 35_000_000, Activated: last.Record.At - 15_000_000, Shaken: 7 * unit.Second,
	}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Collect(desk.Entry{By: "T-01", Corrects: id, Reason: "shaken longer"}, s)
	})
	wantFollowed(t, "corrected sample", r, record.Round)
	b.wantState("not read", turnaround.InWork, "instrument-channel taken, not yet read")
	in := desk.Reading{Sample: r.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: last.Record.At}
	read := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) })
	wantFollowed(t, "read", read, record.Round)
	b.wantState("read", turnaround.Ready, "")
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
		{"read too late", "7", func(b *bench) { b.pass(time.Minute) }, "read the activated device: 1min15s after it was activated; at most 1min is allowed: take a new sample"},
		{"lot out of date", "old", func(*bench) {}, "lot old of kit K expired at 2026-03-02T08:00:00Z: take a new sample with another lot"},
		{"recalled lot", "7", func(b *bench) {
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "7", Expires: b.at().Add(time.Hour), Recalled: b.at().Add(-time.Hour)})
			})
		}, "lot 7 of kit K is recalled: take a new sample with another lot"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "old", Expires: b.at()})
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
			b.wantState("void reading", turnaround.InWork, "sampling is due")
		})
	}
}

// Without an adopted level nobody can say what a count means.
func TestNoLevel(t *testing.T) {
	b := start(t)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RegisterMeter(lead, b.at(), quality.Meter{Code: "M-2", System: "B"})
	})
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.read(scope.ElevatorRecess, "30")
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.InstrumentLumen)) })
	in := desk.Reading{Sample: taken.Record.ID, Meter: "M-2", Value: b.rlu("1"), At: b.pass(15 * time.Second)}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) })
	x := body[reading.Reading](t, r.Record)
	want := `no level is adopted for atp with meter system "B" and kit "K" at the instrument-channel; there is one for system "A" with kit "K", which counts on another scale and cannot be used: adopt a level, then read again`
	if x.Judgement.Outcome != reading.None || x.Judgement.Why != want {
		t.Errorf("judgement: %+v", x.Judgement)
	}
	b.finish()
	b.wantState("without a level", turnaround.InWork, "outer-distal-end was sampled at 2026-03-02 10:03 +01:00 and its round has no result")
}

// A use that is written down late takes its place by when it happened.
func TestLateUse(t *testing.T) {
	b := start(t)
	b.use()
	b.round("30", "30", "30")
	b.finish()
	ready := b.gate()
	if ready.State != turnaround.Ready {
		t.Fatalf("%s %v", ready.State, blocking(ready))
	}
	asked := b.at()
	b.pass(2 * time.Hour)
	late := func(start unit.Instant, d time.Duration) desk.Receipt {
		u := turnaround.Use{Scope: "D-01", Start: start, End: start.Add(d)}
		return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") })
	}
	// Before everything else: nothing changes.
	late(asked.Add(-6*time.Hour), time.Minute)
	b.wantState("a use before the last", turnaround.Ready, "")
	// After it was stored: it is not reprocessed.
	r := late(asked.Add(time.Hour), 20*time.Minute)
	b.wantState("a use since", turnaround.InWork, "no reprocessing step is on record since the last use ended")
	if !desk.Late(r.Record.At, r.Record.Recorded) {
		t.Error("the entry is not marked late")
	}
	at := asked.Add(90 * time.Minute)
	if a := b.gateAt(at, at); a.State != turnaround.Ready {
		t.Errorf("as it could be known then: %s %v", a.State, blocking(a))
	}
	if a := b.gateAt(at, store.Forever); a.State != turnaround.InWork {
		t.Errorf("as it is known today: %s", a.State)
	}
	if diff := cmp.Diff(ready, b.gateAt(asked, asked)); diff != "" {
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
	u := turnaround.Use{Scope: "D-01", Start: b.at()}
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
			return w.RecordUse(entry("use"), turnaround.Use{Scope: "D-01", Start: long}, "patient 1")
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(entry("hold"), turnaround.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.Ask(entry("request"), sampling.Request{Scope: "D-01", By: "L-01", Reason: "outbreak"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.LiftHold(entry("lift"), turnaround.Lift{Hold: string(id("hold")), By: "L-01", Second: "L-02", Reason: "no smell"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{ID: id("void"), By: "T-01", Corrects: id("reading"), Reason: "another scope"})
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
		return w.AdoptLevel(lead, reading.Level{System: "A", Kit: "K", Point: scope.ElevatorRecess, Analyte: reading.ATP, Unit: reading.RLU, Action: 900, Comparison: reading.Over, Source: "test", Edition: "2", Adopter: "L-01", Adopted: long})
	})
	size, gate := b.size(), b.gate()
	for i, act := range acts {
		r := b.must(act)
		if r.Fresh || r.Record.ID != first[i].ID || r.Record.Seq != first[i].Seq || len(r.Followed) != 0 {
			t.Errorf("%s sent again: fresh %t, record %d, followed by %q; want record %d", first[i].Type, r.Fresh, r.Record.Seq, types(r.Followed), first[i].Seq)
		}
	}
	if got := b.size(); got != size {
		t.Errorf("%d records, before %d", got, size)
	}
	if diff := cmp.Diff(gate, b.gate()); diff != "" {
		t.Errorf("the gate's answer changed:\n%s", diff)
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
	text := []byte(strings.Replace(string(policy.Preset()), "attempts: 3 ", "attempts: 1 ", 1))
	e := desk.Entry{ID: ledger.DerivedID("rules"), By: "L-01"}
	attempts := func(v desk.View) int {
		rules, err := v.Rules(v.Now(), store.Forever)
		if err != nil {
			t.Fatal(err)
		}
		return rules.Reading.Attempts
	}
	b.pass(time.Second)
	size := b.size()
	err := b.desk.As(access.Scribe()).Try(context.Background(), func(w *desk.Work) error {
		_, _, err := w.AdoptRules(e, b.at(), "strict.yaml", text)
		if got := attempts(w.View); got != 1 {
			t.Errorf("within the dry run: %d attempts, want 1", got)
		}
		return err
	})
	if err != nil || b.size() != size {
		t.Fatalf("dry run: %v, %d records, before %d", err, b.size(), size)
	}
	text = []byte(strings.Replace(string(policy.Preset()), "attempts: 3 ", "attempts: 2 ", 1))
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		r, _, err := w.AdoptRules(e, b.at(), "strict.yaml", text)
		return r, err
	})
	err = b.desk.View(context.Background(), func(v desk.View) error {
		if got := attempts(v); got != 2 {
			t.Errorf("%d attempts, want 2: the dry run was remembered", got)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
