// Package identity answers who somebody is: accounts, how people sign in and show again who they are, their
// sessions, and who else agrees to an act.
//
// What is kept of them, names and hashes of secrets, is no part of the ledger; what was done to an account
// is, by code. What people may do is decided in package access, and asked where it is done.
//
// Read Door first, then View. Devices that stand for a person are in package passkey, on top of Proof.
package identity

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Door is where people come in: accounts, signing in, and sessions. Its slow hashes are computed outside
// every transaction, and no more than two at a time.
type Door struct {
	db *store.DB
	// clock is the door's own; nil where that of the records counts.
	clock   func() time.Time
	hashes  hashes
	sources Paced
}

// NewDoor returns the door to the records of a store; cost is that of new hashes, access.Standard but in
// tests.
func NewDoor(db *store.DB, cost access.Cost) *Door {
	return &Door{db: db, hashes: newHashes(cost), sources: Paced{Pace: access.Attempts}}
}

// Beside returns the same door with a clock of its own, for records whose clock runs ahead: an hour at the
// door is an hour for whoever stands there. As long as the two differ nothing may go on record through it.
func (d *Door) Beside(clock func() time.Time) *Door {
	d.clock = clock
	return d
}

// Now returns the present at the door.
func (d *Door) Now() unit.Instant {
	if d.clock == nil {
		return d.db.Now()
	}
	return unit.At(d.clock())
}

// Write runs work in a transaction at the present of the door.
func (d *Door) Write(ctx context.Context, work func(*store.Tx) error) error {
	return d.db.Write(ctx, d.here(work))
}

// Read asks in the present of the door.
func (d *Door) Read(ctx context.Context, ask func(*store.Tx) error) error {
	return d.db.Read(ctx, d.here(ask))
}

// here makes a transaction one at the present of the door.
func (d *Door) here(work func(*store.Tx) error) func(*store.Tx) error {
	if d.clock == nil {
		return work
	}
	return func(tx *store.Tx) error {
		tx.Now = d.Now()
		return work(tx)
	}
}

// Site returns who keeps the records.
func (d *Door) Site() record.SiteBody { return d.db.Site() }

// Entry is what an act on an account says about itself.
type Entry struct {
	// ID names the record; empty gives it a new one.
	ID ledger.ID
	// Actor is who acts, in whose name it is recorded.
	Actor access.Actor
	// Second is who else signs, where somebody does.
	Second access.Actor
}

// Receipt is what an act on an account left behind.
type Receipt struct {
	Record ledger.Record
	// Fresh is false when the same record was stored before.
	Fresh bool
}

// DeniedError is the answer to an attempt to sign in that failed. It never tells whether there is such
// an account.
type DeniedError struct {
	// What was not right, in words: "code or password".
	What string
	// Wait is how long until the next attempt is heard; zero when this one was heard.
	Wait time.Duration
	// Closed says that no attempt is heard any more until an administrator resets the account, PINClosed
	// that only the password counts.
	Closed, PINClosed bool
	// Cause is why, for the log and not for whoever tries; nil where What says it all.
	Cause error
}

// Unwrap returns the cause.
func (e *DeniedError) Unwrap() error { return e.Cause }

// Error tells the person what to do next.
func (e *DeniedError) Error() string {
	switch {
	case e.Closed:
		return fmt.Sprintf("closed after %d failed attempts in a row\nhint: ask an administrator for a one-time code", access.MostFailures)
	case e.PINClosed:
		return fmt.Sprintf("the PIN is closed after %d failed attempts in a row\nhint: use the password", access.MostPINFailures)
	case e.Wait > 0:
		return fmt.Sprintf("too many attempts; the next one is heard in %d s", (e.Wait+time.Second-1)/time.Second)
	}
	return "the " + e.What + " is not right"
}

// Source is where an attempt comes from.
type Source struct {
	// Address is that of the computer, without a port; Agent is what the browser says it is.
	Address, Agent string
}

