package figure

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/words"
)

// PointState is what is known of one sampling point of an instrument.
type PointState struct {
	Kind scope.PointKind
	// Outcome of the latest reading; empty counts as [reading.None].
	Outcome reading.Outcome
	// NotApplicable says why the point is not sampled, such as a sealed channel; what the model says
	// holds without it.
	NotApplicable string
	// Value is the latest reading with its unit, Level what it was judged by; both may be empty.
	Value, Level string
	When         unit.Instant
	// Recent are log10 of the latest readings, the oldest first, NaN for a gap; Limit is log10 of the
	// action level, 0 for none.
	Recent []float64
	Limit  float64
	// Href is where the latest reading is shown; empty for nowhere.
	Href string
}

// Schematic draws a scope from the geometry of its model, seen from the side: each channel from its
// port to the tip, ports as far from the tip as the channel is long (square-root scale), channels as
// wide as their bore says (one scale for all models, as long as they fit), the elevator recess, the
// sampled part of the distal end hatched; and at each sampling point what was read there last. A
// point without a state has no reading; a state for a point that the model does not have is left
// out. A channel without a sampling point is shown as such. Narrow pictures stand upright, the tip
// at the top.
//
// What the model does not say is only hinted at: shape and length of the control body, and of cord
// and connector where no channel reaches them.
func Schematic(t words.Terms, m scope.Model, states []PointState, zone *time.Location) chart.Picture {
	if zone == nil {
		zone = time.UTC
	}
	s := schematic{model: m, zone: zone}
	taken := make([]bool, len(m.Channels))
	for _, p := range m.Points() {
		x := spot{PointState: PointState{Kind: p.Kind}, name: text.Spaced(string(p.Kind)), channel: -1, sampled: true}
		if i := slices.IndexFunc(states, func(s PointState) bool { return s.Kind == p.Kind }); i >= 0 {
			x.PointState = states[i]
		}
		if x.NotApplicable == "" {
			x.NotApplicable = p.NotApplicable
		}
		if x.Outcome == "" {
			x.Outcome = reading.None
		}
		x.outcome = t.Outcome(x.Outcome).Word
		if x.channel = slices.IndexFunc(m.Channels, func(c scope.Channel) bool { return lumenOf(c.Kind) == p.Kind }); x.channel >= 0 {
			taken[x.channel] = true
			x.size = bore(m.Channels[x.channel])
		} else if p.Kind == scope.OuterDistalEnd {
			x.size = fmt.Sprintf("Ø %s × %s mm", m.OuterDiameter, m.SampledLength)
		}
		s.spots = append(s.spots, x)
	}
	for i, c := range m.Channels {
		if !taken[i] {
			s.spots = append(s.spots, spot{name: text.Spaced(string(c.Kind)) + " channel", channel: i, size: bore(c)})
		}
	}
	return s
}

// Place draws a scope as [Schematic] does, with one of its sampling points marked and nothing said of any
// reading; with none when the model does not have the point.
func Place(m scope.Model, kind scope.PointKind) chart.Picture {
	s := Schematic(words.US, m, nil, nil).(schematic)
	s.spots = slices.DeleteFunc(s.spots, func(x spot) bool { return !x.sampled || x.Kind != kind })
	for i := range s.spots {
		s.spots[i].here = true
	}
	return s
}

// lumenOf names the sampling point of a channel.
func lumenOf(k scope.ChannelKind) scope.PointKind {
	switch k {
	case scope.InstrumentChannel:
		return scope.InstrumentLumen
	case scope.SuctionChannel:
		return scope.SuctionLumen
	case scope.AirChannel:
		return scope.AirLumen
	case scope.WaterChannel:
		return scope.WaterLumen
	case scope.AuxiliaryChannel:
		return scope.AuxiliaryLumen
	case scope.ElevatorWireChannel:
		return scope.ElevatorWire
	case scope.BalloonChannel:
		return scope.BalloonLumen
	}
	return ""
}

func bore(c scope.Channel) string {
	return fmt.Sprintf("Ø %s × %s mm", c.Diameter, c.Length)
}

// schematic is the picture.
type schematic struct {
	model scope.Model
	spots []spot
	zone  *time.Location
}

