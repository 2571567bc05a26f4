package desk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// LevelTarget is everything that was adopted for one target.
type LevelTarget struct {
	// InForce judges readings now; nil when nothing does yet or any more.
	InForce *LevelEdition
	// Coming judge from a later instant on, the next first. Earlier judged once or were taken back, the
	// latest first.
	Coming, Earlier []LevelEdition
}

// Any returns an edition of the target, to say what it is for.
func (t LevelTarget) Any() LevelEdition {
	if t.InForce != nil {
		return *t.InForce
	}
	return append(slices.Clone(t.Coming), t.Earlier...)[0]
}

// LevelTargets returns every target that a level was adopted for, by meter system, kit, point and kind.
func (v LevelsView) LevelTargets() ([]LevelTarget, error) {
	c, err := v.Registry().decodedLevels()
	if err != nil {
		return nil, err
	}
	byKey := map[string]*LevelTarget{}
	var all []*LevelTarget
	for _, e := range c.editions {
		t := byKey[e.Key()]
		if t == nil {
			t = &LevelTarget{}
			byKey[e.Key()] = t
			all = append(all, t)
		}
		switch {
		case e.Replaced.Known():
			t.Earlier = append(t.Earlier, e)
		case e.Judges() > v.Now():
			t.Coming = append(t.Coming, e)
		case t.InForce == nil:
			t.InForce = &e
		case e.Since(t.InForce.Level) >= 0: // as reading.Find chooses
			t.Earlier = append(t.Earlier, *t.InForce)
			t.InForce = &e
		default:
			t.Earlier = append(t.Earlier, e)
		}
	}
	targets := make([]LevelTarget, len(all))
	for i, t := range all {
		slices.SortStableFunc(t.Earlier, func(a, b LevelEdition) int {
			return cmp.Or(b.Since(a.Level), cmp.Compare(b.Recorded, a.Recorded))
		})
		slices.SortStableFunc(t.Coming, func(a, b LevelEdition) int { return cmp.Compare(a.Judges(), b.Judges()) })
		targets[i] = *t
	}
	slices.SortStableFunc(targets, func(a, b LevelTarget) int {
		x, y := a.Any(), b.Any()
		return cmp.Or(
			cmp.Compare(x.System, y.System),
			cmp.Compare(x.Kit, y.Kit),
			cmp.Compare(slices.Index(reading.Analytes, x.Analyte), slices.Index(reading.Analytes, y.Analyte)),
			cmp.Compare(slices.Index(scope.PointKinds, x.Point), slices.Index(scope.PointKinds, y.Point)),
			cmp.Compare(x.Kind, y.Kind),
		)
	})
	return targets, nil
}

// LevelOf returns a level by its record, with the grounds on which it was adopted; nil when the record has
// none.
func (v LevelsView) LevelOf(id string) (e LevelEdition, g *Grounds, err error) {
	kept, err := v.tx.Find(id)
	if err != nil {
		return e, nil, err
	}
	if kept.Kind() != record.Level {
		return e, nil, notFound("levels are listed with their records", "record %s is a %s, not a level", id, kept.Kind())
	}
	clock, err := clockNotes(v.View, store.Forever)
	if err != nil {
		return e, nil, err
	}
	e, grounds, err := levelEdition(clock, kept)
	if err != nil || !e.Derived {
		return e, nil, err
	}
	g = &Grounds{}
	if err := json.Unmarshal(grounds, g); err != nil {
		return e, nil, fmt.Errorf("the grounds of level %s: %w", id, err)
	}
	return e, g, nil
}

// MeasuredTarget is what readings are made of, with the last of them.
type MeasuredTarget struct {
	level.Target // of one kind of scope
	Last         unit.Instant
	Scope        string
	Reading      ledger.ID
	// Level judges readings there now; nil when there is none, so that they have no outcome.
	Level *reading.Level
}

// lastRead is how many of the latest readings are looked through for meter systems and kits that are in
// use beside those that each point was last read with.
const lastRead = 1000

// MeasuredTargets returns the targets that the fleet is measured at: those of the last reading of each
// point of each scope, and of the latest readings of all, by meter system, kit, point and kind.
func (v LevelsView) MeasuredTargets() ([]MeasuredTarget, error) {
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	found := map[level.Target]MeasuredTarget{}
	add := func(m store.Measured) error { // never fails
		t := level.Target{System: m.System, Kit: m.Kit, Point: m.Point, Kind: m.Kind}
		if m.At > found[t].Last {
			found[t] = MeasuredTarget{Target: t, Last: m.At, Scope: m.Scope, Reading: m.ID}
		}
		return nil
	}
	for _, i := range fleet {
		for _, p := range scope.PointKinds {
			last, err := v.tx.Numbers().LatestReadings(i.Tag, p, "", "", store.Forever, 1)
			if err != nil {
				return nil, err
			}
			for _, m := range last {
				if err := add(m); err != nil {
					return nil, err
				}
			}
		}
	}
	if err := v.tx.Numbers().Latest(0, v.Now()+1, lastRead, add); err != nil {
		return nil, err
	}
	levels, err := v.Registry().Levels()
	if err != nil {
		return nil, err
	}
	all := make([]MeasuredTarget, 0, len(found))
	for _, t := range found {
		if l, ok := reading.Find(levels, reading.ATP, reading.Circumstances{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, At: v.Now()}); ok {
			t.Level = &l
		}
		all = append(all, t)
	}
	slices.SortFunc(all, func(a, b MeasuredTarget) int {
		return cmp.Or(cmp.Compare(a.System, b.System), cmp.Compare(a.Kit, b.Kit),
			cmp.Compare(slices.Index(scope.PointKinds, a.Point), slices.Index(scope.PointKinds, b.Point)), cmp.Compare(a.Kind, b.Kind))
	})
	return all, nil
}
