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
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// attest tries to vouch for acts as somebody.
func (b *bench) attest(a access.Actor, in desk.Attested) (r desk.Receipt, err error) {
	b.Helper()
	err = b.desk.As(a).Do(context.Background(), func(w *desk.Work) (err error) {
		r, err = w.Vouching().Attest(desk.Entry{By: a.Code()}, in)
		return err
	})
	return r, err
}

// bare reads every point with a sample of which nothing but the collection is on record.
func (b *bench) bare(values ...string) (samples []ledger.ID, last desk.Receipt) {
	b.Helper()
	for i, p := range points {
		b.checkMeter("M-1", b.at())
		s := sampling.Sample{Scope: "D-01", Point: p, Kit: "K", Lot: "7", By: "T-01", Collected: b.at()}
		id := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) }).Record.ID
		at := b.pass(30 * time.Second)
		samples = append(samples, id)
		last = b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(tech, desk.Reading{Sample: id, Meter: "M-1", Value: b.rlu(values[i]), At: at})
		})
	}
	return samples, last
}

// Only collected, read and a value are on record: no dip, no activation, no shaking, no volume.
func TestSamplesWithoutMarks(t *testing.T) {
	b := start(t)
	b.use()
	samples, _ := b.bare("30", "30", "30")
	b.finish()
	b.wantState("without marks", reprocessing.InReprocessing, "the good reading of the instrument channel proves nothing: not every moment is on record")
	a := b.release()
	if len(a.Wanting) != len(samples) {
		t.Fatalf("wants a word for %+v", a.Wanting)
	}
	technician, lead := b.as("T-01", 0, access.Technician), b.as("L-01", 0, access.Lead)
	for _, test := range []struct {
		name string
		by   access.Actor
		in   desk.Attested
		code fault.Code
		part string
	}{
		{"somebody else's act", b.as("T-02", 0, access.Technician), desk.Attested{Of: samples, From: reprocessing.OwnAct}, fault.Forbidden, "done by T-01"},
		{"a technician for others", technician, desk.Attested{Of: samples, From: reprocessing.WhoDidIt}, fault.Forbidden, "by a lead"},
		{"nothing", technician, desk.Attested{From: reprocessing.OwnAct}, fault.Invalid, "at least one"},
		{"hearsay", lead, desk.Attested{Of: samples, From: "hearsay"}, fault.Invalid, "allowed: own-act"},
		{"no form", lead, desk.Attested{Of: samples, From: reprocessing.SignedForm}, fault.Invalid, "picture"},
		{"a form that is none", lead, desk.Attested{Of: samples, From: reprocessing.SignedForm, Form: samples[0]}, fault.Invalid, "not the picture of a form"},
		{"an unsigned word", b.as("L-01", time.Hour, access.Lead), desk.Attested{Of: samples, From: reprocessing.WhoDidIt}, fault.Unsigned, ""},
	} {
		if _, err := b.attest(test.by, test.in); fault.CodeOf(err) != test.code || !strings.Contains(err.Error(), test.part) {
			t.Errorf("%s: %v, want %s with %q", test.name, err, test.code, test.part)
		}
	}
	before := b.at()
	b.pass(time.Minute)
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: append(samples, samples[0]), From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
	if a := b.releaseAt(before, before); a.State != reprocessing.InReprocessing {
		t.Errorf("as known before the word: %s", a.State)
	}
	var share desk.AttestedShare
	b.ask(func(v desk.View) (err error) {
		share, err = v.Day().AttestedShare(b.at().Add(time.Second))
		return err
	})
	if share.Attested != 3 || share.All < 10 {
		t.Errorf("share %+v", share)
	}
}

// A lead asks whoever did it within three days, and later sees the signed form.
func TestAttestedByALead(t *testing.T) {
	b := start(t)
	b.use()
	samples, _ := b.bare("30", "30", "30")
	b.finish()
	b.pass(reprocessing.DoerAttests)
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: samples, From: reprocessing.OwnAct}); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("a day later: %v", err)
	}
	if _, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: samples[:1], From: reprocessing.WhoDidIt}); err != nil {
		t.Errorf("the lead, a day later: %v", err)
	}
	b.pass(reprocessing.LeadAttests)
	if _, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: samples[1:], From: reprocessing.WhoDidIt}); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("the lead, four days later: %v", err)
	}
	form := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Attach(desk.Entry{By: "L-01"}, photograph(), picture(t, 3, 4))
	}).Record.ID
	over := func() (desk.Receipt, error) {
		return b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: samples[1:], From: reprocessing.SignedForm, Form: form})
	}
	if _, err := over(); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested over the form", reprocessing.Ready, "")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: form, Reason: "of another day"})
	})
	b.wantState("the form is taken back", reprocessing.InReprocessing, "proves nothing")
	if _, err := over(); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("over a form that was taken back: %v", err)
	}
	form = b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Attach(desk.Entry{By: "L-01"}, photograph(), picture(t, 4, 4))
	}).Record.ID
	r, err := over()
	if err != nil {
		t.Fatal(err)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "another scope's form"})
	})
	b.wantState("the word is taken back", reprocessing.InReprocessing, "proves nothing")
}

