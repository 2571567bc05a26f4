package chart

// Histogram shows how many values fall where, with a fitted distribution and candidate levels.
type Histogram struct {
	Meta
	X      Axis
	Y      Axis // of the counts
	Bins   []Bin
	Fitted Fitted
	Levels []Level // vertical lines; with an interval, a bracket above
}

// Bin is a bar over the values from From to To. Bins are best of equal width on the axis, since
// their height, not their area, is the count. What cannot be drawn is left out.
type Bin struct {
	From, To    float64
	Count       float64
	Censored    bool // values known only to lie here, such as those below the detection limit: hatched
	Title, Href string
}

// Fitted is a curve in the unit of the bars: at X[i] the count that a bin there would be expected to
// have. The zero value is none.
type Fitted struct {
	Label string
	X, Y  []float64
}

// Height implements [Picture].
func (h Histogram) Height(width float64) float64 { return min(max(0.45*width, 260), 420) }

func (h Histogram) drawable() []Bin {
	bins := make([]Bin, 0, len(h.Bins))
	for _, b := range h.Bins {
		from, okFrom := h.X.place(b.From)
		to, okTo := h.X.place(b.To)
		_, okY := h.Y.place(b.Count)
		if okFrom && okTo && okY && from < to && b.Count >= 0 {
			bins = append(bins, b)
		}
	}
	return bins
}

// Words implements [Picture].
func (h Histogram) Words() (title, desc string) {
	bins := h.drawable()
	if len(bins) == 0 {
		return h.words("Histogram", "No data.")
	}
	total, censored := 0.0, 0.0
	lo, hi := bins[0].From, bins[0].To
	for _, b := range bins {
		total += b.Count
		if b.Censored {
			censored += b.Count
		}
		lo, hi = min(lo, b.From), max(hi, b.To)
	}
	say := []string{counted(len(bins), "bin", "bins") + " from " + h.X.short(lo) + " to " + h.X.text(hi) + ", total " + number(total) + "."}
	if censored > 0 {
		say = append(say, number(censored)+" of them known only to lie in a hatched bin.")
	}
	if h.Fitted.Label != "" {
		say = append(say, "Curve: "+clean(h.Fitted.Label)+".")
	}
	for _, l := range h.Levels {
		s := sentence(l.Label, "level") + " at " + h.X.text(l.Value)
		if l.Lo < l.Hi {
			s += " (" + h.X.short(l.Lo) + " to " + h.X.short(l.Hi) + ")"
		}
		say = append(say, s+".")
	}
	return h.words("Histogram", say...)
}

// Table implements [Picture]: one row for each bin in the order given, then one for each level.
func (h Histogram) Table() Table {
	title, _ := h.Words()
	t := Table{Caption: title, Header: []string{"From", "To", heading(h.Y, "Count"), "Note"}}
	for _, b := range h.Bins {
		note := ""
		if b.Censored {
			note = "known only to lie here"
		}
		t.Rows = append(t.Rows, []string{h.X.short(b.From), h.X.short(b.To), h.Y.short(b.Count), note})
	}
	for _, l := range h.Levels {
		from, to := "", ""
		if l.Lo < l.Hi {
			from, to = h.X.short(l.Lo), h.X.short(l.Hi)
		}
		t.Rows = append(t.Rows, []string{from, to, "", joined(" ", sentence(l.Label, "level"), h.X.text(l.Value))})
	}
	return t
}

// Draw implements [Picture].
func (h Histogram) Draw(cv Canvas, width, height float64) {
	bins := h.drawable()
	if len(bins) == 0 {
		noData(cv, width, height)
		return
	}
	x, y := h.rulers(bins)
	left := labelRoom(y)
	plot := box{left + 10, 24, width - 14, height - xAxisHeight(h.X)}
	x.from, x.to = plot.left, plot.right
	heads, rows := levelHeads(h.Levels, x, plot.left, width, int(height/3/rowHeight))
	plot.top += rowHeight * float64(rows)
	y.from, y.to = plot.bottom, plot.top

	drawYAxis(cv, y, plot, Point{0, sizeLabel}, width)
	for _, b := range bins {
		h.bar(cv, b, x, y, plot)
	}
	drawXAxis(cv, x, plot, width)
	cv.Clip(plot.left, plot.top, plot.width(), plot.height(), func() {
		drawCurve(cv, Style{Stroke: InkSecond, Width: 1.8}, x, y, h.Fitted.X, h.Fitted.Y)
	})
	drawLevelHeads(cv, heads, 20, plot)
	h.nameFit(cv, bins, heads, x, y, plot)
}

