package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"rinsate/internal/store/bundle"

	"modernc.org/sqlite"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
)

// restoring begins the name of a folder in which a backup is unpacked and proved, before it is moved into its place.
const restoring = ".rinsate-restoring-"

// Restore makes a data folder of a backup, where there is nothing yet. The backup is proved as a whole, and finish puts
// on record that it took the place of the records, before the folder gets its name.
func (f Folder) Restore(ctx context.Context, from string, clock func() time.Time, finish func(*store.DB, bundle.Backup) error) (b bundle.Backup, err error) {
	sqlite.StrictPragmas(true)
	if exists(f.Dir()) {
		return b, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("%s is there already", f),
			Hint: "move it away and keep it, or name a new folder with --data; nothing was changed",
		}
	}
	file, err := os.Open(from)
	if err != nil {
		return b, &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("the backup cannot be read: %v", err), Hint: "name the file with --from", Cause: err}
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	dir, err := os.MkdirTemp(filepath.Dir(filepath.Clean(f.Dir())), restoring+"*")
	if err != nil {
		return b, f.notWritable(err)
	}
	aside := Folder(dir)
	defer func() {
		if exists(dir) {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	if err := onlyOwner(dir); err != nil {
		return b, err
	}
	b, err = bundle.Unpack(file, func(p bundle.Packed) (io.WriteCloser, error) {
		return newSynced(aside.path(p.Name))
	})
	if err != nil {
		return b, err
	}
	if err := aside.update(ctx); err != nil {
		return b, err
	}
	if err := aside.prove(ctx, b); err != nil {
		return b, err
	}
	if err := aside.record(ctx, f, b, clock, finish); err != nil {
		return b, err
	}
	if err := os.Rename(dir, f.Dir()); err != nil {
		return b, f.notWritable(err)
	}
	return b, syncFolder(filepath.Dir(filepath.Clean(f.Dir())))
}

// newSynced makes a file that only its owner may read and that is durable once it is closed.
func newSynced(path string) (io.WriteCloser, error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	if err := onlyOwner(path); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return synced{file}, nil
}

// synced is a file that is durable once it is closed.
type synced struct{ *os.File }

func (s synced) Close() error { return errors.Join(s.Sync(), s.File.Close()) }

// update brings a database that an older program wrote up to date, so that it can be proved by what this one knows.
func (f Folder) update(ctx context.Context) (err error) {
	lock, err := f.acquire()
	if err != nil {
		return err
	}
	e, err := f.placed().open(ctx, lock)
	if err != nil {
		return errors.Join(err, lock.Unlock())
	}
	return e.Close()
}

// record opens a restored folder that has not got its place yet and puts that on record. What shows how much the backup
// lacks lies beside that place.
func (f Folder) record(ctx context.Context, place Folder, b bundle.Backup, clock func() time.Time, finish func(*store.DB, bundle.Backup) error) error {
	lock, err := f.acquire()
	if err != nil {
		return err
	}
	e, err := f.placed().open(ctx, lock)
	if err != nil {
		return errors.Join(err, lock.Unlock())
	}
	e.head.folder = place
	e.head.unplaced = true
	db, err := store.StartCopy(ctx, f, e, clock)
	if err != nil {
		return err
	}
	return errors.Join(finish(db, b), db.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
}
