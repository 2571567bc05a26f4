package desk

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"rinsate/internal/level"
	"rinsate/internal/quality"
	"rinsate/internal/reading"
	"rinsate/internal/store"
	"rinsate/internal/unit"
	"rinsate/internal/wire"
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
func (v View) Baseline(t level.Target, from, to unit.Instant, doubted []Doubted) ([]level.Sample, error) {
	all, err := v.Measured(from, to)
	if err != nil {
		return nil, err
	}
	recalled, err := v.recalledLots()
	if err != nil {
		return nil, err
	}
	used := make([]bool, len(doubted))
	c := newStreams()
	samples := []level.Sample{}
	for _, m := range all {
		if m.System != t.System || m.Kit != t.Kit || m.Point != t.Point || t.Kind != "" && m.Kind != t.Kind {
			continue
		}
		s := level.Sample{
			ID: string(m.ID), System: m.System, Kit: m.Kit, Scope: m.Scope, Kind: m.Kind, Point: m.Point,
			At: m.At, Attempt: m.Attempt, Value: int(m.Value),
		}
		first := c.add(m, m.Trips)
		switch {
		case m.Outcome == reading.Void:
			s.Excluded = "void"
		case m.Suspect:
			s.Excluded = "its meter failed a check"
		case recalled[m.Kit+"|"+m.Lot]:
			s.Excluded = fmt.Sprintf("lot %s was recalled", m.Lot)
		case m.Attempt == 1 && !first:
			s.Excluded = "a repeat within the turnaround"
		}
		for i, d := range doubted {
			if s.Scope == d.ID || len(d.ID) >= shortestID && strings.HasPrefix(s.ID, d.ID) {
				s.Excluded, used[i] = d.Why, true
			}
		}
		samples = append(samples, s)
	}
	if i := slices.Index(used, false); i >= 0 {
		return nil, notFound("see the readings with: rinsate history TAG", "no reading of %s in that time is of scope %s or has an id that begins so", t, doubted[i].ID)
	}
	return samples, nil
}

func (v View) recalledLots() (map[string]bool, error) {
	all, err := v.tx.Entities(store.TypeLot)
	if err != nil {
		return nil, err
	}
	recalled := map[string]bool{}
	for _, k := range all {
		if k.Replaced.Known() {
			continue
		}
		l, err := store.Body[quality.Lot](k.Record)
		if err != nil {
			return nil, err
		}
		recalled[l.Kit+"|"+l.Lot] = l.Recalled.Known()
	}
	return recalled, nil
}

// Culture is the result of a culture, or of another reference test, of one scope.
type Culture struct {
	Scope    string
	Taken    unit.Instant
	Positive bool
}

// CultureColumns are the columns of a file of cultures.
func CultureColumns() []wire.Field {
	return []wire.Field{
		{Name: "scope", Kind: wire.KindText, Required: true, Help: "tag of the scope"},
		{Name: "taken", Kind: wire.KindTime, Required: true, Help: "when the culture was taken"},
		{Name: "positive", Kind: wire.KindBool, Required: true, Help: "whether it was positive by the facility's rule"},
	}
}

// ReadCultures reads a file of cultures.
func ReadCultures(t *wire.Table) ([]Culture, error) {
	tag, taken, positive := t.Field("scope"), t.Field("taken"), t.Field("positive")
	var all []Culture
	for t.Next() {
		all = append(all, Culture{tag.Text(), taken.Time(), positive.Bool()})
	}
	return all, t.Err()
}

// cultureReach is how long before a culture the turnaround may lie that it is linked to.
const cultureReach = 60 * 24 * unit.Hour

// Past is the readings of a time as turnarounds, for a replay.
type Past struct {
	level.History
	// Trips are the turnarounds of the history, by their number.
	Trips []Trip
	// Unlinked counts cultures without a sampled turnaround before them.
	Unlinked int
}

// Trip is one turnaround of the past.
type Trip struct {
	Scope string       `json:"scope"`
	First unit.Instant `json:"first"`
	Last  unit.Instant `json:"last"`
}

// Past returns the readings of a time, from <= at < to, that counted, by turnarounds, with cultures
// linked to the last turnaround before each. minutes is what one sample costs.
func (v View) Past(from, to unit.Instant, minutes float64, cultures []Culture) (Past, error) {
	all, err := v.Measured(from, to)
	if err != nil {
		return Past{}, err
	}
	var p Past
	contexts := map[level.Context]uint16{}
	type open struct {
		number       int32
		trips, tries int
		at           unit.Instant
	}
	last := map[string]*open{}
	for _, m := range all {
		if m.Suspect || m.Outcome == reading.Void {
			continue
		}
		o := last[m.Scope]
		if o == nil || o.trips != m.Trips || m.Attempt < o.tries || m.Attempt == o.tries && m.At.Sub(o.at) > sameRound {
			o = &open{number: int32(len(p.Trips)), trips: m.Trips} //nolint:gosec // bounded by the number of readings
			last[m.Scope] = o
			p.Trips = append(p.Trips, Trip{Scope: m.Scope, First: m.At})
		}
		o.tries, o.at = m.Attempt, m.At
		p.Trips[o.number].Last = m.At
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
			Value: int32(m.Value), Turnaround: o.number, Minutes: float32(minutes), Context: n, Attempt: uint8(min(m.Attempt, math.MaxUint8)), //nolint:gosec // bounded by MaxRLU and by min
		})
	}
	p.link(cultures)
	return p, nil
}

