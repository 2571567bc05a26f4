package chart

import (
	"math"
	"slices"
	"strings"
	"time"
)

// Draw implements [Picture].
func (c Control) Draw(cv Canvas, width, height float64) {
	points := c.Main.sorted()
	if len(points) == 0 {
		noData(cv, width, height)
		return
	}
	d := controlDrawing{Control: c, cv: cv, width: width}
	panels := []*panelDrawing{{Panel: c.Main, points: points}}
	if c.Range != nil {
		if low := c.Range.sorted(); len(low) > 0 {
			panels = append(panels, &panelDrawing{Panel: *c.Range, points: low})
		}
	}
	d.layOut(panels, height)
	for _, p := range panels {
		d.shade(p.plot)
	}
	d.stems(panels[0].plot, panels[len(panels)-1].plot)
	for i, p := range panels {
		d.panel(p, i == 0, i == len(panels)-1)
	}
	d.flags(panels[0].plot)
}

// controlDrawing is what all panels share.
type controlDrawing struct {
	Control
	cv     Canvas
	width  float64
	x      timeRuler
	rows   []flag
	header box // where the flags stand, above the first panel
}

// panelDrawing is a panel with its place.
type panelDrawing struct {
	Panel
	points []placed
	plot   box
	y      ruler
}

const (
	rowHeight  = 15.0
	axisHeight = 34.0
	inset      = 6.0 // between plot edge and first and last point
)

// layOut finds margins, rulers and flags.
func (d *controlDrawing) layOut(panels []*panelDrawing, height float64) {
	left, right := 0.0, 0.0
	for _, p := range panels {
		p.y = ruler{axis: p.Y, domain: p.Y.padded(p.values())}
		left = max(left, labelRoom(p.y))
		for _, l := range p.edgeLabels() {
			right = max(right, textWidth(l.text, sizeTick, false))
		}
	}
	left, right = left+10, min(right+10, 0.32*d.width)

	d.x = timeRuler{domain: d.time(panels), from: left + inset, to: d.width - right - inset, location: locationOr(d.Location)}
	edge := d.width - right
	top := 2.0
	if d.Main.Y.title() != "" {
		top += rowHeight
	}
	// Flags take up to a third of the height and may stand above the margin on the right.
	var rows int
	d.rows, rows = d.flagRows(left, d.width, int(height/3/rowHeight))
	d.header = box{left, top, d.width, top + float64(rows)*rowHeight}
	room := height - d.header.bottom - 4 - axisHeight
	shares := []float64{room}
	const gap = 28.0
	if len(panels) == 2 {
		low := max(70, 0.27*(room-gap))
		shares = []float64{room - gap - low, low}
	}
	y := d.header.bottom + 4
	for i, p := range panels {
		p.plot = box{left, y, edge, y + shares[i]}
		p.y.from, p.y.to = p.plot.bottom, p.plot.top
		y = p.plot.bottom + gap
	}
}

// time returns the range of points and breaks.
func (d *controlDrawing) time(panels []*panelDrawing) span {
	s := noSpan()
	for _, p := range panels {
		s.add(seconds(p.points[0].At))
		s.add(seconds(p.points[len(p.points)-1].At))
	}
	for _, b := range d.Breaks {
		if !b.At.IsZero() {
			s.add(seconds(b.At))
		}
	}
	if s.lo == s.hi {
		return span{s.lo - 43200, s.hi + 43200} // a day about a single instant
	}
	return s
}

// values returns the range of all that the panel shows.
func (p *panelDrawing) values() span {
	var all []float64
	for _, q := range p.points {
		all = append(all, q.Y)
	}
	for _, l := range p.Limits {
		all = append(all, l.Centre, l.Lower, l.Upper)
	}
	for _, l := range p.Levels {
		all = append(all, l.Value)
	}
	for _, t := range p.Traces {
		all = append(all, t.Y[:min(len(t.Y), len(p.Points))]...)
	}
	return p.Y.domain(all...)
}

// edgeLabel names a line at the right edge of a panel.
type edgeLabel struct {
	text  string
	value float64
}