// A lead asks others: neither themselves nor nobody; and a form is filed where it belongs.
func TestAskedIsSomebodyElse(t *testing.T) {
	b := start(t)
	b.use()
	late := func(by string) ledger.ID {
		s := reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: b.at(), End: b.pass(time.Minute), By: by}
		b.pass(29 * time.Hour)
		return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(desk.Entry{By: by}, s) }).Record.ID
	}
	for by, want := range map[string]fault.Code{"": fault.Forbidden, "L-01": fault.Forbidden, "T-01": ""} {
		of := []ledger.ID{late(by)}
		_, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: of, From: reprocessing.WhoDidIt})
		if fault.CodeOf(err) != want || want == "" && err != nil {
			t.Errorf("done by %q: %v", by, err)
		}
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
	other := photograph()
	other.Scope = "D-02"
	form := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Attach(desk.Entry{By: "L-01"}, other, picture(t, 3, 4))
	}).Record.ID
	of := []ledger.ID{late("T-01")}
	_, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: of, From: reprocessing.SignedForm, Form: form})
	if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "filed with D-02") {
		t.Errorf("a form of another scope: %v", err)
	}
}

// A verification that rests on somebody's word ends no hold; one that is proven later does.
func TestAttestedEndsNoHold(t *testing.T) {
	b := start(t)
	b.use()
	wantFollowed(t, "over the action level", b.read(scope.ElevatorRecess, "250"), record.Verification, record.Hold)
	b.clean()
	samples, last := b.bare("30", "30", "30")
	wantFollowed(t, "without marks", last, record.Verification)
	b.pass(time.Minute)
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: samples, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.finish()
	b.wantState("attested", reprocessing.OnHold, "action level exceeded")
}

// A reading on a meter that nobody checked that day proves nothing; a good check that is found later proves it, and one
// after it only lets it be attested.
func TestUncheckedMeter(t *testing.T) {
	b := start(t)
	b.targets()
	b.unchecked = true
	since := b.at()
	b.pass(time.Hour)
	b.use()
	wantFollowed(t, "over the action level", b.read(scope.ElevatorRecess, "250"), record.Verification, record.Hold)
	b.clean()
	last := b.verification("30", "30", "30")
	wantFollowed(t, "on a meter that nobody checked", last, record.Verification)
	b.finish()
	b.wantState("never checked", reprocessing.OnHold, "meter M-1 had no good check")
	if a := b.release(); len(a.Wanting) != 0 {
		t.Errorf("no word stands for a check: %+v", a.Wanting)
	}
	b.check(1000, 1) // after it
	b.wantState("checked after it", reprocessing.OnHold, "meter M-1 had no good check")
	var r desk.Receipt
	b.do(func(w *desk.Work) (err error) {
		r, _, err = w.AtMeters().CheckMeter(desk.Entry{By: "T-01"}, desk.Check{Meter: "M-1", Controls: []quality.Control{
			{Kind: quality.Positive, Material: "light", Value: 1000, At: since}, {Kind: quality.Blank, Material: "empty chamber", Value: 1, At: since},
		}})
		return err
	})
	wantFollowed(t, "the morning's check comes in late", r, record.Lift)
	b.wantState("checked that morning", reprocessing.Ready, "")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "of another meter"})
	})
	b.wantState("that check is taken back", reprocessing.InReprocessing, "meter M-1 had no good check")
}

// A good check that is written down days later proves nothing by itself: whoever asked about it, or saw the paper, says so,
// and a word that was given before does not speak of it.
func TestGoodCheckWrittenLate(t *testing.T) {
	b := start(t)
	b.targets()
	b.unchecked = true
	since := b.at()
	b.pass(time.Hour)
	b.use()
	var samples []ledger.ID
	for i, p := range points {
		if i == 0 {
			b.clean()
		}
		r := b.read(p, "30")
		x, err := record.Body[reading.Reading](r.Record)
		if err != nil {
			t.Fatal(err)
		}
		samples = append(samples, ledger.ID(x.Sample))
	}
	b.finish()
	b.pass(time.Minute)
	word := func() {
		t.Helper()
		if _, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: samples, From: reprocessing.WhoDidIt}); err != nil {
			t.Fatal(err)
		}
	}
	word()
	b.wantState("no word stands for a check", reprocessing.InReprocessing, "meter M-1 had no good check")
	b.pass(reprocessing.LateAfter)
	b.checkAt(since, goodLight)
	b.wantState("written down late", reprocessing.InReprocessing, "was written down more than")
	if a := b.release(); len(a.Wanting) != len(samples) {
		t.Errorf("wants a word for %+v", a.Wanting)
	}
	b.pass(time.Minute)
	word()
	b.wantState("attested", reprocessing.Ready, "")
	b.checkAt(since.Add(time.Second), failedLight)
	b.wantState("a failed one counts at once", reprocessing.InReprocessing, "meter M-1 failed its check")
}

