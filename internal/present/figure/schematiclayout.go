package figure

import (
	"cmp"
	"math"
	"slices"

	"rinsate/internal/domain/scope"
	"rinsate/internal/present/chart"
)

// Sizes of the schematic in pixels.
const (
	acrossScale  = 6.0  // pixels a millimetre of width, where there is room
	uprightScale = 3.2  // the same where the scope stands upright
	uprightBelow = 620  // width of picture below which it does
	nub          = 8.0  // length of a port
	pinRadius    = 6.5  // of a marker
	pinGap       = 26.0 // between neighbours
	widestLane   = 36.0
	cardLeast    = 150.0
	cardMost     = 212.0
	cardGap      = 8.0
	leaderRoom   = 22.0 // where leaders bend
	rulerRoom    = 36.0
	rulerAway    = 12.0 // from a scope that stands to its ruler
)

// schematicLayout is where everything stands. Places along the scope are pixels from the tip (s),
// places across it are pixels from its axis (t), downward or, upright, to the right.
type schematicLayout struct {
	schematic
	upright       bool
	width, height float64
	origin        chart.Point // the tip, on the axis

	pinRoom    float64 // from an outline or a port to the centre of a marker
	cardHeight float64
	cardLines  int // for state and level

	scale   float64 // pixels a millimetre across
	length  float64 // of all that is drawn
	reach   float64 // of the longest channel
	longest float64 // the same in millimetres
	widened bool    // the tube is wider than to scale, to hold the channels

	tube, body, plug             float64 // half widths
	bodyFrom, bodyTo, plugFrom   float64
	cordKnown, bodyKnown, sagged bool
	sampled                      float64 // to where the distal end is sampled

	lanes []lane
	pins  []pin
	notes []string
}

// lane is a channel in the drawing.
type lane struct {
	scope.Channel
	side   float64 // -1 or 1: on which side its port is
	width  float64
	offset float64 // from the axis
	port   float64 // from the tip
	nearer bool    // the port is at the control body
}

// pin is a spot with its marker and card.
type pin struct {
	*spot
	side float64
	at   float64 // from the tip
	card rect
}

type rect struct{ x, y, w, h float64 }

// size returns a plausible length in millimetres: what is not a number is 0.
func size[T ~float64](v T) float64 {
	if v > 0 {
		return math.Min(float64(v), 1e6)
	}
	return 0
}

// layOut finds the places for a width.
func (s schematic) layOut(width float64) *schematicLayout {
	l := &schematicLayout{schematic: s, width: width, upright: width < uprightBelow}
	l.spots = slices.Clone(s.spots)
	most := int((width + cardGap) / (cardLeast + cardGap))
	l.upright = l.upright || len(s.spots) > 2*most
	l.pinRoom, l.cardLines = 18, l.longestLine()
	if l.upright {
		l.pinRoom, l.cardLines = 14, 2
	}
	l.cardHeight = 80 + 14*float64(l.cardLines)
	l.sides()
	l.across()
	l.lengthwise()
	l.regions()
	if l.upright {
		l.column()
	} else {
		l.rows()
	}
	return l
}

// sides decides on which side of the scope each channel and each place of the distal end is shown.
// Upright, all are at the right, where the cards are.
func (l *schematicLayout) sides() {
	load := map[float64]int{}
	fewer := func(tie float64) float64 {
		side := tie
		if load[-tie] < load[tie] {
			side = -tie
		}
		if l.upright {
			side = 1
		}
		load[side]++
		return side
	}
	above := -1.0
	if l.upright {
		above = 1
	}
	if l.model.Elevator {
		load[above]++
	}
	for _, c := range l.model.Channels {
		x := lane{Channel: c}
		if c.Kind == scope.ElevatorWireChannel {
			x.side = above
			load[above]++
		}
		l.lanes = append(l.lanes, x)
	}
	tie := 1.0
	for _, i := range l.byLength() {
		if l.lanes[i].side == 0 {
			l.lanes[i].side = fewer(tie)
			tie = -1
		}
	}
	for i := range l.spots {
		x := &l.spots[i]
		p := pin{spot: x}
		switch {
		case x.channel >= 0:
			p.side = l.lanes[x.channel].side
		case x.Kind == scope.ElevatorRecess:
			p.side = above
		default:
			p.side = fewer(1)
		}
		l.pins = append(l.pins, p)
	}
}

// byLength returns the channels, the shortest first.
func (l *schematicLayout) byLength() []int {
	order := make([]int, len(l.lanes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(size(l.lanes[a].Length), size(l.lanes[b].Length)) })
	return order
}

// stack returns the channels from -t to t. On each side those with the nearest port are outermost,
// so that none crosses another on its way out; the wire of an elevator lies at the recess.
func (l *schematicLayout) stack() []int {
	var up, down []int
	for _, i := range l.byLength() {
		switch {
		case l.lanes[i].side > 0:
			down = append(down, i)
		case l.lanes[i].Kind == scope.ElevatorWireChannel:
			up = append([]int{i}, up...)
		default:
			up = append(up, i)
		}
	}
	slices.Reverse(down)
	return append(up, down...)
}

