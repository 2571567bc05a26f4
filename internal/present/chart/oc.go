package chart

import (
	"slices"
)

// OC is a set of operating characteristic curves: a probability, such as that of cleaning again,
// against the true value, such as the median reading, for several plans.
type OC struct {
	Meta
	X      Axis
	Y      Axis // [Percent] for probabilities as fractions
	Curves []OCCurve
	Levels []Level // vertical lines at values of X
	Marks  []OCMark
}

// OCCurve is one plan: at X[i] the probability P[i]; what cannot be drawn is a gap.
type OCCurve struct {
	Label string
	X, P  []float64
	Href  string
}

// OCMark is a point to which the picture draws attention.
type OCMark struct {
	X, P        float64
	Label       string
	Title, Href string
}

func (c OCCurve) length() int { return min(len(c.X), len(c.P)) }

// Height implements [Picture].
func (o OC) Height(width float64) float64 { return min(max(0.55*width, 280), 460) }

func (o OC) domains() (x, y span) {
	x, y = noSpan(), noSpan()
	for _, c := range o.Curves {
		for i := range c.length() {
			addBoth(&x, &y, o.X, o.Y, c.X[i], c.P[i])
		}
	}
	for _, m := range o.Marks {
		addBoth(&x, &y, o.X, o.Y, m.X, m.P)
	}
	return x, y
}

func addBoth(x, y *span, ax, ay Axis, vx, vy float64) {
	ux, okX := ax.place(vx)
	uy, okY := ay.place(vy)
	if okX && okY {
		x.add(ux)
		y.add(uy)
	}
}

// Words implements [Picture].
func (o OC) Words() (title, desc string) {
	if x, _ := o.domains(); x.empty() {
		return o.words("Operating characteristic", "No data.")
	}
	names := ""
	for _, c := range o.Curves {
		names = joined("; ", names, clean(c.Label))
	}
	say := []string{counted(len(o.Curves), "curve", "curves") + ": " + names + "."}
	for _, l := range o.Levels {
		say = append(say, sentence(l.Label, "level")+" at "+o.X.text(l.Value)+".")
	}
	for _, m := range o.Marks {
		say = append(say, sentence(m.Label, "mark")+": "+o.X.text(m.X)+", "+o.Y.text(m.P)+".")
	}
	return o.words("Operating characteristic", say...)
}

// Table implements [Picture]: one row for each value of X, one column for each curve, then the marks.
func (o OC) Table() Table {
	title, _ := o.Words()
	t := Table{Caption: title, Header: []string{heading(o.X, "True value")}}
	rows := map[float64][]string{}
	for i, c := range o.Curves {
		t.Header = append(t.Header, clean(c.Label))
		for j := range c.length() {
			if !finite(c.X[j]) {
				continue
			}
			if rows[c.X[j]] == nil {
				rows[c.X[j]] = make([]string, len(o.Curves))
			}
			rows[c.X[j]][i] = o.Y.short(c.P[j])
		}
	}
	order := make([]float64, 0, len(rows))
	for x := range rows {
		order = append(order, x)
	}
	slices.Sort(order)
	for _, x := range order {
		t.Rows = append(t.Rows, append([]string{o.X.short(x)}, rows[x]...))
	}
	if len(o.Marks) > 0 {
		t.Header = append(t.Header, "Mark")
		for i := range t.Rows {
			t.Rows[i] = append(t.Rows[i], "")
		}
	}
	for _, m := range o.Marks {
		row := append([]string{o.X.short(m.X)}, make([]string, len(o.Curves))...)
		t.Rows = append(t.Rows, append(row, joined(", ", clean(m.Label), o.Y.short(m.P))))
	}
	return t
}

// Draw implements [Picture].
func (o OC) Draw(cv Canvas, width, height float64) {
	dx, dy := o.domains()
	if dx.empty() {
		noData(cv, width, height)
		return
	}
	for _, l := range o.Levels {
		if u, ok := o.X.place(l.Value); ok {
			dx.add(u)
		}
	}
	if o.Y.Scale == Percent && dy.lo >= 0 && dy.hi <= 1 {
		dy = span{0, 1}
	} else {
		dy = o.Y.padded(dy)
	}
	if o.X.Min < o.X.Max || dx.lo == dx.hi {
		dx = o.X.padded(dx)
	}
	y := ruler{axis: o.Y, domain: dy}
	left := labelRoom(y)
	plot := box{left + 10, 24, width - 14, height - xAxisHeight(o.X)}
	x := ruler{axis: o.X, domain: dx, from: plot.left, to: plot.right}
	heads, rows := levelHeads(o.Levels, x, plot.left, width, int(height/3/rowHeight))
	plot.top += rowHeight * float64(rows)
	y.from, y.to = plot.bottom, plot.top

	drawYAxis(cv, y, plot, Point{0, sizeLabel}, width)
	drawXAxis(cv, x, plot, width)
	drawLevelHeads(cv, heads, 20, plot)
	var lines [][]Point
	cv.Clip(plot.left, plot.top-1, plot.width(), plot.height()+2, func() {
		for i, c := range o.Curves {
			cv.Link(clean(c.Label), c.Href, func() {
				drawCurve(cv, curveStyle(i), x, y, c.X[:c.length()], c.P[:c.length()])
			})
			var all []Point
			for _, run := range curveRuns(x, y, c.X[:c.length()], c.P[:c.length()]) {
				all = append(all, run...)
			}
			lines = append(lines, all)
		}
	})
	taken := newPlacer(plot)
	for _, h := range heads {
		taken.take(box{h.x - 2, plot.top, h.x + 2, plot.bottom})
	}
	o.marks(cv, x, y, taken)
	o.names(cv, lines, plot, taken)
}

