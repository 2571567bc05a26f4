package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// tested reads which tests show the control of which hazard.
func tested(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile("../../docs/hazards.md")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]string{}
	line := regexp.MustCompile("(?m)^- Test: `(internal/[a-z/]+)` (Test[A-Za-z0-9]+(?:, Test[A-Za-z0-9]+)*)$")
	for _, part := range strings.Split(string(text), "\n## ")[1:] {
		hazard, _, _ := strings.Cut(part, " ")
		for _, field := range []string{"Situation", "Cause", "Control"} {
			if strings.Count(part, "\n- "+field+": ") != 1 {
				t.Errorf("%s: want one line %s", hazard, field)
			}
		}
		m := line.FindStringSubmatch(part)
		if m == nil {
			t.Errorf("%s: no tests are named", hazard)
			continue
		}
		for test := range strings.SplitSeq(m[2], ", ") {
			all[hazard] = append(all[hazard], "./"+m[1]+" "+test)
		}
	}
	return all
}

// Every hazard names tests that there are, and the way in which its control is taken away still fits.
func TestHazards(t *testing.T) {
	hazards := tested(t)
	if len(hazards) < 15 {
		t.Errorf("only %d hazards were read", len(hazards))
	}
	for hazard, tests := range hazards {
		for _, test := range tests {
			folder, name, _ := strings.Cut(test, " ")
			files, err := filepath.Glob(filepath.Join("../..", folder, "*_test.go"))
			if err != nil || len(files) == 0 {
				t.Fatalf("%s: %s has no tests (%v)", hazard, folder, err)
			}
			if !slices.ContainsFunc(files, func(path string) bool {
				text, err := os.ReadFile(path)
				return err == nil && strings.Contains(string(text), "\nfunc "+name+"(t *testing.T) {")
			}) {
				t.Errorf("%s: %s has no test %s", hazard, folder, name)
			}
		}
	}
	all, err := removals("controls.txt")
	if err != nil {
		t.Fatal(err)
	}
	removed := map[string]bool{}
	for _, r := range all {
		removed[r.hazard] = true
		if !slices.Contains(hazards[r.hazard], r.packet+" "+r.test) {
			t.Errorf("%s: docs/hazards.md does not name %s of %s", r.hazard, r.test, r.packet)
		}
		if _, err := r.changed("../.."); err != nil {
			t.Error(err)
		}
	}
	for hazard := range hazards {
		if !removed[hazard] {
			t.Errorf("%s: controls.txt does not say how its control is taken away", hazard)
		}
	}
}
