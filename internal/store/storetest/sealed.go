package storetest

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/store"
)

// appendOnly tries every way of changing what must never change, through a second connection that
// knows nothing of package store.
func appendOnly(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Write(t, db, Step("SC-00", clock.At()), Step("SC-01", clock.At()), Attachment(t, "SC-00", clock.At(), "%PDF-1.7"))
	if _, err := db.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	raw := e.Raw(t, db.Home())
	tests := []Attack{
		{"record update", `UPDATE record SET bytes = $1 WHERE seq = 1`},
		{"record update of the place", `UPDATE record SET seq = 9 WHERE seq = 1`},
		{"record delete", `DELETE FROM record WHERE seq = 1`},
		{"record delete all", `DELETE FROM record`},
		{"record upsert", `INSERT INTO record SELECT site, seq, id, bytes, hashes FROM record WHERE seq = 1 ON CONFLICT (site, seq) DO UPDATE SET bytes = $1`},
		{"checkpoint update", `UPDATE checkpoint SET note = ''`},
		{"checkpoint delete", `DELETE FROM checkpoint`},
		{"checkpoint upsert", `INSERT INTO checkpoint SELECT site, size, '', at FROM checkpoint WHERE true ON CONFLICT (site, size) DO UPDATE SET note = ''`},
		{"site update", `UPDATE site SET vkey = ''`},
		{"site delete", `DELETE FROM site`},
		{"content update", `UPDATE content SET bytes = $1`},
		{"content update of the hash", `UPDATE content SET hash = '00'`},
		{"content delete", `DELETE FROM content`},
		{"content upsert", `INSERT INTO content SELECT site, hash, $1 FROM content WHERE true ON CONFLICT (site, hash) DO UPDATE SET bytes = $1`},
		{"text update", `UPDATE text SET value = $1`},
		{"text update of the place", `UPDATE text SET seq = seq + 1`},
		{"text delete", `DELETE FROM text`},
		{"text upsert", `INSERT INTO text SELECT place, site, seq, field, $1, $1 FROM text WHERE true ON CONFLICT (site, seq, field) DO UPDATE SET value = $1`},
		{"head back", `UPDATE head SET size = size - 1`},
		{"head with another root", `UPDATE head SET root = $1`},
		{"head of another site", `UPDATE head SET site = 'other'`},
		{"head delete", `DELETE FROM head`},
	}
	before := StateOf(t, db)
	for _, test := range slices.Concat(tests, e.Attacks) {
		t.Run(test.Name, func(t *testing.T) {
			var args []any
			if strings.Contains(test.Text, "$1") {
				args = []any{[]byte{0}}
			}
			if _, err := raw.ExecContext(t.Context(), test.Text, args...); !e.Guarded(err) {
				t.Errorf("%s: got %v, want the refusal of a trigger", test.Text, err)
			}
		})
	}
	Verify(t, db.Home(), before.Size)
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something changed:\n%s", diff)
	}
	Write(t, db, Step("SC-00", clock.At()))
	// A person can be erased without a trace in the ledger.
	if err := db.Write(context.Background(), func(tx *store.Tx) error { return only(store.PatientsOf(tx).Save("patient 1")) }); err != nil {
		t.Fatal(err)
	}
	if _, err := raw.ExecContext(t.Context(), `DELETE FROM patient_number`); err != nil {
		t.Errorf("erasing a person: %v", err)
	}
	Verify(t, db.Home(), before.Size+1)
}

// sizes reads for how many records checkpoints are signed.
func sizes(t *testing.T, e Engine, db *store.DB) (all []int64) {
	t.Helper()
	rows, err := e.Raw(t, db.Home()).QueryContext(t.Context(), `SELECT size FROM checkpoint ORDER BY size`)
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

func checkpoints(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	if got := sizes(t, e, db); !cmp.Equal(got, []int64{1}) {
		t.Fatalf("at the beginning: %v, want the first record signed at once", got)
	}
	for range 63 {
		Write(t, db, Step("SC-00", clock.At()))
	}
	if got := sizes(t, e, db); len(got) != 1 {
		t.Errorf("63 records later: %v, want no further one", got)
	}
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, e, db); !cmp.Equal(got, []int64{1, 65}) {
		t.Errorf("64 records later: %v, want one for 65", got)
	}
	clock.Move(10*time.Minute - time.Second)
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, e, db); len(got) != 2 {
		t.Errorf("just under 10 min later: %v, want no further one", got)
	}
	clock.Move(time.Second)
	Write(t, db, Step("SC-00", clock.At()))
	if got := sizes(t, e, db); !cmp.Equal(got, []int64{1, 65, 67}) {
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
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if got := e.Outside(t, db.Home()); string(got) != string(note) {
		t.Errorf("outside of the closed database:\n%s\nwant\n%s", got, note)
	}
	Verify(t, db.Home(), 68)
}

func exportAndProof(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	ctx := context.Background()
	older, err := db.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	Everything(t, db, clock)
	if err := db.Write(ctx, func(tx *store.Tx) error { return only(store.PatientsOf(tx).Save("patient-2063")) }); err != nil {
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
		if strings.Contains(string(data), "patient-2063") {
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

func only[T any](_ T, err error) error { return err }
