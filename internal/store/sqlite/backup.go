package sqlite

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"modernc.org/sqlite"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// A backup is one tar file with all that a data folder needs to be of use again, in this order: what it is, the signing
// key, a checkpoint signed for exactly the records in it, and the database as it was at one moment. Attached files,
// texts, patients' numbers and accounts are in the database. What was last found of the tables (examined.json) is left
// out, since a restore looks anew, and so are files that are being read in.

// manifestFile is the name of what a backup is, backupFormat and backupVersion what it says first.
const (
	manifestFile  = "backup.json"
	backupFormat  = "rinsate backup"
	backupVersion = 1
)

// packed are the files of a backup behind the manifest, in their order, each with the size that it cannot have.
var packed = []struct {
	name string
	most int64
}{{keyFile, 4 << 10}, {checkpointFile, 64 << 10}, {databaseFile, 1 << 50}}

// mostManifest bounds the manifest.
const mostManifest = 64 << 10

// Backup is what a backup is.
type Backup struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
	Site    string `json:"site"`
	Origin  string `json:"origin"`
	// Made is when it was begun: nothing that was recorded later need be in it.
	Made unit.Instant `json:"made"`
	// Size and Root are those of its ledger, Recorded is when its last record was written.
	Size     int64        `json:"size"`
	Root     string       `json:"root"`
	Recorded unit.Instant `json:"recorded"`
	Files    []Packed     `json:"files"`
}

// Packed is one file of a backup.
type Packed struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// readManifest reads what a backup is.
func readManifest(text []byte) (b Backup, err error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&b); err != nil {
		return b, noBackup("%s cannot be read: %v", manifestFile, err)
	}
	if d.More() {
		return b, noBackup("%s goes on where it should end", manifestFile)
	}
	switch {
	case b.Format != backupFormat:
		return b, noBackup("%s says that it is %q", manifestFile, b.Format)
	case b.Version != backupVersion:
		return b, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the backup has version %d, and this program reads version %d", b.Version, backupVersion),
			Hint: "use the program that made it, or a newer one",
		}
	case b.Site == "" || b.Origin == "" || !b.Made.Known() || b.Size <= 0 || len(b.Files) != len(packed):
		return b, noBackup("%s lacks something", manifestFile)
	}
	if _, err := tlog.ParseHash(b.Root); err != nil {
		return b, noBackup("%s names no root", manifestFile)
	}
	for i, f := range b.Files {
		sum, err := hex.DecodeString(f.SHA256)
		if f.Name != packed[i].name || f.Bytes < 0 || f.Bytes > packed[i].most || err != nil || len(sum) != sha256.Size {
			return b, noBackup("%s does not describe %s", manifestFile, packed[i].name)
		}
	}
	return b, nil
}

func noBackup(format string, args ...any) error {
	return &fault.Error{
		Code: fault.Invalid, Message: "this is no whole backup: " + fmt.Sprintf(format, args...),
		Hint: "name a file that was made with: rinsate backup",
	}
}

// Backup writes a backup of the folder to a file that is not there yet, also while somebody else writes to the folder.
// It is proved as a whole before the file gets its name: every record hashed, the tables compared with them. Until then,
// and beside it, it takes the space of the database twice.
func (f Folder) Backup(ctx context.Context, to string, clock func() time.Time) (b Backup, err error) {
	if err := f.holdsOne("check the folder (--data)"); err != nil {
		return b, err
	}
	sqlite.StrictPragmas(true)
	if exists(to) {
		return b, &fault.Error{Code: fault.Conflict, Message: to + " is there already", Hint: "name another file; nothing was overwritten"}
	}
	beside, err := os.MkdirTemp(filepath.Dir(to), ".rinsate-backup-*")
	if err != nil {
		return b, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the backup cannot be written: %v", err), Hint: "name a file in a folder that is there", Cause: err,
		}
	}
	defer func() { err = errors.Join(err, os.RemoveAll(beside)) }()
	copied := Folder(filepath.Join(beside, "copy"))
	if err := os.Mkdir(copied.Dir(), 0o700); err != nil {
		return b, err
	}
	b.Made = unit.At(clock())
	if err := f.copyTo(ctx, copied); err != nil {
		return b, err
	}
	if err := copied.describe(ctx, &b); err != nil {
		return b, err
	}
	if err := copied.prove(ctx, b); err != nil {
		return b, err
	}
	whole := filepath.Join(beside, "whole")
	if err := copied.pack(b, whole); err != nil {
		return b, err
	}
	if err := readAgain(whole, b); err != nil {
		return b, err
	}
	return b, place(whole, to)
}

