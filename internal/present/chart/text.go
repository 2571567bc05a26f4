package chart

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

// How much room a text is given beyond its width in Inter: where the page does not serve the font,
// the next one (DejaVu Sans) sets ordinary labels up to 11 % wider, bold ones up to 21 %.
const (
	slack     = 1.12
	slackBold = 1.22
)

// ellipsis ends a text that was cut.
const ellipsis = "…"

// textWidth returns the room that a text takes, in pixels.
func textWidth(s string, size float64, bold bool) float64 {
	widths, room := regular(), slack
	if bold {
		widths, room = semiBold(), slackBold
	}
	sum := 0.0
	for _, r := range s {
		if w, ok := widths[r]; ok {
			sum += w
		} else {
			sum++ // a full square, as for ideographs
		}
	}
	return sum * size * room
}

// clean returns s as one line that any back end can set: valid UTF-8, controls as spaces, without
// characters that turn the direction of the text around them, trimmed.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Bidi_Control, r):
			return -1
		case r == '\u2028', r == '\u2029', unicode.IsControl(r):
			return ' '
		case r&0xfffe == 0xfffe, r >= 0xfdd0 && r <= 0xfdef: // not characters
			return utf8.RuneError
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// fit returns s, cut so that it takes no more than width pixels; empty if not even one character
// and the ellipsis fit.
func fit(s string, size float64, bold bool, width float64) string {
	s = clean(s)
	if textWidth(s, size, bold) <= width {
		return s
	}
	room := width - textWidth(ellipsis, size, bold)
	end, sum := 0, 0.0
	for at, r := range s {
		if sum += textWidth(string(r), size, bold); sum > room {
			break
		}
		end = at + utf8.RuneLen(r)
	}
	kept := strings.TrimRight(s[:end], " ,;:·-–(")
	if kept == "" {
		return ""
	}
	return kept + ellipsis
}

// wrap is [TextStyle.Wrap] for regular text.
func wrap(s string, size, width float64, most int) []string {
	return TextStyle{Size: size}.Wrap(s, width, most)
}

// textBox returns the rectangle that a text without rotation covers.
func textBox(s TextStyle, at Point, text string) box {
	w := textWidth(text, s.Size, s.Bold)
	left := at.X
	switch s.Anchor {
	case Start:
	case Middle:
		left -= w / 2
	case End:
		left -= w
	}
	return box{left, at.Y - 0.8*s.Size, left + w, at.Y + 0.25*s.Size}
}

// finite says whether v can be drawn: a number, and not so large that differences overflow.
func finite(v float64) bool { return math.Abs(v) <= 1e150 }