func (o OC) marks(cv Canvas, x, y ruler, taken *placer) {
	for _, m := range o.Marks {
		px, okX := x.at(m.X)
		py, okY := y.at(m.P)
		if !okX || !okY {
			continue
		}
		at := Point{px, py}
		title := clean(m.Title)
		if title == "" {
			title = joined(", ", clean(m.Label), o.X.text(m.X), o.Y.text(m.P))
		}
		cv.Link(title, m.Href, func() { cv.Marker(Style{Fill: InkPaper, Stroke: InkText, Width: 1.6}, Diamond, at, 4.4) })
		taken.take(around(at, 6))
		s := TextStyle{Ink: InkText, Size: sizeTick, Bold: true, Halo: true}
		text := fit(m.Label, sizeTick, true, 0.5*(x.to-x.from))
		taken.label(cv, nil, at, 6, s, text, true, further[:])
	}
}

// names writes the name of each curve beside it, where it is furthest from the other curves.
func (o OC) names(cv Canvas, lines [][]Point, plot box, taken *placer) {
	var keyed []int
	for i, c := range o.Curves {
		text := fit(c.Label, sizeTick, false, 0.45*plot.width())
		if text == "" || len(lines[i]) == 0 {
			continue
		}
		if !nameCurve(cv, text, i, lines, taken) {
			keyed = append(keyed, i)
		}
	}
	// What finds no place on its curve gets one in a corner, with a sample of the line.
	for _, i := range keyed {
		text := fit(o.Curves[i].Label, sizeTick, false, 0.45*plot.width())
		s := TextStyle{Ink: InkText, Size: sizeTick, Halo: true}
		for _, corner := range corners(plot, textWidth(text, sizeTick, false)+34) {
			at := Point{corner.X + 32, corner.Y}
			b := textBox(s, at, text)
			b.left -= 32
			if !taken.free(b) || crossedByAny(b, lines) {
				continue
			}
			taken.take(b)
			cv.Line(curveStyle(i), Point{corner.X + 2, corner.Y - 4}, Point{corner.X + 27, corner.Y - 4})
			cv.Text(s, at, text)
			break
		}
	}
}

// corners returns baselines in the corners of a plot, nearest to the corner first.
func corners(plot box, width float64) []Point {
	var places []Point
	for row := range 12 {
		d := 14 * float64(row)
		places = append(places,
			Point{plot.left + 6, plot.top + 14 + d},
			Point{plot.right - 6 - width, plot.bottom - 8 - d},
			Point{plot.right - 6 - width, plot.top + 14 + d},
			Point{plot.left + 6, plot.bottom - 8 - d})
	}
	return places
}

func crossedByAny(b box, lines [][]Point) bool {
	return slices.ContainsFunc(lines, func(line []Point) bool { return crossedBy(b, line) })
}

func crossedBy(b box, line []Point) bool {
	for i := 1; i < len(line); i++ {
		if b.crossed(line[i-1], line[i]) {
			return true
		}
	}
	return false
}

// nameCurve writes text beside line i where no other name is and no line passes, as far from the
// other lines as it can. False if there is no such place.
func nameCurve(cv Canvas, text string, i int, lines [][]Point, taken *placer) bool {
	type candidate struct {
		at     Point
		anchor Anchor
	}
	best, bestClear := candidate{}, 0.0
	for _, p := range resampled(lines[i], 48) {
		for _, c := range []candidate{
			{Point{p.X + 6, p.Y + 0.36*sizeTick}, Start},
			{Point{p.X - 6, p.Y + 0.36*sizeTick}, End},
			{Point{p.X + 5, p.Y + sizeTick + 2}, Start},
			{Point{p.X - 5, p.Y - 5}, End},
			{Point{p.X + 5, p.Y - 5}, Start},
			{Point{p.X - 5, p.Y + sizeTick + 2}, End},
		} {
			b := textBox(TextStyle{Size: sizeTick, Anchor: c.anchor}, c.at, text)
			if !taken.free(b) || crossedBy(b, lines[i]) {
				continue
			}
			// How far the box can grow until another line meets it, up to 40 pixels.
			clear := 0.0
			for grow := 1.0; grow <= 40; grow += 3 {
				others := false
				for j, line := range lines {
					others = others || (j != i && crossedBy(b.grown(grow), line))
				}
				if others {
					break
				}
				clear = grow
			}
			if clear > bestClear {
				best, bestClear = c, clear
			}
		}
	}
	if bestClear == 0 {
		return false
	}
	s := TextStyle{Ink: InkText, Size: sizeTick, Anchor: best.anchor, Halo: true}
	taken.take(textBox(s, best.at, text))
	cv.Text(s, best.at, text)
	return true
}

// resampled returns up to n points of a line, evenly by index along its vertical and horizontal run.
func resampled(line []Point, n int) []Point {
	total := 0.0
	for i := 1; i < len(line); i++ {
		total += abs(line[i].X-line[i-1].X) + abs(line[i].Y-line[i-1].Y)
	}
	var points []Point
	next, run := 0.0, 0.0
	for i := 1; i < len(line) && total > 0; i++ {
		p, q := line[i-1], line[i]
		length := abs(q.X-p.X) + abs(q.Y-p.Y)
		for length > 0 && next <= run+length && len(points) < n {
			f := (next - run) / length
			points = append(points, Point{p.X + f*(q.X-p.X), p.Y + f*(q.Y-p.Y)})
			next += total / float64(n-1)
		}
		run += length
	}
	return points
}
