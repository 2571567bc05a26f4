package desk

import (
	"cmp"
	"slices"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// MeterLine is a meter with what a list of meters tells.
type MeterLine struct {
	quality.Meter
	State quality.State
	// Last is its last check, Serviced the last one among its latest checks that followed a service or a
	// calibration; nil when there is none.
	Last, Serviced *CheckLine
	// Readings counts the readings that were made with it after Counted: after its last check, but no
	// longer back than countBack, and up to countMost.
	Readings int
	Counted  unit.Instant
}

// How far back and up to how many readings are counted, so that a meter that nobody checks costs no more
// than others.
const (
	countBack = 7 * 24 * time.Hour
	countMost = 5000
)

// MoreReadings says that there are more readings than were counted.
func (l MeterLine) MoreReadings() bool { return l.Readings == countMost }

// MeterLines returns every meter as it stands at an instant, in the order of their codes.
func (v MetersView) MeterLines(at unit.Instant) ([]MeterLine, error) {
	meters, err := v.Meters()
	if err != nil {
		return nil, err
	}
	lines := make([]MeterLine, len(meters))
	for i, m := range meters {
		if lines[i], err = v.meterLine(m, at); err != nil {
			return nil, err
		}
	}
	return lines, nil
}

// MeterLine returns one meter as it stands at an instant.
func (v MetersView) MeterLine(code string, at unit.Instant) (MeterLine, error) {
	m, err := v.meter(code)
	if err != nil {
		return MeterLine{}, err
	}
	return v.meterLine(m, at)
}

func (v MetersView) meterLine(m quality.Meter, at unit.Instant) (MeterLine, error) {
	l := MeterLine{Meter: m}
	var err error
	if l.State, err = v.MeterState(m.Code, at); err != nil {
		return l, err
	}
	err = v.tx.Numbers().LastChecks(m.Code, at+1, reach, func(k store.Kept) error {
		return fold(k, func(x record.CheckBody) {
			line := &CheckLine{ID: k.ID, By: k.By, CheckBody: x}
			if l.Last == nil {
				l.Last = line
			}
			if l.Serviced == nil && x.Serviced != "" {
				l.Serviced = line
			}
		})
	})
	if err != nil {
		return l, err
	}
	l.Counted = at.Add(-countBack)
	if l.Last != nil {
		l.Counted = max(l.Counted, l.Last.Verdict.At)
	}
	l.Readings, err = v.tx.Numbers().CountWith(m.Code, l.Counted, at, countMost)
	return l, err
}

// Readable is something known that a meter can be checked with: it has a target.
type Readable struct {
	quality.Target
	// Required says that a check without such a control shows nothing.
	Required bool
}

// Readables returns what a meter can be checked with at an instant, by the kinds of controls in their
// order and the newest target first. A kind that is required and has no target is there without a
// material.
func (v MetersView) Readables(m quality.Meter, at unit.Instant) ([]Readable, error) {
	targets, err := v.Targets()
	if err != nil {
		return nil, err
	}
	rules, err := v.Registry().Rules(at, store.Forever)
	if err != nil {
		return nil, err
	}
	required := meterRules(rules).Required
	var all []Readable
	for _, kind := range quality.ControlKinds {
		found := targetsInForce(targets, m, kind, at)
		must := slices.Contains(required, kind)
		if len(found) == 0 && must {
			all = append(all, Readable{quality.Target{Kind: kind}, true})
		}
		for _, t := range found {
			all = append(all, Readable{t, must})
		}
	}
	return all, nil
}

// targetsInForce returns the target in force of every material and lot that has one, the newest first.
func targetsInForce(targets []quality.Target, m quality.Meter, kind quality.ControlKind, at unit.Instant) []quality.Target {
	seen := map[[2]string]bool{}
	var found []quality.Target
	for _, t := range targets {
		key := [2]string{t.Material, t.Lot}
		if t.Kind != kind || seen[key] {
			continue
		}
		if held, ok := quality.FindTarget(targets, m, quality.Control{Meter: m.Code, Kind: kind, Material: t.Material, Lot: t.Lot, At: at}); ok {
			seen[key] = true
			found = append(found, held)
		}
	}
	slices.SortStableFunc(found, func(a, b quality.Target) int { return cmp.Compare(b.Adopted, a.Adopted) })
	return found
}

// TargetsOf returns every target that was ever adopted for a meter or its system, the newest first.
func (v MetersView) TargetsOf(m quality.Meter) ([]quality.Target, error) {
	all, err := v.Targets()
	all = slices.DeleteFunc(all, func(t quality.Target) bool { return t.System != m.System || t.Meter != "" && t.Meter != m.Code })
	slices.SortStableFunc(all, func(a, b quality.Target) int { return cmp.Compare(b.Adopted, a.Adopted) })
	return all, err
}

// InDoubt is a reading that a failed check took the trust from.
type InDoubt struct {
	ID ledger.ID
	reading.Reading
	// Check is the record of the failed check, Failed when it was made, and Why the sentence.
	Check  ledger.ID
	Failed unit.Instant
	Why    string
}

// InDoubt returns the readings of a meter that its failed checks of a time, from <= at < to, take the
// trust from as things stand, those of the latest failure first and up to most; all is how many there are.
func (v MetersView) InDoubt(meter string, from, to unit.Instant, most int) (list []InDoubt, all int, err error) {
	marks, err := v.marks(meter, from, to)
	if err != nil {
		return nil, 0, err
	}
	for _, m := range slices.Backward(marks) {
		all += len(m.body.Readings)
		for _, id := range m.body.Readings {
			if len(list) == most {
				break
			}
			kept, err := v.tx.Record(id)
			if err != nil {
				return nil, 0, err
			}
			x, err := readingOf(kept)
			if err != nil {
				return nil, 0, err
			}
			list = append(list, InDoubt{ID: id, Reading: x, Check: m.body.Check, Failed: m.body.At, Why: m.body.Reason})
		}
	}
	slices.SortStableFunc(list, func(a, b InDoubt) int {
		return cmp.Or(cmp.Compare(b.Failed, a.Failed), cmp.Compare(a.With.At, b.With.At))
	})
	return list, all, nil
}

// OwnRuns is what a control's own checks say of it.
type OwnRuns struct {
	// Maker is the target in force, Own the one that the meter's own checks give.
	Maker, Own quality.Target
	// Base are the checks that Own comes from; Later are those after them as Own and the control rules
	// would have judged them.
	Base  [2]unit.Instant
	Later []quality.Verdict
	// Few says how many good checks there are when they are too few for a target of their own.
	Few int
	// Same says that they all read the same, which gives no spread to judge by.
	Same bool
}

// OwnRuns derives, for a material that a meter is checked with, a target from the first good checks since
// an instant, as few as are needed, and judges those after them by it: a drift that stays within wide
// limits shows there.
func (v MetersView) OwnRuns(meter string, held quality.Target, checks []CheckLine, from unit.Instant) (OwnRuns, error) {
	o := OwnRuns{Maker: held}
	type run struct {
		at    unit.Instant
		value unit.Number
	}
	var runs []run
	for _, c := range checks {
		for _, x := range c.Controls {
			if c.Verdict.Outcome.Good() && x.Kind == held.Kind && x.Material == held.Material && x.Lot == held.Lot && x.At >= from {
				runs = append(runs, run{x.At, x.Value})
			}
		}
	}
	if len(runs) < quality.MinRuns {
		o.Few = len(runs)
		return o, nil
	}
	slices.SortStableFunc(runs, func(a, b run) int { return cmp.Compare(a.at, b.at) })
	base := runs[:quality.MinRuns]
	if o.Same = !slices.ContainsFunc(base, func(r run) bool { return r.value != base[0].value }); o.Same {
		return o, nil
	}
	o.Base = [2]unit.Instant{base[0].at, base[len(base)-1].at}
	var err error
	o.Own, o.Later, err = v.OwnTarget(quality.Target{Kind: held.Kind, Material: held.Material, Lot: held.Lot}, meter, o.Base[0], o.Base[1])
	return o, err
}

// CheckOf returns a check by its record; ok is false where there is no such check of the meter.
func (v MetersView) CheckOf(meter string, id ledger.ID) (c CheckLine, ok bool, err error) {
	kept, err := v.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return c, false, nil
	}
	if err != nil || kept.Kind() != record.Check {
		return c, false, err
	}
	err = fold(kept, func(x record.CheckBody) { c = CheckLine{ID: kept.ID, By: kept.By, CheckBody: x} })
	return c, c.Meter == meter, err
}
