package identity

import (
	"context"
	"errors"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/store"
)

// Proof is an attempt to show who somebody is by something other than a secret that is typed here. It is
// heard like a password: as slowly, as often, and with the same answer whether or not there is such an
// account.
type Proof struct {
	// What is shown, in words: "passkey".
	What string
	Way  access.Way
	// Stranger is the key under which failures count when there is no such account.
	Stranger string
	// Find reads whose proof it claims to be.
	Find func(*store.Tx) (store.Account, bool, error)
	// Fault says why what was shown is not right, nil when it is.
	Fault func() error
	// Use notes that it was used, in the transaction in which it counts.
	Use func(*store.Tx, *store.Account) error
}

// Admit takes an attempt out of the bucket of the address that it comes from, and says how long to wait
// for the next one when that is empty.
func (d *Door) Admit(address string) time.Duration {
	wait, _ := d.sources.Take(address, d.Now())
	return wait
}

// SignInBy begins a session with a proof.
func (d *Door) SignInBy(ctx context.Context, p Proof, from Source) (pass Pass, err error) {
	c, explain := p.claim(from)
	err = d.settle(ctx, c, func(tx *store.Tx, a *store.Account) error {
		if err := p.Use(tx, a); err != nil {
			return err
		}
		pass, err = begin(tx, *a, from, p.Way)
		return err
	})
	return pass, explain(err)
}

// UnlockBy opens a locked session again, or shows anew who the person of an active one is, with a proof of
// that person.
func (d *Door) UnlockBy(ctx context.Context, token string, proofOf func(store.Account) Proof, from Source) (Pass, error) {
	explain := func(err error) error { return err }
	var p Proof
	pass, err := d.reopen(ctx, token, func(a store.Account) (c claim) {
		p = proofOf(a)
		c, explain = p.claim(from)
		return c
	}, func(tx *store.Tx, a *store.Account) error { return p.Use(tx, a) }, access.Locked, access.Active)
	return pass, explain(err)
}

// claim returns the attempt, and what adds to a denial why the proof was not right, for the log.
func (p Proof) claim(from Source) (c claim, explain func(error) error) {
	var cause error
	c = claim{
		from: from, what: p.What, way: p.Way, stranger: p.Stranger, find: p.Find,
		compare: func(store.Account, unit.Instant) bool {
			cause = p.Fault()
			return cause == nil
		},
	}
	return c, func(err error) error {
		if d, ok := errors.AsType[*DeniedError](err); ok {
			d.Cause = cause
		}
		return err
	}
}
