package kit

import (
	"html/template"

	"rinsate/internal/present/chart"
)

// Picture is a picture laid out for three widths of window, of which the style sheet shows one, and the
// same in a table.
type Picture struct {
	Wide, Middle, Narrow template.HTML
	Table                chart.Table
}

// The widths that pictures are laid out for, in pixels: of the text column on a PC, on a tablet and on a
// phone.
const (
	wideLayout   = 1100
	middleLayout = 640
	narrowLayout = 300
)

// Pictured draws a picture; id tells its ids from those of other pictures of the page.
func Pictured(id string, p chart.Picture) Picture {
	d := Drawing(id, p)
	d.Table = p.Table()
	return d
}

// Drawing is pictured without the table, for a picture whose numbers the page lists itself.
func Drawing(id string, p chart.Picture) Picture {
	draw := func(suffix string, width float64) template.HTML {
		return template.HTML(chart.SVG(p, chart.SVGOptions{ID: id + suffix, Width: width})) //nolint:gosec // drawn by chart, which escapes texts
	}
	return Picture{Wide: draw("-wide", wideLayout), Middle: draw("-middle", middleLayout), Narrow: draw("-narrow", narrowLayout)}
}
