package figure

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/domain/scope"
	"rinsate/internal/present/chart"
)

// schematicDrawing puts a layout on a canvas.
type schematicDrawing struct {
	*schematicLayout
	cv chart.Canvas
}

var outline = chart.Style{Fill: chart.InkShade, Stroke: chart.InkAxis, Width: 1.3}

// shape draws a polygon of places on the scope.
func (d schematicDrawing) shape(style chart.Style, corners ...chart.Point) {
	points := make([]chart.Point, len(corners))
	for i, c := range corners {
		points[i] = d.place(c.X, c.Y)
	}
	d.cv.Polygon(style, points)
}

// silhouette draws the outside of the scope.
func (d schematicDrawing) silhouette() {
	// The light guide's pin and the control wheel lie behind.
	light := min(7, 0.45*d.tube)
	d.shape(
		outline,
		chart.Point{X: d.length - 2, Y: -light},
		chart.Point{X: d.length + 12, Y: -light},
		chart.Point{X: d.length + 12, Y: light},
		chart.Point{X: d.length - 2, Y: light},
	)
	wheel, back := 24.0, 30.0
	if d.upright {
		wheel, back = 13, 18
	}
	d.cv.Marker(outline, chart.Circle, d.place(d.bodyTo-back-wheel/2, -(d.body-wheel/2)), wheel)

	var one, other []chart.Point
	const step = 2.0
	for s := 0.0; s < d.length+step; s += step {
		s := min(s, d.length)
		one = append(one, d.place(s, d.sag(s)-d.half(s)))
		other = append(other, d.place(s, d.sag(s)+d.half(s)))
	}
	slices.Reverse(other)
	d.cv.Polygon(outline, append(one, other...))
	d.breaks()
}

// breaks draws two strokes through what is not to scale.
func (d schematicDrawing) breaks() {
	at := func(s float64) {
		t, h := d.sag(s), d.half(s)+4
		d.shape(
			chart.Style{Fill: chart.InkPaper},
			chart.Point{X: s - 3, Y: t + h},
			chart.Point{X: s + 3, Y: t + h},
			chart.Point{X: s + 11, Y: t - h},
			chart.Point{X: s + 5, Y: t - h},
		)
		for _, side := range []float64{-3, 3} {
			d.cv.Line(chart.Style{Stroke: chart.InkAxis, Width: 1.3}, d.place(s+side, t+h), d.place(s+side+8, t-h))
		}
	}
	if !d.cordKnown {
		at((d.bodyTo+d.plugFrom)/2 - 4)
	}
	if !d.bodyKnown {
		at((d.sampled+d.bodyFrom)/2 - 4)
	}
}

// hatch marks the part of the distal end that a surface sample covers.
func (d schematicDrawing) hatch() {
	style := chart.Style{Stroke: chart.InkAxis, Width: 0.8}
	a, b := d.place(d.sampled, -d.tube), d.place(0, d.tube)
	x, y := math.Min(a.X, b.X), math.Min(a.Y, b.Y)
	w, h := math.Abs(a.X-b.X), math.Abs(a.Y-b.Y)
	if w < 1 || h < 1 {
		return
	}
	const inside = 2.5 // the corners of the tip are verification
	if d.upright {
		y, h = y+inside, h-inside
	} else {
		w -= inside
	}
	d.cv.Clip(x, y, max(w, 0), max(h, 0), func() {
		for c := -h; c < w; c += 6 {
			d.cv.Line(style, chart.Point{X: x + c, Y: y + h}, chart.Point{X: x + c + h, Y: y})
		}
	})
	d.cv.Line(chart.Style{Stroke: chart.InkAxis, Width: 1, Dash: chart.Dashed}, d.place(d.sampled, -d.tube), d.place(d.sampled, d.tube))
}

// laneStyle is how a channel is told from the others: by ink and by pattern.
func laneStyle(k scope.ChannelKind) chart.Style {
	switch k {
	case scope.InstrumentChannel:
		return chart.Style{Stroke: chart.InkThird}
	case scope.SuctionChannel:
		return chart.Style{Stroke: chart.InkThird, Dash: chart.DashDot}
	case scope.AirChannel:
		return chart.Style{Stroke: chart.InkFourth, Dash: chart.Dashed}
	case scope.WaterChannel:
		return chart.Style{Stroke: chart.InkData, Dash: chart.Dotted}
	case scope.AuxiliaryChannel:
		return chart.Style{Stroke: chart.InkData, Dash: chart.DashDot}
	case scope.ElevatorWireChannel:
		return chart.Style{Stroke: chart.InkText}
	case scope.BalloonChannel:
		return chart.Style{Stroke: chart.InkMuted, Dash: chart.Dashed}
	}
	return chart.Style{Stroke: chart.InkMuted, Dash: chart.Dotted}
}

