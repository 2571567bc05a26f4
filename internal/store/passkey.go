package store

import (
	"database/sql"
	"errors"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
)

// Passkey is the public half of a key with which somebody signs in, outside the ledger.
type Passkey struct {
	// ID is what the device calls the key by, in base64url; Code is the account, Name what the person
	// calls the key.
	ID, Code, Name string
	// Host is the name under which the pages were when the key was made; it counts under no other.
	Host string
	// Key is the public key in the form of COSE (RFC 9052), Flags are those of the authenticator data.
	Key   []byte
	Flags byte
	// Counter is how often the device had used the key when it was last seen, zero where it does not count.
	Counter uint32
	// Transports are the ways to reach the device, as the browser names them.
	Transports []string
	Added      unit.Instant
	// Used is when somebody last signed in with it, zero when nobody has.
	Used unit.Instant
}

// Handle returns what passkeys call an account by, in base64url; empty when it has no such name yet, or
// there is no such account.
func (tx Access) Handle(code string) (handle string, err error) {
	err = tx.s.Row(tx.ctx, `SELECT handle FROM account WHERE site = $1 AND code = $2`, tx.db.site.Code, code).Scan(&handle)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return handle, err
}

// SaveHandle stores what passkeys call an account by.
func (tx Access) SaveHandle(code, handle string) error {
	_, err := tx.s.Exec(tx.ctx, `UPDATE account SET handle = $1 WHERE site = $2 AND code = $3`, handle, tx.db.site.Code, code)
	return err
}

// AddPasskey stores a new passkey; a Conflict when there is one with that id.
func (tx Access) AddPasskey(p Passkey) error {
	n, err := tx.s.Exec(tx.ctx, `INSERT INTO passkey (site, id, code, name, host, public_key, flags, counter, transports, added, used)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT DO NOTHING`,
		tx.db.site.Code, p.ID, p.Code, p.Name, p.Host, p.Key, int64(p.Flags), int64(p.Counter), strings.Join(p.Transports, " "), int64(p.Added), int64(p.Used))
	if err == nil && n != 1 {
		err = &fault.Error{Code: fault.Conflict, Message: "this passkey is stored already"}
	}
	return err
}

// Passkey finds a passkey by its id; ok is false when there is none.
func (tx Access) Passkey(id string) (p Passkey, ok bool, err error) {
	p, err = scanPasskey(
		tx.s.Row(
			tx.ctx,
			`SELECT id, code, name, host, public_key, flags, counter, transports, added, used FROM passkey WHERE site = $1 AND id = $2`,
			tx.db.site.Code,
			id,
		),
	)
	if errors.Is(err, sql.ErrNoRows) {
		return Passkey{}, false, nil
	}
	return p, err == nil, err
}

// Passkeys returns the passkeys of an account, the oldest first.
func (tx Access) Passkeys(code string) (all []Passkey, err error) {
	err = tx.s.Each(
		tx.ctx,
		`SELECT id, code, name, host, public_key, flags, counter, transports, added, used FROM passkey WHERE site = $1 AND code = $2 ORDER BY added, id`,
		func(row Rows) error {
			p, err := scanPasskey(row)
			all = append(all, p)
			return err
		},
		tx.db.site.Code,
		code,
	)
	return all, err
}

func scanPasskey(row Scanner) (p Passkey, err error) {
	var flags, counter, added, used int64
	var transports string
	err = row.Scan(&p.ID, &p.Code, &p.Name, &p.Host, &p.Key, &flags, &counter, &transports, &added, &used)
	p.Flags, p.Counter, p.Transports = byte(flags), uint32(counter), strings.Fields(transports)
	p.Added, p.Used = unit.Instant(added), unit.Instant(used)
	return p, err
}

// UsePasskey notes that somebody has signed in with a passkey, and what the device said of itself then.
func (tx Access) UsePasskey(id string, counter uint32, flags byte, used unit.Instant) error {
	_, err := tx.s.Exec(
		tx.ctx,
		`UPDATE passkey SET counter = $1, flags = $2, used = $3 WHERE site = $4 AND id = $5`,
		int64(counter),
		int64(flags),
		int64(used),
		tx.db.site.Code,
		id,
	)
	return err
}

// RemovePasskey forgets a passkey of an account, and says whether there was one.
func (tx Access) RemovePasskey(code, id string) (bool, error) {
	n, err := tx.s.Exec(tx.ctx, `DELETE FROM passkey WHERE site = $1 AND code = $2 AND id = $3`, tx.db.site.Code, code, id)
	return n == 1, err
}

// RemovePasskeys forgets all passkeys of an account.
func (tx Access) RemovePasskeys(code string) error {
	_, err := tx.s.Exec(tx.ctx, `DELETE FROM passkey WHERE site = $1 AND code = $2`, tx.db.site.Code, code)
	return err
}
