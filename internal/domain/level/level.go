// Package level derives alert and action levels from a facility's own readings and judges levels:
// against cultures, by what they do to a scope of known cleanliness, and by what they would have
// done to the verifications of the past.
//
// A level belongs to one meter system, one kit, one kind of sampling point and one kind of scope or
// all; readings of different systems or kits are never brought together. This package proposes and
// never adopts: what it returns says how it was found, so that a person can adopt it with the whole
// derivation attached. What a reading or a verification means is decided by package reading alone. Only
// readings in RLU are dealt with. Statistics come from package stats; randomness from a seed that is
// written into the result, so that the same baseline gives the same derivation again.
//
// To know first: [Derive] for candidates from a baseline, [Discriminate] for cultures, [Operate]
// for the operating characteristic and [History.Compare] for the past under other levels.
package level

import (
	"errors"
	"fmt"
	"slices"
	"sort"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Target is what a level is for.
type Target struct {
	System string          `json:"system"`
	Kit    string          `json:"kit"`
	Point  scope.PointKind `json:"point"`
	// Kind narrows the level to one kind of scope; empty means every kind.
	Kind scope.Kind `json:"kind,omitempty"`
}

// Check refuses a target that no level could have.
func (t Target) Check() error {
	var problems []error
	if t.System == "" || t.Kit == "" {
		problems = append(problems, errors.New("a level belongs to one meter system and one kit; name both"))
	}
	if !slices.Contains(scope.PointKinds, t.Point) {
		problems = append(problems, fmt.Errorf("point %q is not known; allowed: %s", t.Point, scope.Words(scope.PointKinds)))
	}
	if t.Kind != "" && !slices.Contains(scope.Kinds, t.Kind) {
		problems = append(problems, fmt.Errorf("kind %q is not known; allowed: %s", t.Kind, scope.Words(scope.Kinds)))
	}
	return errors.Join(problems...)
}

// Scale returns the scale on which readings of the target count.
func (t Target) Scale() reading.Scale {
	return reading.Scale{System: t.System, Kit: t.Kit, Analyte: reading.ATP}
}

// String names the target in a message.
func (t Target) String() string {
	kind := "every kind of scope"
	if t.Kind != "" {
		kind = string(t.Kind)
	}
	return fmt.Sprintf("%s, %s, %s", t.Scale(), t.Point, kind)
}

// rlu writes a count as the value that package reading judges.
func rlu(n int) reading.Value {
	return reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(n)}
}

// limits are a level as the smallest counts of each outcome. They are found by asking the level, so
// that the rule for judging a reading is written down once, in package reading: a count below alert
// is below, one from alert to below action is an alert, and one from action on is over. Without an
// alert level alert equals action.
type limits struct {
	alert, action int32
	// near are the bands around alert and action level in which a duplicate is asked for.
	near [2]band
}

// band is an interval of counts, both ends included; lo > hi when there is none.
type band struct{ lo, hi int32 }

func (b band) holds(n int32) bool { return b.lo <= n && n <= b.hi }

// limitsOf asks the level for its limits. The outcome of a count rises with the count, so halving
// finds where it changes.
func limitsOf(l reading.Level) (limits, error) {
	if err := checkRLU(l); err != nil {
		return limits{}, err
	}
	var unused reading.Circumstances // only a conversion to µg/cm² needs them
	first := func(wanted func(reading.Outcome) bool) int32 {
		return int32(sort.Search(reading.MaxRLU+1, func(n int) bool { return wanted(l.Judge(rlu(n), unused).Outcome) }))
	}
	found := limits{
		alert:  first(func(o reading.Outcome) bool { return o != reading.OK }),
		action: first(func(o reading.Outcome) bool { return o == reading.Action }),
		near:   [2]band{{lo: 1}, {lo: 1}},
	}
	for i, limit := range []unit.Number{l.Alert, l.Action} {
		lo, hi, ok := reading.Band(limit, l.CV)
		if !ok {
			continue
		}
		found.near[i] = band{
			lo: int32(sort.Search(reading.MaxRLU+1, func(n int) bool { return unit.Number(n) >= lo })),
			hi: int32(sort.Search(reading.MaxRLU+1, func(n int) bool { return unit.Number(n) > hi })) - 1,
		}
	}
	return found, nil
}

// checkRLU refuses a level that does not judge counts.
func checkRLU(l reading.Level) error {
	switch {
	case l.Analyte != reading.ATP || l.Unit != reading.RLU:
		return fmt.Errorf("a level for %s in %s: only levels for %s in %s can be judged here", l.Analyte, l.Unit, reading.ATP, reading.RLU)
	case l.Action <= 0 || l.Alert < 0 || l.Alert > l.Action:
		return fmt.Errorf("alert level %s and action level %s: the action level must be over 0 and the alert level not over it", l.Alert, l.Action)
	case l.Comparison != reading.Over && l.Comparison != reading.AtOrOver:
		return fmt.Errorf("comparison %q is not known; allowed: %s, %s", l.Comparison, reading.Over, reading.AtOrOver)
	}
	return nil
}

// judge returns what Level.Judge says of a count.
func (l limits) judge(n int32) (v verdict, near bool) {
	near = l.near[0].holds(n) || l.near[1].holds(n)
	switch {
	case n >= l.action:
		return action, near
	case n >= l.alert:
		return alert, near
	}
	return below, near
}
