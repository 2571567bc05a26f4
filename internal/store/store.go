// Package store keeps the records and the tables that pages read, on an embedded SQLite database.
//
// One transaction appends records to the ledger and updates the tables; nothing is ever updated or
// deleted in the ledger, which triggers enforce in the database as well. Every other table can be
// thrown away and rebuilt (Rebuild). Writes of many callers share one durable commit (group
// commit), each in a savepoint of its own, so that one caller's error does not touch another's.
// The package decides nothing about scopes; package desk is its only writer.
//
// Read Open, DB.Write and Tx.Append first. Statements use $n and only what PostgreSQL understands
// as well; the schema is per engine.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

//go:embed migrations
var migrations embed.FS

// The files of a data folder.
const (
	databaseFile   = "rinsate.db"
	lockFile       = "rinsate.lock"
	keyFile        = "ledger.key"
	checkpointFile = "checkpoint.txt"
)

// DB is an open data folder. Its methods may be called by many goroutines.
type DB struct {
	dir    string
	site   record.SiteBody
	zone   *time.Location
	clock  func() time.Time
	lock   *flock.Flock
	signer ledger.Signer
	// disguise is the key of Disguise.
	disguise []byte

	writeDB, readDB *sql.DB
	writer          *session
	readers         chan *session
	jobs            chan *job
	done            chan struct{}
	closing         chan struct{}
	once            sync.Once

	// head is owned by the writer goroutine.
	head head
	// scrubbing says that a text was erased of which the write-ahead log may hold copies. It is owned by
	// the writer goroutine.
	scrubbing bool

	entities entityCache
	decoded  decoded
	tail     tail
}

// head is the end of the ledger.
type head struct {
	frontier ledger.Frontier
	root     [32]byte
	recorded unit.Instant
	// signed is the size of the last checkpoint, signedAt when it was made.
	signed   int64
	signedAt unit.Instant
	// outside is when the last checkpoint was written beside the database.
	outside unit.Instant
}

// readerCount bounds the read connections, and with them SQLite's page caches, which lie outside
// the Go heap.
const readerCount = 4

// dsn returns the address of the database. busy_timeout comes first so that the other pragmas wait
// too; StrictPragmas keeps a path from smuggling in SQL.
func dsn(path string, extra ...string) string {
	pragmas := append([]string{"_pragma=busy_timeout(10000)"}, extra...)
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + strings.Join(pragmas, "&")
}

// Create makes a new data folder with an empty ledger and its signing key. It refuses a folder that
// holds a database already. Only this function, which Begin calls too, creates a database: a wrong path
// must never become an empty ledger. site.VKey is filled in.
func Create(ctx context.Context, dir string, site record.SiteBody, clock func() time.Time) (*DB, error) {
	lock, err := claim(dir, site, clock)
	if err != nil {
		return nil, err
	}
	db, err := create(ctx, dir, site, clock, lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return db, nil
}

// claim makes the folder of a site, unless it is there, and locks it.
func claim(dir string, site record.SiteBody, clock func() time.Time) (*flock.Flock, error) {
	if err := checkSite(site, clock); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, notWritable(dir, err)
	}
	return acquire(dir)
}

// checkSite refuses a site that could not keep records, before anything is made.
func checkSite(site record.SiteBody, clock func() time.Time) error {
	if site.Code == "" || site.Name == "" || site.Origin == "" {
		return &fault.Error{Code: fault.Invalid, Message: "a site needs a code, a name and the origin of its ledger"}
	}
	if _, err := time.LoadLocation(site.Zone); err != nil || site.Zone == "" {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("time zone %q is not known", site.Zone), Hint: "give an IANA name such as Europe/Berlin"}
	}
	if err := trial(site, unit.At(clock())); err != nil {
		return &fault.Error{Code: fault.Invalid, Message: err.Error(), Cause: err}
	}
	return nil
}

// trial refuses a site that could not be written into a record or sign a checkpoint, before anything
// is made.
func trial(site record.SiteBody, now unit.Instant) error {
	if _, err := ledger.NewSigner(site.Origin, make([]byte, 32)); err != nil {
		return err
	}
	body, err := json.Marshal(site)
	if err != nil {
		return err
	}
	_, err = ledger.Encode(ledger.Record{V: ledger.Version, Type: string(record.Site), ID: ledger.DerivedID("trial"), Site: site.Code, At: now, Recorded: now, Body: body})
	return err
}

