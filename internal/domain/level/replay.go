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
	// Turnaround numbers the trips of scopes from patient to ready, from 0 and without gaps.
	Turnaround int32
	// Minutes is what taking and reading this sample cost.
	Minutes float32
	// Context is an index into History.Contexts.
	Context uint16
	// Attempt counts the cleanings of the turnaround that were sampled, from 1.
	Attempt uint8
	// Culture says that a culture of this scope, linked to this turnaround, was positive.
	Culture bool
}

// History is the readings of the past.
type History struct {
	Contexts []Context
	Rows     []Row
}

// Terms are what a replay is done by.
type Terms struct {
	// Rules are the rules for rounds, the same for both sets of levels.
	Rules reading.Rules
	// AsOf is the instant whose levels count; those adopted later are not seen.
	AsOf unit.Instant
	// CleaningMinutes is what cleaning a scope once more costs, without the samples.
	CleaningMinutes float64
	// MaxChanges bounds the list of rounds whose outcome differs; their number is always complete.
	MaxChanges int
}

// Tally is what a set of levels did to the rounds of the past.
type Tally struct {
	// Turnarounds is how many there are, whatever became of them.
	Turnarounds int `json:"turnarounds"`
	// Rounds happen under these levels and have readings. Spared rounds have readings too, but would
	// not have happened, since an earlier round of their turnaround passes.
	Rounds int `json:"rounds"`
	Spared int `json:"spared"`
	// Over, Alerts and Undecided count rounds by outcome; the rest is below. A round is undecided
	// when a point has no level, or wants a duplicate, or was not sampled again although it is over
	// the action level here.
	Over      int `json:"over_action"`
	Alerts    int `json:"alerts"`
	Undecided int `json:"undecided"`
	// Recleans are the rounds over the action level after which the scope is cleaned and sampled
	// again; the result is Unknown when the past holds no such round.
	Recleans int `json:"recleans"`
	Unknown  int `json:"recleans_result_unknown"`
	// Holds counts turnarounds in which the last attempt allowed was over the action level.
	Holds int `json:"holds"`
	// Kits and Minutes are the cost of Rounds and Recleans. An unknown re-clean is counted with one
	// further round like the one before, so that with Unknown > 0 they are lower bounds.
	Kits    int         `json:"kits"`
	Minutes unit.Number `json:"minutes"`
	// Caught counts turnarounds linked to a positive culture with a round over the action level,
	// Missed those in which every round passed, Unjudged those with an undecided round and none over.
	Caught   int `json:"cultures_caught"`
	Missed   int `json:"cultures_missed"`
	Unjudged int `json:"cultures_unjudged"`
}

// add sums two tallies.
func (t *Tally) add(o Tally) {
	t.Turnarounds += o.Turnarounds
	t.Rounds += o.Rounds
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

// Spared is the outcome of a round that would not have happened.
const Spared reading.Outcome = "spared"

// Change is one round whose outcome differs.
type Change struct {
	Turnaround int             `json:"turnaround"`
	Attempt    int             `json:"attempt"`
	Today      reading.Outcome `json:"today"`
	Proposed   reading.Outcome `json:"proposed"`
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
	// Changes lists the first Terms.MaxChanges of Changed rounds, by turnaround and attempt.
	Changes []Change `json:"changes"`
	Changed int      `json:"changed"`
}

// Compare runs two sets of levels over the past. Each turnaround is followed as long as its levels
// ask for another round: after a round over the action level to the next attempt, if there is one;
// a round that passes ends it, and later rounds are spared; an undecided round ends nothing, since
// the past went on. A re-clean that never happened has no reading, so its result is unknown and not
// guessed. Turnarounds of which only later attempts have readings are followed from there.
//
// Rounds are judged by the points that were sampled, since the past does not say which were
// required. Where only failing points are sampled again, the points that passed the round before
// count with it. An error names the first row that cannot be right.
func (h History) Compare(today, proposed []reading.Level, terms Terms) (Replay, error) {
	if err := terms.check(); err != nil {
		return Replay{}, err
	}
	order, starts, err := h.byTurnaround()
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
				result.Changes = append(result.Changes, Change{t, int(a[i].attempt), a[i].outcome.word(), b[i].outcome.word()})
			}
		}
	}
	for i, k := range kinds {
		if k.Today.Turnarounds == 0 {
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

// byTurnaround returns the rows of turnaround t as order[starts[t]:starts[t+1]].
func (h History) byTurnaround() (order, starts []int32, err error) {
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
		case r.Attempt == 0:
			return nil, nil, fmt.Errorf("reading %d: attempts count from 1", i)
		case !(r.Minutes >= 0) || math.IsInf(float64(r.Minutes), 1):
			return nil, nil, fmt.Errorf("reading %d: %g minutes", i, r.Minutes)
		case r.Turnaround < 0 || int(r.Turnaround) >= len(h.Rows):
			return nil, nil, fmt.Errorf("reading %d: turnaround %d: number them from 0 without gaps", i, r.Turnaround)
		}
		last = max(last, r.Turnaround)
	}
	starts = make([]int32, last+2)
	for _, r := range h.Rows {
		starts[r.Turnaround+1]++
	}
	for t := range last + 1 {
		if starts[t+1] == 0 {
			return nil, nil, fmt.Errorf("turnaround %d has no reading: number them from 0 without gaps", t)
		}
		starts[t+1] += starts[t]
	}
	order = make([]int32, len(h.Rows))
	next := slices.Clone(starts[:last+1])
	for i, r := range h.Rows {
		order[next[r.Turnaround]] = int32(i)
		next[r.Turnaround]++
		if first := h.Rows[order[starts[r.Turnaround]]]; h.Contexts[first.Context].Kind != h.Contexts[r.Context].Kind {
			return nil, nil, fmt.Errorf("reading %d: turnaround %d belongs to a %s and to a %s", i, r.Turnaround,
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

// sortRows brings the rows of a turnaround, a handful and mostly in order, into the order of
// attempts and points. point gives the point of a context.
func sortRows(rows []Row, point []uint8) {
	key := func(r Row) int { return int(r.Attempt)<<8 | int(point[r.Context]) }
	for i := 1; i < len(rows); i++ {
		for j := i; j > 0 && key(rows[j]) < key(rows[j-1]); j-- {
			rows[j], rows[j-1] = rows[j-1], rows[j]
		}
	}
}
