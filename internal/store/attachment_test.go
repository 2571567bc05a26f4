package store_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

func digestOf(content string) string {
	sum := sha256.Sum256([]byte(content))
	return hex.EncodeToString(sum[:])
}

// contentCount reads how many files are kept.
func contentCount(t *testing.T, dir string) (n int) {
	t.Helper()
	if err := storetest.Raw(t, dir).QueryRowContext(t.Context(), `SELECT count(*) FROM content`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestContentRoundTrip(t *testing.T) {
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	kept := map[string]bool{}
	rapid.Check(t, func(rt *rapid.T) {
		content := rapid.SliceOfN(rapid.Byte(), 1, 70_000).Draw(rt, "content")
		draft := storetest.Attachment(t, "SC-00", clock.At(), string(content))
		storetest.Write(t, db, draft)
		kept[digestOf(string(content))] = true
		storetest.Read(t, db, func(tx *store.Tx) error {
			got, err := tx.Content(digestOf(string(content)))
			if !bytes.Equal(got, content) {
				rt.Errorf("%d bytes came back of %d", len(got), len(content))
			}
			return err
		})
		storetest.Write(t, db, draft) // sent again
	})
	if got := contentCount(t, db.Dir()); got != len(kept) {
		t.Errorf("%d files are kept, want %d", got, len(kept))
	}
	v, err := store.Verify(context.Background(), db.Dir(), nil, nil)
	if err != nil || v.Files != len(kept) {
		t.Errorf("verified: %+v, %v; want %d files", v, err, len(kept))
	}
}

// A record and its file are stored together, or neither is.
func TestContentRefusals(t *testing.T) {
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	at := clock.At()
	step := storetest.Step("SC-00", at)
	step.Content = []byte("x")
	without := storetest.Attachment(t, "SC-00", at, "%PDF-1.7")
	without.Content = nil
	other := storetest.Attachment(t, "SC-00", at, "%PDF-1.7")
	other.Content = []byte("%PDF-1.6")
	size := storetest.Attachment(t, "SC-00", at, "%PDF-1.7")
	body := size.Body.(dossier.Attachment)
	body.Size++
	size.Body = body
	replaced := storetest.Attachment(t, "SC-00", at, "%PDF-1.7 replaced")
	replaced.Corrects, replaced.Reason = ledger.DerivedID("nothing"), "r"
	for _, test := range []struct {
		name  string
		draft store.Draft
		code  fault.Code
		want  string
	}{
		{"a file with a step", step, "", "a step record attaches no file"},
		{"no file", without, fault.Invalid, "the 0 bytes are not the file that the attachment record names"},
		{"another file", other, fault.Invalid, "the 8 bytes are not the file"},
		{"another size", size, fault.Invalid, "the 8 bytes are not the file"},
		{"a record that may not be written", replaced, fault.NotFound, "there is no record"},
	} {
		t.Run(test.name, func(t *testing.T) {
			err := db.Write(context.Background(), func(tx *store.Tx) error {
				_, _, err := tx.Append(test.draft)
				if err == nil {
					t.Error("it was not refused")
				} else if fault.CodeOf(err) != test.code || !strings.Contains(err.Error(), test.want) {
					t.Errorf("got %q %v, want %q %q", fault.CodeOf(err), err, test.code, test.want)
				}
				_, _, err = tx.Append(storetest.Step("SC-00", at)) // whoever goes on takes nothing of it along
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	gone := errors.New("gone")
	if err := db.Write(context.Background(), func(tx *store.Tx) error {
		_, _, err := tx.Append(storetest.Attachment(t, "SC-00", at, "%PDF-1.7 taken back"))
		return errors.Join(err, gone)
	}); !errors.Is(err, gone) {
		t.Error(err)
	}
	if got := contentCount(t, db.Dir()); got != 0 {
		t.Errorf("%d files are kept, want none", got)
	}
}

// TestContentTampering changes the files past the program; verification names the first record that
// attaches the one that is not what it was.
func TestContentTampering(t *testing.T) {
	const first, second = "%PDF-1.7 first", "%PDF-1.7 second"
	changed := "the file that record 4 attaches was changed (SHA-256 " + digestOf(second) + ", now "
	missing := "the file that record 4 attaches is missing (SHA-256 " + digestOf(second) + ")"
	for _, test := range []struct {
		name, text string
		reading    fault.Code
		problem    string
	}{
		{"a byte changed", `UPDATE content SET bytes = CAST('%PDF-1.7 secOnd' AS BLOB) WHERE hash = $1`, fault.Broken, changed + digestOf("%PDF-1.7 secOnd")},
		{"cut short", `UPDATE content SET bytes = x'' WHERE hash = $1`, fault.Broken, changed + digestOf("")},
		{"removed", `DELETE FROM content WHERE hash = $1`, fault.NotFound, missing},
		{"of another site", `UPDATE content SET site = 'S9' WHERE hash = $1`, fault.NotFound, missing},
		{"the other file in its place", `UPDATE content SET bytes = (SELECT bytes FROM content WHERE hash <> $1) WHERE hash = $1`, fault.Broken, changed + digestOf(first)},
	} {
		t.Run(test.name, func(t *testing.T) {
			clock := storetest.NewClock()
			db := open(t, clock.Now)
			attach := func(content string) ledger.Record {
				return storetest.Write(t, db, storetest.Attachment(t, "SC-00", clock.At(), content))[0]
			}
			attach(first)
			attach(first)
			storetest.Write(t, db, storetest.Step("SC-00", clock.At()))
			voided := attach(second)
			attach(second)
			// A voided attachment keeps its file.
			void := storetest.Step("SC-00", clock.At())
			void.Type, void.Corrects, void.Reason, void.Body = record.Void, voided.ID, "wrong scope", record.VoidBody{Scope: "SC-00"}
			storetest.Write(t, db, void)
			if v, err := store.Verify(context.Background(), db.Dir(), nil, nil); err != nil || v.Files != 2 {
				t.Fatalf("before: %+v, %v", v, err)
			}
			raw := storetest.Raw(t, db.Dir())
			for _, name := range []string{"content_no_update", "content_no_delete"} {
				if _, err := raw.ExecContext(t.Context(), `DROP TRIGGER `+name); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := raw.ExecContext(t.Context(), test.text, digestOf(second)); err != nil {
				t.Fatal(err)
			}
			_, err := store.Verify(context.Background(), db.Dir(), nil, nil)
			flaw, ok := errors.AsType[*ledger.FaultError](err)
			if !ok || flaw.Seq != 4 || !strings.HasPrefix(flaw.Problem, test.problem) {
				t.Errorf("verified: %v, want record 4: %s", err, test.problem)
			}
			storetest.Read(t, db, func(tx *store.Tx) error {
				if _, err := tx.Content(digestOf(second)); fault.CodeOf(err) != test.reading {
					t.Errorf("read: %v, want %s", err, test.reading)
				}
				_, err := tx.Content(digestOf(first))
				return err
			})
			// Attaching the file again heals what is missing and never covers up what was changed.
			size := storetest.StateOf(t, db).Size
			err = db.Write(context.Background(), func(tx *store.Tx) error {
				_, _, err := tx.Append(storetest.Attachment(t, "SC-00", clock.At(), second))
				return err
			})
			if test.reading == fault.NotFound {
				if err != nil {
					t.Fatal(err)
				}
				storetest.Verify(t, db.Dir(), size+1)
				return
			}
			if fault.CodeOf(err) != fault.Broken || storetest.StateOf(t, db).Size != size {
				t.Errorf("attached again: %v", err)
			}
		})
	}
}
