package chart

import (
	"cmp"
	"slices"
)

// Forest is a forest plot: estimates with their intervals, one a row, against a line of no effect.
//
// Source: S. Lewis & M. Clarke, BMJ 2001;322:1479-1480.
type Forest struct {
	Meta
	X       Axis
	Null    float64 // the line of no effect; NaN for none
	Effects []Effect
	Columns []string // headers of the columns of text on the right
	Ranked  bool     // the largest estimate first and summaries last, else in the order given
}

// Effect is one row. Without a finite estimate it keeps its row but has no mark.
type Effect struct {
	Label            string
	Estimate, Lo, Hi float64
	Cells            []string // texts of the columns
	Summary          bool     // a diamond over the whole interval: rows combined
	Title, Href      string
}

func (f Forest) ranked() []Effect {
	effects := slices.Clone(f.Effects)
	if f.Ranked {
		slices.SortStableFunc(effects, func(a, b Effect) int {
			if a.Summary != b.Summary {
				if b.Summary {
					return -1
				}
				return 1
			}
			return -cmp.Compare(a.Estimate, b.Estimate)
		})
	}
	return effects
}

func (f Forest) stacked(width float64) bool { return width < narrow }

func (f Forest) row(width float64) float64 {
	if f.stacked(width) {
		return 36
	}
	return 22
}

// Height implements [Picture].
func (f Forest) Height(width float64) float64 {
	h := 24 + float64(len(f.Effects))*f.row(width) + xAxisHeight(f.X)
	return max(h, 120)
}

// LeastHeight is the height at which no two rows touch; a picture in less room is made smaller.
func (f Forest) LeastHeight(width float64) float64 {
	row := 15.0
	if f.stacked(width) {
		row = 28
	}
	return max(24+row*float64(len(f.Effects))+xAxisHeight(f.X), 120)
}

func (f Forest) drawn(e Effect) bool {
	_, ok := f.X.place(e.Estimate)
	return ok
}

func (f Forest) domain() span {
	s := noSpan()
	for _, e := range f.Effects {
		if f.drawn(e) {
			d := f.X.domain(e.Estimate, e.Lo, e.Hi)
			s.add(d.lo)
			s.add(d.hi)
		}
	}
	return s
}

// Words implements [Picture].
func (f Forest) Words() (title, desc string) {
	if f.domain().empty() {
		return f.words("Forest plot", "No data.")
	}
	above, below := 0, 0
	for _, e := range f.Effects {
		if e.Lo > f.Null {
			above++
		}
		if e.Hi < f.Null {
			below++
		}
	}
	say := []string{counted(len(f.Effects), "estimate", "estimates") + "."}
	if finite(f.Null) {
		say = append(say, counted(above, "interval lies", "intervals lie")+" above "+f.X.text(f.Null)+", "+number(float64(below))+" below.")
	}
	return f.words("Forest plot", say...)
}