func create(ctx context.Context, dir string, site record.SiteBody, clock func() time.Time, lock *flock.Flock) (*DB, error) {
	if err := holdsNone(dir); err != nil {
		return nil, err
	}
	skey, vkey, err := ledger.GenerateKey(rand.Reader, site.Origin)
	if err != nil {
		return nil, err
	}
	site.VKey = vkey
	// The database is made under another name, so that a crash leaves no half-made ledger.
	path := filepath.Join(dir, databaseFile+".new")
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	setup, err := sql.Open("sqlite", dsn(path, "_pragma=page_size(8192)", "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)"))
	if err != nil {
		return nil, err
	}
	defer func() { _ = setup.Close() }()
	if err := migrate(ctx, setup); err != nil {
		return nil, err
	}
	if _, err := setup.ExecContext(ctx, `INSERT INTO site (site, name, zone, origin, vkey) VALUES ($1, $2, $3, $4, $5)`,
		site.Code, site.Name, site.Zone, site.Origin, site.VKey); err != nil {
		return nil, err
	}
	var empty ledger.Frontier
	root := empty.Root()
	if _, err := setup.ExecContext(ctx, `INSERT INTO head (site, size, root, recorded, projected) VALUES ($1, 0, $2, 0, 0)`,
		site.Code, root[:]); err != nil {
		return nil, err
	}
	if err := setup.Close(); err != nil {
		return nil, err
	}
	if err := writeFile(filepath.Join(dir, keyFile), []byte(skey+"\n"), 0o600); err != nil {
		return nil, err
	}
	if err := os.Rename(path, filepath.Join(dir, databaseFile)); err != nil {
		return nil, err
	}
	if err := syncFolder(dir); err != nil {
		return nil, err
	}
	db, err := open(ctx, dir, clock, lock)
	if err != nil {
		return nil, err
	}
	err = db.Write(ctx, func(tx *Tx) error {
		_, _, err := tx.Append(Draft{Type: record.Site, ID: ledger.NewID(tx.Now, rand.Reader), At: tx.Now, Body: site})
		return err
	})
	if err != nil {
		return nil, errors.Join(err, db.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
	}
	return db, nil
}

// Open opens a data folder and compares the head of the ledger, its last record, the tables and the
// checkpoint beside the database; it refuses a contradiction with numbers. The folder is locked
// against other processes until Close.
func Open(ctx context.Context, dir string, clock func() time.Time) (*DB, error) {
	if _, err := os.Stat(filepath.Join(dir, databaseFile)); err != nil {
		return nil, &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("there is no ledger in %s", dir), Hint: "check the folder (--data), or make a new one, in the browser with: rinsate init --pages, or here with: rinsate init", Cause: err}
	}
	lock, err := acquire(dir)
	if err != nil {
		return nil, err
	}
	db, err := open(ctx, dir, clock, lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return db, nil
}

// acquire locks a data folder and leaves the process number for whoever finds it locked.
func acquire(dir string) (*flock.Flock, error) {
	path := filepath.Join(dir, lockFile)
	if err := checkFileSystem(dir); err != nil {
		return nil, err
	}
	lock := flock.New(path, flock.SetPermissions(0o600))
	ok, err := lock.TryLock()
	if err != nil {
		return nil, notWritable(dir, err)
	}
	if !ok {
		holder, _ := os.ReadFile(path) // only makes the message more helpful
		return nil, &fault.Error{
			Code: fault.Busy, Message: fmt.Sprintf("%s is in use by process %s", dir, strings.TrimSpace(string(holder))),
			Hint: "stop that process, or wait until it has finished; two programs on one ledger would fork it",
		}
	}
	if err := os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600); err != nil {
		return nil, errors.Join(notWritable(dir, err), lock.Unlock())
	}
	return lock, nil
}

func notWritable(dir string, cause error) error {
	return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("the data folder cannot be written to: %v", cause), Hint: "check the owner and the permissions of " + dir, Cause: cause}
}

func migrate(ctx context.Context, db *sql.DB) error {
	folder, err := fs.Sub(migrations, "migrations/sqlite")
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
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the database has version %d; this program knows versions up to %d", current, latest),
			Hint: "use the program that wrote it, or a newer one",
		}
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("migrate the database: %w", engineError(err))
	}
	return nil
}

