package plain_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// What a run can be told: the one history that is to be looked at, as the failure of another run names it; the first
// history; how many.
const (
	seedVariable      = "RINSATE_SEED"
	fromVariable      = "RINSATE_FROM"
	historiesVariable = "RINSATE_HISTORIES"
)

// histories is how many the tests make; a tenth of that with -short.
const histories = 20_000

// parts is how many tests share the histories between them.
const parts = 4

func number(t *testing.T, variable string, otherwise uint64) uint64 {
	t.Helper()
	text := os.Getenv(variable)
	if text == "" {
		return otherwise
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		t.Fatalf("%s: %v", variable, err)
	}
	return n
}

// count is how often a class of hazard was among the histories, and what the answer was in the end.
type count struct{ all, ready, not int }

// hopeless are the classes after which next to nothing is ready, however the rest went.
var hopeless = []string{
	"use goes on", "use without an end before", "away for repair", "model missing", "hold", "hold lifted by one",
	"hold lifted before it was placed", "hold lifted by one over a verification", "clock not settled",
}

// On random histories of a department that works with care, and of one where things go wrong, the check and the plain
// one agree, and what has to hold of any release check does.
func TestHistories(t *testing.T) {
	all, err := houses()
	if err != nil {
		t.Fatal(err)
	}
	from, n := number(t, fromVariable, 0), number(t, historiesVariable, histories)
	if testing.Short() && os.Getenv(historiesVariable) == "" {
		n = histories / 10
	}
	if os.Getenv(seedVariable) != "" {
		from, n = number(t, seedVariable, 0), 1
	}
	defer debug.SetGCPercent(debug.SetGCPercent(800)) // most of what is made is thrown away at once
	var lock sync.Mutex
	counts, failed, harsh := map[string]*count{}, 0, 0
	t.Run("each", func(t *testing.T) {
		for part := range uint64(parts) {
			t.Run(strconv.FormatUint(part, 10), func(t *testing.T) {
				t.Parallel()
				for seed := from + part; seed < from+n; seed += parts {
					x := newTrial(all, seed)
					ready := x.run()
					lock.Lock()
					x.counted(counts, ready)
					if x.harsh {
						harsh++
					}
					if len(x.fails) > 0 {
						if failed++; failed <= 10 {
							t.Errorf("%s=%d %s: %s", seedVariable, seed, x.named(), strings.Join(x.fails[:min(len(x.fails), 3)], "\n\t"))
						}
					}
					lock.Unlock()
				}
			})
		}
	})
	if failed > 10 {
		t.Errorf("%d histories failed", failed)
	}
	t.Logf("of %d histories, the check was harsher than it has to be in %d", n, harsh)
	if n >= 1000 && harsh*100 > int(n) {
		t.Errorf("harsher than it has to be in %d of %d", harsh, n)
	}
	covered(t, counts, int(n))
}

// covered prints how often each class was there, and fails where that shows too little.
func covered(t *testing.T, counts map[string]*count, n int) {
	t.Helper()
	for _, f := range faults {
		if counts[f.class] == nil {
			counts[f.class] = &count{}
		}
	}
	var classes []string
	for class := range counts {
		classes = append(classes, class)
	}
	slices.Sort(classes)
	for _, class := range classes {
		c := counts[class]
		share := 100 * float64(c.all) / float64(n)
		t.Logf("%5.1f %% %6d  ready %6d  not %6d  %s", share, c.all, c.ready, c.not, class)
		if n < histories {
			continue // too few to tell
		}
		if share < 1 {
			t.Errorf("%s: only %.2f %% of the histories", class, share)
		}
		seldom := c.ready*50 <= c.all // where a use that goes on was voided, say
		if c.not == 0 || c.ready == 0 && !slices.Contains(hopeless, class) || !seldom && slices.Contains(hopeless, class) {
			t.Errorf("%s: %d ready, %d not", class, c.ready, c.not)
		}
	}
}

// trial is one history under test.
type trial struct {
	*maker
	seed uint64
	// known is what counts in the end, end the last instant that is told.
	known reprocessing.History
	end   unit.Instant
	fails []string
	// harsh says that the check was harsher than it has to be.
	harsh bool
	// worst is a history on which the two differ.
	worst reprocessing.History
}

func newTrial(all []house, seed uint64) *trial {
	m := made(all, seed)
	return &trial{maker: m, seed: seed, known: m.h.AsKnown(ever), end: m.latest()}
}

func (x *trial) failf(format string, args ...any) {
	x.fails = append(x.fails, fmt.Sprintf(format, args...))
}

// named lists the classes of the history.
func (x *trial) named() string {
	var classes []string
	for class := range x.classes {
		classes = append(classes, class)
	}
	slices.Sort(classes)
	return "(" + strings.Join(classes, ", ") + ")"
}

func (x *trial) counted(counts map[string]*count, ready bool) {
	for class := range x.classes {
		c := counts[class]
		if c == nil {
			c = &count{}
			counts[class] = c
		}
		c.all++
		if ready {
			c.ready++
		} else {
			c.not++
		}
	}
}

// fast asks the check that ships.
func (x *trial) fast(h reprocessing.History, at unit.Instant) verdict {
	return heard(reprocessing.Release(h, x.rules, at, x.zone))
}

