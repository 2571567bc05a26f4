package desk_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
)

// used records a use on a patient.
func (b *bench) used(patient string) ledger.ID {
	b.Helper()
	u := reprocessing.Use{Scope: "D-01", Start: b.pass(time.Minute), End: b.pass(time.Minute)}
	return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(tech, u, patient) }).Record.ID
}

func (b *bench) onPatients(do func(desk.PatientWork) error) error {
	b.Helper()
	a := b.as("I-01", 0, access.InfectionPrevention)
	return b.desk.As(a).Do(b.Context(), func(w *desk.Work) error { return do(w.OnPatients()) })
}

// A number is revealed for a reason that is kept with who asked, when and for which use; the number is in no record.
func TestRevealPatient(t *testing.T) {
	b := start(t)
	use := b.used("MRN-2063")
	bare := b.used("")
	reveal := func(e desk.Entry, id ledger.ID, why string) (number string, r desk.Receipt, err error) {
		err = b.onPatients(func(w desk.PatientWork) (err error) {
			number, r, err = w.RevealPatient(e, id, why)
			return err
		})
		return number, r, err
	}
	before := b.size()
	for name, test := range map[string]struct {
		id   ledger.ID
		why  string
		want string
	}{
		"no reason":     {use, " ", "say why"},
		"no patient":    {bare, "look-back", "no patient is named"},
		"no use":        {b.base(record.Model, "D1"), "look-back", "not a use"},
		"no such thing": {ledger.DerivedID("x"), "look-back", "there is no record"},
	} {
		if number, _, err := reveal(desk.Entry{}, test.id, test.why); err == nil || number != "" || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %q, %v, want %q", name, number, err, test.want)
		}
	}
	if b.size() != before {
		t.Error("something was stored")
	}
	e := desk.Entry{ID: b.newID()}
	for range 2 { // sent twice, stored once
		number, r, err := reveal(e, use, "look-back after a culture")
		if err != nil || number != "MRN-2063" {
			t.Fatalf("%q, %v", number, err)
		}
		x := body[record.PatientBody](t, r.Record)
		if r.Record.By != "I-01" || r.Record.At != b.at() ||
			x.Use != use || x.Scope != "D-01" || x.Act != record.PatientRevealed || x.Why != "look-back after a culture" {
			t.Errorf("on record: %+v %+v", r.Record, x)
		}
	}
	if b.size() != before+1 {
		t.Errorf("%d records", b.size()-before)
	}
	if strings.Contains(b.everything(), "MRN-2063") {
		t.Error("a record holds the number")
	}
	// Nothing is revealed in a dry run, which leaves no record.
	err := b.desk.As(b.as("I-01", 0, access.InfectionPrevention)).Try(b.Context(), func(w *desk.Work) error {
		number, _, err := w.OnPatients().RevealPatient(desk.Entry{}, use, "to see")
		if number != "" {
			t.Errorf("revealed: %q", number)
		}
		return err
	})
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("a dry run: %v", err)
	}
}

// All uses on a patient are found by the number, also one whose end was recorded without it.
func TestFindPatient(t *testing.T) {
	b := start(t)
	first := b.used("MRN-2063")
	b.used("MRN-1")
	begun := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(tech, reprocessing.Use{Scope: "D-01", Start: b.pass(time.Minute)}, "MRN-2063")
	}).Record
	start := b.at()
	ended := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(tech, reprocessing.Use{Scope: "D-01", Start: start, End: b.pass(time.Minute), Finishes: string(begun.ID)}, "")
	}).Record.ID
	find := func(number, why string) (uses []desk.PatientUse, r desk.Receipt, err error) {
		err = b.onPatients(func(w desk.PatientWork) error {
			found, err := desk.SeekPatient(w.View, number)
			if err != nil {
				return err
			}
			uses, r, err = w.FindPatient(desk.Entry{}, found, why)
			return err
		})
		return uses, r, err
	}
	uses, r, err := find("MRN-2063", "index patient")
	if err != nil || len(uses) != 2 || uses[0].ID != first || uses[1].ID != ended {
		t.Fatalf("%+v, %v", uses, err)
	}
	if x := body[record.PatientBody](t, r.Record); x.Uses != 2 || x.Act != record.PatientSought || x.Patient == "" {
		t.Errorf("on record: %+v", x)
	}
	uses, r, err = find("MRN-9", "index patient")
	if x := body[record.PatientBody](t, r.Record); err != nil || len(uses) != 0 || x.Uses != 0 || x.Patient != "" {
		t.Errorf("nobody: %+v, %+v, %v", uses, x, err)
	}
	for _, wrong := range [][2]string{{"", "why"}, {"MRN-1", ""}} {
		if _, _, err := find(wrong[0], wrong[1]); fault.CodeOf(err) != fault.Invalid {
			t.Errorf("%q: %v", wrong, err)
		}
	}
}

// An erased number is gone for all uses of the patient; that it was erased is on record, and the ledger is whole.
func TestErasePatient(t *testing.T) {
	b := start(t)
	use, other := b.used("MRN-2063"), b.used("MRN-2063")
	e := desk.Entry{ID: b.newID()}
	for range 2 {
		if err := b.onPatients(func(w desk.PatientWork) error { return only(w.ErasePatient(e, use, "asked for")) }); err != nil {
			t.Fatal(err)
		}
	}
	err := b.onPatients(func(w desk.PatientWork) error {
		number, _, err := w.RevealPatient(desk.Entry{}, other, "look-back")
		if number != "" {
			t.Errorf("revealed: %q", number)
		}
		return err
	})
	if fault.CodeOf(err) != fault.NotFound || !strings.Contains(err.Error(), "was erased") {
		t.Errorf("%v", err)
	}
	before := b.size()
	err = b.onPatients(func(w desk.PatientWork) error { return only(w.ErasePatient(desk.Entry{}, other, "again")) })
	if fault.CodeOf(err) != fault.NotFound || b.size() != before {
		t.Errorf("erased again: %v", err)
	}
	b.rebuilt()
}

// Without the key a use can still be recorded, but not with a number.
func TestUseWithoutTheKey(t *testing.T) {
	b := start(t)
	dir := b.desk.DB.Home().Dir()
	if err := os.Remove(filepath.Join(dir, "patients.key")); err != nil {
		t.Fatal(err)
	}
	if err := b.desk.DB.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sqlite.Folder(dir).Open(b.Context(), b.now.Now)
	if err != nil {
		t.Fatal(err)
	}
	b.desk = desk.New(db)
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	try := func(patient string) error {
		return b.desk.As(access.Scribe()).Do(b.Context(), func(w *desk.Work) error {
			return only(w.RecordUse(tech, reprocessing.Use{Scope: "D-01", Start: b.at() - unit.Instant(time.Minute/time.Microsecond), End: b.at()}, patient))
		})
	}
	if err := try("MRN-2063"); fault.CodeOf(err) != fault.NotFound || !strings.Contains(err.Error(), "record the use without the number") {
		t.Errorf("with a number: %v", err)
	}
	if err := try(""); err != nil {
		t.Errorf("without: %v", err)
	}
}
