// Package reading answers what one reading means, what the readings of one point mean together,
// and what a verification of points means for the scope: go on, clean again and sample again, or hold.
//
// It never looks anything up: levels, rules and readings are arguments. It never compares,
// converts or pools relative light units of different meter systems or kits, since each system
// counts on a scale of its own (Whiteley, Derry & Glasbey, Infect Control Hosp Epidemiol 2013;
// Whiteley et al., Infect Control Hosp Epidemiol 2015;36:658–663). A point for which no level was
// adopted has the outcome None, never a default. Read Level, Judge and Verification, in this order.
package reading

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Analyte is what was measured.
type Analyte string

// The analytes.
const (
	ATP          Analyte = "atp"
	Protein      Analyte = "protein"
	Haemoglobin  Analyte = "haemoglobin"
	Carbohydrate Analyte = "carbohydrate"
	TOC          Analyte = "toc"
	ATPAmount    Analyte = "atp-amount" // adenosine triphosphate as an amount, not as light
	Viable       Analyte = "viable-count"
	Strip        Analyte = "strip" // a qualitative strip: a word, not a number
)

// Analytes lists every analyte.
var Analytes = []Analyte{ATP, Protein, Haemoglobin, Carbohydrate, TOC, ATPAmount, Viable, Strip}

// Unit is what a value counts.
type Unit string

// The units.
const (
	RLU      Unit = "RLU"
	PerML    Unit = "ug/mL"
	PerCM2   Unit = "ug/cm2"
	FmolCM2  Unit = "fmol/cm2"
	LogCFU   Unit = "log10 CFU/cm2"
	StripRun Unit = "strip"
)

// Units lists every unit.
var Units = []Unit{RLU, PerML, PerCM2, FmolCM2, LogCFU, StripRun}

// UnitsOf returns the units in which an analyte may be given, the usual one first.
func UnitsOf(a Analyte) []Unit {
	switch a {
	case ATP:
		return []Unit{RLU}
	case Protein, Haemoglobin, Carbohydrate, TOC:
		return []Unit{PerCM2, PerML}
	case ATPAmount:
		return []Unit{FmolCM2}
	case Viable:
		return []Unit{LogCFU}
	case Strip:
		return []Unit{StripRun}
	}
	return nil
}

// Comparison says when a value is over a level.
type Comparison string

// The comparisons. With Over a value at the action level is not over it; ISO 15883-5:2021 counts a
// value at the level, hence AtOrOver.
const (
	Over     Comparison = "over"
	AtOrOver Comparison = "at-or-over"
)

// Level is a pair of limits that a facility adopted for one meter system, one kit, one kind of
// point and one analyte, and for one kind of scope or all.
type Level struct {
	// System is the meter system; all meters of a system count on the same scale.
	System string          `json:"system"`
	Kit    string          `json:"kit"`
	Point  scope.PointKind `json:"point"`
	// Kind narrows the level to one kind of scope; empty means every kind.
	Kind    scope.Kind `json:"kind,omitempty"`
	Analyte Analyte    `json:"analyte"`
	Unit    Unit       `json:"unit"`
	// Alert is reached by a value at or over it; zero when there is none.
	Alert unit.Number `json:"alert,omitzero"`
	// Action is exceeded as Comparison says.
	Action     unit.Number `json:"action"`
	Comparison Comparison  `json:"comparison"`
	// CV is the coefficient of variation of single readings near the level, as a fraction; zero
	// when it is not known, and then no band is drawn.
	CV unit.Number `json:"cv,omitzero"`
	// Dirty lists the strip's words that count as over the action level, Clean those below.
	Dirty   []string     `json:"dirty,omitempty"`
	Clean   []string     `json:"clean,omitempty"`
	Source  string       `json:"source"`
	Edition string       `json:"edition"`
	Adopter string       `json:"adopted_by"`
	Adopted unit.Instant `json:"adopted"`
	// Second is who else signed; empty where one was enough.
	Second string `json:"second,omitempty"`

	// From is since when it judges: from the later of its adoption and its signature, so that nothing that was read
	// before is judged by it. It is no part of what is stored, and zero for a level that is not on record, which
	// judges from its adoption on. Until is when it was taken back; zero while it stands.
	From  unit.Instant `json:"-"`
	Until unit.Instant `json:"-"`
}

// Judges returns since when the level judges.
func (l Level) Judges() unit.Instant {
	if l.From.Known() {
		return l.From
	}
	return l.Adopted
}

