package level

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Context is what readings have in common that are judged by the same level.
type Context struct {
	System string          `json:"system"`
	Kit    string          `json:"kit"`
	Point  scope.PointKind `json:"point"`
	Kind   scope.Kind      `json:"kind"`
}

// Row is one reading of the past that counted. Void readings are left out by the caller.
type Row struct {
	// Value is in RLU.
	Value int32
	// Cycle numbers the ways of scopes from patient to ready, from 0 and without gaps.
	Cycle int32
	// Minutes is what taking and reading this sample cost.
	Minutes float32
	// Context is an index into History.Contexts.
	Context uint16
	// Cleaning counts the cleanings of the cycle that were sampled, from 1.
	Cleaning uint8
	// Culture says that a culture of this scope, linked to this cycle, was positive.
	Culture bool
}

// History is the readings of the past.
type History struct {
	Contexts []Context
	Rows     []Row
}

// Terms are what a replay is done by.
type Terms struct {
	// Rules are the rules for verifications, the same for both sets of levels.
	Rules reading.Rules
	// AsOf is the instant whose levels count; those adopted later are not seen.
	AsOf unit.Instant
	// CleaningMinutes is what cleaning a scope once more costs, without the samples.
	CleaningMinutes float64
	// MaxChanges bounds the list of verifications whose outcome differs; their number is always complete.
	MaxChanges int
}

// Tally is what a set of levels did to the verifications of the past.
type Tally struct {
	// Cycles is how many there are, whatever became of them.
	Cycles int `json:"cycles"`
	// Verifications happen under these levels and have readings. Spared verifications have readings too, but would
	// not have happened, since an earlier verification of their cycle passes.
	Verifications int `json:"verifications"`
	Spared        int `json:"spared"`
	// Over, Alerts and Undecided count verifications by outcome; the rest is below. A verification is undecided
	// when a point has no level, or wants a duplicate, or was not sampled again although it is over
	// the action level here.
	Over      int `json:"over_action"`
	Alerts    int `json:"alerts"`
	Undecided int `json:"undecided"`
	// Recleans are the verifications over the action level after which the scope is cleaned and sampled
	// again; the result is Unknown when the past holds no such verification.
	Recleans int `json:"recleans"`
	Unknown  int `json:"recleans_result_unknown"`
	// Holds counts cycles in which the last cleaning allowed was over the action level.
	Holds int `json:"holds"`
	// Kits and Minutes are the cost of Verifications and Recleans. An unknown re-clean is counted with one
	// further verification like the one before, so that with Unknown > 0 they are lower bounds.
	Kits    int         `json:"kits"`
	Minutes unit.Number `json:"minutes"`
	// Caught counts cycles linked to a positive culture with a verification over the action level,
	// Missed those in which every verification passed, Unjudged those with an undecided verification and none over.
	Caught   int `json:"cultures_caught"`
	Missed   int `json:"cultures_missed"`
	Unjudged int `json:"cultures_unjudged"`
}

// add sums two tallies.
func (t *Tally) add(o Tally) {
	t.Cycles += o.Cycles
	t.Verifications += o.Verifications
	t.Spared += o.Spared
	t.Over += o.Over
	t.Alerts += o.Alerts
	t.Undecided += o.Undecided
	t.Recleans += o.Recleans
	t.Unknown += o.Unknown
	t.Holds += o.Holds
	t.Kits += o.Kits
	t.Minutes += o.Minutes
	t.Caught += o.Caught
	t.Missed += o.Missed
	t.Unjudged += o.Unjudged
}

// Spared is the outcome of a verification that would not have happened.
const Spared reading.Outcome = "spared"

// Change is one verification whose outcome differs.
type Change struct {
	Cycle    int             `json:"cycle"`
	Cleaning int             `json:"cleaning"`
	Today    reading.Outcome `json:"today"`
	Proposed reading.Outcome `json:"proposed"`
}

// KindTally is the two tallies of one kind of scope.
type KindTally struct {
	Kind     scope.Kind `json:"kind"`
	Today    Tally      `json:"today"`
	Proposed Tally      `json:"proposed"`
}

// Replay is the past under today's and under proposed levels.
type Replay struct {
	Today    Tally `json:"today"`
	Proposed Tally `json:"proposed"`
	// Kinds holds the kinds of scope that occur, in the order of scope.Kinds.
	Kinds []KindTally `json:"kinds"`
	// Changes lists the first Terms.MaxChanges of Changed verifications, by cycle and cleaning.
	Changes []Change `json:"changes"`
	Changed int      `json:"changed"`
}