// Table implements [Picture]: one row for each effect, in the order drawn.
func (f Forest) Table() Table {
	title, _ := f.Words()
	t := Table{Caption: title, Header: []string{"Name", heading(f.X, "Estimate"), "From", "To"}}
	for _, c := range f.Columns {
		t.Header = append(t.Header, clean(c))
	}
	for _, e := range f.ranked() {
		row := []string{clean(e.Label), f.X.short(e.Estimate), f.X.short(e.Lo), f.X.short(e.Hi)}
		for i := range f.Columns {
			row = append(row, clean(e.cell(i)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (e Effect) cell(i int) string {
	if i >= len(e.Cells) {
		return ""
	}
	return e.Cells[i]
}

// Draw implements [Picture]. On narrow paper label and columns stand above the interval.
func (f Forest) Draw(cv Canvas, width, height float64) {
	domain := f.domain()
	if domain.empty() {
		noData(cv, width, height)
		return
	}
	if u, ok := f.X.place(f.Null); ok {
		domain.add(u)
	}
	effects := f.ranked()
	d := forestDrawing{Forest: f, cv: cv, width: width}
	d.columns(effects)
	// On tall paper rows stay together: no more than half as high again as they need to be.
	row := min((height-24-xAxisHeight(f.X))/float64(len(effects)), 1.5*f.row(width))
	d.plot.top, d.plot.bottom = 24, 24+row*float64(len(effects))
	d.x = ruler{axis: f.X, domain: f.X.padded(domain), from: d.plot.left, to: d.plot.right}

	for _, t := range fitting(d.x.ticks, d.plot, width) {
		cv.Line(Style{Stroke: InkGrid, Width: 1}, Point{t.at, d.plot.top}, Point{t.at, d.plot.bottom})
	}
	drawXAxis(cv, d.x, d.plot, width)
	if x, ok := d.x.at(f.Null); ok {
		cv.Line(Style{Stroke: InkLimit, Width: 1.2}, Point{x, d.plot.top}, Point{x, d.plot.bottom})
	}
	d.headers()
	for i, e := range effects {
		d.effect(e, d.plot.top+row*(float64(i)+0.5), row)
	}
}

type forestDrawing struct {
	Forest
	cv    Canvas
	width float64
	plot  box
	x     ruler
	label float64   // room for labels
	right []float64 // right edges of the columns
}

// columns divides the width. Numbers cut off would mislead: a column that has no room is left to the
// table.
func (d *forestDrawing) columns(effects []Effect) {
	const gap = 12.0
	share := 0.45
	if d.stacked(d.width) {
		share = 0.62
	}
	var wide []float64
	total := 0.0
	for i, c := range d.Columns {
		w := textWidth(clean(c), sizeTick, false)
		for _, e := range effects {
			w = max(w, textWidth(clean(e.cell(i)), sizeTick, false))
		}
		if total+w+gap > share*d.width {
			break
		}
		total += w + gap
		wide = append(wide, w)
	}
	x := d.width
	d.right = make([]float64, len(wide))
	for i := len(wide) - 1; i >= 0; i-- {
		d.right[i] = x
		x -= wide[i] + gap
	}
	if d.stacked(d.width) {
		d.label = x
		d.plot = box{left: 8, right: d.width - 8}
		return
	}
	for _, e := range effects {
		d.label = max(d.label, textWidth(clean(e.Label), sizeLabel, e.Summary))
	}
	d.label = min(d.label, 0.3*d.width)
	d.plot = box{left: d.label + 14, right: x}
}

func (d *forestDrawing) headers() {
	for i, right := range d.right {
		d.cv.Text(TextStyle{Ink: InkMuted, Size: sizeTick, Anchor: End}, Point{right, 13}, d.Columns[i])
	}
}

// effect draws one row about its middle.
func (d *forestDrawing) effect(e Effect, middle, row float64) {
	base, bar := middle+0.36*sizeLabel, middle
	if d.stacked(d.width) {
		base, bar = middle-row/2+0.9*sizeLabel, middle+0.22*row
	}
	d.cv.Text(TextStyle{Ink: InkText, Size: sizeLabel, Bold: e.Summary, Halo: true}, Point{0, base},
		fit(e.Label, sizeLabel, e.Summary, d.label))
	for i, right := range d.right {
		d.cv.Text(TextStyle{Ink: InkText, Size: sizeTick, Anchor: End, Halo: true}, Point{right, base}, e.cell(i))
	}
	if !d.drawn(e) {
		return
	}
	title := clean(e.Title)
	if title == "" {
		title = joined(", ", clean(e.Label), d.X.text(e.Estimate)+" ("+d.X.short(e.Lo)+" to "+d.X.short(e.Hi)+")")
	}
	d.cv.Link(title, e.Href, func() { d.mark(e, bar) })
}

// mark draws estimate and interval. An end beyond the axis is an arrow head.
func (d *forestDrawing) mark(e Effect, y float64) {
	at, _ := d.x.clamped(e.Estimate)
	lo, okLo := d.x.clamped(e.Lo)
	hi, okHi := d.x.clamped(e.Hi)
	if e.Summary && okLo && okHi {
		d.cv.Polygon(Style{Fill: InkData}, []Point{{lo, y}, {at, y - 6}, {hi, y}, {at, y + 6}})
		return
	}
	if !okLo {
		lo = at
	}
	if !okHi {
		hi = at
	}
	d.cv.Line(Style{Stroke: InkData, Width: 1.6}, Point{lo, y}, Point{hi, y})
	if _, inside := d.x.at(e.Lo); okLo && !inside {
		d.cv.Marker(Style{Fill: InkData}, TriangleLeft, Point{lo + 4, y}, 3.4)
	}
	if _, inside := d.x.at(e.Hi); okHi && !inside {
		d.cv.Marker(Style{Fill: InkData}, TriangleRight, Point{hi - 4, y}, 3.4)
	}
	d.cv.Marker(Style{Fill: InkData, Stroke: InkPaper, Width: 0.7}, Square, Point{at, y}, 4)
}
