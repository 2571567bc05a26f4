package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// tried tries to do something as the lead, who has signed, with somebody who signs it too where a code is given.
func (b *bench) tried(second string, act func(*desk.Work, desk.Entry) error) error {
	b.Helper()
	b.pass(time.Minute)
	e := desk.Entry{ID: ledger.DerivedID("tried", b.at().String(), second)}
	if second != "" {
		e.Second = b.as(second, 0, access.Lead)
	}
	return b.desk.As(b.as("L-01", 0, access.Lead)).Do(context.Background(), func(w *desk.Work) error { return act(w, e) })
}

// simpler is the model of the bench without its elevator.
func simpler() scope.Model {
	m := model()
	m.Elevator, m.Channels = false, m.Channels[:1]
	return m
}

func registering(m scope.Model) func(*desk.Work, desk.Entry) error {
	return func(w *desk.Work, e desk.Entry) error {
		_, _, err := w.SettingUp().RegisterModel(e, w.Now(), m)
		return err
	}
}

// A description that asks for less takes two people, whatever is described; so does a scope that is said to be of a simpler
// model. One that asks for more takes one, and the strict one cannot be taken back by one either.
func TestWhatAsksForLessTakesTwo(t *testing.T) {
	b := start(t)
	b.targets()
	other := simpler()
	other.Name = "D2"
	if err := b.tried("", registering(other)); err != nil {
		t.Fatal(err)
	}
	moved := func(w *desk.Work, e desk.Entry) error {
		return only(w.SettingUp().RegisterInstrument(e, w.Now(), scope.Instrument{Tag: "D-01", Model: "D2", Owner: scope.Own, InService: b.since()}))
	}
	wider := func(w *desk.Work, e desk.Entry) error {
		all, err := w.Measuring().Targets()
		if err != nil {
			return err
		}
		x := all[0]
		x.High, x.Edition, x.Adopter, x.Adopted = x.High*2, "2", "", w.Now()
		return only(w.AtMeters().RegisterTarget(e, x))
	}
	raised := func(w *desk.Work, e desk.Entry) error {
		l := b.distalLevel(1000, "2", w.Now())
		return only(w.SettingUp().AdoptLevel(e, l))
	}
	narrower := func(w *desk.Work, e desk.Entry) error { // it takes the place of the one for all kinds
		l := b.distalLevel(500, "2", w.Now())
		l.Kind = scope.Duodenoscope
		return only(w.SettingUp().AdoptLevel(e, l))
	}
	loaner := func(owner scope.Owner) func(*desk.Work, desk.Entry) error {
		return func(w *desk.Work, e desk.Entry) error {
			return only(w.SettingUp().RegisterInstrument(e, w.Now(), scope.Instrument{Tag: "X-77", Model: "D1", Owner: owner, InService: b.since()}))
		}
	}
	if err := b.tried("", loaner(scope.Loan)); err != nil {
		t.Fatal(err)
	}
	rescaled := func(w *desk.Work, e desk.Entry) error {
		return only(w.SettingUp().RegisterMeter(e, w.Now(), quality.Meter{Code: "M-1", System: "another system"}))
	}
	for _, test := range []struct {
		name string
		act  func(*desk.Work, desk.Entry) error
		want string
	}{
		{"a loan that is our own", loaner(scope.Own), "scope X-77 asks for less than before: it is an own scope instead of a loaner"},
		{"a meter on another scale", rescaled, "meter M-1 asks for less than before: it is of the system another system instead of"},
		{"a scope of a simpler model", moved, "scope D-01 asks for less than before: by its model D2: no elevator any more"},
		{"a simpler model", registering(simpler()), "model D1 asks for less than before: no elevator any more"},
		{"a wider range", wider, "asks for less than before: up to"},
		{"a level for one kind", narrower, "asks for less than before: action level 500 instead of 200 RLU"},
		{"a higher level", raised, "asks for less than before: action level 1000 instead of 200 RLU"},
	} {
		wantRefused(t, b.tried("", test.act), test.want)
		if err := b.tried("", test.act); !strings.Contains(err.Error(), "signs it too") || fault.CodeOf(err) != fault.Invalid {
			t.Errorf("%s: %v", test.name, err)
		}
		wantRefused(t, b.tried("L-01", test.act), "the second person must be somebody else")
		if err := b.tried("T-01", test.act); err == nil {
			t.Errorf("%s: with somebody who may not", test.name)
		}
		if err := b.tried("L-02", test.act); err != nil {
			t.Errorf("%s, by two: %v", test.name, err)
		}
	}
	if m := stands[scope.Model](b, record.Model, "D1"); m.Second != "L-02" || m.Elevator {
		t.Errorf("%+v", m)
	}
	if i := stands[scope.Instrument](b, record.Instrument, "D-01"); i.Second != "L-02" || i.Model != "D2" {
		t.Errorf("%+v", i)
	}
	if err := b.tried("", registering(model())); err != nil {
		t.Errorf("one that asks for more: %v", err)
	}
	err := b.tried("", func(w *desk.Work, e desk.Entry) error {
		all, err := w.Records().Editions(record.Model, "D1")
		if err != nil {
			return err
		}
		last, _ := desk.Latest(all)
		e.Corrects, e.Reason = ledger.ID(last.ID), "a slip"
		return only(w.Void(e))
	})
	if fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), "the one before it would count, which asks for less: no elevator any more") {
		t.Errorf("the strict one taken back by one: %v", err)
	}
}

