package chart

import "strings"

// Width returns the room that a text takes in this style, in pixels, with what the next font is
// wider where the page does not serve Inter.
func (s TextStyle) Width(text string) float64 { return textWidth(clean(text), s.Size, s.Bold) }

// Fit returns the text as one line, cut with an ellipsis so that it takes no more than width pixels;
// empty if not even one character and the ellipsis fit.
func (s TextStyle) Fit(text string, width float64) string { return fit(text, s.Size, s.Bold, width) }

// Wrap breaks a text at spaces into lines of no more than width pixels and no more lines than most; the
// last line is cut if the text is longer.
func (s TextStyle) Wrap(text string, width float64, most int) []string {
	var lines []string
	line := ""
	words := strings.Fields(clean(text))
	for i, word := range words {
		longer := strings.TrimSpace(line + " " + word)
		if line == "" || textWidth(longer, s.Size, s.Bold) <= width {
			line = longer
			continue
		}
		if len(lines) == most-1 {
			line = strings.Join(append([]string{line}, words[i:]...), " ")
			break
		}
		lines = append(lines, fit(line, s.Size, s.Bold, width))
		line = word
	}
	if line != "" {
		lines = append(lines, fit(line, s.Size, s.Bold, width))
	}
	return lines
}

// Box returns what a text without rotation covers at its place.
func (s TextStyle) Box(at Point, text string) (left, top, right, bottom float64) {
	b := textBox(s, at, clean(text))
	return b.left, b.top, b.right, b.bottom
}
