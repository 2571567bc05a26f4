package figure

import (
	"cmp"
	"fmt"
	"slices"

	"rinsate/internal/present/chart"
)

// longestLine returns how many lines state and level take, at most two, on the narrowest card that
// may lie above or below the scope.
func (l *schematicLayout) longestLine() int {
	narrowest := l.cardWidth((len(l.spots)+1)/2) - 18
	for _, x := range l.spots {
		if _, line := x.heading(); cardText.Width(line) > narrowest {
			return 2
		}
	}
	return 1
}

// cardWidth is the width of cards of which n stand side by side.
func (l *schematicLayout) cardWidth(n int) float64 {
	return min(max((l.width-float64(n-1)*cardGap-2)/float64(max(n, 1)), cardLeast), cardMost)
}

// rows puts the cards above and below a scope that lies.
func (l *schematicLayout) rows() {
	var rows [2][]*pin
	for i := range l.pins {
		p := &l.pins[i]
		rows[int(p.side+1)/2] = append(rows[int(p.side+1)/2], p)
	}
	l.origin.X = l.width - 16
	l.origin.Y = l.level() + 2
	if len(rows[0]) > 0 {
		l.origin.Y += l.cardHeight + leaderRoom
	}
	bottom := l.origin.Y + l.level() + rulerRoom
	for i, row := range rows {
		y := 1.0
		if i == 1 {
			y = bottom + leaderRoom
		}
		l.row(row, y)
	}
	if len(rows[1]) > 0 {
		bottom += leaderRoom + l.cardHeight
	}
	l.annotate(bottom)
}

// level is how far from the axis everything but ruler and cards has ended.
func (l *schematicLayout) level() float64 { return l.body + nub + l.pinRoom + pinRadius + 4 }

// row puts cards side by side, each as near to its marker as there is room.
func (l *schematicLayout) row(row []*pin, y float64) {
	if len(row) == 0 {
		return
	}
	slices.SortStableFunc(row, func(a, b *pin) int { return cmp.Compare(b.at, a.at) })
	w := l.cardWidth(len(row))
	wanted := make([]float64, len(row))
	for i, p := range row {
		wanted[i] = l.marker(*p).X
	}
	for i, x := range apart(wanted, w+cardGap, w/2+1, l.width-w/2-1) {
		row[i].card = rect{x - w/2, y, w, l.cardHeight}
	}
}

// column puts the cards at the right of a scope that stands.
func (l *schematicLayout) column() {
	const rulerLabels = 36
	l.origin = chart.Point{X: rulerLabels + l.body + rulerAway, Y: 8}
	left := l.origin.X + l.level() + 11
	order := make([]*pin, len(l.pins))
	for i := range l.pins {
		order[i] = &l.pins[i]
	}
	slices.SortStableFunc(order, func(a, b *pin) int { return cmp.Compare(a.at, b.at) })
	wanted := make([]float64, len(order))
	for i, p := range order {
		wanted[i] = l.marker(*p).Y
	}
	bottom := l.origin.Y + l.length + 16
	for i, y := range apart(wanted, l.cardHeight+cardGap, 1+l.cardHeight/2, bottom-l.cardHeight/2) {
		order[i].card = rect{left, y - l.cardHeight/2, min(l.width-left-1, cardMost), l.cardHeight}
	}
	l.annotate(bottom)
}

// noteStyle is that of the line beneath the picture.
var noteStyle = chart.TextStyle{Ink: chart.InkMuted, Size: 11}

// annotate says to what scale the picture is drawn, beneath it.
func (l *schematicLayout) annotate(bottom float64) {
	note := "Distance from the tip on a square-root scale."
	if l.bodyKnown {
		note = fmt.Sprintf("Distance from the tip on a square-root scale; widths %.0f times as large as lengths on average.", max(1, l.scale*l.longest/l.reach))
	}
	switch {
	case !l.bodyKnown:
		note += " Control body, cord and connector are not to scale."
	case !l.cordKnown:
		note += " Cord and connector are not to scale."
	}
	if l.widened {
		note += " The tube is drawn wider than it is, to hold its channels."
	}
	l.notes = noteStyle.Wrap(note, l.width, 5)
	l.height = bottom + 8 + 15*float64(len(l.notes)) + 4
}
