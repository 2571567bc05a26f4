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

	"rinsate/internal/store/bundle"

	"golang.org/x/mod/sumdb/tlog"
	"modernc.org/sqlite"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Backup writes a backup of the folder to a file that is not there yet, also while somebody else writes to the folder.
// It is proved as a whole before the file gets its name: every record hashed, the tables compared with them. Until then,
// and beside it, it takes the space of the database twice.
func (f Folder) Backup(ctx context.Context, to string, clock func() time.Time) (b bundle.Backup, err error) {
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
func (f Folder) describe(ctx context.Context, b *bundle.Backup) error {
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
	b.Format, b.Version, b.Root = bundle.Format, bundle.Version, tlog.Hash(root).String()
	note, err := signer.Sign(ledger.Checkpoint{Origin: b.Origin, Size: b.Size, Root: tlog.Hash(root)})
	if err != nil {
		return err
	}
	if err := writeFile(f.path(checkpointFile), note); err != nil {
		return err
	}
	for _, name := range bundle.Files() {
		sum, n, err := digest(f.path(name))
		if err != nil {
			return err
		}
		b.Files = append(b.Files, bundle.Packed{Name: name, Bytes: n, SHA256: sum})
	}
	return nil
}

// prove hashes all records of a copy, and compares its tables with them and both with what the backup says it is.
func (f Folder) prove(ctx context.Context, b bundle.Backup) error {
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
func (f Folder) pack(b bundle.Backup, to string) (err error) {
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
	if err := put(bundle.ManifestFile, int64(len(text))+1, bytes.NewReader(append(text, '\n'))); err != nil {
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
func readAgain(path string, b bundle.Backup) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	got, err := bundle.Unpack(file, func(bundle.Packed) (io.WriteCloser, error) { return discard{}, nil })
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
