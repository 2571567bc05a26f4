package store

import (
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

// Access is what a transaction knows of accounts, sessions and passkeys.
type Access struct{ *Tx }

// Access returns the accounts.
func (tx *Tx) Access() Access { return Access{tx} }

// Account is who may come in, outside the ledger. The secrets are hashes and digests, empty where there
// is none; they are never printed.
type Account struct {
	Code  string        `json:"code"`
	Name  string        `json:"name"`
	Roles []access.Role `json:"roles"`
	// Password and PIN are hashes in the form of access.ParseHash.
	Password string `json:"-"`
	PIN      string `json:"-"`
	// Badge and Once are digests, Once of a code for one sign-in that counts until OnceUntil.
	Badge     string       `json:"-"`
	Once      string       `json:"-"`
	OnceUntil unit.Instant `json:"-"`
	// MustChange says that somebody else has set the password.
	MustChange bool `json:"must_change"`
	// Disabled is when the account was disabled, zero when it is not.
	Disabled unit.Instant `json:"disabled,omitzero"`
	Created  unit.Instant `json:"created"`
	// Changed is when the password was last set.
	Changed unit.Instant `json:"changed,omitzero"`
	// Failures are read with the account and kept by SaveFailures.
	Failures access.Failures `json:"-"`
}

// Session is one browser in which somebody has signed in.
type Session struct {
	// Token is the digest of what the browser holds.
	Token string
	Code  string
	access.Times
	// Way is how the person last showed who they are.
	Way            access.Way
	Address, Agent string
}

// AddAccount stores a new account; a Conflict when there is one with that code or badge. Codes that
// differ only in case are the same.
func (tx Access) AddAccount(a Account) error {
	n, err := tx.s.Exec(
		tx.ctx,
		`INSERT INTO account (site, code, key, name, roles, password, pin, badge, once, once_until, must_change, disabled, created, changed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) ON CONFLICT DO NOTHING`,
		tx.db.site.Code,
		a.Code,
		access.Key(a.Code),
		a.Name,
		rolesText(a.Roles),
		a.Password,
		a.PIN,
		a.Badge,
		a.Once,
		int64(a.OnceUntil),
		whole(a.MustChange),
		int64(a.Disabled),
		int64(a.Created),
		int64(a.Changed),
	)
	if err == nil && n != 1 {
		err = &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("account %q, or its badge, exists already", a.Code),
			Hint:    "see the accounts with: rinsate user list; a code is never given to another person",
		}
	}
	return err
}

// SaveAccount stores everything about an account but its code, when it was made, and its failures.
func (tx Access) SaveAccount(a Account) error {
	if a.Badge != "" {
		other, ok, err := tx.AccountByBadge(a.Badge)
		if err != nil {
			return err
		}
		if ok && other.Code != a.Code {
			return &fault.Error{
				Code:    fault.Conflict,
				Message: "that badge belongs to " + other.Code,
				Hint:    "take it from that account first, or use another badge",
			}
		}
	}
	n, err := tx.s.Exec(tx.ctx, `UPDATE account SET name = $1, roles = $2, password = $3, pin = $4, badge = $5, once = $6, once_until = $7,
		must_change = $8, disabled = $9, changed = $10 WHERE site = $11 AND code = $12`,
		a.Name, rolesText(a.Roles), a.Password, a.PIN, a.Badge, a.Once, int64(a.OnceUntil),
		whole(a.MustChange), int64(a.Disabled), int64(a.Changed), tx.db.site.Code, a.Code)
	if err == nil && n != 1 {
		err = &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("there is no account %q", a.Code)}
	}
	return err
}

// Account finds an account by its code, in whatever case it is typed; ok is false when there is none.
func (tx Access) Account(code string) (a Account, ok bool, err error) {
	return tx.account(
		`SELECT a.code, a.name, a.roles, a.password, a.pin, a.badge, a.once, a.once_until, a.must_change, a.disabled, a.created, a.changed, t.failures, t.failed_at
		FROM account a LEFT JOIN attempt t ON t.site = a.site AND t.key = a.key WHERE a.site = $1 AND a.key = $2`,
		access.Key(code),
	)
}

