package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/gofrs/flock"
	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
)

// Version is that of SQLite, Module what brings it.
const (
	Version = lib.SQLITE_VERSION
	Module  = "modernc.org/sqlite"
)

//go:embed migrations
var migrations embed.FS

// readerCount bounds the read connections, and with them SQLite's page caches, which lie outside
// the Go heap.
const readerCount = 4

// engine is the open database of a data folder, and what lies beside it.
type engine struct {
	dir           string
	patientKey    string
	lock          *flock.Flock
	writing, read *sql.DB
	head          head
	// still is what the database was when it was opened as one that nobody can write to; nil otherwise.
	still os.FileInfo
}

// open opens the database of a folder that is locked. The lock is the engine's from then on, but not when
// opening fails.
func (p placed) open(ctx context.Context, lock *flock.Flock) (_ *engine, err error) {
	sqlite.StrictPragmas(true)
	e := &engine{dir: p.Dir(), patientKey: p.key, head: head{folder: p.Folder, unplaced: filepath.Base(p.Dir()) == beginningFolder}}
	defer func() {
		if err != nil {
			err = errors.Join(err, e.Close())
		}
	}()
	path := p.path(databaseFile)
	e.writing = openPool(path, "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)",
		"_pragma=foreign_keys(1)", "_pragma=cache_size(-65536)", "_pragma=journal_size_limit(67108864)",
		// The pages that a savepoint may have to give back stay in memory.
		"_pragma=temp_store(2)", "_pragma=secure_delete(1)", "_txlock=immediate")
	e.writing.SetMaxOpenConns(1)
	e.read = openPool(path, "_pragma=query_only(1)", "_pragma=cache_size(-16384)", "mode=ro")
	if err := migrate(ctx, e.writing); err != nil {
		return nil, err
	}
	if err := sealPatients(ctx, e.writing, p.key); err != nil {
		return nil, err
	}
	if e.patientKey, err = settleKey(ctx, e.writing, p.key); err != nil {
		return nil, err
	}
	e.lock = lock
	return e, nil
}

// Writer opens the one connection that writes.
func (e *engine) Writer(ctx context.Context) (store.Conn, error) {
	s, err := newConn(ctx, e.writing, beginWriting)
	if err != nil {
		return nil, err
	}
	var mode string
	err = s.Row(ctx, `PRAGMA journal_mode`).Scan(&mode)
	if err == nil && mode != "wal" {
		err = &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("%s does not allow write-ahead logging (got %q)", e.dir, mode),
			Hint: "keep the data folder on a local disk",
		}
	}
	if err != nil {
		return nil, errors.Join(err, s.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
	}
	return s, nil
}

