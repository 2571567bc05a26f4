package sqlite

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
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