// AccountByBadge finds an account by the digest of its badge; ok is false when there is none.
func (tx Access) AccountByBadge(digest string) (a Account, ok bool, err error) {
	if digest == "" {
		return a, false, nil
	}
	return tx.account(
		`SELECT a.code, a.name, a.roles, a.password, a.pin, a.badge, a.once, a.once_until, a.must_change, a.disabled, a.created, a.changed, t.failures, t.failed_at
		FROM account a LEFT JOIN attempt t ON t.site = a.site AND t.key = a.key WHERE a.site = $1 AND a.badge = $2 AND a.badge <> ''`,
		digest,
	)
}

func (tx Access) account(text, by string) (a Account, ok bool, err error) {
	a, err = scanAccount(tx.s.Row(tx.ctx, text, tx.db.site.Code, by))
	if errors.Is(err, sql.ErrNoRows) {
		return Account{}, false, nil
	}
	return a, err == nil, err
}

// Accounts returns all accounts in the order of their codes.
func (tx Access) Accounts() (all []Account, err error) {
	err = tx.s.Each(
		tx.ctx,
		`SELECT a.code, a.name, a.roles, a.password, a.pin, a.badge, a.once, a.once_until, a.must_change, a.disabled, a.created, a.changed, t.failures, t.failed_at
		FROM account a LEFT JOIN attempt t ON t.site = a.site AND t.key = a.key WHERE a.site = $1 ORDER BY a.code`,
		func(row Rows) error {
			a, err := scanAccount(row)
			all = append(all, a)
			return err
		},
		tx.db.site.Code,
	)
	return all, err
}

func scanAccount(row Scanner) (a Account, err error) {
	var roles string
	var must, once, disabled, created, changed int64
	var failures, failed sql.NullInt64
	err = row.Scan(&a.Code, &a.Name, &roles, &a.Password, &a.PIN, &a.Badge, &a.Once, &once, &must, &disabled, &created, &changed, &failures, &failed)
	a.Name = text.Visible(a.Name) // an earlier edition took names that act on whoever reads them
	for r := range strings.FieldsSeq(roles) {
		a.Roles = append(a.Roles, access.Role(r))
	}
	a.MustChange, a.OnceUntil, a.Disabled = must != 0, unit.Instant(once), unit.Instant(disabled)
	a.Created, a.Changed = unit.Instant(created), unit.Instant(changed)
	a.Failures = access.Failures{Count: int(failures.Int64), Last: unit.Instant(failed.Int64)}
	return a, err
}

func rolesText(roles []access.Role) string {
	words := make([]string, len(roles))
	for i, r := range roles {
		words[i] = string(r)
	}
	return strings.Join(words, " ")
}

