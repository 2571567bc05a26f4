package desk

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Doubted is a reading that somebody leaves out of a baseline, and why.
type Doubted struct {
	// ID is the record of the reading or the beginning of it, or the tag of a scope for all of its.
	ID, Why string
}

// shortestID is how much of a record's id names it.
const shortestID = 4

// Baseline returns the readings of a time, from <= at < to, from which a level for a target can be
// derived, with why those of them that must not count do not.
func (v LevelsView) Baseline(t level.Target, from, to unit.Instant, doubted []Doubted) ([]level.Sample, error) {
	all, _, err := v.baseline(t, from, to, doubted, 0)
	return all, err
}

// baseline is Baseline for the latest readings of the time, at most so many and all with 0; begin is from
// when on they are here.
func (v LevelsView) baseline(t level.Target, from, to unit.Instant, doubted []Doubted, most int) (samples []level.Sample, begin unit.Instant, err error) {
	all, begin, err := v.measuredOf(t, from, to, most)
	if err != nil {
		return nil, 0, err
	}
	recalled, err := v.recalledLots()
	if err != nil {
		return nil, 0, err
	}
	used := make([]bool, len(doubted))
	samples = []level.Sample{}
	for _, m := range all {
		s := level.Sample{
			ID: string(m.ID), System: m.System, Kit: m.Kit, Scope: m.Scope, Kind: m.Kind, Point: m.Point,
			At: m.At, Cleaning: m.Cleaning, Value: int(m.Value),
		}
		switch {
		case m.Outcome == reading.Void:
			s.Excluded = "void"
		case m.Suspect:
			s.Excluded = "its meter failed a check"
		case recalled[m.Kit+"|"+m.Lot]:
			s.Excluded = fmt.Sprintf("lot %s was recalled", m.Lot)
		case m.Cleaning == 1 && !m.First:
			s.Excluded = "a repeat within the cycle"
		}
		for i, d := range doubted {
			if s.Scope == d.ID || len(d.ID) >= shortestID && strings.HasPrefix(s.ID, d.ID) {
				s.Excluded, used[i] = d.Why, true
			}
		}
		samples = append(samples, s)
	}
	if i := slices.Index(used, false); i >= 0 {
		return nil, 0, notFound(
			"name a reading by its record or the beginning of it, or all of a scope by its tag",
			"no reading of %s in that time is of scope %s or has an id that begins so",
			t,
			doubted[i].ID,
		)
	}
	return samples, begin, nil
}

// measuredOf returns the readings of a target, or all readings for the zero Target, from <= at < to, the
// earliest first, each with its cycle. At most most are
// returned, the latest, with 0 all; begin is from when on none is missing.
func (v LevelsView) measuredOf(t level.Target, from, to unit.Instant, most int) (all []Measured, begin unit.Instant, err error) {
	begin = from
	if most > 0 {
		last, more, err := v.tx.Numbers().LatestBut(t.System, t.Kit, t.Point, t.Kind, from, to, most)
		if err != nil {
			return nil, 0, err
		}
		if more { // a moment that is cut in two is left out as a whole
			begin = last + 1
		}
	}
	all, err = v.Numbers().tested(begin, to, func(m store.Measured) bool {
		return t == (level.Target{}) || m.System == t.System && m.Kit == t.Kit && m.Point == t.Point && (t.Kind == "" || m.Kind == t.Kind)
	})
	return all, begin, err
}

// Study is which readings a level is derived from, and how. From and To bound their time.
type Study struct {
	Plan     level.Plan
	From, To unit.Instant
	Doubted  []Doubted
	// Most and MostReplayed bound how many readings a derivation and a replay take, the latest ones; 0
	// takes all.
	Most, MostReplayed int
}

// Studied is a derivation with the readings that it rests on. From is later than asked for when there
// were more readings than a derivation takes.
type Studied struct {
	From, To unit.Instant
	Samples  []level.Sample
	level.Derivation
}

// Study derives candidates for a level from the stored readings.
func (v LevelsView) Study(s Study) (d Studied, err error) {
	d.From, d.To = s.From, s.To
	if d.Samples, d.From, err = v.baseline(s.Plan.Target, s.From, s.To, s.Doubted, s.Most); err != nil {
		return d, err
	}
	if len(d.Samples) == 0 {
		return d, notFound(
			"choose another time, point, kit or meter system",
			"there is no reading of %s from %s to %s",
			s.Plan.Target,
			s.From.In(v.Zone()),
			s.To.In(v.Zone()),
		)
	}
	d.Derivation, err = level.Derive(d.Samples, s.Plan)
	return d, refuse(err)
}

func (v LevelsView) recalledLots() (map[string]bool, error) {
	all, err := v.tx.Entities(record.Lot)
	if err != nil {
		return nil, err
	}
	recalled := map[string]bool{}
	for _, k := range all {
		if k.Replaced.Known() {
			continue
		}
		l, err := record.Body[quality.Lot](k.Record)
		if err != nil {
			return nil, err
		}
		recalled[l.Kit+"|"+l.Lot] = l.Recalled.Known()
	}
	return recalled, nil
}

// SpreadOf returns the standard deviation of ln RLU of the readings that count, and their number: how
// much single samples of a scope vary at most, differences between scopes included.
func SpreadOf(samples []level.Sample) (spread float64, n int) {
	var logs []float64
	for _, s := range samples {
		if s.Excluded == "" && s.Cleaning == 1 {
			logs = append(logs, math.Log(max(float64(s.Value), 0.5)))
		}
	}
	mean := 0.0
	for _, x := range logs {
		mean += x / float64(len(logs))
	}
	sum := 0.0
	for _, x := range logs {
		sum += (x - mean) * (x - mean)
	}
	if len(logs) < 2 {
		return 0, len(logs)
	}
	return math.Sqrt(sum / float64(len(logs)-1)), len(logs)
}
