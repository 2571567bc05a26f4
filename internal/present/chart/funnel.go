package chart

import (
	"cmp"
	"fmt"
	"slices"
)

// Funnel is a funnel plot: units by size, with the limits within which chance alone would leave a
// unit of that size. The caller computes the limits.
//
// Source: D. J. Spiegelhalter, Stat Med 2005;24:1185-1202.
type Funnel struct {
	Meta
	X, Y        Axis
	Units       []Unit
	Limits      []Funnelling
	Overall     float64 // the value of all units together; NaN for none
	OverallName string  // "overall" if empty
}

// Unit is one point of a funnel plot.
type Unit struct {
	Label   string
	Size    float64
	Value   float64
	Outside bool   // beyond the limits by the caller's rule: drawn as a diamond with its label
	Title   string // tooltip; label, size and value if empty
	Href    string
}

// Funnelling is a pair of limit curves: at size X[i] from Lo[i] to Hi[i]; NaN is a gap. Where the
// limits stand for over-dispersion or another second opinion, Adjusted draws them dotted.
type Funnelling struct {
	Label     string // such as "95 %"
	X, Lo, Hi []float64
	Adjusted  bool
}

func (f Funnelling) length() int { return min(len(f.X), len(f.Lo), len(f.Hi)) }

func (f Funnelling) style(rank int) Style {
	switch {
	case f.Adjusted:
		return Style{Stroke: InkSecond, Width: 1.2, Dash: Dotted}
	case rank == 0:
		return Style{Stroke: InkLimit, Width: 1.2, Dash: Dashed}
	}
	return Style{Stroke: InkLimit, Width: 1.2}
}

// Height implements [Picture].
func (f Funnel) Height(width float64) float64 { return min(max(0.55*width, 280), 480) }

// drawable returns the units that have a place, by size.
func (f Funnel) drawable() []Unit {
	units := make([]Unit, 0, len(f.Units))
	for _, u := range f.Units {
		_, okX := f.X.place(u.Size)
		_, okY := f.Y.place(u.Value)
		if okX && okY {
			units = append(units, u)
		}
	}
	slices.SortStableFunc(units, func(a, b Unit) int { return cmp.Compare(a.Size, b.Size) })
	return units
}

// Words implements [Picture].
func (f Funnel) Words() (title, desc string) {
	units := f.drawable()
	if len(units) == 0 {
		return f.words("Funnel plot", "No data.")
	}
	outside := ""
	n := 0
	for _, u := range units {
		if u.Outside {
			n++
			outside = joined(", ", outside, clean(u.Label))
		}
	}
	say := []string{counted(len(units), "unit", "units") + ", " + fmt.Sprintf("%d beyond the limits", n)}
	if outside != "" {
		say[0] += ": " + outside
	}
	say[0] += "."
	if finite(f.Overall) {
		say = append(say, sentence(f.OverallName, "overall")+" "+f.Y.text(f.Overall)+".")
	}
	for _, l := range f.Limits {
		if l.Label != "" {
			say = append(say, "Limits: "+clean(l.Label)+".")
		}
	}
	if left := len(f.Units) - len(units); left > 0 {
		say = append(say, counted(left, "unit has", "units have")+" no size or value that can be drawn.")
	}
	return f.words("Funnel plot", say...)
}

// Table implements [Picture]: one row for each unit in the order given.
func (f Funnel) Table() Table {
	title, _ := f.Words()
	t := Table{Caption: title, Header: []string{"Unit", heading(f.X, "Size"), heading(f.Y, "Value"), "Beyond the limits"}}
	for _, u := range f.Units {
		beyond := "no"
		if u.Outside {
			beyond = "yes"
		}
		t.Rows = append(t.Rows, []string{clean(u.Label), f.X.short(u.Size), f.Y.short(u.Value), beyond})
	}
	return t
}

// domains returns what the axes show: all units, and of the limits what lies above the size of the
// smaller half of the units, because towards size 0 they open without bound.
func (f Funnel) domains(units []Unit) (x, y span) {
	x, y = noSpan(), f.Y.domain(f.Overall)
	for _, u := range units {
		ux, _ := f.X.place(u.Size)
		uy, _ := f.Y.place(u.Value)
		x.add(ux)
		y.add(uy)
	}
	x = f.X.padded(x)
	middle := units[len(units)/2].Size
	for _, l := range f.Limits {
		for i := range l.length() {
			if _, ok := f.X.place(l.X[i]); !ok || l.X[i] < middle {
				continue
			}
			for _, v := range []float64{l.Lo[i], l.Hi[i]} {
				if u, ok := f.Y.place(v); ok {
					y.add(u)
				}
			}
		}
	}
	return x, f.Y.padded(y)
}

