package cli

import (
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// What commands write for people may tell of patients and scopes: nobody else on the computer reads it, unless whoever
// asked had opened the file to them before.
func TestFilesAreForWhoeverAsked(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("rights are lists there")
	}
	dir := t.TempDir()
	fresh, opened, closed := filepath.Join(dir, "a.pdf"), filepath.Join(dir, "b.pdf"), filepath.Join(dir, "c.pdf")
	for path, mode := range map[string]fs.FileMode{opened: 0o640, closed: 0o400} {
		if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	kept := filepath.Join(dir, "d.pdf")
	if err := newFile(kept, []byte("new")); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]fs.FileMode{fresh: 0o600, opened: 0o640, closed: 0o400} {
		if err := replaceFile(path, []byte("new")); err != nil {
			t.Fatal(err)
		}
		mode(t, path, want)
	}
	mode(t, kept, 0o600)
}

func mode(t *testing.T, path string, want fs.FileMode) {
	t.Helper()
	i, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := i.Mode().Perm(); got != want {
		t.Errorf("%s: mode %o, want %o", filepath.Base(path), got, want)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "new" {
		t.Errorf("%s: %q, %v", filepath.Base(path), text, err)
	}
}
