// Package sqlite keeps the records of a site in a data folder, in an embedded SQLite database that one
// process at a time has open. What is SQLite's is here and nowhere else: the files and their lock, the
// schema and its migrations, the connections and their settings, and what its errors mean. What is stored,
// and how it is found again, is package store's.
//
// Read Folder first, and engine for what a DB is given.
package sqlite

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/store/bundle"

	"github.com/gofrs/flock"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// The files of a data folder.
const (
	databaseFile   = bundle.DatabaseFile
	lockFile       = "rinsate.lock"
	keyFile        = bundle.KeyFile
	checkpointFile = bundle.CheckpointFile
	examinedFile   = "examined.json"
	headFile       = "head.txt"
)

// Folder is a data folder, by its path. It is a store.Home.
type Folder string

var _ store.Home = Folder("")

// Dir is the path of the folder.
func (f Folder) Dir() string { return string(f) }

func (f Folder) path(name string) string { return filepath.Join(string(f), name) }

// Create makes a new data folder with an empty ledger and its signing key. It refuses a folder that
// holds a database already. Only this function, which Begin calls too, creates a database: a wrong path
// must never become an empty ledger. site.VKey is filled in.
func (f Folder) Create(ctx context.Context, site record.SiteBody, clock func() time.Time) (*store.DB, error) {
	return f.placed().createWith(ctx, site, clock)
}

func (p placed) createWith(ctx context.Context, site record.SiteBody, clock func() time.Time) (*store.DB, error) {
	lock, err := p.claim(site, clock)
	if err != nil {
		return nil, err
	}
	site, err = p.create(ctx, site)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	e, err := p.open(ctx, lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return store.StartNew(ctx, p.home(), e, clock, site)
}

// claim makes the folder of a site, unless it is there, and locks it.
func (f Folder) claim(site record.SiteBody, clock func() time.Time) (*flock.Flock, error) {
	if err := store.CheckSite(site, clock); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(f.Dir(), 0o700); err != nil {
		return nil, f.notWritable(err)
	}
	return f.acquire()
}

// create makes the database and the key of a site, which gets the public part of it.
func (p placed) create(ctx context.Context, site record.SiteBody) (record.SiteBody, error) {
	if err := p.holdsNone(); err != nil {
		return site, err
	}
	if err := needPatientKey(p.key); err != nil {
		return site, err
	}
	skey, vkey, err := ledger.GenerateKey(rand.Reader, site.Origin)
	if err != nil {
		return site, err
	}
	site.VKey = vkey
	// The database is made under another name, so that a crash leaves no half-made ledger.
	path := p.path(databaseFile + ".new")
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return site, err
	}
	if err := makePrivate(path); err != nil {
		return site, err
	}
	if err := found(ctx, path, site); err != nil {
		return site, err
	}
	if err := writeFile(p.path(keyFile), []byte(skey+"\n")); err != nil {
		return site, err
	}
	if err := os.Rename(path, p.path(databaseFile)); err != nil {
		return site, err
	}
	return site, syncFolder(p.Dir())
}

