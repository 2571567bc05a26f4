package identity_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// Only who manages accounts does anything to those of others, and nobody gives roles to themselves.
func TestEveryActOnAccountsAndRole(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	one := func(_ identity.Receipt, err error) error { return err }
	n := 0
	attempts := map[string]func(identity.Entry) error{
		"AddAccount": func(e identity.Entry) error {
			n++
			_, _, err := l.door.AddAccount(ctx, e, identity.NewAccount{Code: "N-" + string(rune('A'+n)), Name: "Kim Muster"})
			return err
		},
		"ChangeRoles": func(e identity.Entry) error {
			return one(l.door.ChangeRoles(ctx, e, "T-01", []access.Role{access.Technician}))
		},
		"SetPassword": func(e identity.Entry) error { return one(l.door.SetPassword(ctx, e, "T-01", other)) },
		"SetPIN":      func(e identity.Entry) error { return one(l.door.SetPIN(ctx, e, "T-01", pin)) },
		"SetBadge":    func(e identity.Entry) error { return one(l.door.SetBadge(ctx, e, "T-01", badge)) },
		"Disable":     func(e identity.Entry) error { return one(l.door.Disable(ctx, e, "T-01")) },
		"Enable":      func(e identity.Entry) error { return one(l.door.Enable(ctx, e, "T-01")) },
		"Reset": func(e identity.Entry) error {
			_, _, err := l.door.Reset(ctx, e, "T-01")
			return err
		},
		"Revoke": func(e identity.Entry) error {
			_, err := l.door.Revoke(ctx, e, "T-01", "")
			return err
		},
	}
	as := func(code string, roles ...access.Role) identity.Entry {
		now := l.db.Now()
		return identity.Entry{
			Actor: access.Recognised(code, roles, access.ByPassword, access.Times{Created: now.Add(-time.Hour), Seen: now, Proved: now.Add(-time.Hour)}),
		}
	}
	for _, act := range identity.Acts {
		do := attempts[act.Name]
		if do == nil {
			t.Errorf("nobody tries to %s", act.What)
			continue
		}
		for _, r := range access.Roles {
			err := do(as("X-01", r))
			if want := r == access.Administrator; (err == nil) != want || !want && fault.CodeOf(err) != fault.Forbidden {
				t.Errorf("%s as %s: %v", act.What, r, err)
			}
		}
		if err := do(identity.Entry{}); fault.CodeOf(err) != fault.Forbidden {
			t.Errorf("%s as nobody: %v", act.What, err)
		}
	}
	if _, err := l.door.Revoke(ctx, as("t-01"), "T-01", ""); err != nil {
		t.Errorf("one's own sessions, without a role: %v", err)
	}
	err := one(l.door.ChangeRoles(ctx, as("a-01", access.Administrator), "A-01", slices.Clone(access.Roles)))
	if fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("roles for oneself: %v", err)
	}
}

// Who acts is what the session tells, and how the person showed who they are.
func TestActorOfAVisit(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	a := l.visit(p.Token).Actor()
	if a.Code() != "T-01" || !a.Has(access.RecordStep) || a.Has(access.LiftHold) || !a.Signs(l.db.Now()) || l.visit(p.Token).Session.Way != access.ByPassword {
		t.Errorf("after signing in: %+v", a)
	}
	l.now.Move(access.ProofHolds)
	if l.visit(p.Token).Actor().Signs(l.db.Now()) {
		t.Error("the proof is as good as before after five minutes")
	}
	q := l.in(l.door.Reauthenticate(ctx, p.Token, pin, bench7))
	if v := l.visit(q.Token); !v.Actor().Signs(l.db.Now()) || v.Session.Way != access.ByPIN {
		t.Errorf("shown again with the PIN: %q", v.Session.Way)
	}
	if err := l.door.Lock(ctx, q.Token); err != nil {
		t.Fatal(err)
	}
	if a := l.visit(q.Token).Actor(); a.Code() != "" || a.Has(access.RecordStep) {
		t.Errorf("of a locked session: %+v", a)
	}
	if v := l.visit(l.in(l.door.Switch(ctx, badge, pin, bench7)).Token); v.Session.Way != access.ByBadge {
		t.Errorf("with the badge: %q", v.Session.Way)
	}
	l.done(l.door.SetPassword(ctx, byA, "T-01", other))
	l.now.Move(time.Minute)
	if a := l.visit(l.in(l.door.SignIn(ctx, "T-01", other, bench7)).Token).Actor(); a.Code() != "" {
		t.Errorf("with a password that somebody else chose: %+v", a)
	}
}