// A recall reaches what was sampled however its lot is written.
func TestLotInOtherLetters(t *testing.T) {
	b := start(t)
	lot := stands[quality.Lot](b, record.Lot, "K|7")
	for _, other := range []quality.Lot{{Kit: lot.Kit, Lot: " 7"}, {Kit: strings.ToLower(lot.Kit), Lot: lot.Lot}} {
		other.Expires, other.Recalled = lot.Expires, b.at()
		wantRefused(t, b.tried("", func(w *desk.Work, e desk.Entry) error {
			return only(w.SettingUp().RegisterLot(e, w.Now(), other))
		}), "is registered as lot "+lot.Lot+" of kit "+lot.Kit)
	}
}

// since is since when the scope of the bench is in service.
func (b *bench) since() unit.Instant {
	return stands[scope.Instrument](b, record.Instrument, "D-01").InService
}

// What is sent twice is stored once, signed by two or not.
func TestLessIsSentTwice(t *testing.T) {
	b := start(t)
	m := simpler()
	e := desk.Entry{ID: ledger.DerivedID("sent twice"), Second: b.as("L-02", 0, access.Lead)}
	for i := range 2 {
		if err := b.desk.As(b.as("L-01", 0, access.Lead)).Do(b.Context(), func(w *desk.Work) error {
			r, _, err := w.SettingUp().RegisterModel(e, b.since(), m)
			if err == nil && r.Fresh != (i == 0) {
				t.Errorf("sending %d: fresh %t", i, r.Fresh)
			}
			return err
		}); err != nil {
			t.Error(err)
		}
	}
}

// A model of which no scope ever was may be described anew by one: nothing is asked of anybody by it.
func TestModelOfNoScope(t *testing.T) {
	b := start(t)
	strict, lax := model(), simpler()
	strict.Name, lax.Name = "new", "new"
	for _, m := range []scope.Model{strict, lax} {
		if err := b.tried("", registering(m)); err != nil {
			t.Error(err)
		}
	}
}