// found makes a database with an empty ledger.
func found(ctx context.Context, path string, site record.SiteBody) (err error) {
	pool := openPool(path, "_pragma=page_size(8192)", "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)")
	defer func() { err = errors.Join(err, pool.Close()) }()
	if err := migrate(ctx, pool); err != nil {
		return err
	}
	s, err := newConn(ctx, pool, beginWriting)
	if err != nil {
		return err
	}
	return errors.Join(store.Found(ctx, s, site), s.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
}

// Open opens a data folder and compares the head of the ledger, its last record, the tables and the
// checkpoint beside the database; it refuses a contradiction with numbers. The folder is locked
// against other processes until Close.
func (f Folder) Open(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return f.placed().openWith(ctx, clock, store.Start)
}

// OpenCopy is Open for somebody who is about to say that the folder is a copy that was put back.
func (f Folder) OpenCopy(ctx context.Context, clock func() time.Time) (*store.DB, error) {
	return f.placed().openWith(ctx, clock, store.StartCopy)
}

func (p placed) openWith(
	ctx context.Context, clock func() time.Time, start func(context.Context, store.Home, store.Engine, func() time.Time) (*store.DB, error),
) (*store.DB, error) {
	if err := p.holdsOne(makeOne); err != nil {
		return nil, err
	}
	lock, err := p.acquire()
	if err != nil {
		return nil, err
	}
	e, err := p.open(ctx, lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return start(ctx, p.home(), e, clock)
}

// makeOne is what to do without a ledger.
const makeOne = "check the folder (--data), or make a new one, in the browser with: rinsate init --pages, or here with: rinsate init"

// holdsOne refuses a folder without a ledger.
func (f Folder) holdsOne(hint string) error {
	if _, err := os.Stat(f.path(databaseFile)); err != nil {
		return &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("there is no ledger in %s", f), Hint: hint, Cause: err}
	}
	return nil
}

// acquire locks a data folder and leaves the process number for whoever finds it locked.
func (f Folder) acquire() (*flock.Flock, error) {
	path := f.path(lockFile)
	if err := checkFileSystem(f.Dir()); err != nil {
		return nil, err
	}
	lock := flock.New(path, flock.SetPermissions(0o600))
	ok, err := lock.TryLock()
	if err != nil {
		return nil, f.notWritable(err)
	}
	if !ok {
		content, _ := os.ReadFile(path) // only makes the message more helpful
		holder := "process " + strings.TrimSpace(string(content))
		if holder == "process " { // it has not written its number yet
			holder = "another process"
		}
		return nil, &fault.Error{
			Code: fault.Busy, Message: fmt.Sprintf("%s is in use by %s", f, holder),
			Hint: "stop that process, or wait until it has finished; two programs on one ledger would fork it",
		}
	}
	if err := os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600); err != nil {
		return nil, errors.Join(f.notWritable(err), lock.Unlock())
	}
	f.keepPrivate()
	return lock, nil
}

func (f Folder) notWritable(cause error) error {
	return &fault.Error{
		Code: fault.Invalid, Message: fmt.Sprintf("the data folder cannot be written to: %v", cause),
		Hint: "check the owner and the permissions of " + f.Dir(), Cause: cause,
	}
}

// writeFile writes a file that only its owner may read, so that it is either whole or absent after a crash.
func writeFile(path string, data []byte) (err error) {
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if err = onlyOwner(temporary); err != nil { // before anything is in it
		return errors.Join(err, f.Close(), os.Remove(temporary))
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

// ours are the names in a data folder that nobody but its owner may read: they hold patients' numbers, what people
// typed, and the key that signs.
var ours = []string{
	databaseFile, databaseFile + "-wal", databaseFile + "-shm", databaseFile + "-journal", databaseFile + ".new",
	lockFile, keyFile, patientKeyFile, patientKeyFile + nextKey, patientKeyFile + keyBefore, checkpointFile, examinedFile, headFile,
}

// uploadsFolder is where the pages keep files that are being read in, for their owner alone.
const uploadsFolder = "uploads"

// keepPrivate lets nobody but the owner read the files of the folder, also those that are there already, and the
// folder itself when nothing else lies in it: one that somebody shares with other files stays as it is. What cannot
// be changed, as on a file system without permissions, is left for the doctor to tell of.
func (f Folder) keepPrivate() {
	for _, path := range f.private() {
		_ = onlyOwner(path) // the doctor tells of it
	}
}

// private are the paths that there are and that nobody else may read.
func (f Folder) private() (paths []string) {
	entries, err := os.ReadDir(f.Dir())
	if err != nil {
		return nil
	}
	alone := true
	for _, e := range entries {
		switch {
		case e.Type().IsRegular() && (slices.Contains(ours, e.Name()) || slices.Contains(ours, strings.TrimSuffix(e.Name(), ".new"))):
			paths = append(paths, f.path(e.Name()))
		case e.IsDir() && slices.Contains([]string{beginningFolder, uploadsFolder}, e.Name()):
		default:
			alone = false
		}
	}
	if alone {
		paths = append(paths, f.Dir())
	}
	return paths
}

// ReadByOthers returns the names in a data folder, and that of the folder, that others than the owner may read.
func ReadByOthers(dir string) (names []string, err error) {
	for _, path := range Folder(dir).private() {
		others, err := forOthers(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue // it went away meanwhile
		}
		if err != nil {
			return nil, err
		}
		if others {
			names = append(names, filepath.Base(path))
		}
	}
	return names, nil
}

// makePrivate makes an empty file that only its owner may read, before anything is written to it.
func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), onlyOwner(path))
}
