package identity

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// The acts on accounts, each with what it takes. An act has the name of the method of Door that does it.
var (
	ToAddAccount  = managing("AddAccount", "make an account")
	ToChangeRoles = managing("ChangeRoles", "change roles")
	ToSetPassword = managing("SetPassword", "set the password of somebody else")
	ToSetPIN      = managing("SetPIN", "set the PIN of somebody else")
	ToSetBadge    = managing("SetBadge", "tie a badge to an account")
	ToDisable     = managing("Disable", "disable an account")
	ToEnable      = managing("Enable", "enable an account")
	ToReset       = managing("Reset", "reset an account")
	ToRevoke      = managing("Revoke", "end the sessions of somebody else")

	// ToManageAccounts leads to all of these.
	ToManageAccounts = managing("", "manage accounts")

	// What people do to their own account; where it changes how they sign in they show the password for it.
	ToEndOwnSessions = access.Act{Name: "Revoke", What: "end a session of your own", Own: true}
	ToChangeOwn      = access.Act{What: "change how you sign in", Own: true}
	// ToShowWho is how people come in, go, and show who they are.
	ToShowWho = access.Act{What: "sign in", Anybody: true}
)

// Acts are all acts on accounts of others.
var Acts = []access.Act{ToAddAccount, ToChangeRoles, ToSetPassword, ToSetPIN, ToSetBadge, ToDisable, ToEnable, ToReset, ToRevoke}

func managing(name, what string) access.Act {
	return access.Act{Name: name, What: what, Needs: []access.Permission{access.ManageAccounts}}
}

// NewAccount is somebody who shall be able to sign in.
type NewAccount struct {
	Code, Name string
	Roles      []access.Role
	// Password is what somebody else chose for the start; empty gives a one-time code instead.
	Password string
}

// longestName bounds a person's name, in characters.
const longestName = 100

// Check refuses a code, roles or a name that no account can have.
func (n NewAccount) Check() error {
	if err := access.CheckCode(n.Code); err != nil {
		return fault.Refused(err)
	}
	if err := access.CheckRoles(n.Roles); err != nil {
		return fault.Refused(err)
	}
	if length := utf8.RuneCountInString(n.Name); strings.TrimSpace(n.Name) != n.Name || length == 0 || length > longestName || !utf8.ValidString(n.Name) {
		return fault.Invalidf("the name of %s must have 1 to %d characters and no space at its ends", n.Code, longestName)
	}
	if strings.ContainsFunc(n.Name, func(r rune) bool { return text.Control(r) || text.Turns(r) || text.Breaks(r) || text.Hides(r) }) ||
		text.Blank(n.Name) {
		return fault.Invalidf("the name of %s holds characters that nobody sees or that turn the direction of writing: type it anew", n.Code)
	}
	return nil
}

// AddAccount makes an account for a code that never had one. Without a password it returns a one-time
// code with which the person sets one within a day; nobody but the person knows that password then.
// The record of it names the code and the roles, never the person.
func (d *Door) AddAccount(ctx context.Context, e Entry, n NewAccount) (r Receipt, once string, err error) {
	if err := n.Check(); err != nil {
		return r, "", err
	}
	a := store.Account{Code: n.Code, Name: n.Name, Roles: n.Roles}
	if n.Password != "" {
		if a.Password, err = d.newPassword(ctx, a, n.Password); err != nil {
			return r, "", err
		}
	} else if once, err = access.NewOnce(rand.Reader); err != nil {
		return r, "", err
	}
	err = d.Write(ctx, func(tx *store.Tx) error {
		if err := On(tx).Check(e.Actor, ToAddAccount); err != nil {
			return err
		}
		if err := On(tx).noMoreThemselves(e.Actor, a.Code, a.Roles); err != nil {
			return err
		}
		a.Created = tx.Now
		if n.Password != "" {
			a.Changed, a.MustChange = tx.Now, !e.Actor.Is(a.Code)
		} else {
			a.Once, a.OnceUntil = onceDigest(once), tx.Now.Add(access.OnceHolds)
		}
		if err := tx.Access().AddAccount(a); err != nil {
			return err
		}
		r, err = granted(tx, e, store.Account{Code: a.Code}, a, record.AccountAdded)
		return err
	})
	return r, once, err
}

func onceDigest(typed string) string {
	return access.Digest(access.OnceDigest, access.NormalOnce(typed))
}

// RecordAccess appends what was done to an account and what it may do from now on.
func RecordAccess(tx *store.Tx, id ledger.ID, by string, a store.Account, change record.AccessChange) (Receipt, error) {
	return recordAccess(tx, id, by, "", a, change)
}

