// Package chart draws the pictures that readings are judged by, once, on a small [Canvas] that has
// two back ends: SVG for pages and PDF for reports.
//
// It takes values and gives bytes. It knows nothing of endoscopes or of where a page lives, reads
// no clock, and the same picture always gives the same bytes. Bad values never break a picture:
// what is not a number is left out, and a picture without any number says "no data".
//
// To know first: the pictures [Control], [Funnel], [ROC], [OC], [Forest] and [Histogram]; what they
// have in common, [Picture]; then [SVG] and [PDF] to draw one, [DrawPDF] to draw it into a report,
// and [Table] for the same numbers in words. [Stylesheet] belongs into the page's style sheet, once.
// Small lines beside text are [Sparkline] and [SparkText].
//
// Lengths are CSS pixels (1/96 inch) with y downwards. A picture is laid out for the width it is
// asked for, so that text keeps its size: ask for 320 for a telephone, not for 1000 scaled down.
package chart

import "strings"

// Picture is something that can be drawn on a canvas and told as a table.
type Picture interface {
	// Words returns the name of the picture, a few words, and its description in sentences: what
	// the caller gave, then what is to be seen in numbers.
	Words() (title, desc string)

	// Table returns the numbers that the picture shows.
	Table() Table

	// Height returns the height that suits a width.
	Height(width float64) float64

	// Draw draws the picture into the rectangle from 0,0 to width,height.
	Draw(c Canvas, width, height float64)
}

// Meta is the name of a picture and what the caller says about it.
type Meta struct {
	Title string
	Desc  string
}

// words returns the title, never empty, and the description followed by the given sentences.
func (m Meta) words(fallback string, sentences ...string) (title, desc string) {
	title = clean(m.Title)
	if title == "" {
		title = fallback
	}
	parts := make([]string, 0, 1+len(sentences))
	for _, s := range append([]string{clean(m.Desc)}, sentences...) {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return title, strings.Join(parts, " ")
}

// Sizes of text in pixels. Nothing is smaller than sizeTick.
const (
	sizeTick  = 11.0
	sizeLabel = 12.0
	sizeTitle = 15.0
)

// minWidth is the narrowest layout: narrower pictures are scaled down from it.
const minWidth = 240.0

// narrow is the width below which a picture gives up margins for its plot.
const narrow = 480.0

// noData is the whole of a picture that has nothing to show.
func noData(c Canvas, width, height float64) {
	c.Rect(Style{Stroke: InkGrid, Width: 1}, 0.5, 0.5, width-1, height-1)
	c.Text(TextStyle{Ink: InkMuted, Size: sizeLabel, Anchor: Middle}, Point{width / 2, height/2 + sizeLabel/3}, "no data")
}