// Good checks on both sides bracket one that was forgotten, and somebody's word is needed besides.
func TestBracketedMeter(t *testing.T) {
	b := start(t)
	b.targets()
	b.unchecked = true
	b.check(1000, 1)
	b.pass(20 * time.Hour) // the next day
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("yesterday's check", reprocessing.InReprocessing, "meter M-1 had no good check that counted")
	b.check(1000, 1)
	b.wantState("bracketed", reprocessing.InReprocessing, "it was good before and after")
	a := b.release()
	var of []ledger.ID
	for _, w := range a.Wanting {
		of = append(of, ledger.ID(w.Record))
	}
	if len(of) != 3 {
		t.Fatalf("wants a word for %+v", a.Wanting)
	}
	b.pass(time.Minute)
	if _, err := b.attest(b.as("L-01", 0, access.Lead), desk.Attested{Of: of, From: reprocessing.WhoDidIt}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
	b.check(2000, 1)
	b.wantState("a check fails after the good one", reprocessing.Ready, "")
}

// The moments of a sample that come in after its reading prove it; then it ends the hold.
func TestMarksThatComeLate(t *testing.T) {
	b := start(t)
	b.use()
	wantFollowed(t, "over the action level", b.read(scope.ElevatorRecess, "250"), record.Verification, record.Hold)
	b.clean()
	b.read(scope.InstrumentLumen, "30")
	b.read(scope.ElevatorRecess, "30")
	s := sampling.Sample{Scope: "D-01", Point: scope.OuterDistalEnd, Kit: "K", Lot: "7", By: "T-01", Collected: b.at()}
	id := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) }).Record.ID
	activated := b.pass(10 * time.Second)
	at := b.pass(15 * time.Second)
	read := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(tech, desk.Reading{Sample: id, Meter: "M-1", Value: b.rlu("30"), At: at})
	})
	wantFollowed(t, "read", read, record.Verification)
	mark := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Mark(tech, sampling.Moment{Sample: string(id), Mark: sampling.Activated, At: activated, Shaken: 6 * unit.Second, By: "T-01"})
	})
	wantFollowed(t, "the moment of activation", mark, record.Lift)
	b.finish()
	b.wantState("proven", reprocessing.Ready, "")
	if d := body[reprocessing.Decision](t, read.Followed[0]); d.Verification.Outcome != reading.OK {
		t.Errorf("%+v", d.Verification)
	}
	if !slices.ContainsFunc(mark.Followed, func(r ledger.Record) bool {
		return body[reprocessing.Lift](t, r).Verification == string(read.Followed[0].ID)
	}) {
		t.Error("the lift rests on another verification")
	}
}

// A verification before the last use stands for what was asked for only where it is proven.
func TestUnprovenVerificationOfBefore(t *testing.T) {
	for _, checked := range []bool{true, false} {
		b := start(t)
		b.targets()
		b.unchecked = !checked
		b.pass(time.Hour)
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Ask(lead, sampling.Request{Scope: "D-01", By: "L-01", Reason: "to see", At: b.at()})
		})
		b.pass(time.Minute)
		b.use()
		b.verification("30", "30", "30")
		b.finish()
		for range 2 {
			b.pass(time.Hour)
			b.use()
			b.finish()
			asked := slices.ContainsFunc(b.release().Due, func(d sampling.Due) bool { return d.When == sampling.OnRequest })
			if asked == checked {
				t.Errorf("checked %t, still asked for %t", checked, asked)
			}
		}
	}
}

// After many verifications that prove nothing, none before them is said to have passed; what failed counts all the same.
func TestManyUnprovenVerifications(t *testing.T) {
	for _, cycles := range []int{7, 9} {
		b := start(t)
		b.targets()
		b.unchecked = true
		b.check(1000, 1)
		b.use()
		b.read(scope.ElevatorRecess, "250")
		b.clean()
		b.verification("30", "30", "30")
		b.finish()
		for range cycles {
			b.pass(48 * time.Hour) // nobody has checked the meter since
			b.use()
			b.verification("30", "30", "30")
			b.finish()
		}
		b.pass(time.Hour)
		b.use()
		var h reprocessing.History
		b.ask(func(v desk.View) (err error) {
			h, err = v.Around("D-01", b.at(), b.at(), store.Forever)
			return err
		})
		if passed, near := h.Earlier.Passed.Known(), cycles < 8; passed != near || !passed && !h.Earlier.Failed.Known() {
			t.Errorf("after %d: passed %s, failed %s", cycles, h.Earlier.Passed, h.Earlier.Failed)
		}
	}
}

// A hold that is placed late has every use after the time that it speaks of weighed.
func TestLateHoldWeighsEveryUse(t *testing.T) {
	b := start(t)
	b.reprocessed()
	at := b.pass(time.Minute)
	for range 3 {
		b.pass(time.Hour)
		b.reprocessed()
	}
	b.wantState("three uses", reprocessing.Ready, "")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(lead, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.CultureHold, At: at, By: "L-01", Reason: "grew"})
	})
	b.wantHeldFor("placed after them", reprocessing.CultureHold, reprocessing.ExposureHold, reprocessing.ExposureHold, reprocessing.ExposureHold)
}
