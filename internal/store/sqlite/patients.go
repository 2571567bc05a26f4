package sqlite

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/secret"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// patientKeyFile is the key of the patients' numbers, where it lies in the data folder. It belongs elsewhere: whoever has a
// copy of the folder with it can read the numbers.
const patientKeyFile = "patients.key"

// placed is a data folder with the file of the key of the patients' numbers.
type placed struct {
	Folder
	key string
	// own says that it is the folder's own.
	own bool
}

// home is what the store is told that it lies on.
func (p placed) home() store.Home {
	if p.own {
		return p.Folder
	}
	return p
}

// WithPatientKey returns the data folder whose key of the patients' numbers lies in another file; empty stands for the
// folder's own.
func (f Folder) WithPatientKey(path string) store.Home {
	if path == "" {
		return f
	}
	return placed{Folder: f, key: path}
}

// placed is the folder with its own key.
func (f Folder) placed() placed { return placed{f, f.path(patientKeyFile), true} }

// Create is Folder.Create.
func (p placed) Create(ctx context.Context, site record.SiteBody, clock func() time.Time) (*store.DB, error) {
	return p.createWith(ctx, site, clock)
}

// Begin is Folder.Begin.
func (p placed) Begin(ctx context.Context, site record.SiteBody, clock func() time.Time, fill func(*store.DB) error) (*store.DB, error) {
	return p.beginWith(ctx, site, clock, fill)
}

// Open is Folder.Open.
func (p placed) Open(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return p.openWith(ctx, clock, store.Start)
}

// OpenCopy is Folder.OpenCopy.
func (p placed) OpenCopy(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return p.openWith(ctx, clock, store.StartCopy)
}

// Look is Folder.Look.
func (p placed) Look(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return p.lookWith(ctx, clock)
}

// Rebuild is Folder.Rebuild.
func (p placed) Rebuild(ctx context.Context, progress func(done, size int64)) (int64, error) {
	return p.rebuildWith(ctx, progress)
}

// PatientKey reads the key of the patients' numbers.
func (e *engine) PatientKey() ([]byte, error) { return readPatientKey(e.patientKey) }

func readPatientKey(path string) ([]byte, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no file %s", path)
	}
	return text, err
}

// MakePatientKey makes a key of patients' numbers in a file that is not there yet, and lets nobody but its owner read it. An
// empty path stands for the file in the folder.
func (f Folder) MakePatientKey(path string) (string, error) {
	if path == "" {
		path = f.path(patientKeyFile)
	}
	return path, makePatientKey(path)
}

func makePatientKey(path string) error {
	if exists(path) {
		return &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("%s is there already", path),
			Hint: "a key is never written over: what was sealed with it could not be read any more",
		}
	}
	text, err := secret.Generate(rand.Reader)
	if err != nil {
		return err
	}
	if err := writeFile(path, text); err != nil {
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the key of the patients' numbers cannot be written: %v", err),
			Hint: "check the folder " + filepath.Dir(path) + ", or name another file with --patient-key", Cause: err,
		}
	}
	return nil
}

// needPatientKey makes the key of a new ledger, unless somebody has put one there.
func needPatientKey(path string) error {
	if exists(path) {
		return nil
	}
	return makePatientKey(path)
}

