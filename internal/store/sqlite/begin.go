package sqlite

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
	"rinsate/internal/store"
)

// beginningFolder is where a ledger is made before it is moved into its place.
const beginningFolder = "beginning"

// Begin makes a new data folder as Create does and fills it, all or nothing: until fill has returned
// without an error nothing in it is a ledger. What a crash leaves behind is cleared away by the next
// Begin, since nobody was ever told the key of it.
func (f Folder) Begin(ctx context.Context, site record.SiteBody, clock func() time.Time, fill func(*store.DB) error) (*store.DB, error) {
	return f.placed().beginWith(ctx, site, clock, fill)
}

func (p placed) beginWith(ctx context.Context, site record.SiteBody, clock func() time.Time, fill func(*store.DB) error) (*store.DB, error) {
	lock, err := p.claim(site, clock)
	if err != nil {
		return nil, err
	}
	if err := p.beginIn(ctx, site, clock, fill); err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	e, err := p.open(ctx, lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return store.Start(ctx, p.home(), e, clock)
}

func (p placed) beginIn(ctx context.Context, site record.SiteBody, clock func() time.Time, fill func(*store.DB) error) (err error) {
	if err := p.clearBeginning(); err != nil {
		return err
	}
	if err := p.holdsNone(); err != nil {
		return err
	}
	aside := Folder(p.path(beginningFolder))
	if exists(aside.Dir()) {
		return p.otherFiles(beginningFolder)
	}
	// A key that lies elsewhere is made there at once, and stays: it opens nothing yet.
	inside := placed{Folder: aside, key: p.key}
	if p.own {
		inside = aside.placed()
	}
	db, err := inside.createWith(ctx, site, clock)
	if err != nil {
		return errors.Join(err, os.RemoveAll(aside.Dir()))
	}
	if err := errors.Join(fill(db), db.Close()); err != nil { //nolint:contextcheck // what was opened is closed although ctx may have ended
		return errors.Join(err, os.RemoveAll(aside.Dir()))
	}
	// The database comes last: a folder without it holds no ledger.
	for _, name := range []string{patientKeyFile, keyFile, checkpointFile, databaseFile} {
		err := os.Rename(aside.path(name), p.path(name))
		if err != nil && (!slices.Contains([]string{patientKeyFile, checkpointFile}, name) || !errors.Is(err, fs.ErrNotExist)) {
			return err
		}
		if err := syncFolder(p.Dir()); err != nil {
			return err
		}
	}
	return os.RemoveAll(aside.Dir())
}

// clearBeginning removes what an interrupted Begin left: the ledger that was never moved into its place.
func (f Folder) clearBeginning() error {
	aside := f.path(beginningFolder)
	if !surelyThere(filepath.Join(aside, lockFile)) { // none, or a folder of that name that is not ours
		return nil
	}
	leftover := []string{aside}
	if !exists(f.path(databaseFile)) {
		// The key was moved and the database was not.
		leftover = append([]string{f.path(patientKeyFile), f.path(keyFile), f.path(checkpointFile)}, leftover...)
	}
	for _, name := range leftover {
		if err := os.RemoveAll(name); err != nil {
			return f.notWritable(err)
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
func (f Folder) holdsNone() error {
	for _, name := range []string{databaseFile, keyFile} {
		if exists(f.path(name)) {
			return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s holds a ledger already", f), Hint: "choose an empty folder; nothing was changed"}
		}
	}
	return nil
}

// Vacant refuses a folder in which no ledger can begin: one with a ledger, and one with any other files,
// which is most likely not the one that was meant. A folder that does not exist yet is vacant, and so is
// one that an interrupted Begin left.
func (f Folder) Vacant() error {
	entries, err := os.ReadDir(f.Dir())
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the data folder cannot be read: %v", err),
			Hint: "name another folder with --data", Cause: err,
		}
	}
	ours := []string{lockFile}
	if surelyThere(filepath.Join(f.path(beginningFolder), lockFile)) {
		ours = append(ours, beginningFolder, patientKeyFile, keyFile, checkpointFile)
	}
	if exists(f.path(databaseFile)) {
		return f.holdsNone()
	}
	for _, e := range entries {
		if e.Name() == keyFile && !slices.Contains(ours, keyFile) {
			return f.holdsNone()
		}
		if !slices.Contains(ours, e.Name()) {
			return f.otherFiles(e.Name())
		}
	}
	return nil
}

func (f Folder) otherFiles(name string) error {
	return &fault.Error{
		Code: fault.Conflict, Message: fmt.Sprintf("%s holds other files, such as %s", f, name),
		Hint: "name an empty or a new folder with --data; nothing was changed",
	}
}