// copyTo copies the database of a folder as it is at one moment, and its key.
func (f Folder) copyTo(ctx context.Context, to Folder) error {
	key, err := (&engine{dir: f.Dir()}).Key()
	if err != nil {
		return err
	}
	if err := writeFile(to.path(keyFile), key); err != nil {
		return err
	}
	if err := makePrivate(to.path(databaseFile)); err != nil {
		return err
	}
	r, err := f.reading(ctx)
	if err != nil {
		return err
	}
	// One connection, which is told that it may write elsewhere.
	r.pool.SetMaxOpenConns(1)
	for _, text := range []string{`PRAGMA query_only = 0`, `VACUUM INTO '` + strings.ReplaceAll(to.path(databaseFile), "'", "''") + `'`} {
		if _, err = r.pool.ExecContext(ctx, text); err != nil {
			err = fmt.Errorf("copy the database: %w", engineError(err))
			break
		}
	}
	return errors.Join(err, (&engine{dir: f.Dir(), read: r.pool, still: r.still}).Close())
}

// describe says what a copy is, and signs a checkpoint for exactly its records.
func (f Folder) describe(ctx context.Context, b *Backup) error {
	r, err := f.reading(ctx)
	if err != nil {
		return err
	}
	var vkey string
	var root []byte
	err = r.pool.QueryRowContext(ctx, `SELECT s.site, s.origin, s.vkey, h.size, h.root, h.recorded
		FROM site s JOIN head h ON h.site = s.site ORDER BY s.site LIMIT 1`).
		Scan(&b.Site, &b.Origin, &vkey, &b.Size, &root, (*int64)(&b.Recorded))
	if err = errors.Join(engineError(err), r.pool.Close()); err != nil {
		return fmt.Errorf("read the head of the copy: %w", err)
	}
	key, err := os.ReadFile(f.path(keyFile))
	if err != nil {
		return err
	}
	signer, err := ledger.ParseSigner(strings.TrimSpace(string(key)))
	if err != nil || signer.VKey() != vkey || len(root) != sha256.Size {
		return &fault.Error{
			Code: fault.Conflict, Message: "the signing key beside the database is not the key of this ledger, or its head is damaged",
			Hint: "run: rinsate ledger verify", Cause: err,
		}
	}
	b.Format, b.Version, b.Root = backupFormat, backupVersion, tlog.Hash(root).String()
	note, err := signer.Sign(ledger.Checkpoint{Origin: b.Origin, Size: b.Size, Root: tlog.Hash(root)})
	if err != nil {
		return err
	}
	if err := writeFile(f.path(checkpointFile), note); err != nil {
		return err
	}
	for _, p := range packed {
		sum, n, err := digest(f.path(p.name))
		if err != nil {
			return err
		}
		b.Files = append(b.Files, Packed{Name: p.name, Bytes: n, SHA256: sum})
	}
	return nil
}

// prove hashes all records of a copy, and compares its tables with them and both with what the backup says it is.
func (f Folder) prove(ctx context.Context, b Backup) error {
	v, err := f.Verify(ctx, nil, nil)
	if bad, ok := errors.AsType[*ledger.FaultError](err); ok {
		return &fault.Error{
			Code: fault.Broken, Message: "the records are not whole, and a copy of them would not be either: " + bad.Error(),
			Hint: "keep the whole data folder as it is, and compare it with the last backup; see all of it with: rinsate ledger verify", Cause: err,
		}
	}
	if err != nil {
		return err
	}
	if len(v.Tables)+len(v.Guards) > 0 {
		what := v.Guards
		for _, d := range v.Tables {
			what = append(what, d.String())
		}
		return &fault.Error{
			Code: fault.Broken, Message: "the tables do not follow from the records: " + strings.Join(what, ", "),
			Hint: "another program has written to the database; start this one, or run: rinsate ledger rebuild",
		}
	}
	if v.Site != b.Site || v.Size != b.Size || v.Root != b.Root || v.Alone {
		return &fault.Error{
			Code:    fault.Broken,
			Message: fmt.Sprintf("the copy holds %d records of %s under another root than the %d of %s that it should", v.Size, v.Site, b.Size, b.Site),
			Hint:    "take another backup",
		}
	}
	return nil
}

