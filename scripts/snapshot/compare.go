package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/diff"
)

// comparer prints what differs between two records.
type comparer struct {
	out     io.Writer
	renames renames
	// full prints the difference of every entry.
	full bool
}

// change is what differs in one place, and every entry in which exactly that does.
type change struct {
	lines []string
	hunk  string
	keys  []string
	times int
}

// Limits of what is printed of each change, unless everything is asked for.
const (
	mostLines = 60
	mostKeys  = 3
)

// compare returns how many entries differ.
func (c *comparer) compare(before, after map[string]string) int {
	old := map[string]string{}
	for key, body := range before {
		old[c.renames.apply(key)] = c.prepare(body, c.renames.apply)
	}
	var changes []*change
	byLines := map[string]*change{}
	differ, gone, added := 0, []string{}, []string{}
	for _, key := range slices.Sorted(maps.Keys(old)) {
		now, ok := after[key]
		if !ok {
			gone = append(gone, key)
			continue
		}
		now = c.prepare(now, unchanged)
		if old[key] == now {
			continue
		}
		differ++
		text := string(diff.Diff("old", []byte(old[key]), "new", []byte(now)))
		if c.full {
			fmt.Fprintf(c.out, "=== %s\n%s\n", key, text)
		}
		for _, found := range changesIn(text) {
			id := strings.Join(found.lines, "\n")
			if byLines[id] == nil {
				byLines[id] = &found
				changes = append(changes, &found)
			}
			known := byLines[id]
			known.times++
			if len(known.keys) == 0 || known.keys[len(known.keys)-1] != key {
				known.keys = append(known.keys, key)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(after)) {
		if _, ok := old[key]; !ok {
			added = append(added, key)
		}
	}
	if !c.full {
		slices.SortStableFunc(changes, func(a, b *change) int { return cmp.Compare(b.times, a.times) })
		for _, x := range changes {
			x.print(c.out)
		}
	}
	c.list("only in the old record", gone)
	c.list("only in the new record", added)
	fmt.Fprintf(c.out, "%d entries compared: %d differ by %d different changes, %d are only in the old record, %d only in the new one\n",
		len(old)-len(gone), differ, len(changes), len(gone), len(added))
	return differ + len(gone) + len(added)
}

// list prints keys, a line each.
func (c *comparer) list(title string, keys []string) {
	for _, key := range keys {
		fmt.Fprintf(c.out, "%s: %s\n", title, key)
	}
}

// Lengths of columns depend on the words in them, so that a renamed word would change every line of its table.
var (
	rules = regexp.MustCompile(`[─=]{2,}`)
	gaps  = regexp.MustCompile(`  +`)
)

// prepare makes a body comparable line by line, with a change applied to its texts.
func (c *comparer) prepare(body string, change func(string) string) string {
	if tidy, ok := tidyJSON(body, change); ok {
		return tidy
	}
	body = rules.ReplaceAllString(gaps.ReplaceAllString(change(body), "  "), "──")
	lines := strings.Split(body, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// changesIn returns the runs of changed lines of a unified difference, with the lines around each.
func changesIn(text string) (all []change) {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	lines = lines[min(3, len(lines)):] // the command and the names of the files
	changed := func(i int) bool {
		return i >= 0 && i < len(lines) && (strings.HasPrefix(lines[i], "-") || strings.HasPrefix(lines[i], "+"))
	}
	for i := 0; i < len(lines); i++ {
		if !changed(i) {
			continue
		}
		begin := i
		for changed(i) {
			i++
		}
		x := change{lines: lines[begin:i]}
		if begin > 0 {
			x.hunk = lines[begin-1]
		}
		all = append(all, x)
	}
	return all
}

// print prints a change once, with how often it is found and where.
func (x *change) print(w io.Writer) {
	fmt.Fprintf(w, "=== %d times in %d entries: %s", x.times, len(x.keys), strings.Join(x.keys[:min(mostKeys, len(x.keys))], ", "))
	if len(x.keys) > mostKeys {
		fmt.Fprint(w, ", …")
	}
	fmt.Fprintln(w)
	if x.hunk != "" {
		fmt.Fprintln(w, x.hunk)
	}
	for _, line := range x.lines[:min(mostLines, len(x.lines))] {
		fmt.Fprintln(w, line)
	}
	if more := len(x.lines) - mostLines; more > 0 {
		fmt.Fprintf(w, "  … and %d more lines (--full)\n", more)
	}
	fmt.Fprintln(w)
}
