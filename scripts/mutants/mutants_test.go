package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The changes of a small function are those that somebody would think of.
func TestMutants(t *testing.T) {
	all, err := mutants("dir/f.go", `package p

func f(g *release, a, b int) bool {
	if a < b && ready(a) {
		g.block(1)
	}
	switch {
	case a == 0:
		return true
	}
	return max(a, b) > 0
}
`)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, m := range all {
		_, name, _ := strings.Cut(m.name, ": ")
		names = append(names, name)
	}
	want := []string{
		"a < b && ready(a) => !(a < b && ready(a))", "a < b && ready(a) => a < b || ready(a)", "a < b => a <= b",
		"g.block(1) => func(...any) {}(1)", "1 => 2", "1 => 0", "a == 0 => a != 0", "0 => 1", "0 => -1", "true => false",
		"max(a, b) > 0 => max(a, b) >= 0", "max(a, b) => min(a, b)", "0 => 1 (2)", "0 => -1 (2)",
	}
	if !slices.Equal(names, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(names, "\n"), strings.Join(want, "\n"))
	}
	for _, m := range all {
		if m.text == "" || strings.Count(m.text, "\n") != 12 {
			t.Errorf("%s: the file is not whole:\n%s", m.name, m.text)
		}
	}
}

// The release check has a few hundred small changes, each with a name of its own, and what is excused is among them.
func TestChangesOfTheReleaseCheck(t *testing.T) {
	names := map[string]bool{}
	for _, file := range files {
		path := filepath.Join("../..", room, file)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all, err := mutants(path, string(text))
		if err != nil {
			t.Fatal(err)
		}
		if len(all) == 0 {
			t.Errorf("%s: nothing to change", file)
		}
		for _, m := range all {
			if names[m.name] {
				t.Errorf("two changes are called %s", m.name)
			}
			names[m.name] = true
		}
	}
	if len(names) < 300 {
		t.Errorf("only %d changes", len(names))
	}
	excused, err := equivalents("equivalent.txt")
	if err != nil {
		t.Fatal(err)
	}
	for name := range excused {
		if !names[name] {
			t.Errorf("equivalent.txt excuses a change that there is not: %s", name)
		}
	}
}