// recordAccess is RecordAccess with who else signed.
func recordAccess(tx *store.Tx, id ledger.ID, by, second string, a store.Account, change record.AccessChange) (Receipt, error) {
	roles := a.Roles
	if roles == nil {
		roles = []access.Role{}
	}
	if id == "" {
		id = ledger.NewID(tx.Now, rand.Reader)
	}
	r, fresh, err := tx.Append(store.Draft{
		Type: record.Access, ID: id, At: tx.Now, By: by,
		Body: record.AccessBody{Code: a.Code, Change: change, Roles: roles, Disabled: a.Disabled.Known(), Second: second},
	})
	return Receipt{Record: r, Fresh: fresh}, err
}

// change edits an account and records it, in one transaction.
func (d *Door) change(
	ctx context.Context,
	act access.Act,
	e Entry,
	code string,
	change record.AccessChange,
	edit func(*store.Tx, *store.Account) error,
) (r Receipt, err error) {
	err = d.Write(ctx, func(tx *store.Tx) error {
		if err := On(tx).mayChange(e, act, code); err != nil {
			return err
		}
		a, err := On(tx).Account(code)
		if err != nil {
			return err
		}
		before := a
		if err := edit(tx, &a); err != nil {
			return err
		}
		if err := keepsAdministrator(tx, before, a); err != nil {
			return err
		}
		if err := tx.Access().SaveAccount(a); err != nil {
			return err
		}
		r, err = granted(tx, e, before, a, change)
		return err
	})
	return r, err
}

// granted records what was done to an account, unless it gives a role, or the way to sign as somebody who has it, that has
// to be given otherwise.
func granted(tx *store.Tx, e Entry, before, after store.Account, change record.AccessChange) (Receipt, error) {
	v := On(tx)
	second, err := v.second(e, after.Code)
	if err != nil {
		return Receipt{}, err
	}
	had := before.Roles
	if before.Disabled.Known() { // who may come in again has the roles anew
		had = nil
	}
	if !after.Disabled.Known() {
		if err := v.MayGrant(after.Code, e.Actor.Code(), second, had, after.Roles); err != nil {
			return Receipt{}, err
		}
		if own := e.Actor.Is(after.Code); !own && hands(change, own) {
			if err := v.mayHand(after.Code, e.Actor.Code(), second, after.Roles); err != nil {
				return Receipt{}, err
			}
		}
	}
	return recordAccess(tx, e.ID, e.Actor.Code(), second, after, change)
}

// administers says whether an account could look after others.
func administers(a store.Account) bool {
	return !a.Disabled.Known() && access.Allows(a.Roles, access.ManageAccounts)
}

// keepsAdministrator refuses to take the last account that could give roles back.
func keepsAdministrator(tx *store.Tx, before, after store.Account) error {
	if !administers(before) || administers(after) {
		return nil
	}
	all, err := tx.Access().Accounts()
	if err != nil {
		return err
	}
	if slices.ContainsFunc(all, func(a store.Account) bool { return a.Code != after.Code && administers(a) }) {
		return nil
	}
	return &fault.Error{
		Code:    fault.Conflict,
		Message: after.Code + " is the only one who manages accounts",
		Hint:    "give somebody else the role administrator first",
	}
}

// ChangeRoles gives an account these roles and no others, from its next page on.
func (d *Door) ChangeRoles(ctx context.Context, e Entry, code string, roles []access.Role) (Receipt, error) {
	if err := access.CheckRoles(roles); err != nil {
		return Receipt{}, fault.Refused(err)
	}
	return d.change(ctx, ToChangeRoles, e, code, record.RolesChanged, func(tx *store.Tx, a *store.Account) error {
		if err := On(tx).notThemselves(e.Actor, code); err != nil {
			return err
		}
		a.Roles = slices.Clone(roles)
		return nil
	})
}

// SetPassword sets the password of an account and ends its sessions. A password that somebody else set
// has to be changed at the first sign-in.
func (d *Door) SetPassword(ctx context.Context, e Entry, code, password string) (Receipt, error) {
	hash, err := d.passwordFor(ctx, code, password)
	if err != nil {
		return Receipt{}, err
	}
	return d.change(ctx, ToSetPassword, e, code, record.PasswordChanged, func(tx *store.Tx, a *store.Account) error {
		a.MustChange = !e.Actor.Is(a.Code)
		setPassword(tx, a, hash)
		return startAnew(tx, *a)
	})
}

// setPassword puts a hash into an account.
func setPassword(tx *store.Tx, a *store.Account, hash string) {
	a.Password, a.Changed, a.Once, a.OnceUntil = hash, tx.Now, "", 0
}