func (x *trial) fastNow(h reprocessing.History, now unit.Instant) verdict {
	return heard(reprocessing.ReleaseNow(h, x.rules, x.clock, now, x.zone))
}

func heard(a reprocessing.Answer) verdict {
	v := verdict{ready: a.State == reprocessing.Ready, elsewhere: a.State == reprocessing.NothingAgainst, until: a.Until}
	for _, r := range a.Reasons {
		if r.Blocks {
			v.lacks = append(v.lacks, r.Whole())
		}
	}
	return v
}

// agree compares the two. Where the check is known to be harsher than it has to be, it may be so, and is counted.
func (x *trial) agree(what string, at unit.Instant, h reprocessing.History, fast, plain verdict) {
	switch {
	case fast.grade() == plain.grade() && fast.until == plain.until:
	case plain.grade() > fast.grade() && fast.grade() == 0 && harsher(h, at):
		x.harsh = true
	default:
		x.failf("%s, at %s the check says %s, the plain one %s", what, at, fast, plain)
		x.worst = h
	}
}

// harsher says whether a history holds what the check is harsher about than the times of its samples are. A cleaning
// that was sampled and not decided counts as one with the next, so that a reading which is lacking, or shows nothing,
// is asked for once more. A sample that was taken before a use ended and read after it is asked for again. And where
// a decision took the place of another and proves nothing itself, since a clock that was wrong dated it, the other
// does not stand again.
func harsher(h reprocessing.History, at unit.Instant) bool {
	for _, d := range h.Decisions {
		if d.Supersedes != "" && (d.Unsure.Known() || d.Last > at) {
			return true
		}
	}
	for _, a := range h.Samples {
		within := func(at unit.Instant) bool { return a.Collected < at && at <= a.Read }
		if within(h.Instrument.InService) || slices.ContainsFunc(h.Uses, func(u reprocessing.Use) bool { return within(u.End) }) ||
			slices.ContainsFunc(h.Repairs, func(r reprocessing.Repair) bool { return within(r.Returned) }) {
			return true
		}
		for _, b := range h.Samples {
			if a.Cleaning == b.Cleaning && a.Collected < b.Collected && slices.ContainsFunc(h.Steps, func(s reprocessing.Step) bool {
				return s.Kind == reprocessing.ManualCleaning && s.Start > a.Collected && s.Start <= b.Collected
			}) && !slices.ContainsFunc(h.Uses, func(u reprocessing.Use) bool { return u.Start > a.Collected && u.Start <= b.Collected }) {
				return true
			}
		}
	}
	return false
}

func (v verdict) String() string {
	if v.ready {
		return "ready until " + v.until.String()
	}
	if v.elsewhere {
		return "released elsewhere"
	}
	return "not ready (" + strings.Join(v.lacks, "; ") + ")"
}

// run tries one history and says whether it was ready in the end.
func (x *trial) run() bool {
	at := x.end + x.between(0, hour)
	before := x.fast(x.known, at)
	x.agree("in the end", at, x.known, before, x.plainly(x.known, at))
	now := x.fastNow(x.known, at)
	x.agree("now", at, x.known, now, x.plainlyNow(x.known, x.clock, at))
	x.timeAlone(at, before)
	x.past()
	x.behind()
	x.anyOrder(at, before, now)
	x.laterRecords(at)
	x.adverse(at, before, now)
	x.lessProof(at, before)
	x.occasions(at, before)
	x.onePerson(at, before)
	x.takesBack(at)
	return before.ready && now.ready
}

// clone is a trial of the same facts that may be changed.
func (x *trial) clone() *trial {
	m := *x.maker
	m.h = copied(m.h)
	m.classes = map[string]bool{}
	return &trial{maker: &m, seed: x.seed, known: copied(x.known), end: x.end}
}

func copied(h reprocessing.History) reprocessing.History {
	h.Uses, h.Steps, h.Samples = slices.Clone(h.Uses), slices.Clone(h.Steps), slices.Clone(h.Samples)
	for i := range h.Samples {
		h.Samples[i].Judgements = slices.Clone(h.Samples[i].Judgements)
	}
	h.Decisions, h.Holds, h.Lifts = slices.Clone(h.Decisions), slices.Clone(h.Holds), slices.Clone(h.Lifts)
	h.Repairs, h.Requests, h.Attestations = slices.Clone(h.Repairs), slices.Clone(h.Requests), slices.Clone(h.Attestations)
	h.StockTakes, h.Shared = slices.Clone(h.StockTakes), slices.Clone(h.Shared)
	return h
}

func shuffled(r *rand.Rand, h reprocessing.History) reprocessing.History {
	h = copied(h)
	mix(r, h.Uses)
	mix(r, h.Steps)
	mix(r, h.Samples)
	mix(r, h.Decisions)
	mix(r, h.Holds)
	mix(r, h.Lifts)
	mix(r, h.Repairs)
	mix(r, h.Requests)
	mix(r, h.Attestations)
	mix(r, h.StockTakes)
	mix(r, h.Shared)
	return h
}

func mix[T any](r *rand.Rand, all []T) {
	r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
}
