package main

import (
	"cmp"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// usualRenames is the table of renamed words, seen from the root of the repository.
const usualRenames = "scripts/snapshot/renames.txt"

// renames replaces words that were renamed.
type renames struct {
	to map[string]string
	// any finds every old word, also within a longer one.
	any *regexp.Regexp
}

// readRenames reads a table from a file.
func readRenames(name string) (renames, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return renames{}, fmt.Errorf("the table of renamed words: %w\nhint: run this from the root of the repository, or name a table with --renames", err)
	}
	return parseRenames(string(text))
}

// parseRenames reads a table; the file renames.txt says how it is written.
func parseRenames(text string) (renames, error) {
	r := renames{to: map[string]string{}}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		old, now, ok := strings.Cut(line, "=>")
		old, now = strings.TrimSpace(old), strings.TrimSpace(now)
		if !ok || old == "" {
			return renames{}, fmt.Errorf("line %d of the renamed words is %q: write old => new", i+1, line)
		}
		if before, ok := r.to[old]; ok {
			return renames{}, fmt.Errorf("line %d of the renamed words renames %q, which is %q already", i+1, old, before)
		}
		r.to[old] = now
	}
	var words []string
	for old := range r.to {
		words = append(words, old)
	}
	if len(words) == 0 {
		return r, nil
	}
	slices.SortFunc(words, func(a, b string) int { return cmp.Or(len(b)-len(a), strings.Compare(a, b)) })
	for i, w := range words {
		words[i] = regexp.QuoteMeta(w)
	}
	var err error
	r.any, err = regexp.Compile(strings.Join(words, "|"))
	return r, err
}

// apply replaces every whole word of the table.
func (r renames) apply(text string) string {
	if r.any == nil {
		return text
	}
	var b strings.Builder
	for at := 0; at < len(text); {
		found := r.any.FindStringIndex(text[at:])
		if found == nil {
			b.WriteString(text[at:])
			break
		}
		begin, end := at+found[0], at+found[1]
		// A longer word of the table was tried here first, so that a shorter one may still fit.
		for end > begin && !whole(text, begin, end) {
			end = r.shorter(text, begin, end)
		}
		if end > begin {
			b.WriteString(text[at:begin] + r.to[text[begin:end]])
			at = end
			continue
		}
		_, size := utf8.DecodeRuneInString(text[begin:])
		b.WriteString(text[at : begin+size])
		at = begin + size
	}
	return b.String()
}

// shorter returns the end of the next shorter word of the table that begins at the same place, or begin.
func (r renames) shorter(text string, begin, end int) int {
	for end--; end > begin; end-- {
		if _, ok := r.to[text[begin:end]]; ok {
			return end
		}
	}
	return begin
}

// whole says whether a part of a text stands by itself: neither side goes on with a word.
func whole(text string, begin, end int) bool {
	first, _ := utf8.DecodeRuneInString(text[begin:])
	last, _ := utf8.DecodeLastRuneInString(text[:end])
	before, _ := utf8.DecodeLastRuneInString(text[:begin])
	after, _ := utf8.DecodeRuneInString(text[end:])
	goesBack := begin > 0 && letter(first) && letter(before)
	goesOn := end < len(text) && letter(last) && letter(after)
	return !goesBack && !goesOn
}

func letter(r rune) bool { return r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r) }
