// Package scope answers what an endoscope model is made of and where on it cleanliness can be
// checked: its channels and their geometry, its risk class, and the sampling points that follow
// from them. It also describes the single instruments of a fleet.
//
// It never decides whether a scope is clean or may be used (packages reading and reprocessing do).
// Read Model first; Model.Points and Model.Warnings are what the rest of the program asks.
package scope

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
)

// Kind is a kind of flexible endoscope.
type Kind string

// The kinds known.
const (
	Duodenoscope      Kind = "duodenoscope"
	LinearEchoscope   Kind = "linear-echoendoscope"
	RadialEchoscope   Kind = "radial-echoendoscope"
	Gastroscope       Kind = "gastroscope"
	Colonoscope       Kind = "colonoscope"
	Enteroscope       Kind = "enteroscope"
	Bronchoscope      Kind = "bronchoscope"
	EBUS              Kind = "ebus-bronchoscope"
	Cystoscope        Kind = "cystoscope"
	Ureteroscope      Kind = "ureteroscope"
	Rhinolaryngoscope Kind = "rhinolaryngoscope"
)

// Words is a kind as people read it.
func (k Kind) Words() string {
	if k == EBUS {
		return "EBUS bronchoscope"
	}
	return text.Spaced(k)
}

// Kinds lists every kind.
var Kinds = []Kind{
	Duodenoscope, LinearEchoscope, RadialEchoscope, Gastroscope, Colonoscope, Enteroscope,
	Bronchoscope, EBUS, Cystoscope, Ureteroscope, Rhinolaryngoscope,
}

// Risk is the class that decides how often cleaning is verified.
type Risk string

// The risk classes. ANSI/AAMI ST91:2021 asks for cleaning verification after each use of
// high-risk endoscopes and periodically for the others; a facility may add models to the first.
const (
	HighRisk     Risk = "high"
	StandardRisk Risk = "standard"
)

// UsualRisk returns the class of a kind by the list of ANSI/AAMI ST91:2021: duodenoscopes, linear
// echoendoscopes, bronchoscopes, EBUS, ureteroscopes and cystoscopes are high-risk.
func UsualRisk(k Kind) Risk {
	switch k {
	case Duodenoscope, LinearEchoscope, Bronchoscope, EBUS, Ureteroscope, Cystoscope:
		return HighRisk
	case RadialEchoscope, Gastroscope, Colonoscope, Enteroscope, Rhinolaryngoscope:
		return StandardRisk
	}
	return HighRisk // an unknown kind is treated with the greater care
}

// ChannelKind is what a channel carries.
type ChannelKind string

// The channels of a flexible endoscope.
const (
	InstrumentChannel   ChannelKind = "instrument"
	SuctionChannel      ChannelKind = "suction"
	AirChannel          ChannelKind = "air"
	WaterChannel        ChannelKind = "water"
	AuxiliaryChannel    ChannelKind = "auxiliary-water"
	ElevatorWireChannel ChannelKind = "elevator-wire"
	BalloonChannel      ChannelKind = "balloon"
)

// ChannelKinds lists every channel kind.
var ChannelKinds = []ChannelKind{
	InstrumentChannel, SuctionChannel, AirChannel, WaterChannel, AuxiliaryChannel,
	ElevatorWireChannel, BalloonChannel,
}

// PointKind is a kind of sampling point: a place where cleanliness is checked.
type PointKind string

// The sampling points.
const (
	OuterDistalEnd  PointKind = "outer-distal-end"
	ElevatorRecess  PointKind = "elevator-recess"
	InstrumentLumen PointKind = "instrument-channel"
	SuctionLumen    PointKind = "suction-channel"
	ElevatorWire    PointKind = "elevator-wire-channel"
	AirLumen        PointKind = "air-channel"
	WaterLumen      PointKind = "water-channel"
	AuxiliaryLumen  PointKind = "auxiliary-water-channel"
	BalloonLumen    PointKind = "balloon-channel"
)