// most is the largest value that can be meant in a unit: for RLU what a meter shows, for the others what would be no
// residue any more, and none where it is no number (common practice): a million µg in a millilitre or on a square centimetre are a gram.
var most = map[Unit]unit.Number{RLU: MaxRLU, PerML: 1_000_000, PerCM2: 1_000_000, FmolCM2: 1_000_000_000, LogCFU: 12, StripRun: 0}

// Check refuses a level that could not be defended.
func (l Level) Check() error {
	var problems []error
	fail := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	if l.System == "" || l.Kit == "" {
		fail("a level belongs to one meter system and one kit; name both")
	}
	if !slices.Contains(scope.PointKinds, l.Point) {
		fail("point %q is not known; allowed: %s", l.Point, scope.Words(scope.PointKinds))
	}
	if l.Kind != "" && !slices.Contains(scope.Kinds, l.Kind) {
		fail("kind %q is not known; allowed: %s", l.Kind, scope.Words(scope.Kinds))
	}
	switch {
	case !slices.Contains(Analytes, l.Analyte):
		fail("analyte %q is not known; allowed: %s", l.Analyte, scope.Words(Analytes))
	case !slices.Contains(UnitsOf(l.Analyte), l.Unit):
		fail("unit %q does not fit %s; allowed: %s", l.Unit, l.Analyte, scope.Words(UnitsOf(l.Analyte)))
	}
	if l.Analyte == Strip {
		if len(l.Dirty) == 0 || len(l.Clean) == 0 {
			fail("a strip's level needs the words that count as clean and as dirty")
		}
		for _, w := range l.Clean {
			if holds(l.Dirty, w) {
				fail("the strip's word %q is given as clean and as dirty", w)
			}
		}
	} else {
		if limit := most[l.Unit]; l.Action <= 0 {
			fail("the action level must be over 0")
		} else if limit > 0 && l.Action > limit {
			fail("the action level %s is more than can be measured; allowed: over 0 and at most %s %s", l.Action, limit, l.Unit)
		}
		if l.Alert < 0 || l.Alert > l.Action {
			fail("the alert level %s must not be below 0 nor over the action level %s", l.Alert, l.Action)
		}
		if l.Comparison != Over && l.Comparison != AtOrOver {
			fail("comparison %q is not known; allowed: %s, %s", l.Comparison, Over, AtOrOver)
		}
	}
	if l.Unit == RLU && (l.Action != unit.Number(int64(l.Action)) || l.Alert != unit.Number(int64(l.Alert))) {
		fail("levels in RLU are whole numbers")
	}
	if l.CV < 0 || l.CV >= 3 {
		fail("the coefficient of variation %s is a fraction, such as 0.3 for 30 %%", l.CV)
	}
	if l.Source == "" || l.Edition == "" || l.Adopter == "" || !l.Adopted.Known() {
		fail("source, edition, who adopted it and when must be given")
	}
	if err := errors.Join(problems...); err != nil {
		return fmt.Errorf("level for %s: %w", l.Scale(), err)
	}
	return nil
}

// Key names what a level is for; two levels with the same key replace each other by date.
func (l Level) Key() string {
	return strings.Join([]string{l.System, l.Kit, string(l.Point), string(l.Kind), string(l.Analyte)}, "|")
}

// Name is how a level is cited in a decision.
func (l Level) Name() string {
	return fmt.Sprintf("%s, edition %s, adopted by %s", l.Source, l.Edition, l.Adopter)
}

// Scale is what makes two readings comparable: the same meter system with the same kit.
type Scale struct {
	System  string  `json:"system"`
	Kit     string  `json:"kit"`
	Analyte Analyte `json:"analyte"`
}

// Scale returns the scale of the level.
func (l Level) Scale() Scale { return Scale{l.System, l.Kit, l.Analyte} }

// String prints the scale for a message.
func (s Scale) String() string {
	return fmt.Sprintf("%s with meter system %q and kit %q", s.Analyte, s.System, s.Kit)
}

// SameScale refuses to bring values of different scales together. Every comparison, difference,
// pooling or trend of readings goes through it.
func SameScale(scales ...Scale) error {
	for _, s := range scales[min(1, len(scales)):] {
		if s != scales[0] {
			return fmt.Errorf("%s cannot be compared with, converted to or pooled with %s: each system counts on a scale of its own", s, scales[0])
		}
	}
	return nil
}