// across finds the scale of widths and where each channel lies in the tube.
func (l *schematicLayout) across() {
	l.scale = acrossScale
	most := 60.0
	if l.upright {
		l.scale, most = uprightScale, 26
		if l.width >= 400 {
			l.scale, most = 4.4, 36
		}
	}
	n := float64(len(l.lanes))
	wall, least := 5.0, 4.0 // between the outline and a channel, and between two
	if l.upright {
		wall, least = 3, 2.5
	}
	bores, widest := 0.0, 1e-9
	for _, x := range l.lanes {
		bores += size(x.Diameter)
		widest = max(widest, size(x.Diameter))
	}
	between := 2*wall + math.Max(0, n-1)*least
	outer := size(l.model.OuterDiameter)
	l.scale = min(l.scale, 2*most/max(outer, 1e-9), widestLane/widest)
	l.scale = min(l.scale, max(2*most-between, n)/max(bores, 1e-9))
	stack := 0.0
	for i := range l.lanes {
		l.lanes[i].width = max(l.scale*size(l.lanes[i].Diameter), 1.6)
		stack += l.lanes[i].width
	}
	l.tube = max(l.scale*outer/2, (stack+between)/2, 9)
	l.widened = l.tube > l.scale*outer/2+0.5
	gap := 0.0
	if n > 1 {
		gap = min((2*l.tube-2*wall-stack)/(n-1), 11)
	}
	t := -(stack + gap*(n-1)) / 2
	if n == 0 {
		return
	}
	for _, i := range l.stack() {
		l.lanes[i].offset = t + l.lanes[i].width/2
		t += l.lanes[i].width + gap
	}
}

// lengthwise finds the scale of lengths.
func (l *schematicLayout) lengthwise() {
	l.length = l.width - 40
	if l.upright {
		n := float64(len(l.pins))
		l.length = max(n*(l.cardHeight+cardGap)-cardGap-14, 300)
	}
	shortest := math.Inf(1)
	for _, x := range l.lanes {
		l.longest = max(l.longest, size(x.Length))
		shortest = min(shortest, size(x.Length))
	}
	l.bodyKnown = len(l.lanes) > 0
	l.cordKnown = l.longest > nearBody*shortest
	l.longest = max(l.longest, size(l.model.SampledLength), 1)
	switch {
	case l.cordKnown:
		l.reach = l.length - 34
	case l.bodyKnown:
		l.reach = 0.66 * l.length
	default:
		l.reach = 0.42 * l.length
	}
	for i := range l.lanes {
		x := &l.lanes[i]
		x.port, x.nearer = l.along(size(x.Length)), size(x.Length) <= nearBody*shortest
	}
	l.sampled = l.along(size(l.model.SampledLength))
	l.spreadPorts()
}

// nearBody is up to how many times the shortest channel another is taken to begin at the control
// body as well: cords are about as long as insertion tubes (from memory).
const nearBody = 1.4

// along returns how far from the tip a length in millimetres is drawn.
func (l *schematicLayout) along(mm float64) float64 { return l.reach * math.Sqrt(mm/l.longest) }

// spreadPorts keeps ports and markers of one side apart.
func (l *schematicLayout) spreadPorts() {
	widest := 8.0
	for _, x := range l.lanes {
		widest = max(widest, x.width+8)
	}
	for _, side := range []float64{-1, 1} {
		var places []*float64
		var wanted []float64
		add := func(p *float64, at float64) { places, wanted = append(places, p), append(wanted, at) }
		for i := range l.pins {
			if p := &l.pins[i]; p.side == side && p.channel < 0 {
				at := max(l.sampled*0.55, 14)
				if p.Kind == scope.ElevatorRecess {
					at = l.recessFrom() / 2
				}
				add(&p.at, at)
			}
		}
		if len(places) == 2 && wanted[0] > wanted[1] { // the recess is nearer to the tip
			slices.Reverse(places)
			slices.Reverse(wanted)
		}
		for _, i := range l.byLength() {
			if l.lanes[i].side == side {
				add(&l.lanes[i].port, l.lanes[i].port)
			}
		}
		for i, at := range apart(wanted, pinGap, 14, l.length-8-widest/2) {
			*places[i] = at
		}
	}
	for i := range l.pins {
		if p := &l.pins[i]; p.channel >= 0 {
			p.at = l.lanes[p.channel].port
		}
	}
}