// Lengths of what is kept of a source, in bytes.
const (
	longestAddress = 64
	longestAgent   = 200
)

// cut returns the beginning of a text.
func cut(text string, most int) string {
	text = strings.ToValidUTF8(text, "")
	for len(text) > most {
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
	}
	return text
}

// Visit is who is there, as far as a session tells.
type Visit struct {
	// State is access.Expired when there is no such session, it has ended, or the account is disabled;
	// Account and Session are empty then.
	State   access.State
	Account store.Account
	Session store.Session
}

// Actor is who acts by the visit: nobody unless the session is active, and nobody as long as the password is
// one that somebody else chose.
func (v Visit) Actor() access.Actor {
	if v.State != access.Active || v.Account.MustChange {
		return access.Actor{}
	}
	return access.Recognised(v.Account.Code, v.Account.Roles, v.Session.Way, v.Session.Times)
}

// Pass is a session that somebody has just begun or opened again.
type Pass struct {
	// Token is what the browser shows from now on; it is kept nowhere. It takes the place of the token
	// that the browser showed before.
	Token string
	Visit
}

// claim is one attempt of somebody to show who they are.
type claim struct {
	from Source
	// what is asked for, in words; way is how it shows who somebody is.
	what string
	way  access.Way
	find func(*store.Tx) (store.Account, bool, error)
	// stranger is the key under which failures count when there is no such account.
	stranger string
	// secretOf returns the hash that the secret is compared with, empty where the account has none.
	secretOf func(store.Account) string
	secret   string
	// compare is used instead of secretOf for secrets that need no slow hash.
	compare func(a store.Account, now unit.Instant) bool
	pin     bool
	// prepare is done before the secret is looked at, once the attempt is heard at all.
	prepare func() error
}

// settle hears a claim and, when it holds, calls then in a transaction. The attempt counts as a failure
// before the secret is looked at, and no more once it was right, so that many attempts at once are no
// way around the wait. What happens is the same, and takes as long, whether or not there is such an
// account: the same look-ups, the same write, one hash.
func (d *Door) settle(ctx context.Context, c claim, then func(*store.Tx, *store.Account) error) error {
	if wait := d.Admit(c.from.Address); wait > 0 {
		return &DeniedError{What: c.what, Wait: wait}
	}
	if err := d.hashes.enter(ctx); err != nil {
		return err
	}
	defer d.hashes.leave()
	if c.prepare != nil {
		if err := c.prepare(); err != nil {
			return err
		}
	}
	var a store.Account
	var known bool
	var now unit.Instant
	if err := d.Write(ctx, func(tx *store.Tx) (err error) {
		now = tx.Now
		if a, known, err = c.find(tx); err != nil {
			return err
		}
		return count(tx, c, c.key(a, known))
	}); err != nil {
		return err
	}
	if !d.holds(c, a, known, now) {
		return &DeniedError{What: c.what}
	}
	var renewed string
	if h, err := access.ParseHash(c.hashOf(a)); err == nil && h.Dated(d.hashes.cost) {
		if h, err := access.HashSecret(c.secret, d.hashes.cost, rand.Reader); err == nil {
			renewed = h.String()
		}
	}
	return d.Write(ctx, func(tx *store.Tx) error {
		again, known, err := c.find(tx)
		if err != nil {
			return err
		}
		if !known || again.Disabled.Known() || again.Code != a.Code || again.Password != a.Password || again.PIN != a.PIN || again.Once != a.Once {
			return &DeniedError{What: c.what} // changed while the secret was compared
		}
		switch {
		case renewed == "":
		case c.pin:
			again.PIN = renewed
		default:
			again.Password = renewed
		}
		if renewed != "" {
			if err := tx.Access().SaveAccount(again); err != nil {
				return err
			}
		}
		if err := tx.Access().SaveFailures(c.key(a, true), access.Failures{}); err != nil {
			return err
		}
		return then(tx, &again)
	})
}

