// Command hazards takes each control of docs/hazards.md away, one at a time, and sees that the test which shows
// it fails then. The sources stay as they are: the compiler is given the changed file in the place of the other.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// removal is how one control is taken away.
type removal struct {
	hazard, packet, test, file, old, new string
}

func main() {
	root := "."
	all, err := removals(filepath.Join(root, "scripts/hazards/controls.txt"))
	if err != nil {
		fail(err)
	}
	stood := 0
	for _, r := range all {
		noticed, output, err := r.try(root)
		if err != nil {
			stood++
			fmt.Fprintf(os.Stdout, "%s: %v\n", r.hazard, err)
			continue
		}
		fmt.Fprintf(os.Stdout, "%s without its control: %s %s\n", r.hazard, r.test, map[bool]string{true: "fails", false: "still passes"}[noticed])
		if !noticed {
			stood++
			fmt.Fprint(os.Stdout, output)
		}
	}
	if stood > 0 {
		fail(fmt.Errorf("%d controls can go and no test notices, or cannot be taken away", stood))
	}
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "hazards:", err)
	os.Exit(1)
}

// removals reads how controls are taken away.
func removals(path string) ([]removal, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var all []removal
	for i, block := range strings.Split(strings.TrimSpace(string(text)), "\n\n") {
		if i == 0 {
			continue // the comment
		}
		head, rest, _ := strings.Cut(block, "\n")
		file, change, _ := strings.Cut(rest, "\n")
		old, with, ok := strings.Cut(change, "\n=>\n")
		names := strings.Fields(head)
		if len(names) != 3 || !ok {
			return nil, fmt.Errorf("%s: block %d is not a hazard, a package and a test, a file, what stands there, =>, and what takes its place", path, i+1)
		}
		all = append(all, removal{names[0], names[1], names[2], file, old, with})
	}
	return all, nil
}

// changed returns the file without its control.
func (r removal) changed(root string) (string, error) {
	text, err := os.ReadFile(filepath.Join(root, r.file))
	if err != nil {
		return "", err
	}
	if n := strings.Count(string(text), r.old+"\n"); n != 1 {
		return "", fmt.Errorf("%s: %s holds what is taken away %d times, want once:\n%s", r.hazard, r.file, n, r.old)
	}
	return strings.Replace(string(text), r.old+"\n", r.new+"\n", 1), nil
}

// try runs the test without the control and says whether it failed. A program that no longer compiles is an error:
// it shows nothing.
func (r removal) try(root string) (noticed bool, output string, err error) {
	text, err := r.changed(root)
	if err != nil {
		return false, "", err
	}
	folder, err := os.MkdirTemp("", "hazard-")
	if err != nil {
		return false, "", err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	source, err := filepath.Abs(filepath.Join(root, r.file))
	if err != nil {
		return false, "", err
	}
	instead := filepath.Join(folder, "changed.go")
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {source: instead}})
	if err != nil {
		return false, "", err
	}
	for path, b := range map[string][]byte{instead: []byte(text), filepath.Join(folder, "overlay.json"): overlay} {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			return false, "", err
		}
	}
	command := exec.CommandContext(
		context.Background(),
		"go",
		"test",
		"-vet=off",
		"-overlay",
		filepath.Join(folder, "overlay.json"),
		"-run",
		"^"+r.test+"$",
		r.packet,
	)
	command.Dir = root
	b, err := command.CombinedOutput()
	output = string(b)
	switch {
	case err == nil:
		return false, output, nil
	case strings.Contains(output, "--- FAIL: "+r.test):
		return true, output, nil
	}
	return false, output, fmt.Errorf("the test did not run:\n%s", output)
}