// PointKinds lists every point in protocol order: outside first, then recess, then channels.
var PointKinds = []PointKind{
	OuterDistalEnd, ElevatorRecess, InstrumentLumen, SuctionLumen, ElevatorWire,
	AirLumen, WaterLumen, AuxiliaryLumen, BalloonLumen,
}

// pointOf names the sampling point of a channel.
var pointOf = map[ChannelKind]PointKind{
	InstrumentChannel: InstrumentLumen, SuctionChannel: SuctionLumen, AirChannel: AirLumen,
	WaterChannel: WaterLumen, AuxiliaryChannel: AuxiliaryLumen,
	ElevatorWireChannel: ElevatorWire, BalloonChannel: BalloonLumen,
}

// Channel is one lumen of a model.
type Channel struct {
	Kind ChannelKind `json:"kind"`
	// Diameter is the inner diameter.
	Diameter unit.Millimetres `json:"diameter_mm"`
	// Length is the length of the path that a flush takes, port to distal tip.
	Length unit.Millimetres `json:"length_mm"`
	// Port is where fluid goes in, as printed on the scope or in its instructions.
	Port      string `json:"port,omitempty"`
	Brushable bool   `json:"brushable,omitempty"`
	Flushable bool   `json:"flushable,omitempty"`
	// Sealed channels cannot be flushed by the user; they are never sampled and never missing.
	Sealed bool `json:"sealed,omitempty"`
	// Cleaning names the act of manual cleaning that reaches this channel; empty when none does.
	Cleaning string `json:"cleaning,omitempty"`
}

// Area returns the wetted area π·d·L.
func (c Channel) Area() unit.SquareCentimetres {
	return unit.SquareCentimetres(math.Pi * float64(c.Diameter) * float64(c.Length) / 100)
}

// DeadVolume returns the volume of the lumen, π/4·d²·L: what a flush must push out before any of
// it is recovered.
func (c Channel) DeadVolume() unit.Millilitres {
	d := float64(c.Diameter)
	return unit.Millilitres(math.Pi / 4 * d * d * float64(c.Length) / 1000)
}

// Model describes every instrument of one model.
type Model struct {
	Name string `json:"name"`
	Kind Kind   `json:"kind"`
	Risk Risk   `json:"risk"`
	// Elevator says whether the distal end has an elevator and so a recess.
	Elevator bool `json:"elevator,omitempty"`
	// OuterDiameter and SampledLength describe the distal end that a surface sample covers.
	OuterDiameter unit.Millimetres `json:"outer_diameter_mm"`
	SampledLength unit.Millimetres `json:"sampled_length_mm"`
	Channels      []Channel        `json:"channels"`
	// Chosen replaces the derived list of sampling points when the facility has edited it.
	Chosen []Choice `json:"points,omitempty"`
	// Instructions names the manufacturer's document and edition that the entries come from.
	Instructions string `json:"instructions,omitempty"`
	// Second is who else signed; empty where one was enough.
	Second string `json:"second,omitempty"`
}

// Choice is a facility's own decision about a sampling point of a model.
type Choice struct {
	Kind PointKind `json:"kind"`
	// Routine points belong to every verification; the others are sampled on demand.
	Routine bool `json:"routine,omitempty"`
}

// Point is one sampling point of a model.
type Point struct {
	Kind PointKind
	// Routine points must be sampled for a cleaning verification to be complete.
	Routine bool
	// NotApplicable says why the point exists and yet is not sampled, such as a sealed channel. It
	// is recorded as such and never counts as missing.
	NotApplicable string
	// Area is the wetted or swabbed area; zero where the model does not define one (a recess).
	Area unit.SquareCentimetres
	// DeadVolume is the volume of the channel; zero for surfaces.
	DeadVolume unit.Millilitres
}