func (c claim) key(a store.Account, known bool) string {
	if known {
		return access.Key(a.Code)
	}
	return c.stranger
}

func (c claim) hashOf(a store.Account) string {
	if c.secretOf == nil {
		return ""
	}
	return c.secretOf(a)
}

// count adds a failure, or refuses an attempt that comes too early.
func count(tx *store.Tx, c claim, key string) error {
	f, err := tx.Access().Failures(key)
	if err != nil {
		return err
	}
	switch wait := f.Wait(tx.Now); {
	case f.Spent():
		return &DeniedError{What: c.what, Closed: true}
	case c.pin && f.PINSpent():
		return &DeniedError{What: c.what, PINClosed: true}
	case wait > 0:
		return &DeniedError{What: c.what, Wait: wait}
	}
	return tx.Access().SaveFailures(key, f.After(tx.Now))
}

// holds compares the secret. Where there is nothing to compare with, a hash that nothing matches takes as
// long.
func (d *Door) holds(c claim, a store.Account, known bool, now unit.Instant) bool {
	may := known && !a.Disabled.Known()
	if c.compare != nil {
		return c.compare(a, now) && may
	}
	h, err := access.ParseHash(c.hashOf(a))
	if err != nil {
		h, may = access.Decoy(d.hashes.cost), false
	}
	return d.hashes.matches(h, c.secret) && may
}

// byCode finds the account of a code that somebody typed.
func byCode(code string) func(*store.Tx) (store.Account, bool, error) {
	return func(tx *store.Tx) (store.Account, bool, error) { return tx.Access().Account(code) }
}

func passwordOf(a store.Account) string { return a.Password }

func pinOf(a store.Account) string { return a.PIN }

// SignIn begins a session with a code and a password. A *DeniedError says no more than that the two do
// not fit, or how long to wait.
func (d *Door) SignIn(ctx context.Context, code, password string, from Source) (p Pass, err error) {
	c := claim{
		from:     from,
		what:     "code or the password",
		way:      access.ByPassword,
		find:     byCode(code),
		stranger: access.Key(code),
		secretOf: passwordOf,
		secret:   password,
	}
	err = d.settle(ctx, c, func(tx *store.Tx, a *store.Account) error {
		p, err = begin(tx, *a, from, c.way)
		return err
	})
	return p, err
}

// Switch begins a session with a badge and its PIN, for taking over a shared bench.
func (d *Door) Switch(ctx context.Context, badge, pin string, from Source) (p Pass, err error) {
	digest := badgeDigest(badge)
	c := claim{
		from: from, what: "badge or the PIN", way: access.ByBadge, stranger: digest, secretOf: pinOf, secret: pin, pin: true,
		find: func(tx *store.Tx) (store.Account, bool, error) { return tx.Access().AccountByBadge(digest) },
	}
	err = d.settle(ctx, c, func(tx *store.Tx, a *store.Account) error {
		p, err = begin(tx, *a, from, c.way)
		return err
	})
	return p, err
}

// Vouch lets a second person show who they are, with code and password, for one act of somebody else. It
// begins no session. A password that somebody else chose vouches for nobody.
func (d *Door) Vouch(ctx context.Context, code, password string, from Source) (second access.Actor, err error) {
	c := claim{
		from:     from,
		what:     "code or the password",
		way:      access.ByPassword,
		find:     byCode(code),
		stranger: access.Key(code),
		secretOf: passwordOf,
		secret:   password,
	}
	err = d.settle(ctx, c, func(tx *store.Tx, known *store.Account) error {
		if known.MustChange {
			return &fault.Error{
				Code:    fault.Invalid,
				Message: "the password of " + known.Code + " was set by somebody else",
				Hint:    "let them sign in and choose one of their own first",
			}
		}
		second = access.Recognised(known.Code, known.Roles, access.ByPassword, access.Times{Created: tx.Now, Seen: tx.Now, Proved: tx.Now})
		return nil
	})
	return second, err
}

