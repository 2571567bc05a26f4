package chart

import (
	"cmp"
	"slices"
)

// flag is a text above the plot that belongs to an instant.
type flag struct {
	text   string
	x      float64
	anchor Anchor
	row    int // counted from the top, -1 if it stands upright in the plot
	stem   bool
}

// flagRows arranges the names of baselines, change and breaks above what lies between left and
// right, in no more than most rows. What has no row stands upright in the plot, if there is room.
func (d *controlDrawing) flagRows(left, right float64, most int) (flags []flag, rows int) {
	add := func(f flag) {
		// A period that begins before the picture is named at its left edge.
		if f.x = max(f.x, left); f.text != "" || f.stem {
			flags = append(flags, f)
		}
	}
	period := func(p Period, fallback string) {
		f := flag{text: clean(p.Label), x: left}
		if f.text == "" {
			f.text = fallback
		}
		if !p.From.IsZero() {
			f.x = d.x.at(p.From)
		}
		if p.To.IsZero() || seconds(p.To) >= d.x.domain.lo {
			add(f)
		}
	}
	for _, b := range d.Baselines {
		period(b, "baseline")
	}
	if d.Change != nil {
		period(*d.Change, "change began")
	}
	for _, b := range d.Breaks {
		if !b.At.IsZero() {
			add(flag{text: clean(b.Reason), x: d.x.at(b.At), stem: true})
		}
	}
	slices.SortStableFunc(flags, func(a, b flag) int { return cmp.Compare(a.x, b.x) })
	items := make([]rowItem, len(flags))
	for i := range flags {
		items[i] = flags[i].fitBetween(left, right)
	}
	below, rows := arrange(items)
	rows = min(rows, most)
	upright := -1e9
	for i := range flags {
		f := &flags[i]
		if f.row = rows - 1 - below[i]; below[i] < most {
			continue
		}
		f.row = -1
		if f.x < upright+sizeTick+6 {
			f.text = "" // only in the description
			continue
		}
		upright = f.x
	}
	return flags, rows
}

// fitBetween chooses the side of the text and cuts it if neither has room.
func (f *flag) fitBetween(left, right float64) rowItem {
	f.text = fit(f.text, sizeTick, false, 230)
	w := textWidth(f.text, sizeTick, false)
	roomRight, roomLeft := right-f.x-4, f.x-left-4
	if w > roomRight && roomLeft > roomRight {
		f.anchor = End
		f.text = fit(f.text, sizeTick, false, roomLeft)
		return rowItem{f.x - 3 - textWidth(f.text, sizeTick, false), f.x, f.x, f.stem, true}
	}
	f.text = fit(f.text, sizeTick, false, roomRight)
	return rowItem{f.x, f.x + 3 + textWidth(f.text, sizeTick, false), f.x, f.stem, false}
}

// base returns the baseline of a flag's row.
func (d *controlDrawing) base(f flag) float64 {
	return d.header.top + float64(f.row)*rowHeight + 0.85*sizeTick
}

// stems draws the lines of the flags through all panels.
func (d *controlDrawing) stems(first, last box) {
	for _, f := range d.rows {
		if !f.stem {
			continue
		}
		top := first.top
		if f.row >= 0 {
			top = d.base(f) - 0.8*sizeTick
		}
		d.cv.Line(Style{Stroke: InkText, Width: 1, Dash: Dashed}, Point{f.x, top}, Point{f.x, last.bottom})
	}
}

// flags draws their texts.
func (d *controlDrawing) flags(first box) {
	for _, f := range d.rows {
		s := TextStyle{Ink: InkText, Size: sizeTick, Anchor: f.anchor}
		if !f.stem {
			s.Ink = InkMuted
		}
		if f.row < 0 {
			s.Rotate, s.Anchor, s.Halo = 90, End, true
			text := fit(f.text, sizeTick, false, first.height()-8)
			d.cv.Text(s, Point{f.x - 3, first.top + 3}, text)
			continue
		}
		x := f.x + 3
		if f.anchor == End {
			x = f.x - 3
		}
		textOnPaper(d.cv, s, Point{x, d.base(f)}, f.text)
	}
}

// textOnPaper sets a text on a piece of paper that hides the lines behind it.
func textOnPaper(cv Canvas, s TextStyle, at Point, text string) {
	if text == "" {
		return
	}
	b := textBox(s, at, text)
	cv.Rect(Style{Fill: InkPaper}, b.left-1, b.top, b.width()+2, b.height())
	cv.Text(s, at, text)
}

// uprightBoxes returns what the flags in a plot cover.
func (d *controlDrawing) uprightBoxes(plot box) []box {
	var boxes []box
	for _, f := range d.rows {
		if f.row < 0 && f.text != "" {
			boxes = append(boxes, box{f.x - 3 - sizeTick, plot.top, f.x, plot.top + 3 + textWidth(f.text, sizeTick, false)})
		}
	}
	return boxes
}