func (p *panelDrawing) edgeLabels() []edgeLabel {
	var labels []edgeLabel
	add := func(name string, v float64) {
		if _, ok := p.Y.place(v); ok {
			labels = append(labels, edgeLabel{joined(" ", clean(name), p.Y.short(v)), v})
		}
	}
	for _, l := range p.Levels {
		add(l.Label, l.Value)
	}
	if n := len(p.Limits); n > 0 {
		add("UCL", p.Limits[n-1].Upper)
		add("CL", p.Limits[n-1].Centre)
		add("LCL", p.Limits[n-1].Lower)
	}
	for _, t := range p.Traces {
		for i := min(len(t.Y), len(p.Points)) - 1; i >= 0 && !t.Dots; i-- {
			if _, ok := p.Y.place(t.Y[i]); ok {
				labels = append(labels, edgeLabel{clean(t.Label), t.Y[i]})
				break
			}
		}
	}
	return labels
}

// shade draws the backgrounds of a plot.
func (d *controlDrawing) shade(plot box) {
	stretch := func(p Period) (x0, x1 float64, ok bool) {
		x0, x1 = plot.left, plot.right
		if !p.From.IsZero() {
			x0 = d.x.at(p.From)
		}
		if !p.To.IsZero() {
			x1 = d.x.at(p.To)
		}
		outside := (!p.To.IsZero() && seconds(p.To) < d.x.domain.lo) || (!p.From.IsZero() && seconds(p.From) > d.x.domain.hi)
		return x0, x1, x1 >= x0 && !outside
	}
	for _, b := range d.Baselines {
		if x0, x1, ok := stretch(b); ok {
			d.cv.Rect(Style{Fill: InkShade}, x0, plot.top, x1-x0, plot.height())
		}
	}
	if d.Change == nil {
		return
	}
	if x0, x1, ok := stretch(*d.Change); ok {
		d.cv.Rect(Style{Fill: InkChangeShade}, x0, plot.top, x1-x0, plot.height())
		edge := Style{Stroke: InkSignal, Width: 1, Dash: Dotted}
		d.cv.Line(edge, Point{x0, plot.top}, Point{x0, plot.bottom})
		d.cv.Line(edge, Point{x1, plot.top}, Point{x1, plot.bottom})
	}
}

// panel draws one plot with everything in it. The title of the first stands above the flags, the
// dates stand below the last.
func (d *controlDrawing) panel(p *panelDrawing, first, last bool) {
	title := Point{0, p.plot.top - 9}
	if first {
		title.Y = sizeLabel
	}
	drawYAxis(d.cv, p.y, p.plot, title, d.width)
	if last {
		drawTimeAxis(d.cv, d.x, p.plot, d.width)
	} else {
		d.cv.Line(Style{Stroke: InkAxis, Width: 1}, Point{p.plot.left, p.plot.bottom}, Point{p.plot.right, p.plot.bottom})
	}
	for _, l := range p.Limits {
		d.zones(p, l)
	}
	d.limitLines(p)
	for _, l := range p.Levels {
		if y, ok := p.y.at(l.Value); ok {
			d.cv.Line(l.Kind.style(), Point{p.plot.left, y}, Point{p.plot.right, y})
		}
	}
	drawEdgeLabels(d.cv, p.edgeLabels(), p.y, p.plot, d.width)
	for _, t := range p.Traces {
		d.trace(p, t)
	}
	d.points(p)
}

// zones draws thin lines at one and two thirds of the way from a centre line to its limits.
func (d *controlDrawing) zones(p *panelDrawing, l Limits) {
	x0, x1 := d.ends(p, l)
	centre, ok := p.Y.place(l.Centre)
	if !p.Zones || !ok || x1 < x0 {
		return
	}
	for _, limit := range []float64{l.Lower, l.Upper} {
		outer, ok := p.Y.place(limit)
		for third := 1.0; ok && third <= 2; third++ {
			y := p.y.pixel(min(max(centre+(outer-centre)*third/3, p.y.domain.lo), p.y.domain.hi))
			d.cv.Line(Style{Stroke: InkAxis, Width: 0.6, Dash: Dotted}, Point{x0, y}, Point{x1, y})
		}
	}
}