// sealPatients seals the numbers of a database that an earlier build kept as they were, and sees that no copy of them
// is left in it: what was deleted and what was moved lies in pages that a database keeps for later, so that all of it is
// written anew. Until that is done the old table stays, empty, and the next start does it again.
func sealPatients(ctx context.Context, pool *sql.DB, keyPath string) error {
	var old int
	if err := pool.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'patient'`).Scan(&old); err != nil || old == 0 {
		return engineError(err)
	}
	if err := needPatientKey(keyPath); err != nil {
		return err
	}
	text, err := readPatientKey(keyPath)
	if err != nil {
		return err
	}
	key, err := secret.Parse(text)
	if err != nil {
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the patients' numbers are to be sealed, and the key %s cannot be read: %v", keyPath, err),
			Hint: "put the file back from where it is kept, or name another with --patient-key", Cause: err,
		}
	}
	if err := moveSealed(ctx, pool, key); err != nil {
		return fmt.Errorf("seal the patients' numbers: %w", engineError(err))
	}
	// What the new database is written into meanwhile may be larger than the memory.
	for _, text := range []string{`PRAGMA temp_store = 1`, `VACUUM`, `PRAGMA temp_store = 2`} {
		if _, err := pool.ExecContext(ctx, text); err != nil {
			return fmt.Errorf("write the database anew, without the patients' numbers: %w", engineError(err))
		}
	}
	if done, err := emptyLog(ctx, pool); err != nil || !done {
		return err
	}
	if _, err := pool.ExecContext(ctx, `DROP TABLE patient`); err != nil {
		return engineError(err)
	}
	_, err = emptyLog(ctx, pool)
	return err
}

// moveSealed seals every number of the old table in one transaction, and empties it.
func moveSealed(ctx context.Context, pool *sql.DB, key secret.Key) (err error) {
	tx, err := pool.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	type row struct {
		site, commitment, value string
		salt                    []byte
	}
	var all []row
	rows, err := tx.QueryContext(ctx, `SELECT site, commitment, salt, value FROM patient ORDER BY site, commitment`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.site, &r.commitment, &r.salt, &r.value); err != nil {
			return err
		}
		all = append(all, r)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for _, r := range all {
		s, err := store.SealPatient(key, r.site, r.commitment, r.salt, r.value)
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO patient_number (site, commitment, finder, sealed) VALUES ($1, $2, $3, $4)`,
			r.site, r.commitment, s.Finder, s.Sealed); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM patient`); err != nil {
		return err
	}
	return tx.Commit()
}

// emptyLog moves the write-ahead log into the database; done is false when somebody still reads from it.
func emptyLog(ctx context.Context, pool *sql.DB) (done bool, err error) {
	var busy, pages, moved int
	err = pool.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &pages, &moved)
	return err == nil && busy == 0, engineError(err)
}

// The key of the patients' numbers is changed in three steps, so that whatever stops it the numbers can be read:
//
//  1. the next key is written beside the one that is there (NextPatientKey);
//  2. all numbers are sealed anew with it, in one transaction (store.Patients.Reseal);
//  3. whoever opens the records next keeps the key that was there under another name, since backups of before need it,
//     and gives the next one its name (settleKey).
//
// Which of the two the numbers lie under is told by the numbers themselves, not by which files there are.

// The names of the next key and of one that was used before, after the name of the key.
const (
	nextKey   = ".next"
	keyBefore = ".before"
)

// NextPatientKey returns the key that is to follow on the one in a file; an empty path stands for the file in the folder.
// It is on the disk before anything is sealed with it. One that is there already, from a change that was stopped, is
// taken again.
func (f Folder) NextPatientKey(path string) (secret.Key, error) {
	if path == "" {
		path = f.path(patientKeyFile)
	}
	next := path + nextKey
	if !exists(next) {
		if err := makePatientKey(next); err != nil {
			return secret.Key{}, err
		}
	}
	text, err := readPatientKey(next)
	if err != nil {
		return secret.Key{}, err
	}
	return secret.Parse(text)
}

// underNext says whether numbers lie under the key that was to follow on the one in a file.
func underNext(ctx context.Context, pool *sql.DB, path string) (bool, error) {
	text, err := os.ReadFile(path + nextKey)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	next, err := secret.Parse(text)
	if err != nil { // then nothing lies under it: it is read before anything is sealed with it
		return false, nil //nolint:nilerr // see above
	}
	var found bool
	err = pool.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM patient_number WHERE finder IS NOT NULL AND substr(sealed, 2, $1) = $2)`,
		len(next.ID()), next.ID()).Scan(&found)
	return found, engineError(err)
}

// settleKey ends a change of the key that was stopped, and returns the file of the key that the numbers lie under. A key
// under which nothing lies yet is left as it is.
func settleKey(ctx context.Context, pool *sql.DB, path string) (string, error) {
	under, err := underNext(ctx, pool, path)
	if err != nil || !under {
		return path, err
	}
	if err := keepBefore(path); err != nil {
		return path + nextKey, nil //nolint:nilerr // the numbers can be read, and the next start tries again
	}
	if err := os.Rename(path+nextKey, path); err != nil {
		return path + nextKey, nil //nolint:nilerr // the same
	}
	return path, syncFolder(filepath.Dir(path))
}

// keepBefore keeps a copy of the key in a file under a name that no other key has.
func keepBefore(path string) error {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for n := 1; ; n++ {
		name := path + keyBefore
		if n > 1 {
			name += "-" + strconv.Itoa(n)
		}
		there, err := os.ReadFile(name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return writeFile(name, text)
		case err != nil:
			return err
		case bytes.Equal(there, text): // kept before it was stopped
			return nil
		}
	}
}
