package storetest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// appendOnly tries every way of changing what must never change, through a second connection that
// knows nothing of package store.
func appendOnly(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	Write(t, db, Step("SC-00", clock.At()), Step("SC-01", clock.At()), Attachment(t, "SC-00", clock.At(), "%PDF-1.7"))
	if _, err := db.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	raw := Raw(t, db.Dir())
	tests := []struct{ name, text string }{
		{"record update", `UPDATE record SET bytes = x'00' WHERE seq = 1`},
		{"record update of the place", `UPDATE record SET seq = 9 WHERE seq = 1`},
		{"record update or replace", `UPDATE OR REPLACE record SET seq = 2 WHERE seq = 1`},
		{"record delete", `DELETE FROM record WHERE seq = 1`},
		{"record delete all", `DELETE FROM record`},
		{"record insert or replace", `INSERT OR REPLACE INTO record SELECT site, seq, id, x'00', hashes FROM record WHERE seq = 1`},
		{"record replace under its id", `REPLACE INTO record SELECT site, seq + 10, id, x'00', hashes FROM record WHERE seq = 1`},
		{"record upsert", `INSERT INTO record SELECT site, seq, id, bytes, hashes FROM record WHERE seq = 1 ON CONFLICT (site, seq) DO UPDATE SET bytes = x'00'`},
		{"checkpoint update", `UPDATE checkpoint SET note = ''`},
		{"checkpoint delete", `DELETE FROM checkpoint`},
		{"checkpoint insert or replace", `INSERT OR REPLACE INTO checkpoint SELECT site, size, '', at FROM checkpoint`},
		{"checkpoint upsert", `INSERT INTO checkpoint SELECT site, size, '', at FROM checkpoint WHERE true ON CONFLICT (site, size) DO UPDATE SET note = ''`},
		{"site update", `UPDATE site SET vkey = ''`},
		{"site delete", `DELETE FROM site`},
		{"site insert or replace", `INSERT OR REPLACE INTO site SELECT site, name, zone, origin, '' FROM site`},
		{"content update", `UPDATE content SET bytes = x'00'`},
		{"content update of the hash", `UPDATE content SET hash = '00'`},
		{"content delete", `DELETE FROM content`},
		{"content insert or replace", `INSERT OR REPLACE INTO content SELECT site, hash, x'00' FROM content`},
		{"content upsert", `INSERT INTO content SELECT site, hash, x'00' FROM content WHERE true ON CONFLICT (site, hash) DO UPDATE SET bytes = x'00'`},
		{"text update", `UPDATE text SET value = x'00'`},
		{"text update to nothing", `UPDATE text SET salt = zeroblob(length(salt)), value = zeroblob(length(value))`},
		{"text update of the place", `UPDATE text SET seq = seq + 1`},
		{"text delete", `DELETE FROM text`},
		{"text insert or replace", `INSERT OR REPLACE INTO text SELECT place, site, seq, field, x'00', x'00' FROM text`},
		{"text upsert", `INSERT INTO text SELECT place, site, seq, field, x'00', x'00' FROM text WHERE true ON CONFLICT (site, seq, field) DO UPDATE SET value = x'00'`},
		{"head back", `UPDATE head SET size = size - 1`},
		{"head with another root", `UPDATE head SET root = x'00'`},
		{"head of another site", `UPDATE head SET site = 'other'`},
		{"head delete", `DELETE FROM head`},
		{"head insert or replace", `INSERT OR REPLACE INTO head SELECT site, 0, root, 0, 0 FROM head`},
	}
	before := StateOf(t, db)
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := raw.ExecContext(t.Context(), test.text)
			refused, ok := errors.AsType[*sqlite.Error](err)
			if !ok || refused.Code() != lib.SQLITE_CONSTRAINT_TRIGGER {
				t.Errorf("%s: got %v, want the refusal of a trigger", test.text, err)
			}
		})
	}
	Verify(t, db.Dir(), before.Size)
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something changed:\n%s", diff)
	}
	Write(t, db, Step("SC-00", clock.At()))
	// A person can be erased without a trace in the ledger.
	if err := db.Write(context.Background(), func(tx *store.Tx) error { return tx.SavePatient("c", []byte("salt"), "patient 1") }); err != nil {
		t.Fatal(err)
	}
	if _, err := raw.ExecContext(t.Context(), `DELETE FROM patient`); err != nil {
		t.Errorf("erasing a person: %v", err)
	}
	Verify(t, db.Dir(), before.Size+1)
}

