package quality

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// ControlKind is what a control stands for.
type ControlKind string

// The kinds of controls (common practice).
const (
	// Positive is a known light source or a known amount of ATP.
	Positive ControlKind = "positive"
	// Negative is a device of the kit that went through the procedure without a sample.
	Negative ControlKind = "negative"
	// Blank is the meter's own background, with no device or an unused one.
	Blank ControlKind = "blank"
)

// ControlKinds lists every kind.
var ControlKinds = []ControlKind{Positive, Negative, Blank}

// Control is one reading of something known, made to check a meter.
type Control struct {
	// ID is the id of the record that holds the control; it is not part of the record's body.
	ID    ledger.ID   `json:"-"`
	Meter string      `json:"meter"`
	Kind  ControlKind `json:"kind"`
	// Material is what was read, and Lot which lot of it: each has a target of its own.
	Material string `json:"material"`
	Lot      string `json:"lot,omitempty"`
	// Value is in RLU.
	Value  unit.Number  `json:"value"`
	At     unit.Instant `json:"at"`
	Person string       `json:"person"`
	// Run names the controls that were read together as one check, once for each check of a meter;
	// empty when the control is a check by itself.
	Run string `json:"run,omitempty"`
}

// Check refuses a control that cannot be judged or traced.
func (c Control) Check() error {
	fail := func(format string, args ...any) error {
		return fmt.Errorf("control of meter %q at %s: "+format, append([]any{c.Meter, c.At}, args...)...)
	}
	switch {
	case c.Meter == "":
		return fail("name the meter")
	case !slices.Contains(ControlKinds, c.Kind):
		return fail("kind %q is not known; allowed: %s", c.Kind, scope.Words(ControlKinds))
	case c.Material == "":
		return fail("name the material that was read")
	case CheckValue(c.Value) != nil:
		return fail("%w", CheckValue(c.Value))
	case !c.At.Known():
		return fail("when was it read?")
	case c.Person == "":
		return fail("who read it?")
	}
	return nil
}

// CheckValue refuses what no meter shows.
func CheckValue(n unit.Number) error {
	v := float64(n)
	if !(v >= 0 && v <= reading.MaxRLU && math.Trunc(v) == v) { // so written, NaN is refused
		return fmt.Errorf("%v is not a whole number 0–%d", v, reading.MaxRLU)
	}
	return nil
}

// Log10RLU returns log10(v + 1), the scale on which positive controls and gauge studies are judged.
// One is added so that a reading of 0 has a place; at the height of a positive control it changes
// nothing that matters. NaN for v < −1 and for NaN.
func Log10RLU(v unit.Number) float64 {
	// Log10 of whole powers of ten is exact, Log1p/Ln10 is not.
	return math.Log10(float64(v) + 1)
}