// whole writes a truth as engines without truth values keep it.
func whole(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// Failures returns the failed attempts in a row under a key (access.Key, or the digest of a badge that
// nobody has).
func (tx Access) Failures(key string) (access.Failures, error) {
	var count, last int64
	err := tx.s.Row(tx.ctx, `SELECT failures, failed_at FROM attempt WHERE site = $1 AND key = $2`, tx.db.site.Code, key).Scan(&count, &last)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return access.Failures{Count: int(count), Last: unit.Instant(last)}, err
}

// SaveFailures stores the failed attempts in a row under a key; none forgets the key.
func (tx Access) SaveFailures(key string, f access.Failures) error {
	if f.Count == 0 {
		_, err := tx.s.Exec(tx.ctx, `DELETE FROM attempt WHERE site = $1 AND key = $2`, tx.db.site.Code, key)
		return err
	}
	_, err := tx.s.Exec(tx.ctx, `INSERT INTO attempt (site, key, failures, failed_at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (site, key) DO UPDATE SET failures = excluded.failures, failed_at = excluded.failed_at`, tx.db.site.Code, key, f.Count, int64(f.Last))
	return err
}

// ForgetStrangers forgets the failed attempts before an instant under keys that no account has.
func (tx Access) ForgetStrangers(before unit.Instant) error {
	_, err := tx.s.Exec(tx.ctx, `DELETE FROM attempt WHERE site = $1 AND failed_at < $2
		AND NOT EXISTS (SELECT 1 FROM account a WHERE a.site = attempt.site AND a.key = attempt.key)`, tx.db.site.Code, int64(before))
	return err
}

// AddSession stores a new session.
func (tx Access) AddSession(s Session) error {
	_, err := tx.s.Exec(tx.ctx, `INSERT INTO session (site, token, code, created, seen, proved, locked, ends, address, agent, way)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		tx.db.site.Code, s.Token, s.Code, int64(s.Created), int64(s.Seen), int64(s.Proved), whole(s.Locked), int64(s.Ends()), s.Address, s.Agent, string(s.Way))
	return err
}

// Session finds a session by the digest of its token; ok is false when there is none.
func (tx Access) Session(token string) (s Session, ok bool, err error) {
	s, err = scanSession(
		tx.s.Row(
			tx.ctx,
			`SELECT token, code, created, seen, proved, locked, address, agent, way FROM session WHERE site = $1 AND token = $2`,
			tx.db.site.Code,
			token,
		),
	)
	if errors.Is(err, sql.ErrNoRows) {
		return Session{}, false, nil
	}
	return s, err == nil, err
}

// Sessions returns the sessions of an account, the latest first.
func (tx Access) Sessions(code string) (all []Session, err error) {
	err = tx.s.Each(
		tx.ctx,
		`SELECT token, code, created, seen, proved, locked, address, agent, way FROM session WHERE site = $1 AND code = $2 ORDER BY created DESC, token`,
		func(row Rows) error {
			s, err := scanSession(row)
			all = append(all, s)
			return err
		},
		tx.db.site.Code,
		code,
	)
	return all, err
}

func scanSession(row Scanner) (s Session, err error) {
	var created, seen, proved, locked int64
	err = row.Scan(&s.Token, &s.Code, &created, &seen, &proved, &locked, &s.Address, &s.Agent, &s.Way)
	s.Times = access.Times{Created: unit.Instant(created), Seen: unit.Instant(seen), Proved: unit.Instant(proved), Locked: locked != 0}
	return s, err
}

// TouchSession notes when a session was last in use, and whether it is locked.
func (tx Access) TouchSession(token string, seen unit.Instant, locked bool) error {
	_, err := tx.s.Exec(tx.ctx, `UPDATE session SET seen = $1, locked = $2 WHERE site = $3 AND token = $4`, int64(seen), whole(locked), tx.db.site.Code, token)
	return err
}

// EndSession ends a session; one that has ended already is no error.
func (tx Access) EndSession(token string) error {
	_, err := tx.s.Exec(tx.ctx, `DELETE FROM session WHERE site = $1 AND token = $2`, tx.db.site.Code, token)
	return err
}

// EndSessions ends all sessions of an account, and says how many.
func (tx Access) EndSessions(code string) (int64, error) {
	return tx.s.Exec(tx.ctx, `DELETE FROM session WHERE site = $1 AND code = $2`, tx.db.site.Code, code)
}

// EndAllSessions ends the sessions of everybody.
func (tx Access) EndAllSessions() error {
	_, err := tx.s.Exec(tx.ctx, `DELETE FROM session WHERE site = $1`, tx.db.site.Code)
	return err
}

// DropSessions forgets the sessions that had ended by an instant.
func (tx Access) DropSessions(by unit.Instant) error {
	_, err := tx.s.Exec(tx.ctx, `DELETE FROM session WHERE site = $1 AND ends <= $2`, tx.db.site.Code, int64(by))
	return err
}