// Points returns the sampling points of the model in protocol order. Without the facility's own
// choice they follow from the geometry. Common practice: at least the outer distal end and the
// instrument or suction channel belong to every verification, and the elevator recess and the open
// elevator-wire channel where the model has them; other open channels are offered on demand.
func (m Model) Points() []Point {
	var points []Point
	for _, kind := range PointKinds {
		p, exists := m.derive(kind)
		if !exists {
			continue
		}
		if len(m.Chosen) > 0 {
			i := slices.IndexFunc(m.Chosen, func(c Choice) bool { return c.Kind == kind })
			if i < 0 {
				continue
			}
			p.Routine = m.Chosen[i].Routine && p.NotApplicable == ""
		}
		points = append(points, p)
	}
	return points
}

// derive returns the point of a kind as the geometry alone gives it.
func (m Model) derive(kind PointKind) (Point, bool) {
	switch kind {
	case OuterDistalEnd:
		area := math.Pi * float64(m.OuterDiameter) * float64(m.SampledLength) / 100
		return Point{Kind: kind, Routine: true, Area: unit.SquareCentimetres(area)}, true
	case ElevatorRecess:
		return Point{Kind: kind, Routine: true}, m.Elevator
	case InstrumentLumen, SuctionLumen, ElevatorWire, AirLumen, WaterLumen, AuxiliaryLumen, BalloonLumen:
	}
	for _, c := range m.Channels {
		if pointOf[c.Kind] != kind {
			continue
		}
		p := Point{Kind: kind, Area: c.Area(), DeadVolume: c.DeadVolume()}
		if c.Sealed {
			p.NotApplicable = "the channel is sealed"
			return p, true
		}
		switch kind {
		case InstrumentLumen, ElevatorWire:
			p.Routine = true
		case SuctionLumen: // the instrument channel stands for the suction path where both exist
			p.Routine = !slices.ContainsFunc(m.Channels, func(c Channel) bool { return c.Kind == InstrumentChannel && !c.Sealed })
		case OuterDistalEnd, ElevatorRecess, AirLumen, WaterLumen, AuxiliaryLumen, BalloonLumen:
		}
		return p, true
	}
	return Point{}, false
}

func (m Model) has(kind ChannelKind) bool {
	return slices.ContainsFunc(m.Channels, func(c Channel) bool { return c.Kind == kind })
}

// Point returns the model's sampling point of one kind.
func (m Model) Point(kind PointKind) (Point, bool) {
	for _, p := range m.Points() {
		if p.Kind == kind {
			return p, true
		}
	}
	return Point{}, false
}

// Routine returns the kinds that a complete verification must hold.
func (m Model) Routine() []PointKind {
	var kinds []PointKind
	for _, p := range m.Points() {
		if p.Routine {
			kinds = append(kinds, p.Kind)
		}
	}
	return kinds
}

// The bounds of plausible channel geometry: published models lie well inside them; a value outside
// is almost always a slip of the unit or of a digit.
const (
	MinDiameter unit.Millimetres = 0.5
	MaxDiameter unit.Millimetres = 6
	MinLength   unit.Millimetres = 200
	MaxLength   unit.Millimetres = 4500
)

