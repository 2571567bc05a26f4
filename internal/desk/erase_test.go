package desk_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// everything returns all records as somebody reads them, one a line.
func (b *bench) everything() string {
	b.Helper()
	var all strings.Builder
	b.view(func(v desk.View) error {
		return v.Records().Search(store.Query{}, func(l desk.Line) (bool, error) {
			all.WriteString(l.Reason + " " + string(l.Body) + "\n")
			return true, nil
		})
	})
	return all.String()
}

func (b *bench) view(ask func(desk.View) error) {
	b.Helper()
	if err := b.desk.View(context.Background(), ask); err != nil {
		b.Fatal(err)
	}
}

// A text is erased with its repetitions: in the correction of its record, in what took it over.
func TestEraseWithCopies(t *testing.T) {
	b := start(t)
	lead := desk.Entry{By: "L-01"}
	const secret = "seen by Jane Q. Example"
	place := func(e desk.Entry) desk.Receipt {
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(e, reprocessing.Hold{Scope: "D-01", At: b.at(), By: e.By, Reason: secret})
		})
	}
	first := place(lead)
	b.pass(time.Minute)
	corrected := lead
	corrected.Corrects, corrected.Reason = first.Record.ID, "typed wrong"
	second := place(corrected)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(lead, reprocessing.Hold{Scope: "D-01", At: b.at(), By: "L-01", Reason: "scratched"})
	})
	if n := strings.Count(b.everything(), secret); n != 2 {
		t.Fatalf("the text is there %d times", n)
	}
	for _, test := range []struct {
		name  string
		e     desk.Entry
		id    ledger.ID
		field string
		why   record.ErasureReason
		want  fault.Code
	}{
		{"for a reason of one's own", lead, first.Record.ID, "", "Jane", fault.Invalid},
		{"two texts and none named", lead, second.Record.ID, "", record.NamesPatient, fault.Invalid},
		{"no such text", lead, first.Record.ID, "note", record.NamesPatient, fault.NotFound},
		{"no such record", lead, ledger.DerivedID("x"), "", record.NamesPatient, fault.NotFound},
	} {
		err := b.attempt(b.as("L-01", 0, access.Lead), func(w *desk.Work) error {
			_, err := w.Erase(test.e, test.id, test.field, test.why)
			return err
		})
		if fault.CodeOf(err) != test.want {
			t.Errorf("%s: got %v", test.name, err)
		}
	}
	lead.ID = ledger.DerivedID("the erasure")
	for i := range 2 { // sent twice it is done once
		r := b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Erase(lead, first.Record.ID, "reason", record.NamesPatient)
		})
		if r.Fresh != (i == 0) {
			t.Errorf("sent %d times: fresh %t", i+1, r.Fresh)
		}
		if got := body[record.ErasureBody](
			t,
			r.Record,
		); len(got.Texts) != 2 || got.Texts[0].Record != first.Record.ID ||
			got.Texts[1] != (record.FreeText{Record: second.Record.ID, Field: "body.reason"}) {
			t.Errorf("erased %v", got.Texts)
		}
	}
	all := b.everything()
	if strings.Contains(all, "Jane") || strings.Count(all, `"reason":"(erased)"`) != 2 || !strings.Contains(all, "typed wrong") ||
		!strings.Contains(all, "scratched") {
		t.Errorf("after the erasure:\n%s", all)
	}
	if a := b.release(); a.State != reprocessing.OnHold {
		t.Errorf("holds without a readable reason and another one: %s", a.State)
	}
}

func TestEraseWhyNothingWasTaken(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	absent := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Collect(tech, sampling.Sample{Scope: "D-01", Point: scope.ElevatorRecess, NotApplicable: "kept by Jane Q. Example", Collected: b.at()})
	})
	b.read(scope.InstrumentLumen, "30")
	if all := b.everything(); !strings.Contains(all, "Jane") {
		t.Fatalf("the text is not in the sample:\n%s", all)
	}
	before := b.release()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Erase(desk.Entry{By: "L-01"}, absent.Record.ID, "not_applicable", record.NamesPerson)
	})
	if all := b.everything(); strings.Contains(all, "Jane") {
		t.Errorf("after the erasure:\n%s", all)
	}
	if after := b.release(); after.State != before.State {
		t.Errorf("the decision that stands answers %s, before the erasure %s", after.State, before.State)
	}
}

// Why nothing was taken is told, and leaves the point missing: only the model takes a point away, so that neither
// who is out of time nor what was found before makes a verification complete.
func TestNotTakenIsMissing(t *testing.T) {
	h := reprocessing.History{
		Instrument: scope.Instrument{Tag: "D-01"},
		Model:      model(),
		Uses:       []reprocessing.Use{{Scope: "D-01", Start: 1, End: 1}},
	}
	for _, p := range h.Model.Routine() {
		taken := reprocessing.Taken{Sample: sampling.Sample{Scope: "D-01", Point: p, Cleaning: 1, Collected: 2}}
		if taken.AddReading(reading.Judgement{Outcome: reading.OK}, 3, nil); p == scope.ElevatorRecess {
			taken.NotApplicable, taken.Judgements = "out of swabs", nil
		}
		h.Samples = append(h.Samples, taken)
	}
	d, _ := reprocessing.Decide(h, reprocessing.Rules{}, reading.Rules{}, 4, 1, time.UTC)
	if d.Verification.Complete || !slices.Contains(d.Verification.Missing, scope.ElevatorRecess) {
		t.Errorf("%+v", d.Verification)
	}
}
