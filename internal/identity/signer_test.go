package identity_test

import (
	"crypto/rand"
	"errors"
	"testing"
	"time"

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

// shown is the operator for a person, to whom that person and a second one have just shown who they are.
func (l *lobby) shown(code, second string) identity.Entry {
	e := identity.Entry{Actor: access.Operator(code), Second: access.Operator(second)}
	now := l.db.Now()
	for _, c := range []string{code, second} {
		if c != "" {
			e.Actor = e.Actor.Having(access.Recognised(c, nil, access.ByPassword, access.Times{Created: now, Seen: now, Proved: now}))
		}
	}
	return e
}

// Before the start any administrator gives every role, and it is nobody's grant; afterwards infection prevention takes
// two, or one who has it.
func TestInfectionPreventionIsGrantedByTwo(t *testing.T) {
	l := enter(t)
	by := l.shown
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
	after := l.signer("L-05")
	if len(after.Handed) != 1 || after.Handed[0].By != "A-01" || len(before.Handed) > 0 {
		t.Errorf("from whom L-05 has what they sign in with: %+v, and before the account %+v", after.Handed, before.Handed)
	}
	after.Handed = nil
	if diff := cmp.Diff(before, after); diff != "" || !before.Known {
		t.Errorf("registered as a lead, and an account since: %s", diff)
	}
}

// Whoever resets an account, or sets its password or PIN, could sign in its name: it counts as given by them then. Who
// changes their own does not, and a reset ends what others knew before.
func TestResetCountsAsGivenThen(t *testing.T) {
	type given struct{ By, Second string }
	tests := []struct {
		name string
		do   func(*lobby) error
		want []given
	}{
		{"nothing", func(*lobby) error { return nil }, nil},
		{"reset by one", func(l *lobby) error { return l.reset("A-01", "", "L-01") }, []given{{"A-01", ""}}},
		{"reset by two", func(l *lobby) error { return l.reset("A-01", "H-01", "L-01") }, []given{{"A-01", "H-01"}}},
		{"password set by somebody else", func(l *lobby) error {
			_, err := l.door.SetPassword(l.Context(), l.shown("A-01", ""), "L-01", other)
			return err
		}, []given{{"A-01", ""}}},
		{"PIN set by somebody else", func(l *lobby) error {
			_, err := l.door.SetPIN(l.Context(), l.shown("A-01", ""), "L-01", pin)
			return err
		}, []given{{"A-01", ""}}},
		{"badge tied by somebody else", func(l *lobby) error {
			_, err := l.door.SetBadge(l.Context(), l.shown("A-01", ""), "L-01", "5829136077")
			return err
		}, nil},
		{"own password, with the old one", func(l *lobby) error {
			_, err := l.door.ChangePassword(l.Context(), l.in(l.door.SignIn(l.Context(), "L-01", right, bench7)).Token, right, other, bench7)
			return err
		}, nil},
		{"own password after a reset", func(l *lobby) error {
			_, once, err := l.door.Reset(l.Context(), l.shown("A-01", ""), "L-01")
			if err != nil {
				return err
			}
			l.now.Move(time.Minute)
			_, err = l.door.Redeem(l.Context(), "L-01", once, other, bench7)
			return err
		}, []given{{"A-01", ""}}},
		{"password and PIN", func(l *lobby) error {
			_, err1 := l.door.SetPassword(l.Context(), l.shown("A-01", ""), "L-01", other)
			_, err2 := l.door.SetPIN(l.Context(), l.shown("A-02", ""), "L-01", pin)
			return errors.Join(err1, err2)
		}, []given{{"A-01", ""}, {"A-02", ""}}},
		{"password, then reset by another", func(l *lobby) error {
			_, err := l.door.SetPassword(l.Context(), l.shown("A-01", ""), "L-01", other)
			return errors.Join(err, l.reset("A-02", "", "L-01"))
		}, []given{{"A-02", ""}}},
	}
	for _, test := range tests {
		l := trial(t)
		l.signStart()
		l.now.Move(time.Minute)
		before := l.db.Now()
		if err := test.do(l); err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		s := l.signer("L-01")
		var got []given
		for _, h := range s.Handed {
			got = append(got, given{h.By, h.Second})
			if h.Since < before {
				t.Errorf("%s: since %s", test.name, h.Since)
			}
		}
		if diff := cmp.Diff(test.want, got); diff != "" {
			t.Errorf("%s: %s", test.name, diff)
		}
		if len(s.Held) != 1 || !s.Held[0].Founding {
			t.Errorf("%s: the role is %+v", test.name, s.Held)
		}
	}
}

// trial is a lobby of a site on trial, with a lead, infection prevention and a second administrator.
func trial(t *testing.T) *lobby {
	t.Helper()
	l := enterAs(t, true)
	l.add("L-01", "Lee Muster", access.Lead)
	l.add("H-01", "Hel Muster", access.InfectionPrevention)
	l.add("A-02", "Ada Muster", access.Administrator)
	return l
}

func (l *lobby) reset(by, second, code string) error {
	_, _, err := l.door.Reset(l.Context(), l.shown(by, second), code)
	return err
}

// Once the start is signed a command changes an account for somebody who has a password only when they have shown it, and
// the second person too; infection prevention is reset as that role is given; nobody gives roles to themselves; and a lead
// and infection prevention together let the last administrator in again.
func TestAccountsAtTheMachine(t *testing.T) {
	l := trial(t)
	plain := func(code, second string) identity.Entry {
		return identity.Entry{Actor: access.Operator(code), Second: access.Operator(second)}
	}
	one := func(_ identity.Receipt, _ string, err error) error { return err }
	roles := func(e identity.Entry, code string) error {
		_, err := l.door.ChangeRoles(l.Context(), e, code, []access.Role{access.Administrator, access.Lead})
		return err
	}
	if err := one(l.door.Reset(l.Context(), plain("A-01", ""), "T-01")); err != nil {
		t.Errorf("on trial: %v", err)
	}
	if err := roles(plain("A-02", ""), "A-02"); err != nil {
		t.Errorf("one's own roles, on trial: %v", err)
	}
	l.signStart()
	halfShown := l.shown("A-01", "")
	halfShown.Second = access.Operator("H-01")
	for _, test := range []struct {
		name string
		err  error
		want fault.Code
	}{
		{"not shown", one(l.door.Reset(l.Context(), plain("A-01", ""), "L-01")), fault.Unsigned},
		{"shown", l.reset("A-01", "", "T-01"), ""},
		{"the second person not shown", one(l.door.Reset(l.Context(), halfShown, "L-01")), fault.Unsigned},
		{"infection prevention by one", l.reset("A-01", "", "H-01"), fault.Forbidden},
		{"one's own roles", roles(l.shown("A-01", ""), "A-01"), fault.Forbidden},
		{"one's own roles, with a second person", roles(l.shown("A-01", "L-01"), "A-01"), fault.Forbidden},
		{"an account for oneself with another role", l.addAs(identity.Entry{Actor: access.Operator("A-09")}, "A-09", access.Lead), fault.Forbidden},
		{"by a lead alone", l.reset("L-01", "", "A-01"), fault.Forbidden},
		{"by a lead and an administrator's name", one(l.door.Reset(l.Context(), plain("L-01", "H-01"), "A-01")), fault.Forbidden},
		{"by a lead and a technician", l.reset("L-01", "T-01", "A-01"), fault.Forbidden},
		{"by a lead and infection prevention", l.reset("L-01", "H-01", "A-01"), ""},
		{"infection prevention by two", l.reset("A-02", "L-01", "H-01"), ""},
	} {
		if got := fault.CodeOf(test.err); got != test.want || test.want == "" && test.err != nil {
			t.Errorf("%s: %v, want %q", test.name, test.err, test.want)
		}
	}
}
