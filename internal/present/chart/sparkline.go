package chart

import (
	"math"
	"slices"
	"strings"
)

// Spark is a line the size of a word: values in order, equally spaced, NaN for a gap.
type Spark struct {
	Title    string
	Values   []float64
	Min, Max float64 // range; from the values if Min ≥ Max
	Level    float64 // a thin line at this value, if it lies in the range
	HasLevel bool
}

const sparkWidth, sparkHeight = 120.0, 24.0

// Sparkline returns the line as an SVG element of 120 by 24 pixels for use within text, the last
// value marked. It is an image named by its title; id is the prefix of its ids.
func Sparkline(s Spark, id string) []byte {
	c := &svgCanvas{id: identifier(id)}
	c.raw(`<svg xmlns="http://www.w3.org/2000/svg" class="ch ch-spark" role="img" aria-labelledby="`).raw(c.id)
	c.raw(`-title" viewBox="0 0 120 24" width="120" height="24"><title id="`).raw(c.id).raw(`-title">`).escaped(s.name()).raw("</title>\n")
	s.Draw(c, Point{}, sparkWidth, sparkHeight)
	return append(c.b, "</svg>\n"...)
}

// name returns the title and the last value.
func (s Spark) name() string {
	title := clean(s.Title)
	if title == "" {
		title = "values in order"
	}
	for _, v := range slices.Backward(s.Values) {
		if finite(v) {
			return title + ", last " + number(v)
		}
	}
	return title + ", no data"
}

// Draw draws the line into the rectangle whose upper left corner is at.
func (s Spark) Draw(c Canvas, at Point, width, height float64) {
	const margin = 3.5
	lo, hi := sparkRange(s.Values, s.Min, s.Max)
	y := ruler{domain: span{lo, hi}, from: at.Y + height - margin, to: at.Y + margin}
	if level, ok := y.at(s.Level); ok && s.HasLevel {
		c.Line(Style{Stroke: InkAction, Width: 0.8, Dash: Dotted}, Point{at.X, level}, Point{at.X + width, level})
	}
	x := ruler{domain: span{0, float64(max(len(s.Values)-1, 1))}, from: at.X + margin, to: at.X + width - margin}
	var run []Point
	var last Point
	drawn := false
	flush := func() {
		if len(run) == 1 { // a value between two gaps
			c.Marker(Style{Fill: InkData}, Circle, run[0], 0.8)
		}
		c.Polyline(Style{Stroke: InkData, Width: 1.2}, run)
		run = nil
	}
	for i, v := range s.Values {
		place, ok := y.clamped(v)
		if !ok {
			flush()
			continue
		}
		last, drawn = Point{x.pixel(float64(i)), place}, true
		run = append(run, last)
	}
	flush()
	if drawn {
		c.Marker(Style{Fill: InkData}, Circle, last, 2.2)
	}
}

// sparkRange returns lo and hi, from the values if lo ≥ hi or one is not a number.
func sparkRange(values []float64, lo, hi float64) (float64, float64) {
	if lo < hi && finite(lo) && finite(hi) {
		return lo, hi
	}
	s := noSpan()
	for _, v := range values {
		if finite(v) {
			s.add(v)
		}
	}
	if s.empty() {
		return 0, 1
	}
	return s.lo, s.hi
}

// SparkText returns the values as block elements ▁ (at lo and below) to █ (at hi and above), one a
// value, a space for what is not a number, for a terminal. With lo ≥ hi, or one not a number, the
// range is that of the values; if they are all equal, each is ▄.
func SparkText(values []float64, lo, hi float64) string {
	blocks := []rune("▁▂▃▄▅▆▇█")
	lo, hi = sparkRange(values, lo, hi)
	var b strings.Builder
	for _, v := range values {
		switch {
		case math.IsNaN(v):
			b.WriteByte(' ')
		case lo == hi:
			b.WriteRune('▄')
		default:
			level := math.Round((min(max(v, lo), hi) - lo) / (hi - lo) * float64(len(blocks)-1))
			b.WriteRune(blocks[int(level)])
		}
	}
	return b.String()
}