// channels draws every channel from its port to its mouth, the innermost first.
func (d schematicDrawing) channels() {
	for _, x := range d.lanes {
		d.port(x)
	}
	for _, x := range d.lanes {
		points := d.course(x)
		d.tubing(x.Kind, x.width, points)
		if x.Sealed {
			at := x.side*(d.half(x.port)+nub) + d.sag(x.port)
			d.cv.Line(chart.Style{Stroke: chart.InkText, Width: 2.5}, d.place(x.port-x.width/2-5, at), d.place(x.port+x.width/2+5, at))
		}
	}
}

// tubing draws a channel along a course: wide ones as a lumen between two walls.
func (d schematicDrawing) tubing(kind scope.ChannelKind, width float64, course []chart.Point) {
	style := laneStyle(kind)
	if width < 7 {
		d.cv.Polyline(chart.Style{Stroke: chart.InkPaper, Width: width + 2.4}, course)
		style.Width = width
		d.cv.Polyline(style, course)
		return
	}
	pattern := style.Dash
	style.Width, style.Dash = width, chart.Solid
	d.cv.Polyline(style, course)
	d.cv.Polyline(chart.Style{Stroke: chart.InkPaper, Width: width - 4}, course)
	if pattern != chart.Solid {
		style.Width, style.Dash = max(width-8, 1), pattern
		d.cv.Polyline(style, course)
	}
}

// port draws the stub at which a channel begins.
func (d schematicDrawing) port(x lane) {
	h := d.half(x.port)
	from, to := x.side*(h-3)+d.sag(x.port), x.side*(h+nub)+d.sag(x.port)
	w := x.width/2 + 4
	d.shape(
		outline,
		chart.Point{X: x.port - w, Y: from},
		chart.Point{X: x.port + w, Y: from},
		chart.Point{X: x.port + w, Y: to},
		chart.Point{X: x.port - w, Y: to},
	)
}

// course returns the middle of a channel from its mouth to its port.
func (d schematicDrawing) course(x lane) []chart.Point {
	mouth := d.mouth(x)
	end := x.side*(d.half(x.port)+nub) + d.sag(x.port)
	from := x.offset + d.sag(x.port)
	bend := min(math.Abs(end-from), 40, max(x.port-mouth, 0))
	turn := x.port - bend
	points := []chart.Point{d.place(mouth, x.offset)}
	const step = 4.0
	for s := mouth + step; s < turn; s += step {
		points = append(points, d.place(s, x.offset+d.sag(s)))
	}
	// A quarter of an ellipse leads out.
	for i := range 13 {
		a := float64(i) / 12 * math.Pi / 2
		s := turn + bend*math.Sin(a)
		t := x.offset + d.sag(s) + x.side*bend*(1-math.Cos(a))
		points = append(points, d.place(s, t))
	}
	return append(points, d.place(x.port, end))
}

// recess draws the notch with the elevator in it.
func (d schematicDrawing) recess() {
	if !d.model.Elevator {
		return
	}
	const front = 10 // of the tip is left
	side, from, depth := d.recessSide(), d.recessFrom(), d.recessDepth()
	top, floor := side*(d.tube+2), side*(d.tube-depth)
	d.shape(
		chart.Style{Fill: chart.InkPaper},
		chart.Point{X: front, Y: top},
		chart.Point{X: front, Y: floor},
		chart.Point{X: from, Y: floor},
		chart.Point{X: from, Y: top},
	)
	edge := chart.Style{Stroke: chart.InkAxis, Width: 1.3}
	corners := []chart.Point{d.place(front, side*d.tube), d.place(front, floor), d.place(from, floor), d.place(from, side*d.tube)}
	d.cv.Polyline(edge, corners)
	// The elevator turns on an axle at the floor and is drawn half raised.
	axle := chart.Point{X: 0.36 * from, Y: side * (d.tube - 0.80*depth)}
	end := chart.Point{X: 0.76 * from, Y: side * (d.tube - 0.22*depth)}
	dx, dy := end.X-axle.X, end.Y-axle.Y
	long := math.Hypot(dx, dy)
	nx, ny := -dy/long, dx/long
	wide, slim := 0.075*from, 0.05*from
	lever := chart.Style{Fill: chart.InkText}
	d.shape(lever,
		chart.Point{X: axle.X + wide*nx, Y: axle.Y + wide*ny}, chart.Point{X: end.X + slim*nx, Y: end.Y + slim*ny},
		chart.Point{X: end.X - slim*nx, Y: end.Y - slim*ny}, chart.Point{X: axle.X - wide*nx, Y: axle.Y - wide*ny})
	d.cv.Marker(lever, chart.Circle, d.place(axle.X, axle.Y), 1.2*wide)
	for _, x := range d.lanes {
		if x.Kind == scope.ElevatorWireChannel && d.mouth(x) > 0 {
			d.cv.Line(chart.Style{Stroke: chart.InkText, Width: 1}, d.place(from, x.offset), d.place(end.X, end.Y))
			return
		}
	}
}

