package desk

import (
	"maps"
	"math"
	"slices"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/wire/table"
)

// fewestInSeries is how many readings a series needs with either setup to stand for a pair.
const fewestInSeries = 3

// anyMeter stands for every meter of a system: lots are compared over all of them.
const anyMeter = "any meter"

// FieldPairs returns pairs from the readings of a time, from <= at < to, that were made with one lot
// or meter and with another: one pair for each series of readings, of the geometric means with
// either. They are weaker than pairs of the same samples, since cleaning may have changed as well.
func (v MetersView) FieldPairs(old, new quality.Setup, from, to unit.Instant) ([]quality.Pair, error) {
	all, err := v.Numbers().Firsts(from, to)
	return FieldPairsOf(all, old, new), err
}

// FieldPairsOf is [View.FieldPairs] of first readings.
func FieldPairsOf(all []Measured, old, new quality.Setup) []quality.Pair {
	type sums struct {
		log [2]float64
		n   [2]int
	}
	matches := func(s quality.Setup, m Measured) bool {
		return m.Kit == s.Kit && (s.Lot == "" || m.Lot == s.Lot) && (s.Meter.Code == anyMeter || m.Meter == s.Meter.Code)
	}
	allSeries := map[trend.Key]*sums{}
	for _, m := range all {
		for i, s := range []quality.Setup{old, new} {
			if !matches(s, m) {
				continue
			}
			key := trend.Key{Scope: m.Scope, Point: m.Point}
			if allSeries[key] == nil {
				allSeries[key] = &sums{}
			}
			allSeries[key].log[i] += math.Log10(max(m.Value, 0.5))
			allSeries[key].n[i]++
		}
	}
	keys := slices.SortedFunc(maps.Keys(allSeries), compareKeys)
	var pairs []quality.Pair
	for _, key := range keys {
		s := allSeries[key]
		if s.n[0] < fewestInSeries || s.n[1] < fewestInSeries {
			continue
		}
		mean := func(i int) unit.Number { return unit.Number(math.Pow(10, s.log[i]/float64(s.n[i]))) }
		pairs = append(pairs, quality.Pair{Sample: key.Scope + " " + string(key.Point), Old: mean(0), New: mean(1)})
	}
	return pairs
}

// PairColumns are the columns of a file of pairs.
func PairColumns() []table.Field {
	return []table.Field{
		{Name: "sample", Kind: table.KindText, Help: "name of the sample or standard"},
		{Name: "old", Kind: table.KindNumber, Required: true, Help: "reading with the old lot or meter, in RLU"},
		{Name: "new", Kind: table.KindNumber, Required: true, Help: "reading with the new lot or meter, in RLU"},
	}
}

// ReadPairs reads a file of pairs.
func ReadPairs(t *table.Table) ([]quality.Pair, error) {
	sample, old, new := t.Field("sample"), t.Field("old"), t.Field("new")
	var pairs []quality.Pair
	for t.Next() {
		pairs = append(pairs, quality.Pair{Sample: sample.Text(), Old: old.Number(), New: new.Number()})
	}
	return pairs, t.Err()
}

// StudyColumns are the columns of a file of a gauge study.
func StudyColumns() []table.Field {
	return []table.Field{
		{Name: "part", Kind: table.KindText, Required: true, Help: "what was read"},
		{Name: "appraiser", Kind: table.KindText, Required: true, Help: "who read it"},
		{Name: "value", Kind: table.KindNumber, Required: true, Help: "the reading in RLU"},
	}
}

// ReadStudy reads a file of a gauge study; the values are taken to log10(RLU+1).
func ReadStudy(t *table.Table) ([]quality.Measurement, error) {
	part, appraiser, value := t.Field("part"), t.Field("appraiser"), t.Field("value")
	var all []quality.Measurement
	for t.Next() {
		all = append(all, quality.Measurement{Part: part.Text(), Appraiser: appraiser.Text(), Value: quality.Log10RLU(value.Number())})
	}
	return all, t.Err()
}

// Setup returns what a comparison is about: a meter and a lot of a kit, either of them empty where it
// does not matter.
func (v MetersView) Setup(meter, kit, lot string) (quality.Setup, error) {
	s := quality.Setup{Kit: kit, Lot: lot}
	if lot != "" {
		if _, known, err := v.lot(kit, lot); err != nil {
			return s, err
		} else if !known {
			return s, notFound("register the lot with its expiry first", "lot %q of kit %q is not known", lot, kit)
		}
	}
	if meter == "" {
		return s, nil
	}
	m, err := v.meter(meter)
	s.Meter = m
	return s, err
}

