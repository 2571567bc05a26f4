package sqlite_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

func digestOf(content string) string {
	sum := sha256.Sum256([]byte(content))
	return hex.EncodeToString(sum[:])
}

// TestContentTampering changes the files past the program; verification names the first record that
// attaches the one that is not what it was.
func TestContentTampering(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
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
		{"the other file in its place", `UPDATE content SET bytes = (SELECT bytes FROM content WHERE hash <> $1) WHERE hash = $1`, fault.Broken, changed +
			digestOf(first)},
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
			if v, err := db.Home().Verify(context.Background(), nil, nil); err != nil || v.Files != 2 {
				t.Fatalf("before: %+v, %v", v, err)
			}
			raw := sqlitetest.Raw(t, db.Home())
			for _, name := range []string{"content_no_update", "content_no_delete"} {
				if _, err := raw.ExecContext(t.Context(), `DROP TRIGGER `+name); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := raw.ExecContext(t.Context(), test.text, digestOf(second)); err != nil {
				t.Fatal(err)
			}
			_, err := db.Home().Verify(context.Background(), nil, nil)
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
				storetest.Verify(t, db.Home(), size+1)
				return
			}
			if fault.CodeOf(err) != fault.Broken || storetest.StateOf(t, db).Size != size {
				t.Errorf("attached again: %v", err)
			}
		})
	}
}
