package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
)

// Look opens a data folder only to read it: without its lock, so beside a program that serves it, and without bringing
// anything up to date.
func (f Folder) Look(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return f.placed().lookWith(ctx, clock)
}

func (p placed) lookWith(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	if err := p.holdsOne(makeOne); err != nil {
		return nil, err
	}
	sqlite.StrictPragmas(true)
	r, err := p.reading(ctx, "_pragma=cache_size(-16384)")
	if err != nil {
		return nil, err
	}
	e := &engine{dir: p.Dir(), patientKey: p.key, head: head{folder: p.Folder}, read: r.pool, still: r.still}
	if err := current(ctx, r.pool); err != nil {
		return nil, errors.Join(err, e.Close())
	}
	next, err := underNext(ctx, r.pool, p.key)
	if err != nil {
		return nil, errors.Join(err, e.Close())
	}
	if next { // whoever opens the folder to write gives it its name
		e.patientKey += nextKey
	}
	return store.StartLooking(ctx, p.home(), e, clock)
}

// reading are connections that only read.
type reading struct {
	pool *sql.DB
	// how is the query of the address of the database, and still what the database was when it was opened as one that
	// nobody can write to.
	how   string
	still os.FileInfo
}

// immutable is how a database is opened that nobody can write to: SQLite then asks for neither locks nor files of its
// own beside it.
const immutable = "mode=ro&immutable=1"

// reading opens the database of a folder only to read it. Where nothing can be written into the folder and nobody has
// the database open, that is as a file that does not change: SQLite would otherwise have to make a file beside it.
func (f Folder) reading(ctx context.Context, extra ...string) (reading, error) {
	path := f.path(databaseFile)
	extra = append([]string{"_pragma=query_only(1)"}, extra...)
	r := reading{pool: openPool(path, append(extra, "mode=ro")...), how: "mode=ro"}
	err := readable(ctx, r.pool)
	if err == nil {
		return r, nil
	}
	if e, ok := errors.AsType[*sqlite.Error](err); !ok || e.Code()&0xff != lib.SQLITE_CANTOPEN && e.Code()&0xff != lib.SQLITE_READONLY {
		return r, errors.Join(engineError(err), r.pool.Close())
	}
	if err := r.pool.Close(); err != nil {
		return r, err
	}
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 {
		return r, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("%s cannot be written to, and its newest records lie in a file beside the database that SQLite reads only where it may write", f),
			Hint:    "copy the whole folder to where you may write, and look at the copy; or ask as the owner of the folder",
		}
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return r, f.notReadable(err)
	}
	return f.readingStill(ctx, extra)
}

// readingStill opens the database as a file that does not change.
func (f Folder) readingStill(ctx context.Context, extra []string) (r reading, err error) {
	path := f.path(databaseFile)
	if r.still, err = os.Stat(path); err != nil {
		return r, f.notReadable(err)
	}
	r.pool, r.how = openPool(path, append(extra, immutable)...), immutable
	if err := readable(ctx, r.pool); err != nil {
		return r, errors.Join(f.notReadable(err), r.pool.Close())
	}
	return r, nil
}

// readable asks the database for the least there is.
func readable(ctx context.Context, pool *sql.DB) error {
	var n int
	return pool.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&n)
}

func (f Folder) notReadable(cause error) error {
	return &fault.Error{
		Code: fault.Invalid, Message: fmt.Sprintf("the data folder cannot be read: %v", cause),
		Hint: "check the owner and the permissions of " + f.Dir(), Cause: cause,
	}
}

// stirred says that a database that nobody can write to was written to while it was read.
func (e *engine) stirred() error {
	if e.still == nil {
		return nil
	}
	path := Folder(e.dir).path(databaseFile)
	now, err := os.Stat(path)
	if err == nil && now.Size() == e.still.Size() && now.ModTime().Equal(e.still.ModTime()) && !exists(path+"-wal") {
		return nil
	}
	return &fault.Error{
		Code: fault.Busy, Message: "somebody has written to the database while it was read: what was answered may be wrong", Hint: "ask again",
		Cause: err,
	}
}

// current refuses a database that is not of the version that this program reads.
func current(ctx context.Context, pool *sql.DB) error {
	if err := checkLayout(ctx, pool); err != nil {
		return err
	}
	var has int64
	if err := pool.QueryRowContext(ctx, `SELECT max(version_id) FROM `+goose.DefaultTablename+` WHERE is_applied`).Scan(&has); err != nil {
		return fmt.Errorf("read the version of the database: %w", engineError(err))
	}
	latest, err := latestMigration()
	switch {
	case err != nil:
		return err
	case has > latest:
		return newer(has, latest)
	case has < latest:
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the database has version %d, and this program reads version %d", has, latest),
			Hint: "start the program that serves these records once, which brings them up to date; or use the program that wrote them",
		}
	}
	return nil
}

// latestMigration is the number of the newest migration.
func latestMigration() (latest int64, err error) {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return 0, err
	}
	for _, name := range files {
		n, err := goose.NumericComponent(name)
		if err != nil {
			return 0, err
		}
		latest = max(latest, n)
	}
	return latest, nil
}