func open(ctx context.Context, dir string, clock func() time.Time, lock *flock.Flock) (_ *DB, err error) {
	sqlite.StrictPragmas(true)
	path := filepath.Join(dir, databaseFile)
	db := &DB{
		dir: dir, clock: clock, lock: lock,
		readers: make(chan *session, readerCount), jobs: make(chan *job, 1024),
		done: make(chan struct{}), closing: make(chan struct{}),
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.closePools())
		}
	}()
	db.writeDB, err = sql.Open("sqlite", dsn(path, "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)",
		"_pragma=foreign_keys(1)", "_pragma=cache_size(-65536)", "_pragma=journal_size_limit(67108864)",
		// The pages that a savepoint may have to give back stay in memory.
		"_pragma=temp_store(2)", "_pragma=secure_delete(1)", "_txlock=immediate"))
	if err != nil {
		return nil, err
	}
	db.writeDB.SetMaxOpenConns(1)
	db.readDB, err = sql.Open("sqlite", dsn(path, "_pragma=query_only(1)", "_pragma=cache_size(-16384)", "mode=ro"))
	if err != nil {
		return nil, err
	}
	if err := migrate(ctx, db.writeDB); err != nil {
		return nil, err
	}
	if db.writer, err = newSession(ctx, db.writeDB); err != nil {
		return nil, err
	}
	var mode string
	if err := db.writer.row(ctx, `PRAGMA journal_mode`).Scan(&mode); err != nil {
		return nil, err
	}
	if mode != "wal" {
		return nil, &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("%s does not allow write-ahead logging (got %q)", dir, mode), Hint: "keep the data folder on a local disk"}
	}
	// A crash between an erasure and the scrubbing of the log leaves copies in it.
	if _, err := truncateLog(ctx, db.writer); err != nil {
		return nil, err
	}
	for range readerCount {
		s, err := newSession(ctx, db.readDB)
		if err != nil {
			return nil, err
		}
		db.readers <- s
	}
	if err := db.readSite(ctx); err != nil {
		return nil, err
	}
	if err := db.crossCheck(ctx); err != nil {
		return nil, err
	}
	if err := db.catchUp(ctx); err != nil {
		return nil, err
	}
	go db.work(context.WithoutCancel(ctx))
	return db, nil
}

func (db *DB) readSite(ctx context.Context) error {
	s := &db.site
	err := db.writer.row(ctx, `SELECT site, name, zone, origin, vkey FROM site ORDER BY site LIMIT 1`).Scan(&s.Code, &s.Name, &s.Zone, &s.Origin, &s.VKey)
	if err != nil {
		return fmt.Errorf("read the site: %w", err)
	}
	if db.zone, err = time.LoadLocation(s.Zone); err != nil {
		return fmt.Errorf("zone of the site: %w", err)
	}
	key, err := os.ReadFile(filepath.Join(db.dir, keyFile))
	if err != nil {
		return &fault.Error{Code: fault.NotFound, Message: "the signing key of the ledger is missing: " + filepath.Join(db.dir, keyFile), Hint: "restore it from the backup; without it no new checkpoint can be signed", Cause: err}
	}
	db.disguise = disguiseKey(key)
	if db.signer, err = ledger.ParseSigner(strings.TrimSpace(string(key))); err != nil {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("the signing key of the ledger cannot be read: %v", err), Hint: "restore ledger.key from the same backup as the database", Cause: err}
	}
	if db.signer.VKey() != s.VKey {
		return &fault.Error{Code: fault.Conflict, Message: "the signing key beside the database is not the key of this ledger", Hint: "restore ledger.key from the same backup as the database"}
	}
	return nil
}

// Site returns who keeps the records.
func (db *DB) Site() record.SiteBody { return db.site }

// Zone returns the time zone of the site.
func (db *DB) Zone() *time.Location { return db.zone }

// Dir returns the data folder.
func (db *DB) Dir() string { return db.dir }

// Now returns the present by the clock that the data folder was opened with.
func (db *DB) Now() unit.Instant { return unit.At(db.clock()) }

// Close waits for the reads and writes under way, signs and puts out a last checkpoint, and unlocks the
// folder.
func (db *DB) Close() error {
	first := false
	db.once.Do(func() { first = true; close(db.closing) })
	<-db.done
	if !first {
		return nil
	}
	var errs []error
	for range readerCount {
		errs = append(errs, (<-db.readers).close())
	}
	if err := db.sign(context.Background()); err != nil {
		errs = append(errs, fmt.Errorf("sign the last checkpoint: %w", err))
	}
	errs = append(errs, db.scrub(context.Background()))
	_, err := db.writer.exec(context.Background(), `PRAGMA optimize`)
	errs = append(errs, err, db.closePools(), db.lock.Unlock())
	return errors.Join(errs...)
}

func (db *DB) closePools() error {
	var errs []error
	for _, pool := range []*sql.DB{db.readDB, db.writeDB} {
		if pool != nil {
			errs = append(errs, closeSessions(db, pool), pool.Close())
		}
	}
	return errors.Join(errs...)
}

// closeSessions gives the connections of a pool back, without which closing it would wait.
func closeSessions(db *DB, pool *sql.DB) error {
	if pool == db.writeDB {
		if db.writer == nil {
			return nil
		}
		return db.writer.close()
	}
	var errs []error
	for {
		select {
		case s := <-db.readers:
			errs = append(errs, s.close())
		default:
			return errors.Join(errs...)
		}
	}
}

// writeFile writes a file so that it is either whole or absent after a crash.
func writeFile(path string, data []byte, mode fs.FileMode) (err error) {
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, os.Remove(temporary))
	}
	if err := os.Rename(temporary, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}
