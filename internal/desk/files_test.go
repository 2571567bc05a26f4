package desk_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rinsate/internal/desk"
)

var update = flag.Bool("update", false, "write the table of files anew")

// TestTableOfFiles holds the table of docs/importing.md to what can be read in.
func TestTableOfFiles(t *testing.T) {
	t.Parallel()
	const begin, end = "<!-- files: written by go generate ./internal/desk -->\n", "<!-- end of files -->\n"
	name := filepath.Join("..", "..", "docs", "importing.md")
	page, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(page), begin)
	_, after, closed := strings.Cut(rest, end)
	if !found || !closed {
		t.Fatalf("%s has no place for the table of files", name)
	}
	want := before + begin + tableOfFiles() + end + after
	if *update {
		if err := os.WriteFile(name, []byte(want), 0o644); err != nil { //nolint:gosec // a page for everybody
			t.Fatal(err)
		}
		return
	}
	if string(page) != want {
		t.Errorf("%s does not say what can be read in: write it anew with go generate ./internal/desk", name)
	}
}

func tableOfFiles() string {
	var b strings.Builder
	b.WriteString("\n| kind | one row is | what it must have |\n|---|---|---|\n")
	for _, kind := range desk.Kinds {
		var must []string
		for _, f := range desk.Columns(kind) {
			if f.Required {
				must = append(must, "`"+f.Name+"`")
			}
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", kind, desk.About(kind), strings.Join(must, " "))
	}
	b.WriteString("\n")
	return b.String()
}
