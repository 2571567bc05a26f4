// Package sampling answers how a sampling point is sampled, whether a sample is still good by its
// clocks, which scopes and points are due and why, and which scopes a random selection picks.
//
// It never judges a reading (package reading does) and it never decides whether a scope may be
// used. Read Protocol for the how, Sample and Standing for the clocks, Due and Draw for the when.
// Everything that differs between facilities is data, with a citation and a mark whether somebody
// has verified it.
package sampling

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Source says where a rule comes from and whether the facility has checked it there.
type Source struct {
	Citation string `yaml:"citation" json:"citation"`
	Verified bool   `yaml:"verified" json:"verified"`
	// VerifiedBy is the code of whoever checked the value in the cited text, VerifiedIn where it was
	// found there: edition, section, page. Both may be empty in rule sets that do not say.
	VerifiedBy string `yaml:"verified_by,omitempty" json:"verified_by,omitempty"`
	VerifiedIn string `yaml:"verified_in,omitempty" json:"verified_in,omitempty"`
}

// Method is how residue is brought from the scope to the device that is read.
type Method string

// The two methods.
const (
	Surface Method = "surface" // a swab over a surface
	Rinsate Method = "rinsate" // fluid recovered from a channel
)

// Methods lists every method.
var Methods = []Method{Surface, Rinsate}

// MethodOf returns how a kind of point is sampled: surfaces are swabbed, channels rinsed.
func MethodOf(kind scope.PointKind) Method {
	switch kind {
	case scope.OuterDistalEnd, scope.ElevatorRecess:
		return Surface
	case scope.InstrumentLumen, scope.SuctionLumen, scope.ElevatorWire, scope.AirLumen,
		scope.WaterLumen, scope.AuxiliaryLumen, scope.BalloonLumen:
	}
	return Rinsate
}

// Medium is what an act moves.
type Medium string

// The media.
const (
	Nothing      Medium = ""
	Air          Medium = "air"
	SterileWater Medium = "sterile-water"
	Swab         Medium = "swab"
)

// Act is one numbered step of a protocol.
type Act struct {
	// Do is the instruction, one sentence.
	Do     string           `yaml:"do" json:"do"`
	Medium Medium           `yaml:"medium,omitempty" json:"medium,omitempty"`
	Volume unit.Millilitres `yaml:"volume_ml,omitempty" json:"volume_ml,omitzero"`
	// Length is how much of the scope the act covers.
	Length unit.Millimetres `yaml:"length_mm,omitempty" json:"length_mm,omitzero"`
	// AtMost bounds the length of tubing that is attached.
	AtMost unit.Millimetres `yaml:"at_most_mm,omitempty" json:"at_most_mm,omitzero"`
	Lasts  unit.Span        `yaml:"lasts,omitempty" json:"lasts,omitzero"`
	// Discard says that what comes out is thrown away.
	Discard bool `yaml:"discard,omitempty" json:"discard,omitempty"`
	// Invalid says what makes the sample void at this step.
	Invalid string `yaml:"invalid,omitempty" json:"invalid,omitempty"`
}

// Quantities says how much the act moves, where its sentence may be edited away from the numbers; empty
// when it has no quantities.
func (a Act) Quantities() string {
	var parts []string
	if a.Volume > 0 {
		parts = append(parts, fmt.Sprintf("%s mL %s", a.Volume, text.Spaced(a.Medium)))
	}
	if a.Length > 0 {
		parts = append(parts, fmt.Sprintf("%s mm", a.Length))
	}
	if a.AtMost > 0 {
		parts = append(parts, fmt.Sprintf("at most %s mm", a.AtMost))
	}
	if a.Lasts > 0 {
		parts = append(parts, a.Lasts.String())
	}
	if a.Discard {
		parts = append(parts, "discard")
	}
	return strings.Join(parts, ", ")
}

// Protocol is how one or several kinds of point are sampled.
type Protocol struct {
	Points []scope.PointKind `yaml:"points" json:"points"`
	Method Method            `yaml:"method" json:"method"`
	// AtHand lists what must be there before the first act.
	AtHand []string `yaml:"at_hand" json:"at_hand"`
	Acts   []Act    `yaml:"acts" json:"acts"`
	Source `yaml:",inline"`
}

// Flush returns the volume of water that the protocol sends through the channel to be collected.
func (p Protocol) Flush() unit.Millilitres {
	var total unit.Millilitres
	for _, a := range p.Acts {
		if a.Medium == SterileWater && !a.Discard {
			total += a.Volume
		}
	}
	return total
}

// Check refuses a protocol that a person could not follow.
func (p Protocol) Check() error {
	if len(p.Points) == 0 || len(p.Acts) == 0 {
		return fmt.Errorf("protocol: it needs points and acts")
	}
	name := scope.Words(p.Points)
	for _, k := range p.Points {
		if !slices.Contains(scope.PointKinds, k) {
			return fmt.Errorf("protocol for %s: point %q is not known; allowed: %s", name, k, scope.Words(scope.PointKinds))
		}
		if MethodOf(k) != p.Method {
			return fmt.Errorf("protocol for %s: method %q does not fit point %s, which is sampled by %s", name, p.Method, k, MethodOf(k))
		}
	}
	for i, a := range p.Acts {
		switch {
		case a.Do == "":
			return fmt.Errorf("protocol for %s: act %d says nothing to do", name, i+1)
		case a.Volume < 0 || a.Length < 0 || a.AtMost < 0 || a.Lasts < 0:
			return fmt.Errorf("protocol for %s: act %d has a quantity below zero", name, i+1)
		case !slices.Contains([]Medium{Nothing, Air, SterileWater, Swab}, a.Medium):
			return fmt.Errorf("protocol for %s: act %d: medium %q is not known; allowed: air, sterile-water, swab", name, i+1, a.Medium)
		}
	}
	if p.Method == Rinsate && p.Flush() == 0 {
		return fmt.Errorf("protocol for %s: no act sends sterile water through the channel to be collected", name)
	}
	if p.Citation == "" {
		return fmt.Errorf("protocol for %s: the citation is missing (write \"common practice\" where there is no source)", name)
	}
	return nil
}

// For returns the protocol of a kind of point.
func For(protocols []Protocol, kind scope.PointKind) (Protocol, bool) {
	for _, p := range protocols {
		if slices.Contains(p.Points, kind) {
			return p, true
		}
	}
	return Protocol{}, false
}

// Flushes returns the collected flush of each point that has a rinsing protocol, for
// scope.Model.Warnings.
func Flushes(protocols []Protocol) map[scope.PointKind]unit.Millilitres {
	flush := make(map[scope.PointKind]unit.Millilitres)
	for _, p := range protocols {
		if p.Method == Rinsate {
			for _, k := range p.Points {
				flush[k] = p.Flush()
			}
		}
	}
	return flush
}