// Redeem sets a password with a one-time code and begins a session. The code counts once.
func (d *Door) Redeem(ctx context.Context, code, once, password string, from Source) (p Pass, err error) {
	// The password is judged and hashed first, and so whether or not the code is right.
	if err := d.judgePassword(store.Account{Code: code}, password); err != nil {
		return p, err
	}
	var hash access.Hash
	digest := onceDigest(once)
	c := claim{
		from: from, what: "code or the one-time code", way: access.ByOnce, find: byCode(code), stranger: access.Key(code),
		compare: func(a store.Account, now unit.Instant) bool {
			return subtle.ConstantTimeCompare([]byte(a.Once), []byte(digest)) == 1 && now < a.OnceUntil
		},
		prepare: func() (err error) {
			hash, err = access.HashSecret(password, d.hashes.cost, rand.Reader)
			return err
		},
	}
	err = d.settle(ctx, c, func(tx *store.Tx, a *store.Account) error {
		if err := d.judgePassword(*a, password); err != nil { // now that the name is known
			return err
		}
		if err := ownPassword(tx, a, hash.String()); err != nil {
			return err
		}
		p, err = begin(tx, *a, from, c.way)
		return err
	})
	return p, err
}

// strangersFor is how long failures count of codes and badges that nobody has. Whoever waits longer
// between two guesses could tell such a code from a real one.
const strangersFor = 30 * 24 * time.Hour

// begin makes a session for an account.
func begin(tx *store.Tx, a store.Account, from Source, way access.Way) (Pass, error) {
	now := tx.Now
	if err := tx.Access().DropSessions(now); err != nil {
		return Pass{}, err
	}
	if err := tx.Access().ForgetStrangers(now.Add(-strangersFor)); err != nil {
		return Pass{}, err
	}
	s := store.Session{
		Code: a.Code, Times: access.Times{Created: now, Seen: now, Proved: now}, Way: way,
		Address: cut(from.Address, longestAddress), Agent: cut(from.Agent, longestAgent),
	}
	return issue(tx, a, s)
}

// issue gives a session a new token.
func issue(tx *store.Tx, a store.Account, s store.Session) (p Pass, err error) {
	if p.Token, err = access.NewToken(rand.Reader); err != nil {
		return Pass{}, err
	}
	s.Token = tokenDigest(p.Token)
	if err := tx.Access().AddSession(s); err != nil {
		return Pass{}, err
	}
	a.Failures = access.Failures{}
	p.Visit = Visit{State: s.State(tx.Now), Account: a, Session: s}
	return p, nil
}

func tokenDigest(token string) string { return access.Digest(access.TokenDigest, token) }

// Session returns who shows a token; use notes that an active session is in use, without which it locks. It is no error when
// there is no such session: its State is access.Expired then. The roles are those of this instant.
func (d *Door) Session(ctx context.Context, token string, use bool) (v Visit, err error) {
	if err := d.Read(ctx, func(tx *store.Tx) (err error) {
		v, err = On(tx).Visit(token)
		return err
	}); err != nil {
		return v, err
	}
	if !use || v.State != access.Active || d.Now().Sub(v.Session.Seen) < access.TouchEvery {
		return v, nil
	}
	if d.db.Occupied() { // a look at a page does not wait for its end; the next one counts
		return v, nil
	}
	err = d.Write(ctx, func(tx *store.Tx) (err error) {
		// Looked at again, since it may have been locked or ended meanwhile.
		if v, err = On(tx).Visit(token); err != nil || v.State != access.Active {
			return err
		}
		v.Session.Seen = tx.Now
		return tx.Access().TouchSession(v.Session.Token, v.Session.Seen, false)
	})
	return v, err
}