// ends returns from where to where limits are drawn.
func (d *controlDrawing) ends(p *panelDrawing, l Limits) (x0, x1 float64) {
	x0, x1 = p.plot.left, p.plot.right
	if !l.From.IsZero() && seconds(l.From) > d.x.domain.lo {
		x0 = d.x.at(l.From)
	}
	if !l.To.IsZero() && seconds(l.To) < d.x.domain.hi {
		x1 = d.x.at(l.To)
	}
	return x0, x1
}

// limitLines draws centre lines and limits. Those that follow each other without a break are one
// line with steps, as those of a moving average.
func (d *controlDrawing) limitLines(p *panelDrawing) {
	for _, side := range []struct {
		style Style
		value func(Limits) float64
	}{
		{Style{Stroke: InkLimit, Width: 1}, func(l Limits) float64 { return l.Centre }},
		{Style{Stroke: InkLimit, Width: 1.2, Dash: Dashed}, func(l Limits) float64 { return l.Lower }},
		{Style{Stroke: InkLimit, Width: 1.2, Dash: Dashed}, func(l Limits) float64 { return l.Upper }},
	} {
		var run []Point
		for i, l := range p.Limits {
			if i > 0 && !d.follows(p.Limits[i-1], l) {
				d.cv.Polyline(side.style, run)
				run = nil
			}
			y, ok := p.y.at(side.value(l))
			if x0, x1 := d.ends(p, l); ok && x0 <= x1 {
				run = append(run, Point{x0, y}, Point{x1, y})
			} else {
				d.cv.Polyline(side.style, run)
				run = nil
			}
		}
		d.cv.Polyline(side.style, run)
	}
}

// follows says whether limits begin where others end, without a break.
func (d *controlDrawing) follows(a, b Limits) bool {
	return !a.To.IsZero() && a.To.Equal(b.From) && !d.broken(a.To, b.From)
}

// broken says whether a break lies from one instant to another, ends included.
func (d *controlDrawing) broken(from, to time.Time) bool {
	return slices.ContainsFunc(d.Breaks, func(b Break) bool { return !b.At.Before(from) && !b.At.After(to) })
}

// trace draws a further line or its dots.
func (d *controlDrawing) trace(p *panelDrawing, t Trace) {
	var run []Point
	flush := func() {
		d.cv.Polyline(Style{Stroke: InkSecond, Width: 1.4, Dash: Dashed}, run)
		run = nil
	}
	shown := d.thinnedBy(p.points, func(q placed) float64 { return t.value(q.index) }, func(q placed) bool { return math.IsNaN(t.value(q.index)) })
	for i, q := range shown {
		y, ok := p.y.at(t.value(q.index))
		switch {
		case !ok:
			flush()
		case t.Dots:
			d.cv.Marker(Style{Fill: InkAxis}, Circle, Point{d.x.at(q.At), y}, 1.6)
		default:
			if i > 0 && d.broken(shown[i-1].At, q.At) {
				flush()
			}
			run = append(run, Point{d.x.at(q.At), y})
		}
	}
	flush()
}

// points draws the line through the points, the points and the numbers of the signals.
func (d *controlDrawing) points(p *panelDrawing) {
	shown := d.thinned(p)
	at := make([]Point, len(shown))
	var run []Point
	flush := func() {
		d.cv.Polyline(Style{Stroke: InkData, Width: 1}, run)
		run = nil
	}
	before := -1
	for i, q := range shown {
		y, _ := p.y.clamped(q.Y)
		at[i] = Point{d.x.at(q.At), y}
		if q.Excluded {
			continue
		}
		if before >= 0 && d.broken(shown[before].At, q.At) {
			flush()
		}
		run = append(run, at[i])
		before = i
	}
	flush()

	radius := min(max(0.25*p.plot.width()/float64(len(shown)), 1.5), 3.2)
	taken := newPlacer(p.plot)
	for _, b := range d.uprightBoxes(p.plot) {
		taken.take(b)
	}
	for i := 1; i < len(at); i++ {
		takeLine(taken, at[i-1], at[i])
	}
	for i, q := range shown {
		d.cv.Link(d.pointTitle(p, q), q.Href, func() { drawControlMark(d.cv, q.ControlPoint, at[i], radius) })
		taken.take(around(at[i], markRadius(q.ControlPoint, radius)))
	}
	d.signalNumbers(p, shown, at, taken)
}

