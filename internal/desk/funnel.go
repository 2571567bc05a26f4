package desk

import (
	"errors"
	"maps"
	"slices"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
)

// Grouping is by what failures are counted.
type Grouping string

// The groupings.
const (
	ByPerson Grouping = "person"
	ByScope  Grouping = "scope"
	ByLot    Grouping = "lot"
	ByMeter  Grouping = "meter"
	ByKind   Grouping = "kind"
	ByPoint  Grouping = "point"
)

// Groupings lists every grouping.
var Groupings = []Grouping{ByPerson, ByScope, ByLot, ByMeter, ByKind, ByPoint}

// NotOnRecord is the unit of readings whose circumstance is not on record.
const NotOnRecord = "not on record"

func (g Grouping) of(m Measured) string {
	name := ""
	switch g {
	case ByPerson:
		name = m.Cleaner
	case ByScope:
		name = m.Scope
	case ByLot:
		name = m.Kit + " " + m.Lot
	case ByMeter:
		name = m.Meter
	case ByKind:
		name = string(m.Kind)
	case ByPoint:
		name = string(m.Point)
	}
	if name == "" {
		return NotOnRecord
	}
	return name
}

// Failures counts, for each person who cleaned, scope, lot, meter, kind of scope or point, how many of
// the first readings after a first cleaning in a time, from <= at < to, were over the action level.
// Readings in doubt, void ones and those without a level are left out.
func (v NumbersView) Failures(by Grouping, from, to unit.Instant) ([]trend.Unit, error) {
	if !slices.Contains(Groupings, by) {
		return nil, invalid("%q is not something to count by; allowed: %v", by, words(Groupings))
	}
	all, err := v.Firsts(from, to)
	return FailuresOf(all, by), err
}

// FailuresOf counts what [View.Failures] does in first readings, by the names of the units.
func FailuresOf(all []Measured, by Grouping) []trend.Unit {
	units := map[string]trend.Unit{}
	for _, m := range all {
		if m.Outcome == reading.None {
			continue
		}
		u := units[by.of(m)]
		u.Name = by.of(m)
		u.Trials++
		if m.Outcome == reading.Action {
			u.Failures++
		}
		units[u.Name] = u
	}
	list := make([]trend.Unit, 0, len(units))
	for _, name := range slices.Sorted(maps.Keys(units)) {
		list = append(list, units[name])
	}
	return list
}

// Firsts returns the readings of a time, from <= at < to, that the statistics of failures and variation
// count: the first of each point in a cycle, after the first cleaning, neither void nor in doubt.
func (v NumbersView) Firsts(from, to unit.Instant) ([]Measured, error) {
	all, err := v.Measured(from, to)
	return slices.DeleteFunc(all, func(m Measured) bool { return !m.First }), err
}

// Compared is the comparison of what was counted.
func Compared(units []trend.Unit) (trend.Funnel, error) {
	f, err := trend.NewFunnel(units)
	if errors.Is(err, stats.ErrTooFew) {
		return f, notFound(
			"choose an earlier begin with --from, or a smaller --least",
			"%d with enough readings in that time: at least 2 are needed to compare",
			len(units),
		)
	}
	return f, refuse(err)
}
