package desk

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// CultureDays is how many days before a culture the cycle may lie that it is linked to.
const CultureDays = 60

const cultureReach = CultureDays * 24 * unit.Hour

// Past is the readings of a time as cycles, for a replay.
type Past struct {
	level.History
	// Cycles are the cycles of the history, by their number.
	Cycles []PastCycle
	// Unlinked counts cultures without a sampled cycle before them.
	Unlinked int
	// Begin is from when on the readings are here: later than asked for when there were too many.
	Begin unit.Instant

	// of are the numbers of the cycles of each scope, in order.
	of map[string][]int32
}

// PastCycle is one cycle of the past.
type PastCycle struct {
	Scope string       `json:"scope"`
	First unit.Instant `json:"first"`
	Last  unit.Instant `json:"last"`
}

// Past returns the readings of a time, from <= at < to, that counted, by cycles, with cultures
// linked to the last cycle before each. minutes is what one sample costs.
func (v LevelsView) Past(from, to unit.Instant, minutes float64, cultures []Culture) (Past, error) {
	return v.LatestPast(from, to, 0, minutes, cultures)
}

// LatestPast is Past for the latest readings of the time, at most so many; 0 takes all.
func (v LevelsView) LatestPast(from, to unit.Instant, most int, minutes float64, cultures []Culture) (Past, error) {
	all, begin, err := v.measuredOf(level.Target{}, from, to, most)
	if err != nil {
		return Past{}, err
	}
	p := Past{Begin: begin}
	contexts := map[level.Context]uint16{}
	numbers := map[int]int{} // of the cycles here
	for _, m := range all {
		if !m.counts() {
			continue
		}
		number, seen := numbers[m.Test.Cycle]
		if !seen {
			number = len(p.Cycles)
			numbers[m.Test.Cycle] = number
			p.Cycles = append(p.Cycles, PastCycle{Scope: m.Scope, First: m.At})
		}
		p.Cycles[number].Last = m.At
		c := level.Context{System: m.System, Kit: m.Kit, Point: m.Point, Kind: m.Kind}
		n, ok := contexts[c]
		if !ok {
			if len(p.Contexts) == math.MaxUint16 {
				return Past{}, invalid("there are more than %d kinds of readings in that time; ask for a shorter one", math.MaxUint16)
			}
			n = uint16(len(p.Contexts)) //nolint:gosec // checked above
			contexts[c] = n
			p.Contexts = append(p.Contexts, c)
		}
		p.Rows = append(p.Rows, level.Row{
			Value: int32(
				m.Value,
			),
			Cycle:    int32(number),
			Minutes:  float32(minutes),
			Context:  n,
			Cleaning: uint8(min(m.Cleaning, math.MaxUint8)), //nolint:gosec // bounded by MaxRLU and by min
		})
	}
	p.link(cultures)
	return p, nil
}

// before returns the number of the last cycle of a scope before an instant and not too long ago,
// -1 when there is none.
func (p *Past) before(tag string, at unit.Instant) int {
	if p.of == nil {
		p.of = map[string][]int32{}
		for i, t := range p.Cycles { // in the order of their begins
			p.of[t.Scope] = append(p.of[t.Scope], int32(i)) //nolint:gosec // bounded by the number of readings
		}
	}
	for _, i := range slices.Backward(p.of[tag]) {
		if t := p.Cycles[i]; t.Last <= at && at.Sub(t.Last) <= cultureReach.Duration() {
			return int(i)
		}
	}
	return -1
}

func (p *Past) link(cultures []Culture) {
	positive := map[int32]bool{}
	for _, c := range cultures {
		n := p.before(c.Scope, c.Taken)
		if n < 0 {
			p.Unlinked++
		} else if c.Positive {
			positive[int32(n)] = true //nolint:gosec // bounded by the number of readings
		}
	}
	for i := range p.Rows {
		p.Rows[i].Culture = positive[p.Rows[i].Cycle]
	}
}