// before returns the number of the last turnaround of a scope before an instant and not too long ago,
// -1 when there is none.
func (p *Past) before(tag string, at unit.Instant) int {
	found := -1
	for i, t := range p.Trips { // in the order of their begins
		if t.Scope == tag && t.Last <= at && at.Sub(t.Last) <= cultureReach.Duration() {
			found = i
		}
	}
	return found
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
		p.Rows[i].Culture = positive[p.Rows[i].Turnaround]
	}
}

// Pairs returns the readings of a target in the turnarounds that cultures are linked to: the last
// reading of each. Cultures without such a reading are counted.
func (v View) Pairs(t level.Target, from, to unit.Instant, cultures []Culture) (pairs []level.Pair, unlinked int, err error) {
	p, err := v.Past(from, to, 0, nil)
	if err != nil {
		return nil, 0, err
	}
	latest := map[int32]level.Row{}
	for _, r := range p.Rows {
		c := p.Contexts[r.Context]
		if c.System == t.System && c.Kit == t.Kit && c.Point == t.Point && (t.Kind == "" || c.Kind == t.Kind) {
			latest[r.Turnaround] = r // in the order of time
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
	return pairs, unlinked, nil
}

// Costs are what a replay counts with.
type Costs struct {
	SampleMinutes, CleaningMinutes float64
	// MostChanges bounds the list of rounds whose outcome differs.
	MostChanges int
}

// Replay judges the past by today's levels and by the same with one replaced.
func (v View) Replay(p Past, proposed reading.Level, c Costs) (level.Replay, error) {
	rules, err := v.Rules(v.Now(), store.Forever)
	if err != nil {
		return level.Replay{}, err
	}
	today, err := v.Levels()
	if err != nil {
		return level.Replay{}, err
	}
	proposed.Adopted = v.Now()
	r, err := p.Compare(today, append(slices.Clone(today), proposed), level.Terms{
		Rules: rules.Reading, AsOf: v.Now(), CleaningMinutes: c.CleaningMinutes, MaxChanges: c.MostChanges,
	})
	return r, refuse(err)
}

// Grounds is what the adoption of a level rests on: how it was derived and what it would have done.
type Grounds struct {
	From       unit.Instant      `json:"from"`
	To         unit.Instant      `json:"to"`
	Derivation *level.Derivation `json:"derivation,omitempty"`
	// Excluded counts all exclusions by their reason; the derivation lists the first of them.
	Excluded  map[string]int   `json:"excluded,omitempty"`
	Method    level.Method     `json:"method,omitempty"`
	Replay    *level.Replay    `json:"replay,omitempty"`
	Reference *level.Reference `json:"reference,omitempty"`
	Note      string           `json:"note,omitempty"`
}

// mostListed is how many exclusions are listed in a record, which has a bounded size.
const mostListed = 100

// Tally counts the exclusions of a derivation by their reasons.
func Tally(d level.Derivation) map[string]int {
	count := map[string]int{}
	for _, x := range d.Excluded {
		reason, _, _ := strings.Cut(x.Why, ":")
		count[reason]++
	}
	return count
}

// AdoptDerived records a level with the grounds that it rests on.
func (w *Work) AdoptDerived(e Entry, l reading.Level, g Grounds) (Receipt, error) {
	if err := l.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if g.Derivation != nil {
		d := *g.Derivation
		g.Excluded = Tally(d)
		d.Excluded = d.Excluded[:min(len(d.Excluded), mostListed)]
		g.Derivation = &d
	}
	text, err := json.Marshal(g)
	if err != nil {
		return Receipt{}, fmt.Errorf("write the grounds of the level: %w", err)
	}
	return w.append(e, store.TypeLevel, min(l.Adopted, w.tx.Now), store.Level{Level: l, Derivation: text})
}

// SpreadOf returns the standard deviation of ln RLU of the readings that count, and their number: how
// much single samples of a scope scatter at most, differences between scopes included.
func SpreadOf(samples []level.Sample) (spread float64, n int) {
	var logs []float64
	for _, s := range samples {
		if s.Excluded == "" && s.Attempt == 1 {
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
