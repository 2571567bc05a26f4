package sqlite_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/bundle"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// restoreNote puts on record that a copy took the place of the records.
func restoreNote(db *store.DB) error {
	return db.Write(context.Background(), func(tx *store.Tx) error {
		h, err := store.HeadNow(tx)
		if err != nil {
			return err
		}
		d := storetest.Step("", tx.Now)
		d.Type, d.Body = record.Restore, reprocessing.RestoreNote{Told: reprocessing.InPlace, Copied: h.Recorded, At: tx.Now, Size: h.Size, By: "L-01"}
		_, _, err = tx.Append(d)
		return err
	})
}

func finish(db *store.DB, _ bundle.Backup) error { return restoreNote(db) }

// alone fails where anything but the named files lies in a folder: nothing that was half done stays.
func alone(t *testing.T, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(names, " ") {
		t.Errorf("the folder holds %q, want %q", got, names)
	}
}

// Backups are taken while others write. Each is whole, has what was acknowledged before it was begun and nothing half,
// and becomes a data folder that is served like any other.
func TestBackupWhileOthersWrite(t *testing.T) {
	t.Parallel()
	clock := storetest.Ticking(0)
	db := open(t, clock)
	if _, err := db.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	home := db.Home().(sqlite.Folder)
	var written atomic.Int64
	var wg sync.WaitGroup
	stop := make(chan struct{})
	for w := range 3 {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if err := db.Write(context.Background(), func(tx *store.Tx) error {
					_, _, err := tx.Append(storetest.Step(fmt.Sprintf("SC-%02d", w), tx.Now))
					return err
				}); err != nil {
					t.Error(err)
					return
				}
				written.Add(1)
			}
		})
	}
	dir := t.TempDir()
	var sizes []int64
	for i := range 3 {
		to := filepath.Join(dir, fmt.Sprintf("b%d.tar", i))
		before := written.Load() + 1 // and the record of the site
		b, err := home.Backup(t.Context(), to, clock)
		if err != nil {
			t.Fatal(err)
		}
		if b.Size < before || b.Site != testSite.Code {
			t.Errorf("%+v, and %d were written before", b, before)
		}
		sizes = append(sizes, b.Size)
		if info, err := os.Stat(to); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%v, %v", info.Mode(), err)
		}
	}
	close(stop)
	wg.Wait()
	alone(t, dir, "b0.tar", "b1.tar", "b2.tar")
	for i, size := range sizes {
		back := sqlite.Folder(filepath.Join(dir, fmt.Sprintf("back%d", i)))
		b, err := back.Restore(t.Context(), filepath.Join(dir, fmt.Sprintf("b%d.tar", i)), clock, finish)
		if err != nil || b.Size != size {
			t.Fatalf("%+v, %v", b, err)
		}
		storetest.Verify(t, back, size+1)
		restored, err := back.Open(t.Context(), clock)
		if err != nil {
			t.Fatal(err)
		}
		if behind := store.Lacks(restored); behind != nil {
			t.Errorf("restored, and %s", behind)
		}
		storetest.Write(t, restored, storetest.Step("SC-00", restored.Now()))
		if err := restored.Close(); err != nil {
			t.Fatal(err)
		}
		storetest.Verify(t, back, size+2)
	}
}

// A backup overwrites nothing, and one of records that are not whole, or of tables that differ, leaves no file.
func TestBackupRefuses(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name, change string
		want         fault.Code
		words        string
	}{
		{
			"a record that was changed", `UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), 'T-07', 'T-08') AS BLOB) WHERE seq = 2`,
			fault.Broken, "records are not whole",
		},
		{"a table that was changed", `UPDATE event SET at = at + 1`, fault.Broken, "tables do not follow from the records"},
		{"a trigger that is gone", ``, fault.Broken, "tables do not follow from the records"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			clock := storetest.Ticking(0)
			db := open(t, clock)
			storetest.Write(t, db, storetest.Step("SC-00", db.Now()), storetest.Step("SC-01", db.Now()))
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			raw := sqlitetest.Raw(t, db.Home())
			sqlitetest.Unguard(t, raw)
			if test.change != "" {
				if _, err := raw.ExecContext(t.Context(), test.change); err != nil {
					t.Fatal(err)
				}
			}
			dir := t.TempDir()
			_, err := db.Home().(sqlite.Folder).Backup(t.Context(), filepath.Join(dir, "b.tar"), clock)
			if fault.CodeOf(err) != test.want || !strings.Contains(err.Error(), test.words) {
				t.Errorf("%v, want %q with %q", err, test.want, test.words)
			}
			alone(t, dir)
		})
	}
	t.Run("a file that is there", func(t *testing.T) {
		t.Parallel()
		db := open(t, storetest.Ticking(0))
		to := filepath.Join(t.TempDir(), "b.tar")
		if err := os.WriteFile(to, []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := db.Home().(sqlite.Folder).Backup(t.Context(), to, clock)
		if fault.CodeOf(err) != fault.Conflict {
			t.Errorf("%v", err)
		}
		if text, err := os.ReadFile(to); err != nil || string(text) != "mine" {
			t.Errorf("%q, %v", text, err)
		}
	})
}