// Warnings lists what a person should look at before the model is used: geometry outside the
// plausible bounds, flushes smaller than the channel they should rinse, and channels that nobody
// samples or nobody cleans. flush gives the volume of the rinse that the sampling protocol sends
// through a point; a missing entry is not judged.
func (m Model) Warnings(flush map[PointKind]unit.Millilitres) []string {
	var warnings []string
	warn := func(format string, args ...any) { warnings = append(warnings, fmt.Sprintf(format, args...)) }
	for _, c := range m.Channels {
		if c.Diameter < MinDiameter || c.Diameter > MaxDiameter {
			warn("%s channel: inner diameter %s mm is outside %s–%s mm", c.Kind, c.Diameter, MinDiameter, MaxDiameter)
		}
		if c.Length < MinLength || c.Length > MaxLength {
			warn("%s channel: length %s mm is outside %s–%s mm", c.Kind, c.Length, MinLength, MaxLength)
		}
		if c.Sealed {
			continue
		}
		kind := pointOf[c.Kind]
		if _, sampled := m.Point(kind); !sampled {
			warn("%s channel: it has no sampling point, so nobody would see that it is dirty", c.Kind)
		} else if v, ok := flush[kind]; ok && v < c.DeadVolume() {
			warn("%s channel: a flush of %s mL does not fill its %.1f mL; what comes out was never in contact with the whole channel",
				c.Kind, v, float64(c.DeadVolume()))
		}
		if c.Cleaning == "" {
			warn("%s channel: no cleaning step reaches it: a channel nobody cleans", c.Kind)
		} else if !c.Brushable && !c.Flushable {
			warn("%s channel: it can be neither brushed nor flushed, yet the cleaning step %q is said to reach it", c.Kind, c.Cleaning)
		}
	}
	if kinds := []ChannelKind{InstrumentChannel, SuctionChannel}; len(m.Channels) > 0 && !m.has(kinds[0]) && !m.has(kinds[1]) {
		warn("the model has neither an instrument nor a suction channel: is its list of channels complete?")
	}
	if m.Kind == Duodenoscope && !m.Elevator {
		warn("a duodenoscope without an elevator: is that right?")
	}
	if m.has(ElevatorWireChannel) && !m.Elevator {
		warn("an elevator-wire channel without an elevator: is that right?")
	}
	return warnings
}

// Check refuses a model that cannot be worked with. Implausible but possible geometry is left to
// Warnings.
func (m Model) Check() error {
	var problems []error
	fail := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	if m.Name == "" {
		fail("a model needs a name")
	}
	if !slices.Contains(Kinds, m.Kind) {
		fail("kind %q is not known; allowed: %s", m.Kind, Words(Kinds))
	}
	if m.Risk != HighRisk && m.Risk != StandardRisk {
		fail("risk %q is not known; allowed: %s, %s", m.Risk, HighRisk, StandardRisk)
	}
	if m.OuterDiameter <= 0 || m.SampledLength <= 0 {
		fail("the outer diameter and the sampled length of the distal end must be over 0 mm")
	}
	seen := make(map[ChannelKind]bool)
	for _, c := range m.Channels {
		if !slices.Contains(ChannelKinds, c.Kind) {
			fail("channel %q is not known; allowed: %s", c.Kind, Words(ChannelKinds))
		}
		if seen[c.Kind] {
			fail("channel %q is given twice", c.Kind)
		}
		seen[c.Kind] = true
		if c.Diameter <= 0 || c.Length <= 0 {
			fail("channel %q: diameter and length must be over 0 mm", c.Kind)
		}
	}
	for i, choice := range m.Chosen {
		if _, exists := m.derive(choice.Kind); !exists {
			fail("sampling point %q does not exist on this model", choice.Kind)
		}
		if slices.ContainsFunc(m.Chosen[:i], func(c Choice) bool { return c.Kind == choice.Kind }) {
			fail("sampling point %q is given twice", choice.Kind)
		}
	}
	if len(m.Chosen) > 0 && len(m.Routine()) == 0 {
		fail("no sampling point belongs to every cleaning verification, so no cleaning verification could ever be complete")
	}
	if err := errors.Join(problems...); err != nil {
		return fmt.Errorf("model %q: %w", m.Name, err)
	}
	return nil
}

// Words names a sampling point as people do.
func (k PointKind) Words() string { return text.Spaced(k) }

// Named lists what has words of its own: a, b, c.
func Named[T interface{ Words() string }](values []T) string {
	words := make([]string, len(values))
	for i, v := range values {
		words[i] = v.Words()
	}
	return strings.Join(words, ", ")
}

// Words lists values for an error message, as they are typed: a, b, c.
func Words[T ~string](values []T) string {
	words := make([]string, len(values))
	for i, v := range values {
		words[i] = string(v)
	}
	return strings.Join(words, ", ")
}
