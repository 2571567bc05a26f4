package table

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"rinsate/internal/base/unit"
)

const (
	// DefaultMaxRunes is the longest text of a field that sets no limit of its own.
	DefaultMaxRunes = 1000

	shownRunes = 80 // of a value in an error
	shownWords = 30 // of a list in an error
)

// CellError is a cell that does not hold what its column should. Its text reads like
//
//	readings.csv:12: column "rlu": "18x" is not a whole number 0–9999999
type CellError struct {
	File    string
	Line    int      // physical line on which the record starts
	Column  string   // the header as it stands in the file
	Value   string   // the file's text, cut to 80 characters, with what cannot be printed escaped
	Problem string   // a predicate: is not a whole number 0–10
	Allowed []string // the words that would do, where there is a list
}

// Error prints the place, the value and the problem.
func (e *CellError) Error() string {
	return fmt.Sprintf("%s:%d: column %q: \"%s\" %s", e.File, e.Line, e.Column, e.Value, e.Problem)
}

// FileError holds the faults found in one file, in the order of the file.
type FileError struct {
	List []error
	More int // found after the cap and not kept
}

// Error prints one fault a line and how many more there are.
func (e *FileError) Error() string {
	var b strings.Builder
	for i, err := range e.List {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(err.Error())
	}
	if e.More > 0 {
		fmt.Fprintf(&b, "\nand %d more", e.More)
	}
	return b.String()
}

// Unwrap returns the faults for errors.Is and errors.As.
func (e *FileError) Unwrap() []error { return e.List }

// shorten makes a file's text fit for a message.
func shorten(text string) string {
	more := ""
	n := 0
	for i := range text {
		if n == shownRunes {
			text, more = text[:i], "…"
			break
		}
		n++
	}
	quoted := strconv.Quote(text)
	return quoted[1:len(quoted)-1] + more
}

