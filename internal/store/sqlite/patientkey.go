package sqlite

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"rinsate/internal/base/secret"
)

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