// sizes reads for how many records checkpoints are signed.
func sizes(t *testing.T, db *store.DB) (all []int64) {
	t.Helper()
	rows, err := Raw(t, db.Dir()).QueryContext(t.Context(), `SELECT size FROM checkpoint ORDER BY size`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var n int64
		if err := rows.Scan(&n); err != nil {
			t.Fatal(err)
		}
		all = append(all, n)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

func checkpoints(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	if got := sizes(t, db); !cmp.Equal(got, []int64{1}) {
		t.Fatalf("at the beginning: %v, want the first record signed at once", got)
	}
	for range 63 {
		Write(t, db, Step("SC-00", clock.At()))
	}
	if got := sizes(t, db); len(got) != 1 {
		t.Errorf("63 records later: %v, want no further one", got)
	}
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, db); !cmp.Equal(got, []int64{1, 65}) {
		t.Errorf("64 records later: %v, want one for 65", got)
	}
	clock.Move(10*time.Minute - time.Second)
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, db); len(got) != 2 {
		t.Errorf("just under 10 min later: %v, want no further one", got)
	}
	clock.Move(time.Second)
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, db); !cmp.Equal(got, []int64{1, 65, 67}) {
		t.Errorf("10 min later: %v, want one for 67", got)
	}
	note, err := db.Checkpoint(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	again, err := db.Checkpoint(context.Background())
	if err != nil || string(note) != string(again) {
		t.Errorf("asked twice for the same head: %v\n%s\n%s", err, note, again)
	}
	Write(t, db, Step("SC-00", clock.At()))
	note, err = db.Checkpoint(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	c, err := ledger.Open(note, []string{db.Site().VKey})
	if err != nil || c.Size != 68 || c.Origin != db.Site().Origin {
		t.Errorf("asked for: %+v, %v; want 68 records", c, err)
	}
	outside := filepath.Join(db.Dir(), "checkpoint.txt")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(outside); err != nil || string(got) != string(note) {
		t.Errorf("beside the closed database: %v\n%s\nwant\n%s", err, got, note)
	}
	Verify(t, db.Dir(), 68)
}

func exportAndProof(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	ctx := context.Background()
	older, err := db.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	Everything(t, db, clock)
	if err := db.Write(ctx, func(tx *store.Tx) error { return tx.SavePatient("c", []byte("salt"), "patient-4711") }); err != nil {
		t.Fatal(err)
	}
	drafts := make([]store.Draft, 300) // more than one tile
	for i := range drafts {
		drafts[i] = Step(scopeName(i%7), clock.At())
	}
	records := Write(t, db, drafts...)
	folder := filepath.Join(t.TempDir(), "export")
	size, err := db.Export(ctx, folder)
	if err != nil {
		t.Fatal(err)
	}
	vkeys := []string{db.Site().VKey}
	report, err := ledger.VerifyExport(os.DirFS(folder), vkeys, older)
	if err != nil || report.Size != size || report.Verified != size || report.Site != db.Site().Code || size != StateOf(t, db).Size {
		t.Errorf("export of %d records: %+v, %v", size, report, err)
	}
	if vkey, err := os.ReadFile(filepath.Join(folder, "vkey")); err != nil || strings.TrimSpace(string(vkey)) != vkeys[0] {
		t.Errorf("vkey: %q, %v", vkey, err)
	}
	err = filepath.WalkDir(folder, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if strings.Contains(string(data), "patient-4711") {
			t.Errorf("%s names a patient", path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Export(ctx, folder)
	wantCode(t, "export into a folder that is not empty", err, fault.Conflict)

	for _, r := range []ledger.Record{records[0], records[255], records[299]} {
		proof, raw, err := db.Prove(ctx, r.ID)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ledger.VerifyProof(proof.Text(), raw, vkeys); err != nil {
			t.Errorf("proof of record %d: %v", r.Seq, err)
		}
		raw[len(raw)/2] ^= 1
		if _, err := ledger.VerifyProof(proof.Text(), raw, vkeys); err == nil {
			t.Errorf("the proof of record %d also proves another one", r.Seq)
		}
	}
	_, _, err = db.Prove(ctx, ledger.DerivedID("nothing"))
	wantCode(t, "proof of what is not there", err, fault.NotFound)
}

// noted is a step with a note, as a record to append.
func noted(clock *Clock, note string) store.Draft {
	d := Step("SC-00", clock.At())
	step := d.Body.(turnaround.Step)
	step.Note = note
	d.Body = step
	return d
}

// erases is a record that erases a text of another.
func erases(clock *Clock, id ledger.ID, field string) store.Draft {
	return store.Draft{
		Type: record.Erasure, ID: ledger.NewID(clock.At(), rand.Reader), At: clock.At(), By: "L-01",
		Body: record.ErasureBody{Texts: []record.FreeText{{Record: id, Field: field}}, Why: record.NamesPatient},
	}
}

// noteOf reads the note of a step back.
func noteOf(tb testing.TB, db *store.DB, id ledger.ID) (note string) {
	tb.Helper()
	Read(tb, db, func(tx *store.Tx) error {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		step, err := record.Body[turnaround.Step](kept.Record)
		note = step.Note
		return err
	})
	return note
}

// inFiles says whether a text stands in any file of a folder.
func inFiles(tb testing.TB, dir, text string) (names []string) {
	tb.Helper()
	err := filepath.WalkDir(dir, func(name string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(name)
		if strings.Contains(string(data), text) {
			names = append(names, e.Name())
		}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return names
}

// textsKept writes texts of all shapes and reads back what was written, from the cache and without it.
func textsKept(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	written := map[ledger.ID]string{}
	rapid.Check(t, func(rt *rapid.T) {
		note := rapid.StringOfN(rapid.RuneFrom([]rune("aZ09 <>&'\"\\/{}äß€𝄞\n\t,:")), 0, 60, -1).Draw(rt, "note")
		if rapid.Bool().Draw(rt, "looks like a commitment") {
			note = ledger.CommitText(make([]byte, ledger.TextSaltSize), note)
		}
		d := noted(clock, note)
		records, err := tryWrite(db, d)
		if err != nil {
			rt.Fatal(err)
		}
		if step, err := record.Body[turnaround.Step](records[0]); err != nil || step.Note != note {
			rt.Fatalf("appended %q, got %q, %v", note, step.Note, err)
		}
		written[d.ID] = note
		for range 2 {
			if got := noteOf(t, db, d.ID); got != note {
				rt.Fatalf("wrote %q, read %q", note, got)
			}
		}
		if again, err := tryWrite(db, d); err != nil || again[0].Seq != records[0].Seq {
			rt.Fatalf("sent again: %v", err)
		}
		other := noted(clock, note+"x")
		other.ID = d.ID
		if _, err := tryWrite(db, other); fault.CodeOf(err) != fault.Conflict {
			rt.Fatalf("sent again with another note: %v", err)
		}
	})
	size := StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Rebuild(context.Background(), db.Dir(), nil); err != nil {
		t.Fatal(err)
	}
	Verify(t, db.Dir(), size)
	again, err := store.Open(context.Background(), db.Dir(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close() //nolint:errcheck // it only reads
	for id, note := range written {
		if got := noteOf(t, again, id); got != note {
			t.Errorf("after a rebuild: wrote %q, read %q", note, got)
		}
	}
	d := noted(clock, "in the name of the scope")
	d.Device = ledger.CommitText(make([]byte, ledger.TextSaltSize), "x")
	_, err = tryWrite(again, d)
	wantCode(t, "what looks like a commitment and is none", err, fault.Invalid)
}

// textsErased erases texts and looks for them in every file of the folder, while others still read, after a
// rebuild and after the end.
func textsErased(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	const secret = "Jane Q. Example, room 12"
	var drafts []store.Draft
	for i := range 400 {
		drafts = append(drafts, noted(clock, fmt.Sprintf("%s, number %03d of all", secret, i)))
	}
	Write(t, db, drafts...)
	long := noted(clock, secret+strings.Repeat(" and on", 250)) // longer than a quarter of a page
	Write(t, db, long)
	for i := range 50 {
		if i%2 == 0 {
			Write(t, db, noted(clock, fmt.Sprintf("%s, later %03d of all", secret, i)))
		}
		Write(t, db, erases(clock, drafts[i*8].ID, "body.note"))
		text := fmt.Sprintf("%s, number %03d of all", secret, i*8)
		if found := inFiles(t, db.Dir(), text); found != nil {
			t.Fatalf("%q is still in %v", text, found)
		}
		if got := noteOf(t, db, drafts[i*8].ID); got != record.ErasedText {
			t.Fatalf("an erased text reads as %q", got)
		}
	}
	Write(t, db, erases(clock, long.ID, "body.note"))
	if found := inFiles(t, db.Dir(), "and on and on"); found != nil {
		t.Errorf("the long text is still in %v", found)
	}
	if got := noteOf(t, db, drafts[1].ID); got != secret+", number 001 of all" {
		t.Errorf("another text reads as %q", got)
	}
	if inFiles(t, db.Dir(), "number 001 of all") == nil {
		t.Error("a text that was not erased is in no file: this test sees nothing")
	}
	// Sent again it is the same record, as far as that can be told, and brings nothing back.
	if _, err := tryWrite(db, drafts[0]); err != nil {
		t.Errorf("an erased record sent again: %v", err)
	}
	_, err := tryWrite(db, erases(clock, drafts[0].ID, "body.note"))
	wantCode(t, "erased twice", err, fault.NotFound)
	_, err = tryWrite(db, erases(clock, drafts[1].ID, "body.kind"))
	wantCode(t, "no free text", err, fault.NotFound)
	state := StateOf(t, db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Rebuild(context.Background(), db.Dir(), nil); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"number 000 of all", "and on and on"} {
		if found := inFiles(t, db.Dir(), text); found != nil {
			t.Errorf("after the end and a rebuild %q is in %v", text, found)
		}
	}
	v, err := store.Verify(context.Background(), db.Dir(), nil, nil)
	if err != nil || v.Size != state.Size || v.Texts != (store.Texts{Whole: 375, Erased: 51}) {
		t.Errorf("verified %+v, %v", v, err)
	}
}

// textsReadMeanwhile erases a text while somebody reads a state of before.
func textsReadMeanwhile(t *testing.T, open Opener) {
	t.Helper()
	clock := NewClock()
	db := open(t, clock.Now)
	d := noted(clock, "Jane Q. Example")
	Write(t, db, d)
	// Taken back, an erasure erases nothing.
	sorry := errors.New("sorry")
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		if _, _, err := tx.Append(erases(clock, d.ID, "body.note")); err != nil {
			return err
		}
		kept, err := tx.Record(d.ID)
		if err != nil || !strings.Contains(string(kept.Body), record.ErasedText) {
			t.Errorf("within the transaction: %s, %v", kept.Body, err)
		}
		return sorry
	})
	if !errors.Is(err, sorry) {
		t.Fatal(err)
	}
	if got := noteOf(t, db, d.ID); got != "Jane Q. Example" {
		t.Errorf("an erasure that was taken back leaves %q", got)
	}
	began, erased := make(chan struct{}), make(chan struct{})
	done := make(chan error)
	go func() {
		done <- db.Read(context.Background(), func(tx *store.Tx) error {
			if _, err := tx.Size(); err != nil { // from here on it sees the state of now
				return err
			}
			close(began)
			<-erased
			_, err := tx.Record(d.ID) // which may still show it, and must not keep it for others
			return err
		})
	}()
	<-began
	if err := db.Write(context.Background(), func(tx *store.Tx) error {
		_, _, err := tx.Append(erases(clock, d.ID, "body.note"))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	// A crash now leaves a log with the text in it; whoever opens the folder next overwrites that.
	crashed := t.TempDir()
	if err := os.CopyFS(crashed, os.DirFS(db.Dir())); err != nil {
		t.Fatal(err)
	}
	if inFiles(t, crashed, "Jane Q. Example") == nil {
		t.Error("the reader keeps nothing from being scrubbed: this test sees nothing")
	}
	opened, err := store.Open(context.Background(), crashed, clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if found := inFiles(t, crashed, "Jane Q. Example"); found != nil {
		t.Errorf("after a crash still in %v", found)
	}
	if err := opened.Close(); err != nil {
		t.Error(err)
	}
	close(erased)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if got := noteOf(t, db, d.ID); got != record.ErasedText {
		t.Errorf("read later: %q", got)
	}
	clock.Move(time.Minute)
	Write(t, db, Step("SC-01", clock.At())) // the next write scrubs what the reader held
	if found := inFiles(t, db.Dir(), "Jane Q. Example"); found != nil {
		t.Errorf("still in %v", found)
	}
}