// spot is what has a card: a sampling point, or a channel without one.
type spot struct {
	PointState
	name    string
	outcome string // its word
	channel int    // index of the model's channel, -1 for a place on the distal end
	sampled bool
	size    string
	here    bool // it is the one that is asked about
}

// word says what the state of a spot is.
func (s spot) word() string {
	switch {
	case !s.sampled:
		return "not a sampling point"
	case s.NotApplicable != "":
		return "not applicable"
	case s.here:
		return "sample here"
	case s.Value == "" && s.Outcome == reading.None:
		return "no reading"
	case s.Outcome == reading.None:
		return "no level"
	}
	return s.outcome
}

// mark returns the shape that says the same, and how it is painted.
func (s spot) mark() (chart.Shape, chart.Style) {
	hollow := chart.Style{Fill: chart.InkPaper, Stroke: chart.InkMuted, Width: 1.6}
	switch {
	case !s.sampled:
		return chart.Square, hollow
	case s.NotApplicable != "":
		return chart.Cross, chart.Style{Fill: chart.InkMuted}
	case s.here:
		return chart.Circle, chart.Style{Fill: chart.InkData}
	}
	switch s.Outcome {
	case reading.OK:
		return chart.Circle, chart.Style{Fill: chart.InkData}
	case reading.Alert:
		return chart.TriangleUp, chart.Style{Fill: chart.InkAlert}
	case reading.Action:
		return chart.Diamond, chart.Style{Fill: chart.InkAction}
	case reading.Void:
		return chart.TriangleDown, hollow
	case reading.None:
	}
	return chart.Circle, hollow
}

// when is the date and the time of the latest reading.
func (s schematic) when(x spot) string {
	if !x.When.Known() {
		return ""
	}
	return x.When.Time().In(s.zone).Format("2 Jan 2006, 15:04")
}

// title is what a marker and its card say when pointed at.
func (s schematic) title(x spot) string {
	title := x.name + ": " + joined(", ", x.Value, x.word())
	return joined("; ", title, x.NotApplicable, x.Level, s.when(x), x.size)
}

func joined(separator string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), separator)
}

// Words implements [chart.Picture].
func (s schematic) Words() (title, desc string) {
	title = joined(", ", s.model.Name, string(s.model.Kind))
	if title == "" {
		title = "scope"
	}
	counts := make(map[string]int)
	var states []string
	for _, x := range s.spots {
		if counts[x.word()]++; counts[x.word()] == 1 {
			states = append(states, x.word())
		}
	}
	for i, w := range states {
		states[i] = fmt.Sprintf("%d %s", counts[w], w)
	}
	desc = fmt.Sprintf("The scope from its tip to the ports of its %d channels. ", len(s.model.Channels))
	if len(states) > 0 {
		desc += "Of its points: " + strings.Join(states, ", ") + ". "
	}
	return title, desc + caution
}

// Table implements [chart.Picture].
func (s schematic) Table() chart.Table {
	title, _ := s.Words()
	t := chart.Table{Caption: title, Header: []string{"Point", "State", "Latest reading", "Level", "Read at", "Size", "Port"}}
	for _, x := range s.spots {
		state, port := x.word(), ""
		if x.NotApplicable != "" {
			state += ": " + x.NotApplicable
		}
		if x.channel >= 0 {
			port = s.model.Channels[x.channel].Port
		}
		when := ""
		if x.When.Known() {
			when = x.When.In(s.zone)
		}
		t.Rows = append(t.Rows, []string{x.name, state, x.Value, x.Level, when, x.size, port})
	}
	return t
}

// Height implements [chart.Picture].
func (s schematic) Height(width float64) float64 { return s.layOut(width).height }

// LeastHeight is the height that all of it takes: a picture in less room is made smaller.
func (s schematic) LeastHeight(width float64) float64 { return s.Height(width) }

// Draw implements [chart.Picture].
func (s schematic) Draw(cv chart.Canvas, width, height float64) {
	l := s.layOut(width)
	l.lower(math.Max(0, (height-l.height)/2))
	d := schematicDrawing{schematicLayout: l, cv: cv}
	d.silhouette()
	d.hatch()
	d.channels()
	d.recess()
	d.ruler()
	for i := range l.pins {
		d.pin(&l.pins[i])
	}
	d.note()
}