// Lock locks a session until Unlock.
func (d *Door) Lock(ctx context.Context, token string) error {
	return d.Write(ctx, func(tx *store.Tx) error {
		v, err := On(tx).Visit(token)
		if err != nil || v.State == access.Expired {
			return err
		}
		return tx.Access().TouchSession(v.Session.Token, v.Session.Seen, true)
	})
}

// Unlock opens a locked session again with the PIN or the password of the same person.
func (d *Door) Unlock(ctx context.Context, token, secret string, from Source) (Pass, error) {
	return d.prove(ctx, token, secret, from, nil, access.Locked, access.Active)
}

// Reauthenticate shows again who the person of an active session is, before they sign.
func (d *Door) Reauthenticate(ctx context.Context, token, secret string, from Source) (Pass, error) {
	return d.prove(ctx, token, secret, from, nil, access.Active)
}

// ProveByPassword lets the person of an active session show the password, and nothing less, for a change
// of how they sign in.
func (d *Door) ProveByPassword(ctx context.Context, token, password string, from Source, also func(*store.Tx, *store.Account) error) (Pass, error) {
	if access.IsPIN(password) {
		return Pass{}, &DeniedError{What: "password"}
	}
	return d.prove(ctx, token, password, from, also, access.Active)
}

// ChangePIN sets the PIN of whoever has signed in, who shows the password for it; an empty one takes it
// away.
func (d *Door) ChangePIN(ctx context.Context, token, password, pin string, from Source) (Pass, error) {
	hash, err := d.pinHash(ctx, pin)
	if err != nil {
		return Pass{}, err
	}
	return d.ProveByPassword(ctx, token, password, from, func(tx *store.Tx, a *store.Account) error {
		a.PIN = hash
		if err := tx.Access().SaveAccount(*a); err != nil {
			return err
		}
		_, err := RecordAccess(tx, "", a.Code, *a, record.PINChanged)
		return err
	})
}

// ChangePassword lets somebody who has signed in change the password, who shows the old one for it. The
// person's other sessions end.
func (d *Door) ChangePassword(ctx context.Context, token, old, password string, from Source) (Pass, error) {
	if access.Normal(old) == access.Normal(password) {
		return Pass{}, fault.Invalidf("the new password is the old one")
	}
	var v Visit
	if err := d.Read(ctx, func(tx *store.Tx) (err error) {
		v, err = On(tx).Visit(token)
		return err
	}); err != nil {
		return Pass{}, err
	}
	if v.State != access.Active {
		return Pass{}, NotSignedIn(v.State)
	}
	if access.IsPIN(old) {
		return Pass{}, &DeniedError{What: "password"}
	}
	hash, err := d.newPassword(ctx, v.Account, password)
	if err != nil {
		return Pass{}, err
	}
	return d.prove(ctx, token, old, from, func(tx *store.Tx, a *store.Account) error { return ownPassword(tx, a, hash) }, access.Active)
}

// ownPassword sets a password that the person has chosen, and records that.
func ownPassword(tx *store.Tx, a *store.Account, hash string) error {
	a.MustChange = false
	setPassword(tx, a, hash)
	if err := startAnew(tx, *a); err != nil {
		return err
	}
	if err := tx.Access().SaveAccount(*a); err != nil {
		return err
	}
	_, err := RecordAccess(tx, "", a.Code, *a, record.PasswordChanged)
	return err
}

// NotSignedIn refuses what only an active session may do, by the state of the one there is.
func NotSignedIn(state access.State) error {
	if state == access.Locked {
		return &fault.Error{Code: fault.Invalid, Message: "the session is locked", Hint: "open it with the PIN or the password"}
	}
	return &fault.Error{Code: fault.Invalid, Message: "the session has ended", Hint: "sign in again"}
}

