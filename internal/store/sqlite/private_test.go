//go:build !windows

package sqlite_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"

	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// Nobody but its owner reads a data folder, whatever the umask, and one that others could read is mended by the next
// start. A folder that is shared with other files keeps its own rights.
func TestOnlyTheOwnerReads(t *testing.T) { // not parallel: the umask is the process's
	defer syscall.Umask(syscall.Umask(0))
	dir := filepath.Join(t.TempDir(), "data")
	home := sqlite.Folder(dir)
	private := func(when string) {
		t.Helper()
		others, err := sqlite.ReadByOthers(dir)
		if err != nil || len(others) > 0 {
			t.Errorf("%s: others may read %q, %v", when, others, err)
		}
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if info, err := e.Info(); err != nil || info.Mode().Perm()&0o077 != 0 {
				t.Errorf("%s: %s is %v, %v", when, e.Name(), info.Mode(), err)
			}
		}
		if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o700 {
			t.Errorf("%s: the folder is %v, %v", when, info.Mode(), err)
		}
	}
	db, err := home.Create(context.Background(), storetest.Site, clock)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Examine(t.Context(), "start"); err != nil {
		t.Fatal(err)
	}
	private("while it is open")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	private("after its end")
	names := []string{"rinsate.db", "ledger.key", "checkpoint.txt", "examined.json"}
	for _, name := range names {
		if err := os.Chmod(filepath.Join(dir, name), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, 0o755); err != nil { //nolint:gosec // what is to be mended
		t.Fatal(err)
	}
	others, err := sqlite.ReadByOthers(dir)
	slices.Sort(others)
	if want := []string{"checkpoint.txt", "data", "examined.json", "ledger.key", "rinsate.db"}; err != nil || !slices.Equal(others, want) {
		t.Errorf("others may read %q, %v; want %q", others, err, want)
	}
	reopen := func() {
		t.Helper()
		db, err := home.Open(context.Background(), clock)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	reopen()
	private("after a start")
	if err := os.WriteFile(filepath.Join(dir, "another.txt"), nil, 0o644); err != nil { //nolint:gosec // somebody else's
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil { //nolint:gosec // shared with that file
		t.Fatal(err)
	}
	reopen()
	for name, want := range map[string]os.FileMode{"": 0o755, "another.txt": 0o644, "rinsate.db": 0o600} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Mode().Perm() != want {
			t.Errorf("%q in a shared folder is %v, %v; want %v", name, info.Mode(), err, want)
		}
	}
}
