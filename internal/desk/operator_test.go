package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/record"
)

// At the machine people may what their roles on record allow, once the start is signed; before that whoever sets the
// site up may everything.
func TestAtTheMachineRolesCount(t *testing.T) {
	acts := []struct {
		name string
		role access.Role // that may
		do   func(w *desk.Work, by string, b *bench) error
	}{
		{"register a model", access.Lead, func(w *desk.Work, by string, b *bench) error {
			_, _, err := w.SettingUp().RegisterModel(desk.Entry{By: by}, b.at(), model())
			return err
		}},
		{"register a person", access.Lead, func(w *desk.Work, by string, b *bench) error {
			return only(w.SettingUp().RegisterPerson(desk.Entry{By: by}, b.at(), record.PersonBody{Code: "Z-01", Role: string(access.Technician)}))
		}},
		{"adopt a target", access.Lead, func(w *desk.Work, by string, b *bench) error {
			return only(w.AtMeters().RegisterTarget(desk.Entry{By: by}, quality.Target{}))
		}},
		{"check a meter", access.Technician, func(w *desk.Work, by string, b *bench) error {
			at := b.at()
			_, _, err := w.AtMeters().CheckMeter(desk.Entry{By: by}, desk.Check{Meter: "M-1", Controls: []quality.Control{
				{Kind: quality.Positive, Material: "light", Value: unit.Number(1000), At: at},
				{Kind: quality.Blank, Material: "empty chamber", Value: unit.Number(1), At: at},
			}})
			return err
		}},
		{"record a sample", access.Technician, func(w *desk.Work, by string, b *bench) error {
			s := b.take(points[0])
			s.By = by
			return only(w.Collect(desk.Entry{By: by}, s))
		}},
	}
	for _, started := range []bool{false, true} {
		b := start(t)
		b.person("T-07", access.Technician)
		b.person("N-07", access.ProcedureRoom)
		if b.trial = !started; started {
			b.trial = false
			b.signStart()
		}
		for _, x := range acts {
			for by, role := range map[string]access.Role{"L-01": access.Lead, "T-07": access.Technician, "N-07": access.ProcedureRoom, "X-99": "", "": ""} {
				err := b.attempt(access.Operator(by), func(w *desk.Work) error { return x.do(w, by, b) })
				may := !started || role == access.Lead || role == x.role
				if got := fault.CodeOf(err) != fault.Forbidden; got != may {
					t.Errorf("started %t, %q may %s: %t, want %t (%v)", started, by, x.name, got, may, err)
				}
				if !may && !strings.Contains(err.Error(), "L-01") {
					t.Errorf("%q, %s: the refusal does not say who may: %v", by, x.name, err)
				}
			}
		}
	}
}

// Nobody without a role reads files in at the machine, nor hands out roles there. Where nobody is left who manages
// accounts, the lead does.
func TestAtTheMachineNobodyGrantsThemselves(t *testing.T) {
	b := start(t)
	b.person("T-07", access.Technician)
	b.signStart()
	for _, by := range []string{"T-07", "X-99", ""} {
		_, err := b.desk.As(access.Operator(by)).Import(t.Context(), desk.File{
			Kind: desk.People, Name: "people.csv", Content: strings.NewReader("code,role\nZ-01,lead\n"), By: by,
		}, false)
		if fault.CodeOf(err) != fault.Forbidden {
			t.Errorf("%q imports people: %v", by, err)
		}
	}
	add := func(by, code string) error {
		_, _, err := b.cheapDoor().AddAccount(t.Context(), identity.Entry{Actor: access.Operator(by)},
			identity.NewAccount{Code: code, Name: "Somebody", Roles: []access.Role{access.Administrator}})
		return err
	}
	b.person("A-07", access.Administrator)
	for by, want := range map[string]fault.Code{"T-07": fault.Forbidden, "X-99": fault.Forbidden, "": fault.Forbidden, "L-01": fault.Forbidden, "A-07": ""} {
		if err := add(by, "Q-"+by+"1"); fault.CodeOf(err) != want {
			t.Errorf("%q makes an account: %v, want %q", by, err, want)
		}
	}
}

// An edition that would begin later is refused, with the way there is for a requirement that does.
func TestRulesBeginWhenTheyAreSigned(t *testing.T) {
	b := start(t)
	err := b.attempt(b.as("L-01", 0, access.Lead), func(w *desk.Work) error {
		_, _, err := w.SettingUp().AdoptRules(lead, desk.Adoption{At: b.at().Add(time.Hour), Name: "later.yaml", Text: policy.Preset()})
		return err
	})
	if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "with starts: and the day") {
		t.Error(err)
	}
}