// pack writes a copy into one file.
func (f Folder) pack(b Backup, to string) (err error) {
	file, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if err := onlyOwner(to); err != nil {
		return err
	}
	text, err := json.MarshalIndent(b, "", "  ")
	if err != nil {
		return err
	}
	w := tar.NewWriter(file)
	put := func(name string, size int64, from io.Reader) error {
		h := &tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o600, ModTime: b.Made.Time().Truncate(time.Second)}
		if err := w.WriteHeader(h); err != nil {
			return err
		}
		_, err := io.Copy(w, from)
		return err
	}
	if err := put(manifestFile, int64(len(text))+1, bytes.NewReader(append(text, '\n'))); err != nil {
		return err
	}
	for _, p := range b.Files {
		from, err := os.Open(f.path(p.Name))
		if err != nil {
			return err
		}
		if err := errors.Join(put(p.Name, p.Bytes, from), from.Close()); err != nil {
			return fmt.Errorf("pack %s: %w", p.Name, err)
		}
	}
	return errors.Join(w.Close(), file.Sync())
}

// readAgain reads a packed backup as a restore does, and wants what was written.
func readAgain(path string, b Backup) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	got, err := unpack(file, func(Packed) (io.WriteCloser, error) { return discard{}, nil })
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("read the backup again: %w", err)
	}
	if got.Root != b.Root || got.Size != b.Size {
		return fmt.Errorf("read the backup again: it holds another ledger")
	}
	return nil
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

func (discard) Close() error { return nil }

// place gives a file its name, and takes that of no other.
func place(from, to string) error {
	switch err := os.Link(from, to); {
	case errors.Is(err, fs.ErrExist), exists(to) && err != nil:
		return &fault.Error{Code: fault.Conflict, Message: to + " is there already", Hint: "name another file; nothing was overwritten"}
	case err != nil: // a file system without links, such as that of many sticks
		if err := os.Rename(from, to); err != nil {
			return err
		}
	}
	return syncFolder(filepath.Dir(to))
}

// unpack reads a backup and hands its files to sinks, each proved by its hash before the next is begun.
func unpack(from io.Reader, sink func(Packed) (io.WriteCloser, error)) (b Backup, err error) {
	r := tar.NewReader(from)
	next := func(name string) (*tar.Header, error) {
		h, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil, noBackup("it ends before %s", name)
		case err != nil:
			return nil, noBackup("%v", err)
		case h.Name != name || h.Typeflag != tar.TypeReg:
			return nil, noBackup("it has %q where %s should be", h.Name, name)
		}
		return h, nil
	}
	h, err := next(manifestFile)
	if err != nil {
		return b, err
	}
	if h.Size > mostManifest {
		return b, noBackup("%s is too large", manifestFile)
	}
	text, err := io.ReadAll(io.LimitReader(r, mostManifest+1))
	if err != nil {
		return b, noBackup("%v", err)
	}
	if b, err = readManifest(text); err != nil {
		return b, err
	}
	for _, p := range b.Files {
		h, err := next(p.Name)
		if err != nil {
			return b, err
		}
		if h.Size != p.Bytes {
			return b, noBackup("%s has %d bytes, and %d are described", p.Name, h.Size, p.Bytes)
		}
		to, err := sink(p)
		if err != nil {
			return b, err
		}
		sum := sha256.New()
		_, err = io.Copy(io.MultiWriter(to, sum), r)
		if errors.Is(err, io.ErrUnexpectedEOF) {
			err = noBackup("it ends within %s", p.Name)
		}
		if err = errors.Join(err, to.Close()); err != nil {
			return b, err
		}
		if got := hex.EncodeToString(sum.Sum(nil)); got != p.SHA256 {
			return b, noBackup("%s is not what was backed up: its SHA-256 is %s and should be %s", p.Name, got, p.SHA256)
		}
	}
	if _, err := r.Next(); !errors.Is(err, io.EOF) {
		return b, noBackup("it goes on behind %s", databaseFile)
	}
	return b, nil
}

// digest returns the SHA-256 and the size of a file that nobody else writes to.
func digest(path string) (sum string, size int64, err error) {
	file, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	h := sha256.New()
	size, err = io.Copy(h, file)
	return hex.EncodeToString(h.Sum(nil)), size, errors.Join(err, file.Close())
}
