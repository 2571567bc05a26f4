// Package bundle reads the one file that a backup is. It is apart from the engine that makes it, so that it can be
// fuzzed without the whole of that.
package bundle

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"

	"golang.org/x/mod/sumdb/tlog"
)

// A backup is one tar file with all that a data folder needs to be of use again, in this order: what it is, the signing
// key, a checkpoint signed for exactly the records in it, and the database as it was at one moment. Attached files,
// texts, patients' numbers and accounts are in the database. What was last found of the tables (examined.json) is left
// out, since a restore looks anew, and so are files that are being read in.

// ManifestFile is the name of what a backup is, Format and Version what it says first.
const (
	ManifestFile = "backup.json"
	Format       = "rinsate backup"
	Version      = 1
)

// The files behind it, as a data folder has them.
const (
	KeyFile        = "ledger.key"
	CheckpointFile = "checkpoint.txt"
	DatabaseFile   = "rinsate.db"
)

// packed are the files of a backup behind the manifest, in their order, each with the size that it cannot have.
var packed = []struct {
	name string
	most int64
}{{KeyFile, 4 << 10}, {CheckpointFile, 64 << 10}, {DatabaseFile, 1 << 50}}

// Files lists the names of the files behind the manifest, in their order.
func Files() []string {
	names := make([]string, len(packed))
	for i, p := range packed {
		names[i] = p.name
	}
	return names
}

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
		return b, noBackup("%s cannot be read: %v", ManifestFile, err)
	}
	if d.More() {
		return b, noBackup("%s goes on where it should end", ManifestFile)
	}
	switch {
	case b.Format != Format:
		return b, noBackup("%s says that it is %q", ManifestFile, b.Format)
	case b.Version != Version:
		return b, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the backup has version %d, and this program reads version %d", b.Version, Version),
			Hint: "use the program that made it, or a newer one",
		}
	case b.Site == "" || b.Origin == "" || !b.Made.Known() || b.Size <= 0 || len(b.Files) != len(packed):
		return b, noBackup("%s lacks something", ManifestFile)
	}
	if _, err := tlog.ParseHash(b.Root); err != nil {
		return b, noBackup("%s names no root", ManifestFile)
	}
	for i, f := range b.Files {
		sum, err := hex.DecodeString(f.SHA256)
		if f.Name != packed[i].name || f.Bytes < 0 || f.Bytes > packed[i].most || err != nil || len(sum) != sha256.Size {
			return b, noBackup("%s does not describe %s", ManifestFile, packed[i].name)
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

// Unpack reads a backup and hands its files to sinks, each proved by its hash before the next is begun.
func Unpack(from io.Reader, sink func(Packed) (io.WriteCloser, error)) (b Backup, err error) {
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
	h, err := next(ManifestFile)
	if err != nil {
		return b, err
	}
	if h.Size > mostManifest {
		return b, noBackup("%s is too large", ManifestFile)
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
		return b, noBackup("it goes on behind %s", DatabaseFile)
	}
	return b, nil
}