// Draw implements [Picture].
func (f Funnel) Draw(cv Canvas, width, height float64) {
	units := f.drawable()
	if len(units) == 0 {
		noData(cv, width, height)
		return
	}
	dx, dy := f.domains(units)
	y := ruler{axis: f.Y, domain: dy}
	left, right := labelRoom(y), 0.0
	labels := f.edgeLabels(dx)
	for _, l := range labels {
		right = max(right, textWidth(l.text, sizeTick, false))
	}
	plot := box{left + 10, 24, width - min(right+10, 0.3*width), height - xAxisHeight(f.X)}
	y.from, y.to = plot.bottom, plot.top
	x := ruler{axis: f.X, domain: dx, from: plot.left, to: plot.right}

	drawYAxis(cv, y, plot, Point{0, sizeLabel}, width)
	drawXAxis(cv, x, plot, width)
	cv.Clip(plot.left, plot.top, plot.width(), plot.height(), func() {
		for i, l := range f.Limits {
			for _, edge := range [][]float64{l.Lo, l.Hi} {
				drawCurve(cv, l.style(i), x, y, l.X, edge)
			}
		}
	})
	if at, ok := y.at(f.Overall); ok {
		cv.Line(Style{Stroke: InkLimit, Width: 1}, Point{plot.left, at}, Point{plot.right, at})
	}
	drawEdgeLabels(cv, labels, y, plot, width)
	taken := newPlacer(plot)
	for _, l := range f.Limits {
		for _, edge := range [][]float64{l.Lo, l.Hi} {
			for _, run := range curveRuns(x, y, l.X, edge) {
				for i := 1; i < len(run); i++ {
					takeLine(taken, run[i-1], run[i])
				}
			}
		}
	}
	f.units(cv, units, x, y, plot, taken)
}

// edgeLabels names the overall line and, where they leave the plot, the limits.
func (f Funnel) edgeLabels(x span) []edgeLabel {
	var labels []edgeLabel
	if finite(f.Overall) {
		name := clean(f.OverallName)
		if name == "" {
			name = "overall"
		}
		labels = append(labels, edgeLabel{name + " " + f.Y.short(f.Overall), f.Overall})
	}
	for _, l := range f.Limits {
		last := -1
		for i := range l.length() {
			if u, ok := f.X.place(l.X[i]); ok && u <= x.hi {
				last = i
			}
		}
		if last >= 0 {
			labels = append(labels, edgeLabel{clean(l.Label), l.Hi[last]}, edgeLabel{clean(l.Label), l.Lo[last]})
		}
	}
	return labels
}

// units draws the points and the labels of those outside.
func (f Funnel) units(cv Canvas, units []Unit, x, y ruler, plot box, taken *placer) {
	at := make([]Point, len(units))
	for i, u := range units {
		px, _ := x.clamped(u.Size)
		py, _ := y.clamped(u.Value)
		at[i] = Point{px, py}
		title := clean(u.Title)
		if title == "" {
			title = joined(", ", clean(u.Label), f.X.text(u.Size), f.Y.text(u.Value))
		}
		cv.Link(title, u.Href, func() {
			if u.Outside {
				cv.Marker(Style{Fill: InkSignal}, Diamond, at[i], 4.4)
				return
			}
			cv.Marker(Style{Fill: InkData, Stroke: InkPaper, Width: 0.7}, Circle, at[i], 3.4)
		})
		taken.take(around(at[i], 4.4))
	}
	labels := newPlacer(plot)
	overall, _ := y.clamped(f.Overall)
	for i, u := range units {
		text := fit(u.Label, sizeTick, false, 0.4*plot.width())
		if !u.Outside {
			continue
		}
		s := TextStyle{Ink: InkText, Size: sizeTick, Halo: true}
		taken.label(cv, labels, at[i], 4.4, s, text, at[i].Y > overall, further[:])
	}
}

// drawCurve draws the points that can be placed, in runs; those outside the range of an axis too,
// so that a clip cuts the line where it leaves.
func drawCurve(cv Canvas, s Style, x, y ruler, xs, ys []float64) {
	for _, run := range curveRuns(x, y, xs, ys) {
		cv.Polyline(s, run)
	}
}

// curveRuns returns the unbroken stretches of a curve in pixels, kept within a picture's length of
// the plot.
func curveRuns(x, y ruler, xs, ys []float64) [][]Point {
	var runs [][]Point
	var run []Point
	for i := range min(len(xs), len(ys)) {
		ux, okX := x.axis.place(xs[i])
		uy, okY := y.axis.place(ys[i])
		if !okX || !okY {
			if len(run) > 1 {
				runs = append(runs, run)
			}
			run = nil
			continue
		}
		run = append(run, Point{near(x, ux), near(y, uy)})
	}
	if len(run) > 1 {
		runs = append(runs, run)
	}
	return runs
}

// near returns the pixel of a place, no further from the axis than its own length.
func near(r ruler, u float64) float64 {
	lo, hi := min(r.from, r.to), max(r.from, r.to)
	return min(max(r.pixel(u), lo-(hi-lo)), hi+(hi-lo))
}