func shortList(words []string) string {
	shown := make([]string, 0, min(len(words), shownWords))
	for _, w := range words[:min(len(words), shownWords)] {
		shown = append(shown, shorten(w))
	}
	text := strings.Join(shown, ", ")
	if more := len(words) - len(shown); more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// Column is a handle on one field of a table, for loops over many rows: Table.Field finds it once.
// The getters read the current row. Where a cell is wrong they note an error in the table and
// return the zero value, so call each once a row and ask Table.Err at the end; an empty cell is
// wrong only in a required column. Before the first Next and after the last they return zero.
type Column struct {
	t *Table
	c *column
}

// raw is the cell as the file has it, trimmed, with an apostrophe taken off that a writer put
// before a text which a spreadsheet would have run as a formula.
func (c Column) raw() []byte {
	switch {
	case !c.t.row:
		return nil
	case c.c.index < 0:
		return c.c.constant
	default:
		return restore(bytes.TrimSpace(c.t.tok.Field(c.c.index)))
	}
}

// cell is the raw text after the profile's map of values.
func (c Column) cell() []byte {
	raw := c.raw()
	if c.c.values == nil {
		return raw
	}
	if word, ok := c.c.values[string(raw)]; ok {
		return word
	}
	if word, ok := c.c.values[strings.ToLower(string(raw))]; ok {
		return word
	}
	return raw
}

// filled returns the cell and whether it holds anything; in a required column it must.
func (c Column) filled() ([]byte, bool) {
	cell := c.cell()
	if len(cell) == 0 && c.c.field.Required && c.t.row {
		c.Reject("must not be empty")
	}
	return cell, len(cell) > 0
}

// Reject notes an error at this cell of the current row. The problem is a predicate, such as
// "names no scope of this fleet"; allowed lists what would do, if that is a list.
func (c Column) Reject(problem string, allowed ...string) {
	if c.t.full() {
		return
	}
	c.t.errs.List = append(c.t.errs.List, &CellError{
		File: c.t.name, Line: c.t.Line(), Column: c.c.header,
		Value: shorten(string(c.raw())), Problem: problem, Allowed: slices.Clone(allowed),
	})
}

// Has says whether this row's cell holds anything.
func (c Column) Has() bool { return len(c.cell()) > 0 }

// Text returns the cell, at most Field.MaxRunes characters. Control characters other than a tab,
// line breaks among them, are refused, and so is U+FFFD, which stands for a character that was
// lost in decoding.
func (c Column) Text() string {
	cell, ok := c.filled()
	if !ok {
		return ""
	}
	if problem := checkText(cell, c.c.maxRunes); problem != "" {
		c.Reject(problem)
		return ""
	}
	return string(cell)
}

func checkText(text []byte, most int) string {
	if asciiPrefix(text) != len(text) || len(text) > most {
		if !utf8.Valid(text) || bytes.ContainsRune(text, utf8.RuneError) {
			return "holds a character that could not be decoded; the file may be in another encoding"
		}
		if n := utf8.RuneCount(text); n > most {
			return fmt.Sprintf("is longer than %d characters", most)
		}
	}
	for i := 0; i < len(text); {
		r, width := rune(text[i]), 1
		if r >= utf8.RuneSelf {
			r, width = utf8.DecodeRune(text[i:])
		}
		if r != '\t' && unicode.IsControl(r) {
			return fmt.Sprintf("holds the control character U+%04X", r)
		}
		i += width
	}
	return ""
}

// Word returns the one of the allowed words that the cell holds, whatever its case, spelled as
// allowed. Without arguments Field.Allowed counts.
func (c Column) Word(allowed ...string) string {
	cell, ok := c.filled()
	if !ok {
		return ""
	}
	if len(allowed) == 0 {
		allowed = c.c.field.Allowed
	}
	for _, word := range allowed {
		if string(cell) == word {
			return word
		}
	}
	for _, word := range allowed {
		if strings.EqualFold(string(cell), word) {
			return word
		}
	}
	problem := "is not one of " + shortList(allowed)
	if near := nearest(string(cell), allowed); near != "" {
		problem += fmt.Sprintf("; did you mean %q?", near)
	}
	c.Reject(problem, allowed...)
	return ""
}

// Int returns a whole number from least to most, both included.
func (c Column) Int(least, most int) int {
	cell, ok := c.filled()
	if !ok {
		return 0
	}
	plain, ok := c.t.rules.numerals.plain(cell)
	if ok {
		n, err := strconv.ParseInt(string(plain), 10, 64)
		if err == nil && n >= int64(least) && n <= int64(most) {
			return int(n)
		}
	}
	switch {
	case least == math.MinInt && most == math.MaxInt:
		c.Reject("is not a whole number")
	case least < 0:
		c.Reject(fmt.Sprintf("is not a whole number from %d to %d", least, most))
	default:
		c.Reject(fmt.Sprintf("is not a whole number %d–%d", least, most))
	}
	return 0
}

// Number returns a decimal number in the profile's notation.
func (c Column) Number() unit.Number {
	cell, ok := c.filled()
	if !ok {
		return 0
	}
	if plain, ok := c.t.rules.numerals.plain(cell); ok {
		if v, err := unit.ParseNumber(string(plain)); err == nil {
			return v
		}
	}
	c.Reject("is not a decimal number such as " + c.t.rules.numerals.example())
	return 0
}

var boolWords = []string{"yes", "no", "true", "false", "1", "0"}

// Bool returns yes, true and 1 as true, and no, false and 0 as false, whatever their case. Other
// words are for the profile's map of values.
func (c Column) Bool() bool {
	cell, ok := c.filled()
	if !ok {
		return false
	}
	for i, word := range boolWords {
		if strings.EqualFold(string(cell), word) {
			return i%2 == 0
		}
	}
	c.Reject("is not one of "+strings.Join(boolWords, ", "), boolWords...)
	return false
}

// Time returns the moment that the cell names in one of the profile's formats. A local time that
// does not exist is an error, and so is one that comes twice unless the profile says which counts.
func (c Column) Time() unit.Instant {
	cell, ok := c.filled()
	if !ok {
		return 0
	}
	at, problem := c.t.rules.clock.parse(cell)
	if problem != "" {
		c.Reject(problem)
	}
	return at
}

// nearest returns the word that differs from text by the fewest letters, if by few: one in a short
// word, two or three in a longer one.
func nearest(text string, words []string) string {
	const longest = 64 // bounds the work on a hostile header
	best, fewest := "", 4
	if len(text) > longest {
		return ""
	}
	for _, w := range words {
		if len(w) > longest {
			continue
		}
		d := distance([]rune(fold(text)), []rune(fold(w)))
		if d < fewest && d*3 <= max(len(w), len(text)) {
			best, fewest = w, d
		}
	}
	return best
}

// distance counts the letters to insert, delete, replace or swap with their neighbour (optimal
// string alignment).
func distance(a, b []rune) int {
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	for j := range rows[1] {
		rows[1][j] = j
	}
	for i := 1; i <= len(a); i++ {
		before, last, now := rows[0], rows[1], rows[2]
		now[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		rows = [3][]int{last, now, before}
	}
	return rows[1][len(b)]
}
