//go:build !dev

package web

import (
	"embed"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The released program answers with what it holds: it reads no template, style or help from a folder, and has
// no command for developing.
func TestReleaseReadsNoFilesOfItsPages(t *testing.T) {
	t.Parallel()
	if _, ok := sources().(embed.FS); !ok {
		t.Errorf("the pages come from a %T", sources())
	}
	script, err := os.ReadFile("../../scripts/build.sh")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(script), "-tags") {
		t.Error("scripts/build.sh builds with a tag")
	}
	for folder, file := range map[string]string{".": "develop.go", "../cli": "develop.go"} {
		build := exec.CommandContext(t.Context(), "go", "list", "-f", `{{range .GoFiles}}{{.}} {{end}}`, ".")
		build.Dir, err = filepath.Abs(folder)
		if err != nil {
			t.Fatal(err)
		}
		list, err := build.Output()
		if err != nil {
			t.Fatal(err)
		}
		if files := strings.Fields(string(list)); len(files) == 0 || slices.Contains(files, file) {
			t.Errorf("%s is built from %v", folder, files)
		}
		if _, err := os.Stat(filepath.Join(folder, file)); err != nil {
			t.Error("this test has lost its object:", err)
		}
	}
}