// Compare runs two sets of levels over the past. Each cycle is followed as long as its levels
// ask for another verification: after a verification over the action level to the next cleaning, if there is one;
// a verification that passes ends it, and later verifications are spared; an undecided verification ends nothing, since
// the past went on. A re-clean that never happened has no reading, so its result is unknown and not
// guessed. Cycles of which only later cleanings have readings are followed from there.
//
// Verifications are judged by the points that were sampled, since the past does not say which were
// required. Where only failing points are sampled again, the points that passed the verification before
// count with it. An error names the first row that cannot be right.
func (h History) Compare(today, proposed []reading.Level, terms Terms) (Replay, error) {
	if err := terms.check(); err != nil {
		return Replay{}, err
	}
	order, starts, err := h.byCycle()
	if err != nil {
		return Replay{}, err
	}
	kind, point := h.indices()
	now, err := h.convene(today, point, terms)
	if err != nil {
		return Replay{}, fmt.Errorf("today's levels: %w", err)
	}
	then, err := h.convene(proposed, point, terms)
	if err != nil {
		return Replay{}, fmt.Errorf("proposed levels: %w", err)
	}
	var result Replay
	kinds := make([]KindTally, len(scope.Kinds))
	var rows []Row
	for t := range len(starts) - 1 {
		rows = rows[:0]
		for _, i := range order[starts[t]:starts[t+1]] {
			rows = append(rows, h.Rows[i])
		}
		sortRows(rows, point)
		k := &kinds[kind[rows[0].Context]]
		a, b := now.follow(rows, &k.Today), then.follow(rows, &k.Proposed)
		for i := range a {
			if a[i] == b[i] {
				continue
			}
			result.Changed++
			if len(result.Changes) < terms.MaxChanges {
				result.Changes = append(result.Changes, Change{t, int(a[i].cleaning), a[i].outcome.word(), b[i].outcome.word()})
			}
		}
	}
	for i, k := range kinds {
		if k.Today.Cycles == 0 {
			continue
		}
		k.Kind = scope.Kinds[i]
		result.Today.add(k.Today)
		result.Proposed.add(k.Proposed)
		result.Kinds = append(result.Kinds, k)
	}
	return result, nil
}

func (t Terms) check() error {
	if err := t.Rules.Check(); err != nil {
		return err
	}
	if !(t.CleaningMinutes >= 0) || math.IsInf(t.CleaningMinutes, 1) || t.MaxChanges < 0 {
		return fmt.Errorf("%g minutes for cleaning and at most %d changes: neither may be below 0", t.CleaningMinutes, t.MaxChanges)
	}
	return nil
}

// byCycle returns the rows of cycle t as order[starts[t]:starts[t+1]].
func (h History) byCycle() (order, starts []int32, err error) {
	if len(h.Rows) > math.MaxInt32 {
		return nil, nil, fmt.Errorf("%d readings are more than can be replayed at once", len(h.Rows))
	}
	for i, c := range h.Contexts {
		if !slices.Contains(scope.Kinds, c.Kind) || !slices.Contains(scope.PointKinds, c.Point) {
			return nil, nil, fmt.Errorf("context %d: kind %q or point %q is not known", i, c.Kind, c.Point)
		}
	}
	last := int32(-1)
	for i, r := range h.Rows {
		switch {
		case int(r.Context) >= len(h.Contexts):
			return nil, nil, fmt.Errorf("reading %d: context %d of %d does not exist", i, r.Context, len(h.Contexts))
		case r.Value < 0 || r.Value > reading.MaxRLU:
			return nil, nil, fmt.Errorf("reading %d: %d RLU is not within 0–%d", i, r.Value, reading.MaxRLU)
		case r.Cleaning == 0:
			return nil, nil, fmt.Errorf("reading %d: cleanings count from 1", i)
		case !(r.Minutes >= 0) || math.IsInf(float64(r.Minutes), 1):
			return nil, nil, fmt.Errorf("reading %d: %g minutes", i, r.Minutes)
		case r.Cycle < 0 || int(r.Cycle) >= len(h.Rows):
			return nil, nil, fmt.Errorf("reading %d: cycle %d: number them from 0 without gaps", i, r.Cycle)
		}
		last = max(last, r.Cycle)
	}
	starts = make([]int32, last+2)
	for _, r := range h.Rows {
		starts[r.Cycle+1]++
	}
	for t := range last + 1 {
		if starts[t+1] == 0 {
			return nil, nil, fmt.Errorf("cycle %d has no reading: number them from 0 without gaps", t)
		}
		starts[t+1] += starts[t]
	}
	order = make([]int32, len(h.Rows))
	next := slices.Clone(starts[:last+1])
	for i, r := range h.Rows {
		order[next[r.Cycle]] = int32(i)
		next[r.Cycle]++
		if first := h.Rows[order[starts[r.Cycle]]]; h.Contexts[first.Context].Kind != h.Contexts[r.Context].Kind {
			return nil, nil, fmt.Errorf("reading %d: cycle %d belongs to a %s and to a %s", i, r.Cycle,
				h.Contexts[first.Context].Kind, h.Contexts[r.Context].Kind)
		}
	}
	return order, starts, nil
}

// indices returns kind and point of each context as indices into scope.Kinds and scope.PointKinds.
func (h History) indices() (kind, point []uint8) {
	for _, c := range h.Contexts {
		kind = append(kind, uint8(slices.Index(scope.Kinds, c.Kind)))
		point = append(point, uint8(slices.Index(scope.PointKinds, c.Point)))
	}
	return kind, point
}

// sortRows brings the rows of a cycle, a handful and mostly in order, into the order of
// cleanings and points. point gives the point of a context.
func sortRows(rows []Row, point []uint8) {
	key := func(r Row) int { return int(r.Cleaning)<<8 | int(point[r.Context]) }
	for i := 1; i < len(rows); i++ {
		for j := i; j > 0 && key(rows[j]) < key(rows[j-1]); j-- {
			rows[j], rows[j-1] = rows[j-1], rows[j]
		}
	}
}
