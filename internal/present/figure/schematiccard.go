package figure

import (
	"math"
	"strings"

	"rinsate/internal/present/chart"
)

// pin draws a marker, its leader and its card. Marker and card lead to the same page.
func (d schematicDrawing) pin(p *pin) {
	at := d.marker(*p)
	d.leader(*p, at)
	shape, style := p.mark()
	d.cv.Link(d.title(*p.spot), p.Href, func() {
		d.cv.Marker(chart.Style{Fill: chart.InkPaper}, chart.Circle, at, pinRadius+3)
		d.cv.Marker(style, shape, at, pinRadius)
	})
	d.card(*p)
}

// leader leads from a marker straight away from the scope and then to the card.
func (d schematicDrawing) leader(p pin, at chart.Point) {
	style := chart.Style{Stroke: chart.InkAxis, Width: 1}
	d.cv.Line(style, d.place(p.at, d.edge(p)), at)
	var bend, end chart.Point
	if d.upright {
		bend = chart.Point{X: d.origin.X + d.level(), Y: at.Y}
		end = chart.Point{X: p.card.x, Y: min(max(at.Y, p.card.y+12), p.card.y+p.card.h-12)}
	} else {
		bend = chart.Point{X: at.X, Y: d.origin.Y + p.side*d.level()}
		end = chart.Point{X: min(max(at.X, p.card.x+12), p.card.x+p.card.w-12), Y: p.card.y}
		if p.side > 0 {
			bend.Y += rulerRoom
		} else {
			end.Y += p.card.h
		}
	}
	d.cv.Polyline(style, []chart.Point{at, bend, end})
}

// Styles of text on a card.
var (
	cardName  = chart.TextStyle{Ink: chart.InkText, Size: 12, Bold: true}
	cardValue = chart.TextStyle{Ink: chart.InkText, Size: 15, Bold: true}
	cardText  = chart.TextStyle{Ink: chart.InkText, Size: 11}
	cardSmall = chart.TextStyle{Ink: chart.InkMuted, Size: 11}
)

// card tells a point in words. Its upper edge is drawn as the channel is.
func (d schematicDrawing) card(p pin) {
	pad := 9.0
	if d.upright {
		pad = 7
	}
	r, x, wide := p.card, p.card.x+pad, p.card.w-2*pad
	shape, style := p.mark()
	spark, beside := d.spark(p, x, wide)
	d.cv.Link(d.title(*p.spot), p.Href, func() {
		d.cv.Rect(chart.Style{Fill: chart.InkPaper, Stroke: chart.InkAxis, Width: 1}, r.x, r.y, r.w, r.h)
		write := func(s chart.TextStyle, x, y, room float64, text string) {
			if text = s.Fit(text, room); text != "" {
				d.cv.Text(s, chart.Point{X: x, Y: r.y + y}, text)
			}
		}
		write(cardName, x, 21, wide, shortened(p.name, wide))
		d.cv.Marker(style, shape, chart.Point{X: x + 6, Y: r.y + 35}, 5.5)
		head, line := p.heading()
		write(headStyle(p), x+18, 40, wide-18-beside, head)
		for i, text := range cardText.Wrap(line, wide, d.cardLines) {
			write(cardText, x, 56+14*float64(i), wide, text)
		}
		when, room := d.when(*p.spot), wide
		if spark != nil && beside == 0 {
			room -= sparkLess
		}
		if date, _, found := strings.Cut(when, ","); found && cardSmall.Width(when) > room {
			when = date
		}
		write(cardSmall, x, r.h-23, room, when)
		write(cardSmall, x, r.h-8, wide, p.size)
	})
	d.key(p)
	if spark != nil {
		spark()
	}
}

// shortened leaves the word channel to the picture where there is no room for it.
func shortened(name string, room float64) string {
	const word = " channel"
	if cardName.Width(name) > room && len(name) > len(word) && name[len(name)-len(word):] == word {
		return name[:len(name)-len(word)]
	}
	return name
}

// heading is what a card says first, large, and what it says next.
func (s spot) heading() (head, line string) {
	if s.Value == "" {
		return s.word(), joined(" · ", s.NotApplicable, s.Level)
	}
	return s.Value, joined(" · ", s.word(), s.NotApplicable, s.Level)
}

// headStyle sets a reading large and a word in its stead less so.
func headStyle(p pin) chart.TextStyle {
	if p.Value == "" {
		return chart.TextStyle{Ink: chart.InkText, Size: 12}
	}
	return cardValue
}

// sparkRoom is what a small line of readings takes on a card beside the value, sparkLess what it takes
// beside the date.
const sparkRoom, sparkLess = 58.0, 42.0

// spark returns what draws the latest readings and how much room it takes beside the value: none
// where it stands beside the date, because there is not enough. It is nil for fewer than two.
func (d schematicDrawing) spark(p pin, x, wide float64) (draw func(), beside float64) {
	if len(p.Recent) < 2 {
		return nil, 0
	}
	s := chart.Spark{Values: p.Recent}
	if p.Limit > 0 {
		s.Level, s.HasLevel = p.Limit, true
		s.Min, s.Max = p.Limit, p.Limit
		for _, v := range p.Recent {
			if !math.IsNaN(v) {
				s.Min, s.Max = min(s.Min, v), max(s.Max, v)
			}
		}
	}
	at, width, height := chart.Point{Y: p.card.y + 24}, sparkRoom-6, 22.0
	if head, _ := p.heading(); wide-18-sparkRoom < headStyle(p).Width(head) {
		at.Y, width, height = p.card.y+p.card.h-36, sparkLess-4, 18
	} else {
		beside = sparkRoom
	}
	at.X = x + wide - width
	return func() { s.Draw(d.cv, at, width, height) }, beside
}

// key draws the upper edge of a card: a piece of the channel, or hatching.
func (d schematicDrawing) key(p pin) {
	r := p.card
	if p.channel >= 0 {
		style := laneStyle(d.lanes[p.channel].Kind)
		d.cv.Rect(chart.Style{Fill: chart.InkPaper, Stroke: chart.InkAxis, Width: 1}, r.x, r.y, r.w, 6)
		style.Width = 4
		d.cv.Line(style, chart.Point{X: r.x + 1, Y: r.y + 3}, chart.Point{X: r.x + r.w - 1, Y: r.y + 3})
		return
	}
	d.cv.Rect(chart.Style{Fill: chart.InkShade, Stroke: chart.InkAxis, Width: 1}, r.x, r.y, r.w, 6)
	for x := r.x; x+6 <= r.x+r.w; x += 6 {
		d.cv.Line(chart.Style{Stroke: chart.InkAxis, Width: 0.8}, chart.Point{X: x, Y: r.y + 6}, chart.Point{X: x + 6, Y: r.y})
	}
}