// A file that asks for less is read in by two; a trial says so, and reading it in again stores nothing.
func TestFileThatAsksForLess(t *testing.T) {
	b := start(t)
	b.targets()
	const channel = "instrument,4.2,1350,biopsy port,yes,yes,no,brush and flush,example instructions 1"
	adopted := written(b.at())
	for _, test := range []struct {
		kind desk.Kind
		row  string
	}{
		{desk.Models, "D1,gastroscope,standard,no,13.5,100," + channel},
		{desk.Levels, "A,K,outer-distal-end,,atp,RLU,100,300,over,,,,baseline,1,L-01," + adopted},
		{desk.Targets, "A,,blank,empty chamber,,,100000,instructions,1,L-01," + adopted},
	} {
		b.byTwo = false
		b.pass(time.Minute)
		if _, _, err := b.listed(test.kind, test.row); err == nil || !strings.Contains(err.Error(), "asks for less than before") {
			t.Errorf("%s by one: %v", test.kind, err)
		}
		header, _, _ := strings.Cut(desk.Example(test.kind), "\n")
		out, err := b.desk.As(b.as("L-01", 0, access.Lead)).Import(b.Context(), desk.File{
			Kind: test.kind, Name: "list.csv", Content: strings.NewReader(header + "\n" + test.row + "\n"), By: "L-01",
		}, true)
		if err != nil || !out.Two || !strings.Contains(strings.Join(out.Warnings, " "), "storing it takes a second person") {
			t.Errorf("%s tried: %v %q", test.kind, err, out.Warnings)
		}
		b.byTwo = true
		if out, _ := b.mustList(test.kind, test.row); out.Stored != 1 {
			t.Errorf("%s by two: %+v", test.kind, out)
		}
		b.byTwo = false
		if out, _ := b.mustList(test.kind, test.row); out.Known != 1 {
			t.Errorf("%s again: %+v", test.kind, out)
		}
	}
	if x := stands[quality.Target](b, record.Target, "A|blank|empty chamber"); x.Second != "L-02" {
		t.Errorf("%+v", x)
	}
}

// Rules for a day ahead are refused, and the way is said: what begins later says so in the text, which is taken.
func TestRulesAhead(t *testing.T) {
	b := start(t)
	adopt := func(text []byte, at unit.Instant) error {
		return b.desk.As(access.Scribe()).Do(b.Context(), func(w *desk.Work) error {
			_, _, err := w.SettingUp().AdoptRules(lead, desk.Adoption{Text: text, Name: "rules", At: at, Second: "L-02"})
			return err
		})
	}
	err := adopt(b.edited("2", "transport/required", "yes"), b.at().Add(48*time.Hour))
	if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "says so in the text, with starts: and the day, such as starts: 2026-12-01") {
		t.Errorf("%v", err)
	}
	b.pass(time.Second)
	if err := adopt(b.edited("2", "transport/required", "yes", "transport/starts", "2026-12-01"), b.at()); err != nil {
		t.Errorf("the way that it says: %v", err)
	}
}

// A strict level for one kind of scope, or a strict target for one meter, is not taken back by one where the one for all
// would judge then; and neither is one that another control has come after. One that judges no more is nobody's matter.
func TestStrictOneFallsBackToTheWiderOne(t *testing.T) {
	b := start(t)
	b.targets()
	store := func(act func(*desk.Work, desk.Entry) (desk.Receipt, error)) (id ledger.ID) {
		t.Helper()
		if err := b.tried("", func(w *desk.Work, e desk.Entry) error {
			r, err := act(w, e)
			id = r.Record.ID
			return err
		}); err != nil {
			t.Fatal(err)
		}
		return id
	}
	level := func(action unit.Number, kind scope.Kind, edition string) ledger.ID {
		return store(func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			l := b.distalLevel(action, edition, w.Now())
			l.Kind = kind
			return w.SettingUp().AdoptLevel(e, l)
		})
	}
	target := func(high unit.Number, meter, lot string) ledger.ID {
		return store(func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			x := quality.Target{System: "A", Kind: quality.Positive, Material: "light", Meter: meter, Lot: lot, Low: 900, High: high, Source: "test", Edition: "2"}
			x.Adopted = w.Now()
			return w.AtMeters().RegisterTarget(e, x)
		})
	}
	takenBack := func(id ledger.ID, want string) {
		t.Helper()
		err := b.tried("", func(w *desk.Work, e desk.Entry) error {
			e.Corrects, e.Reason = id, "mistaken"
			return only(w.Void(e))
		})
		if want == "" && err != nil || want != "" && (fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), want)) {
			t.Errorf("taken back: %v, want %q", err, want)
		}
	}
	old := level(90, scope.Duodenoscope, "2")
	strict := level(80, scope.Duodenoscope, "3")
	takenBack(old, "") // it judges no more
	takenBack(strict, "which asks for less: action level 200 instead of 80 RLU")
	mine := target(1050, "M-1", "")
	target(1050, "", "lot 8") // of another control
	takenBack(mine, "which asks for less: up to 1100 RLU instead of 1050")
}
