// Package text answers which characters harm whoever reads a text, and shows them instead of obeying them.
//
// Harmful are control characters, by which a terminal is told to clear its screen and a program to end, and
// those that turn the direction of writing or break lines unseen, so that a text reads otherwise than it is. New records never hold
// them; older ones may, and every writer of lists and lines goes through Visible or a Writer.
package text

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// Control says whether a character is a control character: C0, delete or C1.
func Control(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }

// Turns says whether a character turns the direction of writing.
func Turns(r rune) bool {
	return r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' || r == '\u200e' || r == '\u200f' || r == '\u061c'
}

// Unseen says whether a character takes no room: two codes that differ by it alone look the same. The signs that some
// scripts put before a number are of the same category and are seen.
func Unseen(r rune) bool {
	return !unicode.Is(unicode.Prepended_Concatenation_Mark, r) &&
		unicode.In(r, unicode.Cf, unicode.Variation_Selector, unicode.Other_Default_Ignorable_Code_Point)
}

// Blank says whether a text is there and yet shows nothing.
func Blank(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsSpace(r) && !Unseen(r) })
}

// Hides says whether a character is seen by nobody and carries nothing for whoever reads: tags, in which a second
// text can hide, spaces without width, and other fillers. What scripts and pictures need stays: the joiners, the
// selectors of variants, and the signs of formats that some scripts write with.
func Hides(r rune) bool {
	switch {
	case r == '\u200c' || r == '\u200d' || unicode.Is(unicode.Variation_Selector, r):
		return false
	case r >= 0xE0000 && r <= 0xE0FFF, r == '\u00ad', r == '\u200b', r >= '\u2060' && r <= '\u2064', r >= '\u206a' && r <= '\u206f', r == '\ufeff':
		return true
	case r >= '\ufff9' && r <= '\ufffb':
		return true
	}
	return unicode.Is(unicode.Other_Default_Ignorable_Code_Point, r) && r != '\u034f'
}

// Breaks says whether a character ends a line or a paragraph without being a line feed.
func Breaks(r rune) bool { return r == '\u2028' || r == '\u2029' }

// shown says whether a character stays as it is: line feeds and tabs do.
func shown(r rune) bool {
	return r == '\n' || r == '\t' || !Control(r) && !Turns(r) && !Breaks(r)
}

// Visible writes harmful characters as \u and their number, which in JSON means the same character; what is
// not UTF-8 becomes U+FFFD. Line feeds and tabs stay, and so does a carriage return before a line feed.
func Visible(s string) string {
	if utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !shown(r) }) {
		return s
	}
	var b strings.Builder
	for i, r := range s { // what is not UTF-8 comes as U+FFFD
		if shown(r) || r == '\r' && strings.HasPrefix(s[i+1:], "\n") {
			b.WriteRune(r)
			continue
		}
		fmt.Fprintf(&b, `\u%04x`, r)
	}
	return b.String()
}

// Writer hands on what is written to it as Visible shows it. A character may come in two pieces, and pieces
// from several goroutines.
type Writer struct {
	mu sync.Mutex
	to io.Writer
	// rest is the beginning of a character, or a carriage return, that the last piece ended with.
	rest []byte
}

// NewWriter returns a writer for a terminal or a pipe.
func NewWriter(to io.Writer) *Writer { return &Writer{to: to} }

// Line makes text fit to be shown in one line: what Visible leaves of line ends and tabs becomes a space.
func Line(s string) string {
	if !strings.ContainsAny(s, "\r\n\t") {
		return Visible(s)
	}
	return Visible(strings.NewReplacer("\r\n", " ", "\n", " ", "\t", " ").Replace(s))
}

// Write writes a piece.
func (w *Writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	all := append(w.rest, p...)
	end := len(all) - unfinished(all)
	w.rest = append([]byte(nil), all[end:]...)
	if _, err := io.WriteString(w.to, Visible(string(all[:end]))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// unfinished returns how many bytes at the end of a piece need the next one to be understood.
func unfinished(p []byte) int {
	if len(p) > 0 && p[len(p)-1] == '\r' {
		return 1
	}
	for n := 1; n <= min(len(p), utf8.UTFMax-1); n++ {
		tail := p[len(p)-n:]
		if utf8.RuneStart(tail[0]) {
			if !utf8.FullRune(tail) {
				return n
			}
			return 0
		}
	}
	return 0
}

// Spaced writes a name such as outer-distal-end in words.
func Spaced[T ~string](name T) string { return strings.ReplaceAll(string(name), "-", " ") }
