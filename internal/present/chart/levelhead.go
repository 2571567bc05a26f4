package chart

import (
	"cmp"
	"slices"
)

// levelHead is a vertical level line with its name, and its interval as a bracket, above a plot.
type levelHead struct {
	level  Level
	x      float64
	lo, hi float64 // of the bracket, equal to x if there is none
	text   string
	anchor Anchor
	at     float64 // of the text
	row    int     // from above
}

// levelHeads places the levels within the range of a ruler, names beside brackets, in no more than
// most rows in which nothing touches. What has no row keeps its line; its name is in the table.
func levelHeads(levels []Level, r ruler, left, right float64, most int) (heads []levelHead, rows int) {
	for _, l := range levels {
		x, ok := r.at(l.Value)
		if !ok {
			continue
		}
		h := levelHead{level: l, x: x, lo: x, hi: x, text: joined(" ", clean(l.Label), r.axis.text(l.Value))}
		if lo, okLo := r.clamped(l.Lo); okLo && l.Lo < l.Hi {
			if hi, okHi := r.clamped(l.Hi); okHi {
				h.lo, h.hi = min(lo, x), max(hi, x)
			}
		}
		heads = append(heads, h)
	}
	slices.SortStableFunc(heads, func(a, b levelHead) int { return cmp.Compare(a.x, b.x) })
	items := make([]rowItem, len(heads))
	for i := range heads {
		items[i] = heads[i].fitBetween(left, right)
	}
	below, rows := arrange(items)
	rows = min(rows, most)
	for i := range heads {
		h := &heads[i]
		if h.row = rows - 1 - below[i]; h.row < 0 {
			h.row, h.text, h.lo, h.hi = rows, "", h.x, h.x
		}
	}
	return heads, rows
}

// fitBetween chooses the side of the name and cuts it if neither has room.
func (h *levelHead) fitBetween(left, right float64) rowItem {
	roomRight, roomLeft := right-h.hi-5, h.lo-left-5
	if w := textWidth(h.text, sizeTick, false); w > roomRight && roomLeft > roomRight {
		h.anchor, h.at = End, h.lo-5
		h.text = fit(h.text, sizeTick, false, roomLeft)
		return rowItem{h.at - textWidth(h.text, sizeTick, false), h.hi, h.x, true, true}
	}
	h.at = h.hi + 5
	h.text = fit(h.text, sizeTick, false, roomRight)
	return rowItem{h.lo, h.at + textWidth(h.text, sizeTick, false), h.x, true, false}
}

// drawLevelHeads draws the lines through the plot, and names and brackets in rows from top.
func drawLevelHeads(cv Canvas, heads []levelHead, top float64, plot box) {
	middle := func(h levelHead) float64 { return top + rowHeight*float64(h.row) + rowHeight/2 }
	for _, h := range heads {
		cv.Line(h.level.Kind.style(), Point{h.x, middle(h) - 5}, Point{h.x, plot.bottom})
	}
	for _, h := range heads {
		y := middle(h)
		if h.lo < h.hi {
			s := h.level.Kind.style()
			s.Dash = Solid
			cv.Line(s, Point{h.lo, y}, Point{h.hi, y})
			cv.Line(s, Point{h.lo, y - 3}, Point{h.lo, y + 3})
			cv.Line(s, Point{h.hi, y - 3}, Point{h.hi, y + 3})
		}
		textOnPaper(cv, TextStyle{Ink: InkText, Size: sizeTick, Anchor: h.anchor}, Point{h.at, y + 0.36*sizeTick}, h.text)
	}
}
