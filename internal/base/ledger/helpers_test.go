package ledger_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"testing/fstest"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

const origin = "ledger.example.org/site-a"

// seed is a fixed key for tests.
var seed = bytes.Repeat([]byte{7}, 32)

// start is 2026-11-25T08:00:00Z.
const start unit.Instant = 1795593600_000000

func signer(tb testing.TB) ledger.Signer {
	tb.Helper()
	s, err := ledger.NewSigner(origin, seed)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// record returns the n-th record of an invented site, the same on every run.
func record(n int64) ledger.Record {
	random := rand.NewChaCha8([32]byte{byte(n), byte(n >> 8), byte(n >> 16)})
	now := start + unit.Instant(n)*1_000_000
	r := ledger.Record{
		V: 1, Seq: n, Type: "reading", ID: ledger.NewID(now, random), Site: "site-a",
		At: now - 500_000, Recorded: now, By: "u-17", Device: "LUM-3",
		Body: json.RawMessage(fmt.Sprintf(`{"point":"biopsy channel","rlu":%d,"scope":"SCP-0042","lot":"L7"}`, n%400)),
	}
	if n%3 == 2 {
		r.Because = []ledger.ID{ledger.DerivedID("row", fmt.Sprint(n-1))}
	}
	if n%5 == 4 {
		r.Corrects, r.Reason, r.Type = ledger.DerivedID("row", fmt.Sprint(n-2)), "wrong \"point\" picked,\nsaid u-17", "correction"
	}
	return r
}

// A log is what a store keeps.
type log struct {
	rows  []ledger.Row
	roots []tlog.Hash // by size
	tree  ledger.Frontier
}

func newLog(tb testing.TB, size int) *log {
	tb.Helper()
	l := &log{}
	l.roots = append(l.roots, l.tree.Root())
	for n := range int64(size) {
		b, err := ledger.Encode(record(n))
		if err != nil {
			tb.Fatal(err)
		}
		l.add(b)
	}
	return l
}

func (l *log) add(b []byte) {
	l.rows = append(l.rows, ledger.Row{Seq: int64(len(l.rows)), Record: b, Hashes: ledger.JoinHashes(l.tree.Append(b))})
	l.roots = append(l.roots, l.tree.Root())
}

func (l *log) reader() tlog.HashReader {
	return ledger.HashReader(func(seqs []int64) ([][]byte, error) {
		var blobs [][]byte
		for _, seq := range seqs {
			if seq >= int64(len(l.rows)) {
				return nil, fmt.Errorf("no row %d", seq)
			}
			blobs = append(blobs, l.rows[seq].Hashes)
		}
		return blobs, nil
	})
}

func (l *log) checkpoint(size int) ledger.Checkpoint {
	return ledger.Checkpoint{Origin: origin, Size: int64(size), Root: l.roots[size]}
}

func (l *log) signed(tb testing.TB, size int) []byte {
	tb.Helper()
	b, err := signer(tb).Sign(l.checkpoint(size))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

func (l *log) records(size int) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		for _, row := range l.rows[:size] {
			if !yield(row.Record, nil) {
				return
			}
		}
	}
}

func (l *log) export(tb testing.TB, size int) fstest.MapFS {
	tb.Helper()
	files := fstest.MapFS{}
	if err := ledger.Export(sinkInto(files), l.signed(tb, size), []string{signer(tb).VKey()}, l.records(size)); err != nil {
		tb.Fatal(err)
	}
	return files
}

// verify feeds all rows and compares with a head and checkpoints of the untouched log.
func verify(rows []ledger.Row, head ledger.Checkpoint, checkpoints ...ledger.Checkpoint) error {
	v := ledger.NewVerifier(checkpoints...)
	for _, row := range rows {
		if err := v.FeedAll([]ledger.Row{row}); err != nil {
			return err
		}
	}
	return v.Finish(head.Size, head.Root)
}

// firstBad returns the record that err blames, -2 when err is no fault.
func firstBad(err error) int64 {
	var bad *ledger.FaultError
	if !errors.As(err, &bad) {
		return -2
	}
	return bad.Seq
}

func load(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func cloneRows(rows []ledger.Row) []ledger.Row {
	rows = slices.Clone(rows)
	for i := range rows {
		rows[i].Record, rows[i].Hashes = slices.Clone(rows[i].Record), slices.Clone(rows[i].Hashes)
	}
	return rows
}

func cloneFiles(files fstest.MapFS) fstest.MapFS {
	c := fstest.MapFS{}
	for name, f := range files {
		c[name] = &fstest.MapFile{Data: slices.Clone(f.Data)}
	}
	return c
}

func sinkInto(files fstest.MapFS) func(string, []byte) error {
	return func(path string, data []byte) error {
		if !fs.ValidPath(path) {
			return fmt.Errorf("path %q", path)
		}
		files[path] = &fstest.MapFile{Data: slices.Clone(data)}
		return nil
	}
}