// prove lets the person of a session show who they are with the password or the PIN, and gives the session
// a new token. also is done in the same transaction.
func (d *Door) prove(ctx context.Context, token, secret string, from Source, also func(*store.Tx, *store.Account) error, in ...access.State) (Pass, error) {
	return d.reopen(ctx, token, func(a store.Account) claim {
		c := claim{
			from:     from,
			what:     "password",
			way:      access.ByPassword,
			find:     byCode(a.Code),
			stranger: access.Key(a.Code),
			secretOf: passwordOf,
			secret:   secret,
		}
		if access.IsPIN(secret) { // no password is that short
			c.what, c.way, c.secretOf, c.pin = "PIN", access.ByPIN, pinOf, true
		}
		return c
	}, also, in...)
}

// reopen gives a session in one of some states a new token once a claim of its person holds. also is done
// in the same transaction.
func (d *Door) reopen(
	ctx context.Context,
	token string,
	claimOf func(store.Account) claim,
	also func(*store.Tx, *store.Account) error,
	in ...access.State,
) (p Pass, err error) {
	var v Visit
	if err := d.Read(ctx, func(tx *store.Tx) (err error) {
		v, err = On(tx).Visit(token)
		return err
	}); err != nil {
		return p, err
	}
	if !slices.Contains(in, v.State) {
		return p, NotSignedIn(v.State)
	}
	c := claimOf(v.Account)
	err = d.settle(ctx, c, func(tx *store.Tx, a *store.Account) error {
		v, err := On(tx).Visit(token)
		if err != nil {
			return err
		}
		if !slices.Contains(in, v.State) {
			return NotSignedIn(v.State)
		}
		if also != nil {
			if err := also(tx, a); err != nil {
				return err
			}
		}
		if err := tx.Access().EndSession(v.Session.Token); err != nil {
			return err
		}
		s := v.Session
		s.Seen, s.Proved, s.Locked, s.Way = tx.Now, tx.Now, false, c.way
		p, err = issue(tx, *a, s)
		return err
	})
	return p, err
}

// SignOut ends a session; one that has ended already is no error.
func (d *Door) SignOut(ctx context.Context, token string) error {
	return d.Write(ctx, func(tx *store.Tx) error { return tx.Access().EndSession(tokenDigest(token)) })
}

// SessionID is how a session is named on pages and in commands: the beginning of its token's digest, of
// no use to whoever wants in.
func SessionID(s store.Session) string { return s.Token[:min(len(s.Token), 12)] }

// Revoke ends the session of an account with an id, or all of them when the id is empty, and says how
// many it ended.
func (d *Door) Revoke(ctx context.Context, e Entry, code, id string) (n int64, err error) {
	err = d.Write(ctx, func(tx *store.Tx) error {
		act := ToRevoke
		if e.Actor.Is(code) {
			act = ToEndOwnSessions
		}
		if err := On(tx).Check(e.Actor, act); err != nil {
			return err
		}
		a, err := On(tx).Account(code)
		if err != nil {
			return err
		}
		if id == "" {
			n, err = tx.Access().EndSessions(a.Code)
			return err
		}
		all, err := tx.Access().Sessions(a.Code)
		if err != nil {
			return err
		}
		for _, s := range all {
			if SessionID(s) == id {
				n++
				if err := tx.Access().EndSession(s.Token); err != nil {
					return err
				}
			}
		}
		if n == 0 {
			return fault.NotFoundf("see them with: rinsate user sessions "+a.Code, "%s has no session %q", a.Code, id)
		}
		return nil
	})
	return n, err
}

// RemovePasskey takes a passkey from the account of whoever has signed in, who shows the password for it.
func (d *Door) RemovePasskey(ctx context.Context, token, password, id string, from Source) (Pass, error) {
	return d.ProveByPassword(ctx, token, password, from, func(tx *store.Tx, a *store.Account) error {
		removed, err := tx.Access().RemovePasskey(a.Code, id)
		if err != nil {
			return err
		}
		if !removed {
			return fault.NotFoundf("open the page of your account anew", "%s has no such passkey", a.Code)
		}
		_, err = RecordAccess(tx, "", a.Code, *a, record.PasskeyRemoved)
		return err
	})
}