// Pairs returns the readings of a target in the cycles that cultures are linked to: the last
// reading of each. Cultures without such a reading are counted.
func (p *Past) Pairs(t level.Target, cultures []Culture) (pairs []level.Pair, unlinked int) {
	latest := map[int32]level.Row{}
	for _, r := range p.Rows {
		c := p.Contexts[r.Context]
		if c.System == t.System && c.Kit == t.Kit && c.Point == t.Point && (t.Kind == "" || c.Kind == t.Kind) {
			latest[r.Cycle] = r // in the order of time
		}
	}
	for i, c := range cultures {
		n := p.before(c.Scope, c.Taken)
		r, ok := latest[int32(n)] //nolint:gosec // bounded by the number of readings
		if n < 0 || !ok {
			unlinked++
			continue
		}
		pairs = append(pairs, level.Pair{ID: fmt.Sprintf("%s culture %d", c.Scope, i+1), Value: int(r.Value), Positive: c.Positive})
	}
	return pairs, unlinked
}

// Costs are what a replay counts with.
type Costs struct {
	SampleMinutes, CleaningMinutes float64
	// MostChanges bounds the list of verifications whose outcome differs.
	MostChanges int
}

// Replay judges the past by today's levels and by the same with one replaced.
func (v LevelsView) Replay(p Past, proposed reading.Level, c Costs) (level.Replay, error) {
	return v.compare(p, c, func(today []reading.Level) (first, second []reading.Level) {
		return today, with(today, proposed, v.Now())
	})
}

// Contrast judges the past by today's levels with one replaced, and by the same with another in its
// place: what Replay calls today is the first, proposed the second.
func (v LevelsView) Contrast(p Past, first, second reading.Level, c Costs) (level.Replay, error) {
	return v.compare(p, c, func(today []reading.Level) ([]reading.Level, []reading.Level) {
		return with(today, first, v.Now()), with(today, second, v.Now())
	})
}

// compare judges the past by two sets of levels that are made from today's.
func (v LevelsView) compare(p Past, c Costs, sets func(today []reading.Level) (first, second []reading.Level)) (level.Replay, error) {
	rules, err := v.Registry().Rules(v.Now(), store.Forever)
	if err != nil {
		return level.Replay{}, err
	}
	today, err := v.Registry().Levels()
	if err != nil {
		return level.Replay{}, err
	}
	first, second := sets(today)
	r, err := p.Compare(first, second, c.terms(rules, v.Now()))
	return r, refuse(err)
}

// with returns the levels as if one more had been adopted just now.
func with(levels []reading.Level, l reading.Level, now unit.Instant) []reading.Level {
	l.Adopted, l.From, l.Until = now, now, 0
	return append(slices.Clone(levels), l)
}

func (c Costs) terms(rules policy.RuleSet, now unit.Instant) level.Terms {
	return level.Terms{Rules: rules.Reading, AsOf: now, CleaningMinutes: c.CleaningMinutes, MaxChanges: c.MostChanges}
}

// ChangedVerification is a verification of the past whose outcome another level changes.
type ChangedVerification struct {
	Scope    string          `json:"scope"`
	First    unit.Instant    `json:"first"`
	Cleaning int             `json:"cleaning"`
	Today    reading.Outcome `json:"today"`
	Then     reading.Outcome `json:"proposed"`
}

// Changed names the verifications that a replay of this past lists.
func (p *Past) Changed(r level.Replay) []ChangedVerification {
	all := make([]ChangedVerification, len(r.Changes))
	for i, c := range r.Changes {
		t := p.Cycles[c.Cycle]
		all[i] = ChangedVerification{t.Scope, t.First, c.Cleaning, c.Today, c.Proposed}
	}
	return all
}

// VerificationOf returns the record of the decision on a verification by when its cycle was first sampled; empty
// when nothing decided on it, as with readings that were imported.
func (v LevelsView) VerificationOf(c ChangedVerification) (id ledger.ID, err error) {
	next, err := v.tx.NextUse(c.Scope, c.First)
	if err != nil {
		return "", err
	}
	// A decision is filed under its last reading, and the cycle ends where the next use begins.
	err = v.tx.Events(c.Scope, c.First, next-1, store.Forever, func(k store.Kept) error {
		d, err := record.Body[reprocessing.Decision](k.Record)
		if err == nil && id == "" && d.Verification.Cleaning == c.Cleaning {
			id = k.ID
		}
		return err
	}, record.Verification)
	return id, err
}
