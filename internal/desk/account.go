package desk

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// NewAccount is somebody who shall be able to sign in.
type NewAccount struct {
	Code, Name string
	Roles      []access.Role
	// Password is what somebody else chose for the start; empty gives a one-time code instead.
	Password string
}

// longestName bounds a person's name, in characters.
const longestName = 100

func (n NewAccount) check() error {
	if err := access.CheckCode(n.Code); err != nil {
		return refuse(err)
	}
	if err := access.CheckRoles(n.Roles); err != nil {
		return refuse(err)
	}
	if length := utf8.RuneCountInString(n.Name); strings.TrimSpace(n.Name) != n.Name || length == 0 || length > longestName || !utf8.ValidString(n.Name) {
		return invalid("the name of %s must have 1 to %d characters and no space at its ends", n.Code, longestName)
	}
	return nil
}

// AddAccount makes an account for a code that never had one. Without a password it returns a one-time
// code with which the person sets one within a day; nobody but the person knows that password then.
// The record of it names the code and the roles, never the person.
func (d *Door) AddAccount(ctx context.Context, e Entry, n NewAccount) (r Receipt, once string, err error) {
	if err := n.check(); err != nil {
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
	err = d.do(ctx, func(w *Work) error {
		a.Created = w.tx.Now
		if n.Password != "" {
			a.Changed, a.MustChange = w.tx.Now, e.By != a.Code
		} else {
			a.Once, a.OnceUntil = onceDigest(once), w.tx.Now.Add(access.OnceHolds)
		}
		if err := w.tx.AddAccount(a); err != nil {
			return err
		}
		r, err = w.recordAccess(e, a, record.AccountAdded)
		return err
	})
	return r, once, err
}

func onceDigest(typed string) string {
	return access.Digest(access.OnceDigest, access.NormalOnce(typed))
}

// recordAccess appends what was done to an account and what it may do from now on.
func (w *Work) recordAccess(e Entry, a store.Account, change record.AccessChange) (Receipt, error) {
	if e.By == "" {
		return Receipt{}, invalid("account %s: who changes it?", a.Code)
	}
	roles := a.Roles
	if roles == nil {
		roles = []access.Role{}
	}
	return w.append(e, record.Access, w.tx.Now, record.AccessBody{Code: a.Code, Change: change, Roles: roles, Disabled: a.Disabled.Known()})
}

// change edits an account and records it, in one transaction.
func (d *Door) change(ctx context.Context, e Entry, code string, change record.AccessChange, edit func(*Work, *store.Account) error) (r Receipt, err error) {
	err = d.do(ctx, func(w *Work) error {
		a, err := w.Account(code)
		if err != nil {
			return err
		}
		before := a
		if err := edit(w, &a); err != nil {
			return err
		}
		if err := w.keepsAdministrator(before, a); err != nil {
			return err
		}
		if err := w.tx.SaveAccount(a); err != nil {
			return err
		}
		r, err = w.recordAccess(e, a, change)
		return err
	})
	return r, err
}

// administers says whether an account could look after others.
func administers(a store.Account) bool {
	return !a.Disabled.Known() && access.Allows(a.Roles, access.ManageAccounts)
}

// keepsAdministrator refuses to take the last account that could give roles back.
func (w *Work) keepsAdministrator(before, after store.Account) error {
	if !administers(before) || administers(after) {
		return nil
	}
	all, err := w.tx.Accounts()
	if err != nil {
		return err
	}
	if slices.ContainsFunc(all, func(a store.Account) bool { return a.Code != after.Code && administers(a) }) {
		return nil
	}
	return &fault.Error{Code: fault.Conflict, Message: after.Code + " is the only one who manages accounts", Hint: "give somebody else the role administrator first"}
}

// ChangeRoles gives an account these roles and no others, from its next page on.
func (d *Door) ChangeRoles(ctx context.Context, e Entry, code string, roles []access.Role) (Receipt, error) {
	if err := access.CheckRoles(roles); err != nil {
		return Receipt{}, refuse(err)
	}
	return d.change(ctx, e, code, record.RolesChanged, func(_ *Work, a *store.Account) error {
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
	return d.change(ctx, e, code, record.PasswordChanged, func(w *Work, a *store.Account) error {
		a.MustChange = e.By != a.Code
		w.setPassword(a, hash)
		return w.startAnew(*a)
	})
}

// setPassword puts a hash into an account.
func (w *Work) setPassword(a *store.Account, hash string) {
	a.Password, a.Changed, a.Once, a.OnceUntil = hash, w.tx.Now, "", 0
}

// startAnew forgets the failed attempts at an account and ends its sessions.
func (w *Work) startAnew(a store.Account) error {
	if err := w.tx.SaveFailures(access.Key(a.Code), access.Failures{}); err != nil {
		return err
	}
	_, err := w.tx.EndSessions(a.Code)
	return err
}

// passwordFor judges and hashes a password for an account.
func (d *Door) passwordFor(ctx context.Context, code, password string) (hash string, err error) {
	var a store.Account
	if err := d.view(ctx, func(v View) (err error) {
		a, err = v.Account(code)
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
	return d.hashSecret(ctx, password)
}

func (d *Door) judgePassword(a store.Account, password string) error {
	site := d.desk.DB.Site()
	return refuse(access.CheckPassword(password, false, site.Name, site.Code, a.Code, a.Name))
}

// SetPIN sets the PIN of an account, or takes it away when pin is empty. It counts only together with
// the badge, or on a bench where the person has signed in.
func (d *Door) SetPIN(ctx context.Context, e Entry, code, pin string) (Receipt, error) {
	hash, err := d.pinHash(ctx, pin)
	if err != nil {
		return Receipt{}, err
	}
	return d.change(ctx, e, code, record.PINChanged, func(_ *Work, a *store.Account) error {
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
		return "", refuse(err)
	}
	return d.hashSecret(ctx, pin)
}

// SetBadge ties the text of a badge to an account, or takes the badge away when it is empty. What the
// badge says is kept as a digest only.
func (d *Door) SetBadge(ctx context.Context, e Entry, code, badge string) (Receipt, error) {
	var digest string
	if badge != "" {
		if err := access.CheckBadge(badge); err != nil {
			return Receipt{}, refuse(err)
		}
		digest = badgeDigest(badge)
	}
	return d.change(ctx, e, code, record.BadgeChanged, func(_ *Work, a *store.Account) error {
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
	return d.change(ctx, e, code, record.AccountDisabled, func(w *Work, a *store.Account) error {
		if a.Disabled.Known() {
			return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s is disabled already", a.Code)}
		}
		a.Disabled = w.tx.Now
		_, err := w.tx.EndSessions(a.Code)
		return err
	})
}

// Enable lets a disabled account sign in again.
func (d *Door) Enable(ctx context.Context, e Entry, code string) (Receipt, error) {
	return d.change(ctx, e, code, record.AccountEnabled, func(_ *Work, a *store.Account) error {
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
	r, err = d.change(ctx, e, code, record.AccountReset, func(w *Work, a *store.Account) error {
		a.Password, a.PIN, a.MustChange = "", "", false
		a.Once, a.OnceUntil = onceDigest(once), w.tx.Now.Add(access.OnceHolds)
		if err := w.tx.RemovePasskeys(a.Code); err != nil {
			return err
		}
		return w.startAnew(*a)
	})
	if err != nil {
		return r, "", err
	}
	return r, once, nil
}

// Account returns an account by its code, NotFound when there is none.
func (v View) Account(code string) (store.Account, error) {
	a, ok, err := v.tx.Account(code)
	if err == nil && !ok {
		err = notFound("see the accounts with: rinsate user list", "there is no account %q", code)
	}
	return a, err
}

// Accounts returns all accounts in the order of their codes.
func (v View) Accounts() ([]store.Account, error) { return v.tx.Accounts() }

// Sessions returns the sessions of an account that have not ended, the latest first.
func (v View) Sessions(code string) ([]store.Session, error) {
	a, err := v.Account(code)
	if err != nil {
		return nil, err
	}
	all, err := v.tx.Sessions(a.Code)
	return slices.DeleteFunc(all, func(s store.Session) bool { return s.State(v.tx.Now) == access.Expired }), err
}

// Granted is one change of what somebody may do, as it is on record.
type Granted struct {
	record.AccessBody
	By string       `json:"by"`
	At unit.Instant `json:"at"`
}

// Grants returns who gave or took which roles from a code, the earliest first.
func (v View) Grants(code string) ([]Granted, error) {
	all, err := v.AllGrants()
	return all[access.Key(code)], err
}

// AllGrants returns the grants of every code, by its key, the earliest first.
func (v View) AllGrants() (map[string][]Granted, error) {
	all, err := v.tx.Entities(record.Access)
	if err != nil {
		return nil, err
	}
	granted := map[string][]Granted{}
	for _, kept := range all {
		body, err := record.Body[record.AccessBody](kept.Record)
		if err != nil {
			return nil, err
		}
		key := access.Key(body.Code)
		granted[key] = append(granted[key], Granted{body, kept.By, kept.At})
	}
	return granted, nil
}
