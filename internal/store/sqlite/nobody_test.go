//go:build !windows

package sqlite_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// nobody is a user who owns nothing here.
const nobody = 65534

// asNobody lets another process look at a folder in which it may not write, and returns what it prints and what it says
// is wrong. The superuser may write everywhere, so that the process is then another user's.
func asNobody(t *testing.T, base, dir, to string) (out, said string) {
	t.Helper()
	program := os.Args[0]
	var credential *syscall.Credential
	if os.Geteuid() == 0 {
		credential = &syscall.Credential{Uid: nobody, Gid: nobody}
		for _, parent := range []string{base, filepath.Dir(base)} {
			if err := os.Chmod(parent, 0o777); err != nil { //nolint:gosec // it is the test's own
				t.Fatal(err)
			}
		}
		content, err := os.ReadFile(program)
		if err != nil {
			t.Fatal(err)
		}
		program = filepath.Join(base, "program")
		if err := os.WriteFile(program, content, 0o755); err != nil { //nolint:gosec // it is to be run by another
			t.Fatal(err)
		}
		if err := os.Chmod(program, 0o755); err != nil { //nolint:gosec // whatever the umask
			t.Fatal(err)
		}
	}
	readable := func(path string, d fs.DirEntry, err error) error {
		mode := fs.FileMode(0o444)
		if err == nil && d.IsDir() {
			mode = 0o555
		}
		return errors.Join(err, os.Chmod(path, mode)) //nolint:gosec // it is to be read by another
	}
	if err := filepath.WalkDir(dir, readable); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Chmod(dir, 0o700) }) //nolint:gosec // so that it can be removed
	c := exec.CommandContext(t.Context(), program)
	c.Env = append(os.Environ(), actEnv+"=look:0s:"+dir, backupEnv+"="+to)
	c.Dir = base
	c.SysProcAttr = &syscall.SysProcAttr{Credential: credential}
	var printed, wrong bytes.Buffer
	c.Stdout, c.Stderr = &printed, &wrong
	if err := c.Run(); err != nil && wrong.Len() == 0 {
		t.Fatal(err)
	}
	return printed.String(), wrong.String()
}