// What was changed in a backup is found before anything has the name of the data folder; a folder that is there is left
// as it is; and one whose restore cannot be put on record is none.
func TestRestoreRefuses(t *testing.T) {
	t.Parallel()
	clock := storetest.Ticking(0)
	db := open(t, clock)
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()))
	dir := t.TempDir()
	backup := filepath.Join(dir, "b.tar")
	if _, err := db.Home().(sqlite.Folder).Backup(t.Context(), backup, clock); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	spoil := func(change func([]byte) []byte) string {
		path := filepath.Join(dir, "spoilt.tar")
		if err := os.WriteFile(path, change(bytes.Clone(whole)), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	back := sqlite.Folder(filepath.Join(dir, "back"))
	refused := errors.New("nobody may")
	for _, test := range []struct {
		name, from string
		finish     func(*store.DB, bundle.Backup) error
		words      string
	}{
		{"one that is cut off", spoil(func(b []byte) []byte { return b[:len(b)-5000] }), finish, "no whole backup"},
		{"none", filepath.Join(dir, "none.tar"), finish, "cannot be read"},
		{"not on record", backup, func(*store.DB, bundle.Backup) error { return refused }, "nobody may"},
	} {
		if _, err := back.Restore(t.Context(), test.from, clock, test.finish); err == nil || !strings.Contains(err.Error(), test.words) {
			t.Errorf("%s: %v, want %q in it", test.name, err, test.words)
		}
	}
	// A bit anywhere in the database.
	for _, share := range []int{3, 2} {
		from := spoil(func(b []byte) []byte { b[len(b)-len(b)/share] ^= 4; return b })
		if _, err := back.Restore(t.Context(), from, clock, finish); err == nil || !strings.Contains(err.Error(), "is not what was backed up") {
			t.Errorf("a bit differs: %v", err)
		}
	}
	if err := os.Remove(filepath.Join(dir, "spoilt.tar")); err != nil {
		t.Fatal(err)
	}
	alone(t, dir, "b.tar")
	if err := os.Mkdir(back.Dir(), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := back.Restore(t.Context(), backup, clock, finish); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("over a folder: %v", err)
	}
	alone(t, back.Dir())
}

// copyFolder copies a data folder as somebody does by hand.
func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// An older copy of the folder is put back by hand: what lies beside it tells, over any restart, until somebody has
// said so.
func TestOlderFolderPutBack(t *testing.T) {
	t.Parallel()
	clock := storetest.Ticking(0)
	dir := filepath.Join(t.TempDir(), "data")
	home := sqlite.Folder(dir)
	db := storetest.Create(t, home, clock)
	closed := func() {
		t.Helper()
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	reopen := func(want string) {
		t.Helper()
		var err error
		if db, err = home.Open(context.Background(), clock); err != nil {
			t.Fatal(err)
		}
		got := ""
		if b := store.Lacks(db); b != nil {
			got = b.String()
		}
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	closed()
	older := dir + ".older"
	copyFolder(t, dir, older)
	reopen("")
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()), storetest.Step("SC-01", db.Now()))
	closed()
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, older, dir)
	const told = "this computer has seen a larger ledger (3 records) than this copy has (1)"
	for range 2 { // and writing changes nothing of it, even when the copy has grown past what was seen
		reopen(told)
		for i := range 3 {
			storetest.Write(t, db, storetest.Step(fmt.Sprintf("SC-%02d", i), db.Now()))
		}
		closed()
		// From then on the roots tell.
		reopen("this computer has seen another ledger of 3 records than this one was when it had as many")
		closed()
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		copyFolder(t, older, dir)
	}
	reopen(told)
	seen := store.Lacks(db).Seen
	if err := restoreNote(db); err != nil {
		t.Fatal(err)
	}
	if store.Lacks(db) != nil || seen.Size != 3 {
		t.Errorf("said so, and %v", store.Lacks(db))
	}
	closed()
	reopen("")
	closed()

	// The folder with that restore is put back by one without: a line that names a restore which this ledger lacks.
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, older, dir)
	reopen("this computer has seen a larger ledger (2 records) than this copy has (1)")
	closed()
}

