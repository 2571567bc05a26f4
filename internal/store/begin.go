package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/record"
)

// beginningFolder is where a ledger is made before it is moved into its place.
const beginningFolder = "beginning"

// Begin makes a new data folder as Create does and fills it, all or nothing: until fill has returned
// without an error nothing in dir is a ledger. What a crash leaves behind is cleared away by the next
// Begin, since nobody was ever told the key of it.
func Begin(ctx context.Context, dir string, site record.SiteBody, clock func() time.Time, fill func(*DB) error) (*DB, error) {
	lock, err := claim(dir, site, clock)
	if err != nil {
		return nil, err
	}
	if err = beginIn(ctx, dir, site, clock, fill); err == nil {
		var db *DB
		if db, err = open(ctx, dir, clock, lock); err == nil {
			return db, nil
		}
	}
	return nil, errors.Join(err, lock.Unlock())
}

func beginIn(ctx context.Context, dir string, site record.SiteBody, clock func() time.Time, fill func(*DB) error) (err error) {
	if err := clearBeginning(dir); err != nil {
		return err
	}
	if err := holdsNone(dir); err != nil {
		return err
	}
	aside := filepath.Join(dir, beginningFolder)
	if exists(aside) {
		return otherFiles(dir, beginningFolder)
	}
	db, err := Create(ctx, aside, site, clock)
	if err != nil {
		return errors.Join(err, os.RemoveAll(aside))
	}
	if err := errors.Join(fill(db), db.Close()); err != nil { //nolint:contextcheck // what was opened is closed although ctx may have ended
		return errors.Join(err, os.RemoveAll(aside))
	}
	// The database comes last: a folder without it holds no ledger.
	for _, name := range []string{keyFile, checkpointFile, databaseFile} {
		err := os.Rename(filepath.Join(aside, name), filepath.Join(dir, name))
		if err != nil && (name != checkpointFile || !errors.Is(err, fs.ErrNotExist)) {
			return err
		}
		if err := syncFolder(dir); err != nil {
			return err
		}
	}
	return os.RemoveAll(aside)
}

// clearBeginning removes what an interrupted Begin left: the ledger that was never moved into its place.
func clearBeginning(dir string) error {
	aside := filepath.Join(dir, beginningFolder)
	if !surelyThere(filepath.Join(aside, lockFile)) { // none, or a folder of that name that is not ours
		return nil
	}
	leftover := []string{aside}
	if !exists(filepath.Join(dir, databaseFile)) {
		// The key was moved and the database was not.
		leftover = append([]string{filepath.Join(dir, keyFile), filepath.Join(dir, checkpointFile)}, leftover...)
	}
	for _, name := range leftover {
		if err := os.RemoveAll(name); err != nil {
			return notWritable(dir, err)
		}
	}
	return nil
}

// exists says whether there is such a file. One that cannot be looked at exists: it must not be lost.
func exists(name string) bool {
	_, err := os.Lstat(name)
	return !errors.Is(err, fs.ErrNotExist)
}

// surelyThere says whether there certainly is such a file: what is about to be deleted must be ours.
func surelyThere(name string) bool {
	_, err := os.Lstat(name)
	return err == nil
}

// holdsNone refuses a folder that holds a ledger or a part of one.
func holdsNone(dir string) error {
	for _, name := range []string{databaseFile, keyFile} {
		if exists(filepath.Join(dir, name)) {
			return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s holds a ledger already", dir), Hint: "choose an empty folder; nothing was changed"}
		}
	}
	return nil
}

// Vacant refuses a folder in which no ledger can begin: one with a ledger, and one with any other files,
// which is most likely not the one that was meant. A folder that does not exist yet is vacant, and so is
// one that an interrupted Begin left.
func Vacant(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("the data folder cannot be read: %v", err), Hint: "name another folder with --data", Cause: err}
	}
	ours := []string{lockFile}
	if surelyThere(filepath.Join(dir, beginningFolder, lockFile)) {
		ours = append(ours, beginningFolder, keyFile, checkpointFile)
	}
	if exists(filepath.Join(dir, databaseFile)) {
		return holdsNone(dir)
	}
	for _, e := range entries {
		if e.Name() == keyFile && !slices.Contains(ours, keyFile) {
			return holdsNone(dir)
		}
		if !slices.Contains(ours, e.Name()) {
			return otherFiles(dir, e.Name())
		}
	}
	return nil
}

func otherFiles(dir, name string) error {
	return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s holds other files, such as %s", dir, name), Hint: "name an empty or a new folder with --data; nothing was changed"}
}
