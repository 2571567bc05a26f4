// Command mutants makes small changes to the release check, one at a time, and sees that a test fails then: a sign
// turned, a limit moved by one, a reason left out. The sources stay as they are: the compiler is given the changed
// file in the place of the other. What survives is listed, and is an error unless scripts/mutants/equivalent.txt says
// why nobody could notice.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// room is where the release check is, files its parts.
const room = "internal/domain/reprocessing"

var files = []string{"release.go", "delay.go", "hold.go", "decide.go", "cycle.go", "uses.go", "cleaning.go"}

func main() {
	every := flag.Int("every", 1, "try one in so many changes")
	first := flag.Int("first", 0, "leave out so many changes at the beginning")
	only := flag.String("only", "", "try the changes alone whose name holds this")
	histories := flag.Int("histories", 900, "how many random histories notice a change")
	list := flag.Bool("list", false, "list the changes and try none")
	flag.Parse()
	if err := run(*every, *first, *only, *histories, *list); err != nil {
		fmt.Fprintln(os.Stderr, "mutants:", err)
		os.Exit(1)
	}
}

func run(every, first int, only string, histories int, list bool) error {
	excused, err := equivalents("scripts/mutants/equivalent.txt")
	if err != nil {
		return err
	}
	var all []mutant
	for _, file := range files {
		path := filepath.Join(room, file)
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		of, err := mutants(path, string(text))
		if err != nil {
			return err
		}
		all = append(all, of...)
	}
	for name := range excused {
		if !slices.ContainsFunc(all, func(m mutant) bool { return m.name == name }) {
			return fmt.Errorf("scripts/mutants/equivalent.txt excuses a change that there is not: %s", name)
		}
	}
	tried, broken, survived := 0, 0, 0
	for i, m := range all {
		if i < first || (i-first)%max(every, 1) != 0 || !strings.Contains(m.name, only) || excused[m.name] != "" {
			continue
		}
		if list {
			fmt.Fprintln(os.Stdout, m.name)
			continue
		}
		tried++
		switch noticed, compiled, err := m.try(histories); {
		case err != nil:
			return fmt.Errorf("%s: %w", m.name, err)
		case !compiled:
			broken++
		case !noticed:
			survived++
			fmt.Fprintf(os.Stdout, "survives: %s\n", m.name)
		}
		if tried%25 == 0 {
			fmt.Fprintf(os.Stderr, "%d tried, up to %d of %d\n", tried, i+1, len(all))
		}
	}
	if list {
		return nil
	}
	fmt.Fprintf(os.Stdout, "%d changes: %d noticed, %d do not compile, %d survive; %d are known to change nothing\n", tried,
		tried-broken-survived, broken, survived, len(excused))
	if survived > 0 {
		return fmt.Errorf("%d changes that no test notices: test what they change, or say in equivalent.txt why nobody could notice", survived)
	}
	return nil
}

// equivalents reads which changes nobody could notice, and why: the name of a change, " # ", the reason.
func equivalents(path string) (map[string]string, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	all := map[string]string{}
	for line := range strings.SplitSeq(strings.TrimSpace(string(text)), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, why, ok := strings.Cut(line, " # ")
		if !ok || strings.TrimSpace(why) == "" {
			return nil, fmt.Errorf("%s: say why after \" # \": %s", path, line)
		}
		all[strings.TrimSpace(name)] = why
	}
	return all, nil
}

// try runs the tests on the changed program: those beside the check first, then random histories.
func (m mutant) try(histories int) (noticed, compiled bool, err error) {
	folder, err := os.MkdirTemp("", "mutant-")
	if err != nil {
		return false, false, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	source, err := filepath.Abs(m.path)
	if err != nil {
		return false, false, err
	}
	instead := filepath.Join(folder, "changed.go")
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {source: instead}})
	if err != nil {
		return false, false, err
	}
	for path, b := range map[string][]byte{instead: []byte(m.text), filepath.Join(folder, "overlay.json"): overlay} {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			return false, false, err
		}
	}
	for _, packet := range []string{"./" + room, "./" + room + "/plain"} {
		command := exec.CommandContext(
			context.Background(),
			"go",
			"test",
			"-vet=off",
			"-short",
			"-failfast",
			"-count=1",
			"-timeout=5m", // a change may make a loop that does not end
			"-overlay",
			filepath.Join(folder, "overlay.json"),
			packet,
		)
		command.Env = append(os.Environ(), fmt.Sprintf("RINSATE_HISTORIES=%d", histories))
		b, err := command.CombinedOutput()
		switch output := string(b); {
		case err == nil:
		case strings.Contains(output, "[build failed]"):
			return false, false, nil
		case strings.Contains(output, "--- FAIL"), strings.Contains(output, "panic:"):
			return true, true, nil
		default:
			return false, false, fmt.Errorf("the tests did not run:\n%s", output)
		}
	}
	return false, true, nil
}