// Once the start is signed whoever is named at the machine, and has a password, shows it for what is a signature, and so
// does a second person; who has none signs by being there.
func TestAtTheMachinePeopleShowPasswords(t *testing.T) {
	b := start(t)
	for code, role := range map[string]access.Role{"L-05": access.Lead, "H-05": access.InfectionPrevention} {
		_, _, err := b.cheapDoor().AddAccount(b.Context(), identity.Entry{Actor: access.Operator(code)},
			identity.NewAccount{Code: code, Name: code, Roles: []access.Role{role}, Password: leadsPassword})
		if err != nil {
			t.Fatal(err)
		}
	}
	b.pass(time.Minute)
	b.reprocessed()
	b.pass(time.Minute)
	hold := string(b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "a smell"})
	}).Record.ID)
	b.pass(time.Minute)
	lift := func(a access.Actor, e desk.Entry, second string) error {
		return b.attempt(a, func(w *desk.Work) error {
			return only(w.LiftHold(e, reprocessing.Lift{Hold: hold, By: a.Code(), Second: second, Reason: "aired"}))
		})
	}
	shown := func(by string, codes ...string) access.Actor {
		a := access.Operator(by)
		for _, c := range codes {
			a = a.Having(b.as(c, 0))
		}
		return a
	}
	none := desk.Entry{}
	for _, test := range []struct {
		name string
		err  error
		want fault.Code
	}{
		{"nobody", lift(shown("L-05"), none, "H-05"), fault.Unsigned},
		{"the first", lift(shown("L-05", "L-05"), none, "H-05"), fault.Unsigned},
		{"the first, and the second as an operator", lift(shown("L-05", "L-05"), desk.Entry{Second: access.Operator("H-05")}, ""), fault.Unsigned},
		{"the second", lift(shown("L-05", "H-05"), none, "H-05"), fault.Unsigned},
		{"both", lift(shown("L-05", "L-05", "H-05"), none, "H-05"), ""},
		{"the one who has a password", lift(shown("L-01", "H-05"), none, "H-05"), ""},
		{"not the one who has a password", lift(shown("L-01"), none, "H-05"), fault.Unsigned},
		{"the other one who has a password", lift(shown("L-05", "L-05"), none, "H-01"), ""},
		{"who have none", lift(shown("L-01"), none, "H-01"), ""},
	} {
		if got := fault.CodeOf(test.err); got != test.want || test.want == "" && test.err != nil {
			t.Errorf("%s shown: %v, want %q", test.name, test.err, test.want)
		}
	}
	if err := b.attempt(access.Operator("L-05"), func(w *desk.Work) error {
		return only(w.PlaceHold(desk.Entry{}, reprocessing.Hold{Scope: "D-01", Reason: "a scratch"}))
	}); err != nil {
		t.Errorf("what is no signature: %v", err)
	}
}

// A hold began at the earlier of the time it speaks of and its first record, so that two people who were made leads after
// that, by one, end it neither because its time lay ahead nor because it was made stricter since.
func TestHoldBeganWithItsFirstRecord(t *testing.T) {
	late := func(t *testing.T, ahead time.Duration) (*bench, ledger.ID) {
		t.Helper()
		b := start(t)
		b.reprocessed()
		b.pass(time.Minute)
		at := b.at().Add(ahead)
		hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", At: at, By: "T-01", Reason: "a smell"})
		}).Record.ID
		b.pass(30 * time.Second)
		b.person("Z-01", access.Lead)
		b.person("Z-02", access.Lead)
		b.pass(30 * time.Second)
		return b, hold
	}
	refused := func(t *testing.T, what string, err error) {
		t.Helper()
		if fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "only after that began") {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, ahead := range []time.Duration{0, time.Minute} {
		b, hold := late(t, ahead)
		b.pass(time.Minute)
		_, err := b.lift(reprocessing.Lift{Hold: string(hold), By: "Z-02", Second: "Z-01", Reason: "aired"})
		refused(t, "lifted, "+ahead.String()+" ahead", err)
		if _, err := b.lift(reprocessing.Lift{Hold: string(hold), By: "L-01", Second: "H-01", Reason: "aired"}); err != nil {
			t.Errorf("by two of before: %v", err)
		}
	}
	b, hold := late(t, 0)
	stricter := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01", Corrects: hold, Reason: "worse"},
			reprocessing.Hold{Scope: "D-01", Kind: reprocessing.DamageHold, By: "T-01", Reason: "a smell"})
	}).Record.ID
	b.pass(time.Minute)
	taken := func(by, second string) error {
		return b.attempt(access.Scribe(), func(w *desk.Work) error {
			return only(w.Void(desk.Entry{By: by, Corrects: stricter, Reason: "of another scope", Second: b.as(second, 0, access.Lead)}))
		})
	}
	refused(t, "taken back", taken("Z-02", "Z-01"))
	if err := taken("L-01", "L-02"); err != nil && strings.Contains(err.Error(), "only after that began") {
		t.Errorf("by two of before: %v", err)
	}
}