// startAnew forgets the failed attempts at an account and ends its sessions.
func startAnew(tx *store.Tx, a store.Account) error {
	if err := tx.Access().SaveFailures(access.Key(a.Code), access.Failures{}); err != nil {
		return err
	}
	_, err := tx.Access().EndSessions(a.Code)
	return err
}

// passwordFor judges and hashes a password for an account.
func (d *Door) passwordFor(ctx context.Context, code, password string) (hash string, err error) {
	var a store.Account
	if err := d.Read(ctx, func(tx *store.Tx) (err error) {
		a, err = On(tx).Account(code)
		return err
	}); err != nil {
		return "", err
	}
	return d.newPassword(ctx, a, password)
}

func (d *Door) newPassword(ctx context.Context, a store.Account, password string) (hash string, err error) {
	if err := d.judgePassword(a, password); err != nil {
		return "", err
	}
	return d.hashes.of(ctx, password)
}

func (d *Door) judgePassword(a store.Account, password string) error {
	site := d.db.Site()
	return fault.Refused(access.CheckPassword(password, false, site.Name, site.Code, a.Code, a.Name))
}

// SetPIN sets the PIN of an account, or takes it away when pin is empty. It counts only together with
// the badge, or on a bench where the person has signed in.
func (d *Door) SetPIN(ctx context.Context, e Entry, code, pin string) (Receipt, error) {
	hash, err := d.pinHash(ctx, pin)
	if err != nil {
		return Receipt{}, err
	}
	return d.change(ctx, ToSetPIN, e, code, record.PINChanged, func(_ *store.Tx, a *store.Account) error {
		a.PIN = hash
		return nil
	})
}

// pinHash judges and hashes a PIN; that of no PIN is empty.
func (d *Door) pinHash(ctx context.Context, pin string) (string, error) {
	if pin == "" {
		return "", nil
	}
	if err := access.CheckPIN(pin); err != nil {
		return "", fault.Refused(err)
	}
	return d.hashes.of(ctx, pin)
}

// SetBadge ties the text of a badge to an account, or takes the badge away when it is empty. What the
// badge says is kept as a digest only.
func (d *Door) SetBadge(ctx context.Context, e Entry, code, badge string) (Receipt, error) {
	var digest string
	if badge != "" {
		if err := access.CheckBadge(badge); err != nil {
			return Receipt{}, fault.Refused(err)
		}
		digest = badgeDigest(badge)
	}
	return d.change(ctx, ToSetBadge, e, code, record.BadgeChanged, func(_ *store.Tx, a *store.Account) error {
		a.Badge = digest
		return nil
	})
}

func badgeDigest(badge string) string {
	return access.Digest(access.BadgeDigest, access.Normal(strings.TrimSpace(badge)))
}

// Disable keeps an account from signing in and ends its sessions at once. The account stays, so that its
// code is never given to another person.
func (d *Door) Disable(ctx context.Context, e Entry, code string) (Receipt, error) {
	return d.change(ctx, ToDisable, e, code, record.AccountDisabled, func(tx *store.Tx, a *store.Account) error {
		if a.Disabled.Known() {
			return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s is disabled already", a.Code)}
		}
		a.Disabled = tx.Now
		_, err := tx.Access().EndSessions(a.Code)
		return err
	})
}

// Enable lets a disabled account sign in again.
func (d *Door) Enable(ctx context.Context, e Entry, code string) (Receipt, error) {
	return d.change(ctx, ToEnable, e, code, record.AccountEnabled, func(_ *store.Tx, a *store.Account) error {
		if !a.Disabled.Known() {
			return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s is not disabled", a.Code)}
		}
		a.Disabled = 0
		return nil
	})
}

// Reset takes the password, the PIN and the passkeys from an account, ends its sessions, and returns a
// one-time code with which the person sets a new password within a day. It also opens an account that was
// closed after too many failures.
func (d *Door) Reset(ctx context.Context, e Entry, code string) (r Receipt, once string, err error) {
	if once, err = access.NewOnce(rand.Reader); err != nil {
		return r, "", err
	}
	r, err = d.change(ctx, ToReset, e, code, record.AccountReset, func(tx *store.Tx, a *store.Account) error {
		a.Password, a.PIN, a.MustChange = "", "", false
		a.Once, a.OnceUntil = onceDigest(once), tx.Now.Add(access.OnceHolds)
		if err := tx.Access().RemovePasskeys(a.Code); err != nil {
			return err
		}
		return startAnew(tx, *a)
	})
	if err != nil {
		return r, "", err
	}
	return r, once, nil
}
