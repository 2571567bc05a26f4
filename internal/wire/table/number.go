package table

import (
	"bytes"
	"unicode/utf8"
)

// maxNumber bounds the text of one number; a double never needs more than a few dozen digits.
const maxNumber = 64

// numerals says how a file writes numbers.
type numerals struct {
	decimal byte // '.' or ','
	group   byte // what separates thousands; 0 for nothing
	either  bool // a point or a space separates them, though not both in one number
}

// separator names the grouping character that r is, or 0. No-break and narrow spaces are what
// spreadsheets put where a person types a space.
func (n numerals) separator(r rune) byte {
	class := byte(0)
	switch r {
	case '.', ',', '\'':
		class = byte(r)
	case '\u2019':
		class = '\''
	case ' ', '\u00a0', '\u2009', '\u202f':
		class = ' '
	}
	if class == n.group || (n.either && (class == '.' || class == ' ')) {
		return class
	}
	return 0
}

// plain rewrites a number to a decimal point without grouping, and says whether each separator
// stood in its right place: after one to three digits first, then after every three. What it lets
// through is still to be parsed.
func (n numerals) plain(text []byte) ([]byte, bool) {
	if len(text) > maxNumber {
		return nil, false
	}
	if n.decimal == '.' && n.group == 0 {
		return text, true
	}
	out := make([]byte, 0, maxNumber)
	if len(text) > 0 && (text[0] == '+' || text[0] == '-') {
		out, text = append(out, text[0]), text[1:]
	}
	whole, part, fraction := bytes.Cut(text, []byte{n.decimal})
	var used byte // the separator of this number
	size := 0     // digits since the last one
	for len(whole) > 0 {
		r, width := utf8.DecodeRune(whole)
		whole = whole[width:]
		if r >= '0' && r <= '9' {
			out = append(out, byte(r))
			size++
			continue
		}
		s := n.separator(r)
		if s == 0 || size < 1 || size > 3 || (used != 0 && (s != used || size != 3)) {
			return nil, false
		}
		used, size = s, 0
	}
	if used != 0 && size != 3 {
		return nil, false
	}
	if fraction {
		if len(part) == 0 || len(bytes.Trim(part, "0123456789")) > 0 {
			return nil, false
		}
		out = append(append(out, '.'), part...)
	}
	return out, true
}

// example shows a person the form.
func (n numerals) example() string {
	if n.decimal == ',' {
		return "12 or 6,4"
	}
	return "12 or 6.4"
}
