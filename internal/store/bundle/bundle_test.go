package bundle

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/fault"
)

// memory keeps what is unpacked.
type memory struct{ bytes.Buffer }

func (*memory) Close() error { return nil }

// aBackup is a packed backup of a few bytes; change may spoil what it says of itself.
func aBackup(tb testing.TB, change func(*Backup)) []byte {
	tb.Helper()
	b := Backup{Format: Format, Version: Version, Site: "S1", Origin: "test.example/s1", Made: 5, Size: 3, Root: tlog.Hash{1}.String(), Recorded: 4}
	for _, p := range packed {
		sum := sha256.Sum256([]byte(p.name))
		b.Files = append(b.Files, Packed{p.name, int64(len(p.name)), hex.EncodeToString(sum[:])})
	}
	if change != nil {
		change(&b)
	}
	text, err := json.Marshal(b)
	if err != nil {
		tb.Fatal(err)
	}
	var all bytes.Buffer
	w := tar.NewWriter(&all)
	put := func(name string, content []byte) {
		if err := w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: int64(len(content)), Mode: 0o600}); err != nil {
			tb.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			tb.Fatal(err)
		}
	}
	put(ManifestFile, text)
	for _, p := range packed {
		put(p.name, []byte(p.name))
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return all.Bytes()
}

func unpackAll(text []byte) (map[string]string, error) {
	files := map[string]*memory{}
	_, err := Unpack(bytes.NewReader(text), func(p Packed) (io.WriteCloser, error) {
		files[p.Name] = new(memory)
		return files[p.Name], nil
	})
	got := map[string]string{}
	for name, m := range files {
		got[name] = m.String()
	}
	return got, err
}

// Whatever is changed in a backup is found, wherever it stands, and a backup that is cut off is none.
func TestUnpack(t *testing.T) {
	t.Parallel()
	whole := aBackup(t, nil)
	files, err := unpackAll(whole)
	if err != nil || len(files) != len(packed) || files[DatabaseFile] != DatabaseFile {
		t.Fatalf("%v, %v", files, err)
	}
	end := bytes.LastIndex(whole, []byte(DatabaseFile)) + len(DatabaseFile) // behind it there is only filling
	for i := range end {
		if _, err := unpackAll(whole[:i]); err == nil {
			t.Errorf("read though it was cut off at %d of %d bytes", i, len(whole))
		}
	}
	for _, test := range []struct {
		name   string
		text   []byte
		reason string
	}{
		{"another format", aBackup(t, func(b *Backup) { b.Format = "a picture" }), "a picture"},
		{"a later version", aBackup(t, func(b *Backup) { b.Version = 2 }), "version 2"},
		{"no records", aBackup(t, func(b *Backup) { b.Size = 0 }), "lacks something"},
		{"no root", aBackup(t, func(b *Backup) { b.Root = "root" }), "names no root"},
		{"a file less", aBackup(t, func(b *Backup) { b.Files = b.Files[:2] }), "lacks something"},
		{"another file", aBackup(t, func(b *Backup) { b.Files[1].Name = "../checkpoint.txt" }), "does not describe checkpoint.txt"},
		{"another size", aBackup(t, func(b *Backup) { b.Files[2].Bytes++ }), "rinsate.db has 10 bytes, and 11 are described"},
		{"another place of a file", bytes.Replace(whole, []byte("ledger.key\x00"), []byte("ledger.kez\x00"), 1), "no whole backup"},
		{"no tar", []byte("PK\x03\x04" + strings.Repeat("x", 2000)), "no whole backup"},
		{"nothing", nil, "ends before backup.json"},
	} {
		_, err := unpackAll(test.text)
		if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), test.reason) {
			t.Errorf("%s: %v, want %q in it", test.name, err, test.reason)
		}
	}
	for _, name := range []string{KeyFile, DatabaseFile} {
		spoilt := bytes.Clone(whole)
		i := bytes.LastIndex(spoilt, []byte(name))
		spoilt[i] ^= 1
		if _, err := unpackAll(spoilt); err == nil || !strings.Contains(err.Error(), "is not what was backed up") {
			t.Errorf("a bit of %s differs: %v", name, err)
		}
	}
}

func FuzzUnpack(f *testing.F) {
	whole := aBackup(f, nil)
	f.Add(whole)
	f.Add(whole[:700])
	f.Add(aBackup(f, func(b *Backup) { b.Files[0].Bytes = -1 }))
	f.Fuzz(func(t *testing.T, text []byte) {
		files, err := unpackAll(text)
		if err != nil {
			return
		}
		if len(files) != len(packed) {
			t.Fatalf("read %d files", len(files))
		}
	})
}