// A browser remembers more than there is. It is believed by the seal of its line, and by nothing else.
func TestBrowserHasSeenMore(t *testing.T) {
	t.Parallel()
	clock := storetest.Ticking(0)
	db := open(t, clock)
	line := func(db *store.DB) (line string) {
		storetest.Read(t, db, func(tx *store.Tx) (err error) {
			line, err = store.SeenNow(tx)
			return err
		})
		return line
	}
	dir := filepath.Join(t.TempDir(), "older")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, db.Home().Dir(), dir)
	db, err := db.Home().Open(context.Background(), clock)
	if err != nil {
		t.Fatal(err)
	}
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()))
	newer := line(db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}

	older, err := sqlite.Folder(dir).Open(context.Background(), clock)
	if err != nil {
		t.Fatal(err)
	}
	has := func(line string) *store.Behind {
		t.Helper()
		if err := store.HasSeen(t.Context(), older, line); err != nil {
			t.Fatal(err)
		}
		return store.Lacks(older)
	}
	own := line(older)
	for _, nothing := range []string{"", own, strings.Replace(newer, "h1.2.", "h1.9.", 1), newer[:len(newer)-1], strings.Repeat("x", 5000)} {
		if b := has(nothing); b != nil {
			t.Fatalf("%q: %s", nothing, b)
		}
	}
	trusts := older.Trusts()
	if b := has(newer); b == nil || b.String() != "a browser here has seen a larger ledger (2 records) than this copy has (1)" {
		t.Fatalf("%v", b)
	}
	if older.Trusts() == trusts {
		t.Error("what was answered before still holds")
	}
	if got := line(older); got != "" {
		t.Errorf("a copy gives out %q", got)
	}
	if err := older.Close(); err != nil {
		t.Fatal(err)
	}
	if older, err = sqlite.Folder(dir).Open(context.Background(), clock); err != nil {
		t.Fatal(err)
	}
	if store.Lacks(older) == nil {
		t.Error("forgotten by a restart")
	}
	if err := restoreNote(older); err != nil {
		t.Fatal(err)
	}
	if b := has(newer); b != nil {
		t.Errorf("said so, and %s", b)
	}
	if b := has(line(older)); b != nil {
		t.Errorf("its own line: %s", b)
	}
	if err := older.Close(); err != nil {
		t.Fatal(err)
	}
}

// What a killed program had acknowledged lies in the write-ahead log. Whoever deletes that takes it back, and the next
// start says so.
func TestLogDeletedAfterAKill(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("another process")
	}
	db := open(t, storetest.Ticking(0))
	dir := db.Home().Dir()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	p := act(t, "write", time.Hour, dir)
	for range 10 {
		if _, err := p.stdout.ReadString('\n'); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = p.cmd.Wait() // killed
	for _, name := range []string{"rinsate.db-wal", "rinsate.db-shm"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	home, later := sqlite.Folder(dir), storetest.Ticking(2*time.Hour)
	opened, err := home.Open(context.Background(), later)
	if err != nil { // a checkpoint of more records had been put beside the database already
		if fault.CodeOf(err) != fault.Broken || !strings.Contains(err.Error(), "rinsate restore --in-place") {
			t.Fatal(err)
		}
		if opened, err = home.OpenCopy(context.Background(), later); err != nil {
			t.Fatal(err)
		}
	}
	if b := store.Lacks(opened); b == nil || b.Seen.Size < 11 || b.Own != 1 {
		t.Errorf("%+v", b)
	}
	if err := restoreNote(opened); err != nil {
		t.Fatal(err)
	}
	if err := opened.Close(); err != nil {
		t.Fatal(err)
	}
	opened, err = home.Open(context.Background(), later)
	if err != nil {
		t.Fatal(err)
	}
	if b := store.Lacks(opened); b != nil {
		t.Errorf("said so, and %s", b)
	}
	if err := opened.Close(); err != nil {
		t.Fatal(err)
	}
}

// A file of another name's owner is not written over: the head then lies in the folder.
func TestHeadOfSomebodyElse(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	foreign := []byte("somebody else's notes")
	if err := os.WriteFile(dir+".head", foreign, 0o600); err != nil {
		t.Fatal(err)
	}
	db := storetest.Create(t, sqlite.Folder(dir), storetest.Ticking(0))
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(dir + ".head"); err != nil || !bytes.Equal(text, foreign) {
		t.Errorf("%q, %v", text, err)
	}
	if text, err := os.ReadFile(filepath.Join(dir, "head.txt")); err != nil || !bytes.HasPrefix(text, []byte("h1.1.")) {
		t.Errorf("%q, %v", text, err)
	}
}
