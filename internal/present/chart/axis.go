package chart

// drawYAxis draws grid lines and labels left of a plot and the title of the axis from at, no wider
// than the picture.
func drawYAxis(cv Canvas, r ruler, plot box, at Point, width float64) {
	for _, t := range upright(r, min(max(2, int(plot.height()/24)), mostUpright)) {
		cv.Line(Style{Stroke: InkGrid, Width: 1}, Point{plot.left, t.at}, Point{plot.right, t.at})
		cv.Text(TextStyle{Ink: InkMuted, Size: sizeTick, Anchor: End}, Point{plot.left - 5, t.at + 0.36*sizeTick}, t.label)
	}
	cv.Text(TextStyle{Ink: InkText, Size: sizeLabel}, at, fit(r.axis.title(), sizeLabel, false, width-at.X))
}

// mostUpright is the largest number of labels on a vertical axis.
const mostUpright = 8

// labelRoom returns the width of the widest label that a vertical axis may have.
func labelRoom(r ruler) float64 {
	widest := 0.0
	for most := range mostUpright {
		for _, t := range r.ticks(most + 1) {
			widest = max(widest, textWidth(t.label, sizeTick, false))
		}
	}
	return widest
}

// upright asks for fewer ticks until no two labels of a vertical axis touch.
func upright(r ruler, most int) []tick {
	for ; most > 1; most-- {
		t := r.ticks(most)
		touching := false
		for i := 1; i < len(t); i++ {
			touching = touching || abs(t[i].at-t[i-1].at) < sizeTick+3
		}
		if !touching {
			return t
		}
	}
	return r.ticks(1)
}

// drawXAxis draws the line under a plot, its ticks, their labels and the title of the axis.
func drawXAxis(cv Canvas, r ruler, plot box, width float64) {
	cv.Line(Style{Stroke: InkAxis, Width: 1}, Point{plot.left, plot.bottom}, Point{plot.right, plot.bottom})
	drawTicks(cv, fitting(r.ticks, plot, width), plot, width)
	title := fit(r.axis.title(), sizeLabel, false, plot.width())
	cv.Text(TextStyle{Ink: InkText, Size: sizeLabel, Anchor: Middle}, Point{(plot.left + plot.right) / 2, plot.bottom + 31}, title)
}

// xAxisHeight is the room under a plot with a titled axis.
func xAxisHeight(a Axis) float64 {
	if a.title() == "" {
		return 20
	}
	return 36
}

// drawTimeAxis draws the line under a plot, its ticks and dates.
func drawTimeAxis(cv Canvas, r timeRuler, plot box, width float64) {
	cv.Line(Style{Stroke: InkAxis, Width: 1}, Point{plot.left, plot.bottom}, Point{plot.right, plot.bottom})
	drawTicks(cv, fitting(r.ticks, plot, width), plot, width)
}

// fitting asks for fewer ticks along a plot until no two labels touch.
func fitting(ticks func(most int) []tick, plot box, width float64) []tick {
	for most := max(2, int(plot.width()/40)); most > 1; most-- {
		if t := ticks(most); apart(t, width) {
			return t
		}
	}
	return ticks(1)
}

// apart says whether the labels leave room between them.
func apart(ticks []tick, width float64) bool {
	end, endBelow := -1e9, -1e9
	for _, t := range ticks {
		left, right := labelEnds(t.at, t.label, width)
		if left < end+8 {
			return false
		}
		end = right
		if t.below != "" {
			if left, right = labelEnds(t.at, t.below, width); left < endBelow+8 {
				return false
			}
			endBelow = right
		}
	}
	return true
}

// labelEnds returns what a label centred at a tick covers; one that would leave the picture moves in.
func labelEnds(at float64, text string, width float64) (left, right float64) {
	half := textWidth(text, sizeTick, false) / 2
	at = min(max(at, half), width-half)
	return at - half, at + half
}

// drawTicks draws marks and labels.
func drawTicks(cv Canvas, ticks []tick, plot box, width float64) {
	for _, t := range ticks {
		cv.Line(Style{Stroke: InkAxis, Width: 1}, Point{t.at, plot.bottom}, Point{t.at, plot.bottom + 4})
		for i, text := range []string{t.label, t.below} {
			left, right := labelEnds(t.at, text, width)
			cv.Text(TextStyle{Ink: InkMuted, Size: sizeTick, Anchor: Middle}, Point{(left + right) / 2, plot.bottom + 16 + 13*float64(i)}, text)
		}
	}
}

// drawEdgeLabels names lines at the right edge of a plot, moved apart, with a leader to each line
// from which its name had to move.
func drawEdgeLabels(cv Canvas, labels []edgeLabel, r ruler, plot box, width float64) {
	var wanted []float64
	var kept []edgeLabel
	for _, l := range labels {
		if y, ok := r.at(l.value); ok && l.text != "" {
			wanted, kept = append(wanted, y), append(kept, l)
		}
	}
	for i, y := range spread(wanted, sizeTick+2, plot.top+4, plot.bottom-2) {
		if y != y {
			continue
		}
		text := fit(kept[i].text, sizeTick, false, width-plot.right-8)
		if d := y - wanted[i]; d > 2 || d < -2 {
			cv.Line(Style{Stroke: InkAxis, Width: 0.7}, Point{plot.right, wanted[i]}, Point{plot.right + 6, y})
		}
		cv.Text(TextStyle{Ink: InkText, Size: sizeTick}, Point{plot.right + 8, y + 0.36*sizeTick}, text)
	}
}