// rulers returns the axes without their pixels.
func (h Histogram) rulers(bins []Bin) (x, y ruler) {
	dx := noSpan()
	dy := span{0, 0}
	for _, b := range bins {
		d := h.X.domain(b.From, b.To)
		dx.add(d.lo)
		dx.add(d.hi)
		dy.add(b.Count)
	}
	for i := range min(len(h.Fitted.X), len(h.Fitted.Y)) {
		u, ok := h.X.place(h.Fitted.X[i])
		if v := h.Fitted.Y[i]; ok && finite(v) && u >= dx.lo && u <= dx.hi {
			dy.add(v)
		}
	}
	for _, l := range h.Levels {
		if u, ok := h.X.place(l.Value); ok {
			dx.add(u)
		}
	}
	if h.X.Min < h.X.Max {
		dx = h.X.padded(dx)
	}
	// Bars stand on zero, so counts are on a linear axis.
	counts := Axis{Label: h.Y.Label, Unit: h.Y.Unit, Min: h.Y.Min, Max: h.Y.Max}
	return ruler{axis: h.X, domain: dx}, ruler{axis: counts, domain: counts.padded(dy)}
}

// bar draws one bin, hatched if it is censored.
func (h Histogram) bar(cv Canvas, b Bin, x, y ruler, plot box) {
	x0, _ := x.clamped(b.From)
	x1, _ := x.clamped(b.To)
	top, _ := y.clamped(b.Count)
	title := clean(b.Title)
	if title == "" {
		title = h.X.short(b.From) + " to " + h.X.text(b.To) + ": " + number(b.Count)
		if b.Censored {
			title += ", known only to lie here"
		}
	}
	cv.Link(title, b.Href, func() {
		cv.Rect(Style{Fill: InkShade, Stroke: InkData, Width: 1}, x0, top, x1-x0, plot.bottom-top)
		if b.Censored {
			hatch(cv, box{x0, top, x1, plot.bottom})
		}
	})
}

// hatch fills a box with lines at 45 degrees.
func hatch(cv Canvas, b box) {
	const gap = 6.0
	for d := gap; d < b.width()+b.height(); d += gap {
		// The line x − left + bottom − y = d within the box.
		p := Point{b.left + min(d, b.width()), b.bottom - max(0, d-b.width())}
		q := Point{b.left + max(0, d-b.height()), b.bottom - min(d, b.height())}
		cv.Line(Style{Stroke: InkData, Width: 0.8}, p, q)
	}
}

// nameFit writes the name of the curve beside it, clear of bars and levels if it can.
func (h Histogram) nameFit(cv Canvas, bins []Bin, heads []levelHead, x, y ruler, plot box) {
	text := fit(h.Fitted.Label, sizeTick, false, 0.5*plot.width())
	if text == "" {
		return
	}
	taken := newPlacer(plot)
	for _, b := range bins {
		x0, _ := x.clamped(b.From)
		x1, _ := x.clamped(b.To)
		top, _ := y.clamped(b.Count)
		taken.take(box{x0, top, x1, plot.bottom})
	}
	levels := newPlacer(plot)
	for _, l := range heads {
		for _, p := range []*placer{taken, levels} {
			p.take(box{l.x - 2, plot.top, l.x + 2, plot.bottom})
		}
	}
	var line []Point
	for _, run := range curveRuns(x, y, h.Fitted.X, h.Fitted.Y) {
		line = append(line, run...)
	}
	if !nameCurve(cv, text, 0, [][]Point{line}, taken) {
		nameCurve(cv, text, 0, [][]Point{line}, levels)
	}
}
