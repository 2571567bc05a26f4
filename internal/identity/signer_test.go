package identity_test

import (
	"crypto/rand"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// signStart ends the trial of the site, as the desk would.
func (l *lobby) signStart() {
	l.Helper()
	err := l.db.Write(l.Context(), func(tx *store.Tx) error {
		_, _, err := tx.Append(store.Draft{Type: record.Start, ID: ledger.NewID(tx.Now, rand.Reader), At: tx.Now, By: "L-01", Body: reprocessing.StartNote{
			At: tx.Now, By: "L-01", Second: "H-01", ByRoles: []access.Role{access.Lead}, SecondRoles: []access.Role{access.InfectionPrevention},
		}})
		return err
	})
	if err != nil {
		l.Fatal(err)
	}
}

func (l *lobby) addAs(e identity.Entry, code string, roles ...access.Role) error {
	_, _, err := l.door.AddAccount(l.Context(), e, identity.NewAccount{Code: code, Name: "Kim Muster", Roles: roles})
	return err
}

func (l *lobby) signer(code string) (s access.Signer) {
	l.Helper()
	err := l.db.Read(l.Context(), func(tx *store.Tx) (err error) {
		s, err = identity.On(tx).Signer(code, reprocessing.Clock{})
		return err
	})
	if err != nil {
		l.Fatal(err)
	}
	return s
}

// Before the start any administrator gives every role, and it is nobody's grant; afterwards infection prevention takes
// two, or one who has it.
func TestInfectionPreventionIsGrantedByTwo(t *testing.T) {
	l := enter(t)
	by := func(code, second string) identity.Entry {
		return identity.Entry{Actor: access.Operator(code), Second: access.Operator(second)}
	}
	const ip = access.InfectionPrevention
	for code, role := range map[string]access.Role{"H-01": ip, "L-01": access.Lead} {
		if err := l.addAs(by("A-01", ""), code, role); err != nil {
			t.Fatal(err)
		}
	}
	// At the machine as on a page it takes an administrator to make an account.
	if _, err := l.door.ChangeRoles(l.Context(), by("A-01", ""), "H-01", []access.Role{ip, access.Administrator}); err != nil {
		t.Fatal(err)
	}
	l.signStart()
	roles := func(e identity.Entry, roles ...access.Role) error {
		_, err := l.door.ChangeRoles(l.Context(), e, "T-01", roles)
		return err
	}
	for _, test := range []struct {
		name string
		err  error
		want fault.Code
	}{
		{"a new account, by one", l.addAs(by("A-01", ""), "H-02", ip), fault.Forbidden},
		{"a new account, with an unknown person", l.addAs(by("A-01", "X-77"), "H-02", ip), fault.NotFound},
		{"a new account, by one twice", l.addAs(by("A-01", "a-01"), "H-02", ip), fault.Invalid},
		{"a new account, signed by itself", l.addAs(by("A-01", "H-02"), "H-02", ip), fault.Invalid},
		{"a new account, with a lead", l.addAs(by("A-01", "L-01"), "H-02", ip), ""},
		{"a new account, by one who has the role", l.addAs(by("H-01", ""), "H-03", ip), ""},
		{"another role, by one", roles(by("A-01", ""), access.Lead), ""},
		{"the role besides, by one", roles(by("A-01", ""), access.Lead, ip), fault.Forbidden},
		{"the role besides, with one who has it", roles(by("A-01", "H-01"), access.Lead, ip), ""},
		{"what they have, by one", roles(by("A-01", ""), ip), ""},
	} {
		if got := fault.CodeOf(test.err); got != test.want || test.want == "" && test.err != nil {
			t.Errorf("%s: %v, want %q", test.name, test.err, test.want)
		}
	}
	// Who comes in again has the role anew.
	if _, err := l.door.Disable(l.Context(), by("A-01", ""), "H-02"); err != nil {
		t.Fatal(err)
	}
	if _, err := l.door.Enable(l.Context(), by("A-01", ""), "H-02"); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("enabled by one: %v", err)
	}
	if s := l.signer("H-02"); s.Known || len(s.Held) > 0 {
		t.Errorf("disabled: %+v", s)
	}
	if _, err := l.door.Enable(l.Context(), by("A-01", "L-01"), "H-02"); err != nil {
		t.Errorf("enabled by two: %v", err)
	}
	got := l.signer("H-02").Held
	if len(got) != 1 || got[0].Founding || got[0].By != "A-01" || got[0].Second != "L-01" {
		t.Errorf("%+v", got)
	}
	if got := l.signer("L-01").Held; len(got) != 1 || !got[0].Founding {
		t.Errorf("of before the start: %+v", got)
	}
	// What somebody was registered with counts until there is an account, and is not granted anew by it.
	register := func(code, role string) {
		t.Helper()
		err := l.db.Write(t.Context(), func(tx *store.Tx) error {
			_, _, err := tx.Append(store.Draft{
				Type: record.Person, ID: ledger.NewID(tx.Now, rand.Reader), At: tx.Now, By: "L-01", Body: record.PersonBody{Code: code, Role: role},
			})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	register("L-05", "lead")
	before := l.signer("L-05")
	if err := l.addAs(by("A-01", ""), "L-05", access.Lead); err != nil {
		t.Fatal(err)
	}
	register("L-05", "infection prevention")
	if diff := cmp.Diff(before, l.signer("L-05")); diff != "" || !before.Known {
		t.Errorf("registered as a lead, and an account since: %s", diff)
	}
}
