package table

import (
	"bytes"
	"fmt"
	"io"
)

// Peeked is what a file shows of itself before anybody says what is in it.
type Peeked struct {
	// Headers are the cells of its first record and Rows those of the next ones, trimmed.
	Headers []string
	Rows    [][]string
	// Delimiter and Encoding are those that the profile names or that were found, as a profile writes
	// them. The encoding is that of the whole file.
	Delimiter, Encoding string
}

// Peek reads the header and at most so many rows of r, whose name stands in errors, and looks through the
// rest for its encoding. Of the profile only the delimiter, the encoding and the lines to skip count. The
// errors are those of Open.
func Peek(name string, r io.Reader, profile Profile, rows int) (Peeked, error) {
	var p Peeked
	rules, fault := Profile{Delimiter: profile.Delimiter, Encoding: profile.Encoding, SkipLines: profile.SkipLines}.compile()
	if fault != nil {
		fault.File = "profile for " + name
		return p, fault
	}
	d, err := newDecoder(r, rules.encoding)
	if err != nil {
		return p, fmt.Errorf("%s: %w", name, err)
	}
	tok := newTokenizer(name, d, profile.Limits.MaxRecord)
	if err := tok.prologue(rules.delimiter, rules.skip); err != nil {
		return p, err
	}
	for len(p.Rows) < rows && tok.Next() {
		cells := make([]string, tok.Len())
		for i := range cells {
			cells[i] = string(bytes.TrimSpace(tok.Field(i)))
		}
		if p.Headers == nil {
			p.Headers = cells
			continue
		}
		p.Rows = append(p.Rows, cells)
	}
	if err := tok.Err(); err != nil {
		return p, err
	}
	if p.Headers == nil {
		return p, &HeaderError{File: name, Line: 1, Problem: "the file has no header row"}
	}
	// Where the rest cannot be decoded, reading the file says so, with the line.
	_, _ = io.Copy(io.Discard, d)
	p.Encoding, p.Delimiter = d.encoding, DelimiterName(tok.delim)
	return p, nil
}

// DelimiterName is the name that a profile has for a delimiter.
func DelimiterName(delimiter byte) string {
	switch delimiter {
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	case '|':
		return "pipe"
	}
	return "comma"
}

// Reads says whether a text is a moment as the clock writes it. A clock that is not complete reads
// nothing.
func (c Clock) Reads(text string) bool {
	ready, fault := c.compile()
	if fault != nil {
		return false
	}
	_, problem := ready.parse([]byte(text))
	return problem == ""
}

// SameName says whether two headers are the same but for case, spaces, hyphens and underscores.
func SameName(a, b string) bool { return fold(a) == fold(b) }

// Nearest returns the word that differs from a text by the fewest letters, if by few; else nothing.
func Nearest(text string, words []string) string { return nearest(text, words) }
