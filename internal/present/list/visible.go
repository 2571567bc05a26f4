package list

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"unicode/utf8"
)

// Visible makes text fit to be shown in one line anywhere. What would act instead of being seen is written out,
// such as \u001b: control characters (C0, DEL, C1), characters that turn the direction of writing, separators
// of lines and paragraphs, and bytes that are no text (\x9b). A line break becomes a space.
func Visible(text string) string {
	if !strings.ContainsFunc(text, acts) && utf8.ValidString(text) {
		return text
	}
	text = strings.NewReplacer("\r\n", " ", "\n", " ").Replace(text)
	var b strings.Builder
	for text != "" {
		text = text[writeVisible(&b, text):]
	}
	return b.String()
}

// acts says whether a character does something where text is shown.
func acts(r rune) bool {
	switch {
	case r < ' ', r >= 0x7F && r <= 0x9F:
		return true
	case r == 0x061C, r == 0x200E, r == 0x200F, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
		return true // UAX #9, the explicit and the implicit directional formatting characters
	}
	return r == 0x2028 || r == 0x2029
}

// writeVisible writes the character with which text begins, and returns its length. All characters that act have
// four hexadecimal digits, so that within a string of JSON the text still means what it meant.
func writeVisible(b *strings.Builder, text string) int {
	r, size := utf8.DecodeRuneInString(text)
	switch {
	case r == utf8.RuneError && size == 1:
		fmt.Fprintf(b, `\x%02x`, text[0])
	case acts(r):
		fmt.Fprintf(b, `\u%04x`, r)
	default:
		b.WriteString(text[:size])
	}
	return size
}

// Screen is what a command prints to: what would act on a terminal is written out as by Visible, but for line
// breaks and tabs. A character may come in pieces, and from several goroutines.
type Screen struct {
	mu   sync.Mutex
	to   io.Writer
	rest []byte // the beginning of a character
}

// NewScreen prints to a writer.
func NewScreen(to io.Writer) *Screen { return &Screen{to: to} }

// Write prints text.
func (s *Screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	text := string(s.rest) + string(p)
	s.rest = nil
	var b strings.Builder
	b.Grow(len(text))
	for text != "" {
		switch {
		case text[0] == '\n' || text[0] == '\t':
			b.WriteByte(text[0])
			text = text[1:]
		case !utf8.FullRuneInString(text):
			s.rest, text = []byte(text), ""
		default:
			text = text[writeVisible(&b, text):]
		}
	}
	if _, err := io.WriteString(s.to, b.String()); err != nil {
		return 0, err
	}
	return len(p), nil
}