// systemOf returns a meter of the system on which a kit is read.
func (v MetersView) systemOf(kit string) (quality.Meter, error) {
	var m quality.Meter
	meters, err := v.Meters()
	if err != nil {
		return m, err
	}
	levels, err := v.Registry().Levels()
	if err != nil {
		return m, err
	}
	for _, l := range levels {
		if l.Kit != kit {
			continue
		}
		for _, x := range meters {
			if x.System == l.System {
				return x, nil
			}
		}
	}
	return m, notFound("name the meter with --meter", "no level says on which meter system kit %q is read", kit)
}

// LotSetups returns the setups for comparing two lots of a kit on its meter system.
func (v MetersView) LotSetups(kit, old, new string) (a, b quality.Setup, err error) {
	if a, err = v.Setup("", kit, old); err != nil {
		return a, b, err
	}
	if b, err = v.Setup("", kit, new); err != nil {
		return a, b, err
	}
	m, err := v.systemOf(kit)
	if err != nil {
		return a, b, err
	}
	a.Meter = quality.Meter{Code: anyMeter, System: m.System}
	b.Meter = a.Meter
	return a, b, nil
}

// RecordComparison records a comparison as it was computed.
func (w SignalWork) RecordComparison(e Entry, old, new quality.Setup, p quality.Plan, pairs []quality.Pair, found quality.Paired) (Receipt, error) {
	if err := w.may(ToRecordComparison, &e); err != nil {
		return Receipt{}, err
	}
	if e.By == "" {
		return Receipt{}, invalid("who answers for the comparison?")
	}
	if found.Answer == "" {
		return Receipt{}, invalid("the comparison has no answer")
	}
	same := func(x record.ComparisonBody) bool { return x.Old == old && x.New == new }
	if r, ok, err := again(w.Work, e.ID, record.Comparison, same); ok || err != nil {
		return r, err
	}
	range2 := func(i stats.Interval) [2]unit.Number { return [2]unit.Number{unit.Number(i.Lo), unit.Number(i.Hi)} }
	return w.append(e, record.Comparison, w.tx.Now, record.ComparisonBody{
		Old: old, New: new, Plan: p, Answer: found.Answer, Why: found.Why, Pairs: pairs,
		Ratio: unit.Number(found.Ratio), RatioCI: range2(found.RatioCI), Agreement: range2(found.Limits),
	})
}

// OwnTarget returns the target that own checks of a meter give for one material, from those with
// from <= at <= to that were accepted or warned, and what the checks after them would have been by it
// and the rules in force.
func (v MetersView) OwnTarget(t quality.Target, meter string, from, to unit.Instant) (own quality.Target, later []quality.Verdict, err error) {
	m, err := v.meter(meter)
	if err != nil {
		return t, nil, err
	}
	t.System = m.System
	checks, err := v.Checks(meter, from, v.Now())
	if err != nil {
		return t, nil, err
	}
	var base, rest []quality.Control
	var restarts []unit.Instant
	for _, c := range checks {
		for i, x := range numbered(c.CheckBody, string(c.ID)).Controls {
			if x.Kind != t.Kind || x.Material != t.Material || x.Lot != t.Lot {
				continue
			}
			x.Run = string(c.ID)
			switch {
			case x.At > to:
				rest = append(rest, x)
				if c.Serviced != "" && i == 0 {
					restarts = append(restarts, x.At)
				}
			case x.At >= from && c.Verdict.Outcome.Good():
				base = append(base, x)
			}
		}
	}
	if own, err = quality.OwnTarget(t, base); err != nil {
		return own, nil, refuse(err)
	}
	rules, err := v.Registry().Rules(v.Now(), store.Forever)
	if err != nil {
		return own, nil, err
	}
	use := meterRules(rules)
	use.Required = nil // the controls of one material alone are judged here
	judged := own
	judged.Adopted, judged.Adopter, judged.Source, judged.Edition = 1, "own", "own", "own"
	later, err = quality.Verdicts(m, []quality.Target{judged}, use, rest, restarts)
	return own, later, refuse(err)
}