// apart moves ascending places so that neighbours are at least gap apart and all lie from lo to hi,
// closer together where there is no room.
func apart(wanted []float64, gap, lo, hi float64) []float64 {
	got := slices.Clone(wanted)
	if n := float64(len(got)); n > 1 {
		gap = min(gap, (hi-lo)/(n-1))
	}
	for i := range got {
		got[i] = min(max(got[i], lo), hi)
		if i > 0 {
			got[i] = max(got[i], got[i-1]+gap)
		}
	}
	for i := range slices.Backward(got) {
		if i == len(got)-1 {
			got[i] = min(got[i], hi)
		} else {
			got[i] = min(got[i], got[i+1]-gap)
		}
	}
	return got
}

// regions finds where control body, cord and connector are.
func (l *schematicLayout) regions() {
	l.body, l.plug = l.tube+20, l.tube+10
	margin, wheel := 34.0, 52.0
	if l.upright {
		l.body, l.plug = l.tube+7, l.tube+4
		margin, wheel = 22, 32
	}
	from, to, plug := math.Inf(1), math.Inf(-1), l.length-58
	for _, x := range l.lanes {
		if x.nearer {
			from, to = min(from, x.port), max(to, x.port)
		} else if size(x.Length) >= 0.7*l.longest {
			plug = min(plug, x.port-margin)
		}
	}
	if !l.bodyKnown {
		from = 0.62 * l.length
		to = from + 10
	}
	l.bodyFrom, l.bodyTo, l.plugFrom = max(from-margin, 0), min(to+margin+wheel, l.length), plug
	l.sampled = min(l.sampled, max(l.bodyFrom-8, 0))
	l.sagged = l.plugFrom-l.bodyTo > 60
}

// half returns the half width of the scope at a place.
func (l *schematicLayout) half(s float64) float64 {
	const nose = 9.0
	h := l.tube
	if s < nose {
		h += math.Sqrt(nose*nose-(nose-s)*(nose-s)) - nose
	}
	ramp := 20.0
	if l.upright {
		ramp = 12
	}
	h = max(h, l.tube+(l.body-l.tube)*hump(s, l.bodyFrom, l.bodyTo, ramp))
	return max(h, l.tube+(l.plug-l.tube)*hump(s, l.plugFrom, l.length+ramp, ramp))
}

// hump is 0 outside of from to to and 1 within, with smooth sides.
func hump(s, from, to, ramp float64) float64 {
	step := func(x float64) float64 {
		x = min(max(x, 0), 1)
		return x * x * (3 - 2*x)
	}
	return step((s-from)/ramp) * step((to-s)/ramp)
}

// sag is how far the cord hangs from the axis.
func (l *schematicLayout) sag(s float64) float64 {
	if !l.sagged || s <= l.bodyTo || s >= l.plugFrom {
		return 0
	}
	sine := math.Sin(math.Pi * (s - l.bodyTo) / (l.plugFrom - l.bodyTo))
	depth := min(16, 0.12*(l.plugFrom-l.bodyTo))
	if l.upright {
		depth = -min(7, depth)
	}
	return depth * sine * sine
}

// place returns where a point of the scope is in the picture.
func (l *schematicLayout) place(s, t float64) chart.Point {
	if l.upright {
		return chart.Point{X: l.origin.X + t, Y: l.origin.Y + s}
	}
	return chart.Point{X: l.origin.X - s, Y: l.origin.Y + t}
}

// edge returns how far from the axis a port or a marker on the outline begins.
func (l *schematicLayout) edge(p pin) float64 {
	h := l.half(p.at) * p.side
	if p.channel >= 0 {
		h += nub * p.side
	}
	return h + l.sag(p.at)
}

// marker returns where the marker of a pin is.
func (l *schematicLayout) marker(p pin) chart.Point {
	return l.place(p.at, l.edge(p)+p.side*l.pinRoom)
}

// recessFrom and recessDepth say how large the recess of the elevator is drawn: its size is not in
// the model. It holds the mouth of the wire's channel.
func (l *schematicLayout) recessFrom() float64 {
	if l.upright {
		return 30
	}
	return 46
}

func (l *schematicLayout) recessDepth() float64 {
	depth, wire := 0.56*l.tube, 0.0
	for _, x := range l.lanes {
		middle := l.tube - l.recessSide()*x.offset // of the channel, from the outline
		if x.Kind == scope.ElevatorWireChannel {
			wire = max(wire, middle+x.width/2+2)
		} else {
			depth = min(depth, middle-x.width/2-1) // it spares other channels where it can
		}
	}
	return min(max(depth, wire, 0.3*l.tube), 1.6*l.tube)
}

// recessSide is on which side the recess is.
func (l *schematicLayout) recessSide() float64 {
	if l.upright {
		return 1
	}
	return -1
}

// mouth returns where a channel ends at the tip.
func (l *schematicLayout) mouth(x lane) float64 {
	if l.model.Elevator && l.tube-l.recessSide()*x.offset-x.width/2 < l.recessDepth() {
		return l.recessFrom()
	}
	return 0
}

// lower moves all of it down.
func (l *schematicLayout) lower(by float64) {
	l.origin.Y += by
	for i := range l.pins {
		l.pins[i].card.y += by
	}
	l.height += by
}
