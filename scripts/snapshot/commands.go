package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rinsate/internal/cli"
)

//go:embed commands.txt
var commandLines string

// ran is what a command did.
type ran struct {
	code     int
	out, err string
}

// run runs a command on the data.
func (r *recorder) run(ctx context.Context, in string, args ...string) ran {
	var out, talk bytes.Buffer
	code := cli.Run(ctx, append([]string{"--data", r.data}, args...), cli.Streams{In: strings.NewReader(in), Out: &out, Err: &talk}, r.clock)
	return ran{code, out.String(), talk.String()}
}

// runCommands records the help of every command, and what each line of commands.txt prints as text and as JSON.
func (r *recorder) runCommands(ctx context.Context) error {
	leaves, err := r.help(ctx, nil)
	if err != nil {
		return err
	}
	lines := linesOf(commandLines)
	for _, line := range lines {
		if _, first := strings.CutPrefix(line, firstMark); first {
			continue // ran before
		}
		command := strings.TrimPrefix(line, onceMark)
		leaves = slices.DeleteFunc(leaves, func(leaf string) bool { return command == leaf || strings.HasPrefix(command, leaf+" ") })
		if err := r.runLine(ctx, line); err != nil {
			return fmt.Errorf("commands.txt: %w", err)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	fmt.Fprintf(r.talk, "commands: %d lines\n", len(lines))
	if len(leaves) > 0 {
		fmt.Fprintf(r.talk, "commands without a line in commands.txt: %s\n", strings.Join(leaves, ", "))
	}
	return nil
}

// furnish runs the lines of commands.txt that come before everything else, and returns what they did.
func (r *recorder) furnish(ctx context.Context) (done map[string]ran, err error) {
	done = map[string]ran{}
	for _, line := range linesOf(commandLines) {
		line, first := strings.CutPrefix(line, firstMark)
		if !first {
			continue
		}
		filled, err := r.fill(line)
		if err != nil {
			return nil, fmt.Errorf("commands.txt: %w", err)
		}
		done[filled] = r.run(ctx, "", words(filled)...)
		if got := done[filled]; got.code != 0 {
			return nil, fmt.Errorf("commands.txt: %s: exit %d\n%s%s", filled, got.code, got.out, got.err)
		}
	}
	return done, nil
}

// linesOf returns the lines of commands.txt or addresses.txt, without comments and empty ones.
func linesOf(text string) (lines []string) {
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			lines = append(lines, line)
		}
	}
	return lines
}

// What the lines of commands.txt begin with that are not run twice.
const (
	firstMark = "first "
	onceMark  = "once "
)

// help records the help of a command and of all below it, and returns those that have none below.
func (r *recorder) help(ctx context.Context, path []string) (leaves []string, err error) {
	name := strings.Join(path, " ")
	if err := r.keep("help", strings.TrimSpace(name+" --help"), r.run(ctx, "", append(slices.Clone(path), "--help")...)); err != nil {
		return nil, err
	}
	below := r.run(ctx, "", append(append([]string{"__complete"}, path...), "")...)
	for line := range strings.Lines(below.out) {
		sub, about, ok := strings.Cut(strings.TrimSpace(line), "\t")
		if !ok || about == "" || strings.HasPrefix(sub, "-") || sub == "help" || sub == "completion" {
			continue // a flag, or a command of the command line library's own
		}
		more, err := r.help(ctx, append(slices.Clone(path), sub))
		if err != nil {
			return nil, err
		}
		leaves = append(leaves, more...)
	}
	if len(leaves) == 0 && len(path) > 0 {
		leaves = []string{name}
	}
	return leaves, nil
}

// runLine runs a line of commands.txt. One that begins with "once" changes something or prints no JSON of
// its own, and is not run a second time with --json.
func (r *recorder) runLine(ctx context.Context, line string) error {
	rest, once := strings.CutPrefix(line, onceMark)
	rest, in, _ := strings.Cut(rest, " << ")
	filled, err := r.fill(rest)
	if err != nil {
		return err
	}
	filled, to, printed := strings.Cut(filled, " >> ")
	args := words(filled)
	if printed {
		got := r.run(ctx, "", args...)
		if err := os.WriteFile(to, []byte(got.out), 0o600); err != nil {
			return err
		}
		return r.keep("command", filled, got)
	}
	if err := r.keep("command", filled, r.run(ctx, in+"\n", args...)); err != nil || once {
		return err
	}
	return r.keep("command", filled+" --json", r.run(ctx, in+"\n", append(args, "--json")...))
}

// keep writes down what a command did: JSON in an entry of its own. Files that it wrote are kept as well,
// and removed.
func (r *recorder) keep(area, line string, got ran) error {
	key := area + " " + line
	if r.kept[key]++; r.kept[key] > 1 {
		line += fmt.Sprintf(" (%d)", r.kept[key]) // after something was written in between
	}
	if _, ok := tidyJSON(got.out, unchanged); ok {
		if err := r.write("numbers "+line, got.out); err != nil {
			return err
		}
		got.out = "(JSON)\n"
	}
	var text strings.Builder
	fmt.Fprintf(&text, "exit %d\n%s", got.code, got.out)
	if got.err != "" {
		text.WriteString("\n--- standard error\n" + got.err)
	}
	files, err := filepath.Glob(filepath.Join(r.scratch, "*.svg"))
	if err != nil {
		return err
	}
	for _, name := range files {
		drawn, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		text.WriteString("\n--- " + filepath.Base(name) + "\n" + readPage(string(drawn)).text + "\n")
		if err := os.Remove(name); err != nil {
			return err
		}
	}
	return r.write(area+" "+line, text.String())
}

// words splits a line at spaces, but not within single quotation marks.
func words(line string) []string {
	var list []string
	for i, part := range strings.Split(line, "'") {
		if i%2 == 1 {
			list = append(list, part)
			continue
		}
		list = append(list, strings.Fields(part)...)
	}
	return list
}
