package sqlite_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// lookAt looks at a folder in another process, says how many records it found and whether they are whole, takes a
// backup beside it where it may, and ends.
func lookAt(dir string) {
	err := func() error {
		home := sqlite.Folder(dir)
		db, err := home.Look(context.Background(), storetest.Ticking(time.Hour))
		if err != nil {
			return err
		}
		var size int64
		err = db.Read(context.Background(), func(tx *store.Tx) (err error) {
			size, err = tx.Size()
			return err
		})
		if err != nil {
			return err
		}
		if err := db.Close(); err != nil {
			return err
		}
		v, err := home.Verify(context.Background(), nil, nil)
		if err != nil {
			return err
		}
		_, err = home.Backup(context.Background(), os.Getenv(backupEnv), storetest.Ticking(time.Hour))
		fmt.Println(size, v.Size, len(v.Tables))
		return err
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// backupEnv names the file of the backup that lookAt takes.
const backupEnv = "RINSATE_STORE_TEST_BACKUP"

// Whoever looks sees what others write meanwhile, and can write nothing; nothing that is theirs is touched.
func TestLookBesideAWriter(t *testing.T) {
	t.Parallel()
	db := open(t, storetest.Ticking(0))
	home := db.Home()
	look, err := home.Look(t.Context(), storetest.Ticking(0))
	if err != nil {
		t.Fatal(err)
	}
	size := func() (n int64) {
		t.Helper()
		storetest.Read(t, look, func(tx *store.Tx) (err error) {
			n, err = tx.Size()
			return err
		})
		return n
	}
	if got := size(); got != 1 {
		t.Errorf("%d records", got)
	}
	for i := range 70 { // and a checkpoint is put beside it
		storetest.Write(t, db, storetest.Step(fmt.Sprintf("SC-%02d", i), db.Now()))
		if again, err := home.Look(t.Context(), storetest.Ticking(0)); err != nil {
			t.Fatal(err)
		} else if err := again.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if got := size(); got != 71 {
		t.Errorf("%d records", got)
	}
	if rows := storetest.StateOf(t, look).Rows; !slices.Equal(rows, storetest.StateOf(t, db).Rows) {
		t.Error("it sees other rows")
	}
	err = look.Write(t.Context(), func(*store.Tx) error { t.Error("it writes"); return nil })
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("a write: %v", err)
	}
	note, err := look.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if c, err := home.BeginsWith(t.Context(), note, nil); err != nil || c.Size != 71 {
		t.Errorf("a checkpoint of %d, %v", c.Size, err)
	}
	if err := look.Close(); err != nil {
		t.Fatal(err)
	}
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()))
	storetest.Verify(t, home, 72)
}

// A folder that lacks a ledger, one that an older program wrote and one that a later program wrote are refused and left
// as they are.
func TestLookRefuses(t *testing.T) {
	t.Parallel()
	empty := sqlite.Folder(t.TempDir())
	if _, err := empty.Look(t.Context(), clock); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("an empty folder: %v", err)
	}
	alone(t, empty.Dir())
	for _, test := range []struct{ name, change, words string }{
		{
			"older", `DELETE FROM goose_db_version WHERE version_id = (SELECT max(version_id) FROM goose_db_version)`,
			"start the program that serves these records once",
		},
		{"later", `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`, "knows versions up to"},
		{"of another layout", `PRAGMA user_version = 1`, "made by an earlier build"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			db := open(t, storetest.Ticking(0))
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			change(t, db.Home(), test.change)
			if _, err := db.Home().Look(t.Context(), clock); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), test.words) {
				t.Errorf("%v, want %q in it", err, test.words)
			}
		})
	}
}

// notRead is the word of a refusal of records that SQLite cannot read where it may not write.
const notRead = "copy the whole folder to where you may write"

// A copy that nobody can write to is read, verified and backed up; one whose newest records lie in the log beside the
// database is refused and not read without them.
func TestLookWhereNothingCanBeWritten(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("another process")
	}
	db := open(t, storetest.Ticking(0))
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()))
	base := t.TempDir()
	logged := filepath.Join(base, "logged")
	copyFolder(t, db.Home().Dir(), logged) // as it is now, and its log with it
	if err := os.Remove(filepath.Join(logged, "rinsate.db-shm")); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	whole := filepath.Join(base, "whole")
	copyFolder(t, db.Home().Dir(), whole)
	for _, test := range []struct{ dir, out, words string }{
		{whole, "2 2 0\n", ""},
		{logged, "", notRead},
	} {
		to := filepath.Join(base, filepath.Base(test.dir)+".tar")
		out, said := asNobody(t, base, test.dir, to)
		if out != test.out || !strings.Contains(said, test.words) || test.words == "" && said != "" {
			t.Errorf("%s: %q, and %q; want %q and %q", test.dir, out, said, test.out, test.words)
		}
		if _, err := os.Stat(to); (err == nil) != (test.words == "") {
			t.Errorf("%s: a backup: %v", test.dir, err)
		}
	}
}

// change runs a statement on the database of a folder that nobody has open.
func change(t *testing.T, home store.Home, text string) {
	t.Helper()
	raw := sqlitetest.Raw(t, home)
	sqlitetest.Unguard(t, raw)
	if _, err := raw.ExecContext(t.Context(), text); err != nil {
		t.Fatal(err)
	}
}