// mostNumbers is how many signals have their numbers written beside them at most. Of more, hardly any would
// find room, and looking for it takes longer than the rest of the picture.
const mostNumbers = 300

// signalNumbers writes the numbers beside the signals, as far as there is room.
func (d *controlDrawing) signalNumbers(p *panelDrawing, shown []placed, at []Point, taken *placer) {
	signals := 0
	for _, q := range shown {
		if q.Signal != "" {
			signals++
		}
	}
	if signals > mostNumbers {
		return
	}
	centre := (p.plot.top + p.plot.bottom) / 2
	// Better over a point or the line than over another number or a signal.
	crossable := newPlacer(p.plot)
	for _, b := range d.uprightBoxes(p.plot) {
		crossable.take(b)
	}
	for i, q := range shown {
		if q.Signal != "" {
			crossable.take(around(at[i], 4.2))
		}
	}
	for i, q := range shown {
		text := fit(q.Signal, sizeTick, true, 60)
		s := TextStyle{Ink: InkSignalText, Size: sizeTick, Bold: true, Halo: true}
		taken.label(d.cv, crossable, at[i], 4.2, s, text, at[i].Y > centre, closeBy[:])
	}
}

func markRadius(p ControlPoint, radius float64) float64 {
	if p.Signal != "" {
		return 4.2
	}
	return radius
}

func drawControlMark(cv Canvas, p ControlPoint, at Point, radius float64) {
	switch {
	case p.Excluded && p.Signal != "":
		cv.Marker(Style{Stroke: InkSignal, Fill: InkPaper, Width: 1.6}, Diamond, at, 4.2)
	case p.Signal != "":
		cv.Marker(Style{Fill: InkSignal}, Diamond, at, 4.2)
	case p.Excluded:
		cv.Marker(Style{Stroke: InkData, Fill: InkPaper, Width: 1.3}, Circle, at, max(radius, 2.6))
	default:
		cv.Marker(Style{Fill: InkData}, Circle, at, radius)
	}
}

func (d *controlDrawing) pointTitle(p *panelDrawing, q placed) string {
	if title := clean(q.Title); title != "" {
		return title
	}
	parts := []string{dated(q.At, d.x.location), p.Y.text(q.Y)}
	if q.Signal != "" {
		parts = append(parts, "signal "+q.Signal)
	}
	if q.Excluded {
		parts = append(parts, "left out of the limits")
	}
	return strings.Join(parts, ", ")
}

// thinned returns all points up to thinAbove, and above that the smallest and the largest of each
// column of pixels with every signal, every outlier, the first and the last.
func (d *controlDrawing) thinned(p *panelDrawing) []placed {
	return d.thinnedBy(p.points, func(q placed) float64 { return q.Y }, func(q placed) bool { return q.Signal != "" || q.Excluded })
}

// thinnedBy is thinned for other values than those of the points.
func (d *controlDrawing) thinnedBy(points []placed, value func(placed) float64, always func(placed) bool) []placed {
	if len(points) <= thinAbove {
		return points
	}
	keep := make([]bool, len(points))
	keep[0], keep[len(keep)-1] = true, true
	column, lowest, highest := math.Inf(-1), 0, 0
	for i, q := range points {
		if now := math.Floor(d.x.at(q.At)); now != column {
			keep[lowest], keep[highest] = true, true
			column, lowest, highest = now, i, i
		}
		if value(q) < value(points[lowest]) {
			lowest = i
		}
		if value(q) > value(points[highest]) {
			highest = i
		}
		keep[i] = keep[i] || always(q)
	}
	keep[lowest], keep[highest] = true, true
	var kept []placed
	for i, k := range keep {
		if k {
			kept = append(kept, points[i])
		}
	}
	return kept
}