// Readers opens the connections that read.
func (e *engine) Readers(ctx context.Context) ([]store.Conn, error) {
	var all []store.Conn
	for range readerCount {
		s, err := newConn(ctx, e.read, beginReading)
		if err != nil {
			for _, opened := range all {
				err = errors.Join(err, opened.Close())
			}
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}

// Key reads the signing key beside the database.
func (e *engine) Key() ([]byte, error) {
	path := filepath.Join(e.dir, keyFile)
	key, err := os.ReadFile(path)
	if err != nil {
		return nil, &fault.Error{
			Code: fault.NotFound, Message: "the signing key of the ledger is missing: " + path,
			Hint: "restore it from the backup; without it no new checkpoint can be signed", Cause: err,
		}
	}
	return key, nil
}

// Outside reads the checkpoint beside the database.
func (e *engine) Outside() ([]byte, error) { return outside(e.dir) }

func outside(dir string) ([]byte, error) {
	note, err := os.ReadFile(filepath.Join(dir, checkpointFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the checkpoint beside the database: %w", err)
	}
	return note, nil
}

// PutOutside puts a checkpoint into a file beside the database. Whoever copies that file elsewhere can later
// show that no record before it was cut off or changed.
func (e *engine) PutOutside(note []byte) error {
	return writeFile(filepath.Join(e.dir, checkpointFile), note)
}

// Close closes the database and unlocks the folder.
func (e *engine) Close() error {
	errs := []error{e.head.close(), e.stirred()}
	for _, pool := range []*sql.DB{e.read, e.writing} {
		if pool != nil {
			errs = append(errs, pool.Close())
		}
	}
	if e.lock != nil {
		errs = append(errs, e.lock.Unlock())
	}
	return errors.Join(errs...)
}

// dsn returns the address of the database. busy_timeout comes first so that the other pragmas wait
// too; StrictPragmas keeps a path from smuggling in SQL.
func dsn(path string, extra ...string) string {
	pragmas := append([]string{"_pragma=busy_timeout(10000)"}, extra...)
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + strings.Join(pragmas, "&")
}

// layout is the number of the stored names, of tables as of the fields in records. Until 0.1.0 they may change
// without a migration, and then this number grows; from 0.1.0 on they are for ever, and it stays.
const layout = 3

// migrate brings a database to the latest version, a new one to the present layout as well.
func migrate(ctx context.Context, db *sql.DB) error {
	folder, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	provider, err := goose.NewProvider(goose.DialectSQLite3, db, folder)
	if err != nil {
		return fmt.Errorf("read migrations: %w", err)
	}
	current, latest, err := provider.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read the version of the database: %w", engineError(err))
	}
	if current > latest {
		return newer(current, latest)
	}
	if current > 0 {
		if err := checkLayout(ctx, db); err != nil {
			return err
		}
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("migrate the database: %w", engineError(err))
	}
	if current == 0 {
		if _, err := db.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", layout)); err != nil {
			return fmt.Errorf("note the layout of the database: %w", engineError(err))
		}
		if _, err := db.ExecContext(ctx, "DROP TABLE patient"); err != nil { // which held nobody yet: see sealPatients
			return fmt.Errorf("leave out a table of earlier builds: %w", engineError(err))
		}
	}
	return nil
}

// newer refuses a database that a later program has brought up to date.
func newer(has, known int64) error {
	return &fault.Error{
		Code: fault.Invalid, Message: fmt.Sprintf("the database has version %d; this program knows versions up to %d", has, known),
		Hint: "use the program that wrote it, or a newer one",
	}
}

// checkLayout refuses a database of other stored names before a statement fails on one of them.
func checkLayout(ctx context.Context, db *sql.DB) error {
	var found int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&found); err != nil {
		return fmt.Errorf("read the layout of the database: %w", engineError(err))
	}
	switch {
	case found < layout:
		return &fault.Error{
			Code:    fault.Invalid,
			Message: "this data folder was made by an earlier build of the program; the names under which records are stored have changed since, before version 0.1.0",
			Hint:    "make a new data folder with: rinsate init, and import your files again; the build that made this one still reads it",
		}
	case found > layout:
		return &fault.Error{
			Code: fault.Invalid, Message: "this data folder was made by a later build of the program, which stores records under other names",
			Hint: "use the program that made it, or a newer one",
		}
	}
	return nil
}

// guardCollation is what the triggers of the tables that follow from the ledger name. Only the connections of this
// package have it, so that a statement of any other program that would change such a table is refused.
const guardCollation = "only_rinsate_writes_here"

// own is the driver of this package's connections.
var own = newDriver()

func newDriver() *sqlite.Driver {
	d := new(sqlite.Driver)
	d.MustRegisterCollationUtf8(guardCollation, strings.Compare)
	return d
}

// connector opens connections to a database by its address (dsn).
type connector string

func (c connector) Connect(context.Context) (driver.Conn, error) { return own.Open(string(c)) }

func (connector) Driver() driver.Driver { return own }

// openPool returns connections to the database of a path, with what dsn takes.
func openPool(path string, extra ...string) *sql.DB {
	return sql.OpenDB(connector(dsn(path, extra...)))
}