// ruler draws the distances from the tip and, beneath, the names of the parts.
func (d schematicDrawing) ruler() {
	t := d.level()
	if d.upright {
		t = -(d.body + rulerAway)
	}
	d.cv.Line(chart.Style{Stroke: chart.InkAxis, Width: 1}, d.place(0, t), d.place(d.reach, t))
	leaders := d.crossing()
	taken := slices.Clone(leaders)
	for _, mm := range d.ticks() {
		if room, free := d.tick(mm, t, taken); free {
			taken = append(taken, room)
		}
	}
	if !d.upright {
		d.parts(leaders, d.origin.Y+t+rulerRoom-4)
	}
}

// crossing returns where leaders cross the ruler.
func (d schematicDrawing) crossing() (taken []span) {
	for _, p := range d.pins {
		if x := d.marker(p).X; p.side > 0 && !d.upright {
			taken = append(taken, span{x - 2, x + 2})
		}
	}
	return taken
}

// tick draws a tick with its label, if there is room.
func (d schematicDrawing) tick(mm, t float64, taken []span) (room span, free bool) {
	const long = 4.0
	style := chart.TextStyle{Ink: chart.InkMuted, Size: 11, Anchor: chart.Middle}
	from, to := d.place(d.along(mm), t), d.place(d.along(mm), t+long)
	at := chart.Point{X: from.X, Y: from.Y + long + 12}
	if d.upright {
		style.Anchor = chart.End
		to = d.place(d.along(mm), t-long)
		at = chart.Point{X: from.X - long - 2, Y: from.Y + 4}
	}
	label := tickLabel(mm)
	left, top, right, bottom := style.Box(at, label)
	room = span{left - 5, right + 5}
	if d.upright {
		room = span{top - 6, bottom + 6}
	}
	if !room.free(taken) || left < 0 || right > d.width {
		return room, false
	}
	d.cv.Line(chart.Style{Stroke: chart.InkAxis, Width: 1}, from, to)
	d.cv.Text(style, at, label)
	return room, true
}

// span is a stretch that a text takes.
type span struct{ lo, hi float64 }

func (s span) free(taken []span) bool {
	for _, o := range taken {
		if s.lo < o.hi && o.lo < s.hi {
			return false
		}
	}
	return true
}

// ticks returns distances in millimetres worth a tick: the tip, then the largest first.
func (d schematicDrawing) ticks() []float64 {
	ticks := []float64{0}
	for decade := 1e6; decade >= 10; decade /= 10 {
		for _, m := range []float64{5, 3, 2, 1} {
			if mm := m * decade; mm <= d.longest && d.along(mm) > 34 {
				ticks = append(ticks, mm)
			}
		}
	}
	return ticks
}

func tickLabel(mm float64) string {
	switch {
	case mm == 0:
		return "tip"
	case mm < 1000:
		return fmt.Sprintf("%g cm", mm/10)
	}
	return fmt.Sprintf("%g m", mm/1000)
}

// parts names the parts of the scope where there is room between the leaders.
func (d schematicDrawing) parts(taken []span, y float64) {
	style := chart.TextStyle{Ink: chart.InkMuted, Size: 11, Anchor: chart.Middle}
	for _, part := range []struct {
		name     string
		from, to float64
	}{
		{"distal end", 0, max(d.sampled, 40)},
		{"insertion tube", d.sampled, d.bodyFrom},
		{"control body", d.bodyFrom, d.bodyTo},
		{"cord", d.bodyTo, d.plugFrom},
		{"connector", d.plugFrom - 6, d.length + 12},
	} {
		w := style.Width(part.name)/2 + 4
		lo, hi := max(d.place(part.to, 0).X-4, 0)+w, min(d.place(part.from, 0).X+4, d.width)-w
		if x, free := nearest(lo, hi, w, taken); free {
			taken = append(taken, span{x - w, x + w})
			d.cv.Text(style, chart.Point{X: x, Y: y}, part.name)
		}
	}
}

// nearest finds the free place for a span of half width w that is nearest to the middle of lo to hi.
func nearest(lo, hi, w float64, taken []span) (x float64, free bool) {
	for shift := 0.0; shift <= (hi-lo)/2; shift += 4 {
		for _, x = range []float64{(lo+hi)/2 + shift, (lo+hi)/2 - shift} {
			if (span{x - w, x + w}).free(taken) {
				return x, true
			}
		}
	}
	return 0, false
}

// note writes the scale beneath the picture.
func (d schematicDrawing) note() {
	for i, line := range d.notes {
		y := d.height - 4 - 15*float64(len(d.notes)-1-i) - 3
		d.cv.Text(noteStyle, chart.Point{X: 0, Y: y}, line)
	}
}
