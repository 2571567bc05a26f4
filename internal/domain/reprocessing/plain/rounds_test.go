package plain_test

import (
	"cmp"
	"maps"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// round is all samples that were taken after one cleaning and before the next.
type round struct {
	// trip is the occasion that it follows, cleaned the beginning of its cleaning: zero when there was none.
	trip, cleaned unit.Instant
	samples       []reprocessing.Taken
	// first is when the oldest of the samples was taken that show the scope as it is, last when the last was read.
	first, last unit.Instant
	// stood is when it had passed, where a sample that nobody has read was taken since: zero otherwise.
	stood  unit.Instant
	beyond bool // a point is over the action level
	passed bool // all points that it needs have results, none of them over it
	points map[scope.PointKind]reading.Outcome
	// sampled is the beginning of the cleaning before each point was sampled, zero where there was none; bare says that
	// the round rests on a point that was carried over and never cleaned before it was sampled.
	sampled map[scope.PointKind]unit.Instant
	bare    bool
	// rests is when each point was sampled, in this round or in the one that it was carried from.
	rests map[scope.PointKind]unit.Instant
}

// sampled groups the samples by the cleaning that they follow, as the times of all records have it, and judges each
// group. Which of them a person wrote down for it does not matter.
func (w *walk) sampled() []round {
	marks := []unit.Instant{0} // what begins a trip: a use and its end, a return
	for _, u := range w.h.Uses {
		marks = append(marks, u.Start, max(u.Start, u.End))
	}
	for _, r := range w.h.Repairs {
		if r.Returned.Known() {
			marks = append(marks, r.Returned)
		}
	}
	marks = append(marks, w.h.Instrument.InService)
	slices.Sort(marks)
	samples := slices.Clone(w.h.Samples)
	slices.SortStableFunc(samples, func(a, b reprocessing.Taken) int { return cmp.Compare(a.Collected, b.Collected) })
	var all []round
	for _, t := range samples {
		var trip, cleaned unit.Instant
		for _, m := range marks {
			if m <= t.Collected {
				trip = m
			}
		}
		for _, s := range w.steps(reprocessing.ManualCleaning, trip) {
			if s.Start <= t.Collected {
				cleaned = s.Start
			}
		}
		if n := len(all); n == 0 || all[n-1].trip != trip || all[n-1].cleaned != cleaned {
			all = append(all, round{trip: trip, cleaned: cleaned})
		}
		all[len(all)-1].samples = append(all[len(all)-1].samples, t)
	}
	for i := range all {
		var before *round // the last that was decided
		for j := i - 1; j >= 0 && before == nil && all[j].trip == all[i].trip; j-- {
			if all[j].beyond || all[j].passed {
				before = &all[j]
			}
		}
		w.decide(&all[i], before, all[:i])
		if read := all[i]; !read.passed && !read.beyond {
			read.last, read.first = 0, 0
			read.samples = slices.DeleteFunc(slices.Clone(read.samples), func(t reprocessing.Taken) bool {
				return len(t.Judgements) == 0 && t.Collected > all[i].read()
			})
			if w.decide(&read, before, all[:i]); read.passed {
				all[i].stood = read.first
			}
		}
		if i > 0 && all[i-1].trip == all[i].trip && &all[i-1] != before { // what passed in one that was not decided may be carried later
			for kind, o := range all[i-1].points {
				if all[i].points[kind] == reading.None && o.Passed() {
					all[i].points[kind], all[i].sampled[kind], all[i].rests[kind] = o, all[i-1].sampled[kind], all[i-1].rests[kind]
				}
			}
		}
	}
	return all
}

// read is when the last reading of a round was made.
func (r *round) read() (last unit.Instant) {
	for _, t := range r.samples {
		last = max(last, t.Read)
	}
	return last
}

// decide judges one round: its outcome is the worst of its points, a required point without a result leaves it open,
// and one over the action level decides at once. Where only failing points are sampled again, a point that passed in
// the round before is carried over.
func (w *walk) decide(r *round, before *round, earlier []round) {
	r.points, r.sampled, r.bare = map[scope.PointKind]reading.Outcome{}, map[scope.PointKind]unit.Instant{}, false
	r.rests = map[scope.PointKind]unit.Instant{}
	taken := map[scope.PointKind]unit.Instant{}
	open := map[scope.PointKind]bool{}
	outcomes := map[scope.PointKind][]reading.Outcome{}
	near := map[scope.PointKind]bool{}
	for _, t := range r.samples {
		if t.NotApplicable != "" {
			continue // only the model takes a point away: a point of which nothing was taken is missing
		}
		void := len(t.Judgements) > 0
		for _, j := range t.Judgements {
			void = void && j.Outcome == reading.Void
		}
		if _, ok := taken[t.Point]; !ok || !void { // one that does not count does not say since when the others do
			taken[t.Point] = t.Collected
		}
		r.last = max(r.last, t.Collected)
		if len(t.Judgements) == 0 {
			open[t.Point] = true
		}
		for _, j := range t.Judgements {
			outcomes[t.Point] = append(outcomes[t.Point], j.Outcome)
			near[t.Point] = near[t.Point] || j.Near && j.Outcome != reading.Void
			r.last = max(r.last, t.Read)
		}
	}
	needed := w.needed(r, earlier)
	r.passed = len(taken) > 0
	for _, kind := range scope.PointKinds {
		_, sampled := taken[kind]
		if !sampled && !slices.Contains(needed, kind) {
			continue
		}
		outcome, carried := w.point(outcomes[kind]), false
		if before != nil && before.beyond && w.judging.Retest == reading.FailingPoints && !sampled && before.points[kind].Passed() {
			outcome, carried = before.points[kind], true
			r.sampled[kind], r.rests[kind] = before.sampled[kind], before.rests[kind]
			r.bare = r.bare || !r.sampled[kind].Known()
		} else {
			r.sampled[kind], r.rests[kind] = r.cleaned, taken[kind]
		}
		r.points[kind] = outcome
		single := len(slices.DeleteFunc(slices.Clone(outcomes[kind]), func(o reading.Outcome) bool { return o == reading.Void })) == 1
		switch {
		case outcome == reading.Action:
			r.beyond = true
		case !outcome.Passed() || !carried && (open[kind] || w.judging.Duplicate && single && near[kind]):
			r.passed = false
		}
		if !carried && sampled && (r.first == 0 || taken[kind] < r.first) {
			r.first = taken[kind]
		}
	}
	r.last = max(r.last, r.first)
	r.passed = r.passed && !r.beyond && !w.disturbed(r)
}

// disturbed says whether somebody cleaned the scope or used it while the round went on: then it shows no one state.
func (w *walk) disturbed(r *round) bool {
	return slices.ContainsFunc(w.h.Steps, func(s reprocessing.Step) bool {
		return s.Kind == reprocessing.ManualCleaning && s.Start <= r.last && s.End > r.first
	}) || slices.ContainsFunc(w.h.Uses, func(u reprocessing.Use) bool { return u.Start <= r.last && u.End > r.first })
}

// point combines the readings of one point. One beyond the action level is never outweighed, but where the rules call
// a disagreement an alert.
func (w *walk) point(outcomes []reading.Outcome) reading.Outcome {
	counts := map[reading.Outcome]int{}
	for _, o := range outcomes {
		counts[o]++
	}
	switch {
	case counts[reading.Action] > 0 && counts[reading.OK]+counts[reading.Alert] > 0 && w.judging.Combine == reading.DisagreementIsAlert:
		return reading.Alert
	case counts[reading.Action] > 0:
		return reading.Action
	case counts[reading.None] > 0 || len(outcomes) == 0:
		return reading.None
	case counts[reading.Alert] > 0:
		return reading.Alert
	case counts[reading.OK] > 0:
		return reading.OK
	}
	return reading.Void
}

// needed lists the points without which a round is not complete: the routine ones, those that somebody asked for, and
// those that were over the action level in this trip and have not passed since.
func (w *walk) needed(r *round, earlier []round) []scope.PointKind {
	all := slices.Clone(w.h.Model.Routine())
	for _, rule := range w.rules.Due {
		if rule.When != sampling.OnRequest || !covers(rule, w.h.Model) {
			continue
		}
		for _, q := range w.h.Requests {
			if len(r.samples) > 0 && q.At <= r.samples[len(r.samples)-1].Collected && !w.passedSince(q.At, earlier) {
				all = append(all, q.Points...)
			}
		}
	}
	failing := map[scope.PointKind]bool{}
	for _, e := range earlier {
		if e.trip != r.trip {
			continue
		}
		for kind, o := range e.points {
			switch {
			case o == reading.Action:
				failing[kind] = true
			case o.Passed():
				failing[kind] = false
			}
		}
	}
	for _, kind := range scope.PointKinds {
		if failing[kind] {
			all = append(all, kind)
		}
	}
	return all
}

func (w *walk) passedSince(at unit.Instant, rounds []round) bool {
	return slices.ContainsFunc(rounds, func(r round) bool { return r.passed && r.first > at })
}

// passed is when the samples of the last verification that passed were taken, zero when none did: what was done to the
// scope between that and the reading is not shown by it.
func (w *walk) passed() unit.Instant {
	at := w.h.Earlier.Passed
	for _, r := range w.rounds {
		if at = max(at, r.stood); r.passed {
			at = max(at, r.first)
		}
	}
	return at
}

// failed is when the last verification was over the action level, zero when none was.
func (w *walk) failed() unit.Instant {
	at := w.h.Earlier.Failed
	for _, r := range w.rounds {
		if r.beyond {
			at = max(at, r.last)
		}
	}
	return at
}

// due asks for the verifications that the rules make due now, and that keep the scope from patients until one passed.
func (w *walk) due() {
	if !w.verifies(w.latest()) {
		return
	}
	passed := w.passed()
	service := w.h.Instrument.InService
	for _, r := range w.rules.Due {
		if !r.Blocks || !covers(r, w.h.Model) {
			continue
		}
		asked := false
		switch r.When {
		case sampling.EveryCycle: // in each trip, and after its last cleaning
		case sampling.Periodic:
			uses := 0
			if w.h.Earlier.Passed == passed {
				uses = w.h.Earlier.Uses
			}
			for _, u := range w.h.Uses {
				if max(u.Start, u.End) > passed {
					uses++
				}
			}
			asked = r.Days > 0 && w.counted().AddDays(r.Days, w.zone) <= w.at || r.Uses > 0 && uses >= r.Uses
		case sampling.AfterRepair:
			asked = slices.ContainsFunc(w.h.Repairs, func(x reprocessing.Repair) bool { return x.Returned.Known() && passed <= x.Returned })
		case sampling.AfterFailedVerification:
			asked = w.failed().Known() && passed <= w.failed()
		case sampling.OnArrival:
			asked = w.h.Instrument.Owner != scope.Own && passed < service
		case sampling.OnRequest:
			asked = slices.ContainsFunc(w.h.Requests, func(q reprocessing.Request) bool { return passed <= q.At })
		}
		if asked {
			w.lack("a cleaning verification is due: %s", r.When)
		}
	}
}

// verifies says whether verifications that are due are asked for here, for an occasion.
func (w *walk) verifies(o occasion) bool {
	return !slices.ContainsFunc(w.rules.For(w.h.Model.Name), func(r reprocessing.StepRule) bool {
		return r.Step == reprocessing.Verification && !w.counts(r, o.at)
	})
}

// everyCycle says whether the rules ask for a verification in each trip.
func (w *walk) everyCycle() bool {
	return slices.ContainsFunc(w.rules.Due, func(r sampling.Rule) bool {
		return r.When == sampling.EveryCycle && r.Blocks && covers(r, w.h.Model)
	})
}

// verified asks, where every trip is verified or somebody began to sample in this one, that after the last cleaning
// every point that is needed was sampled and none was over the action level, in order: after what comes before it, and
// with its last reading before what comes after. It returns when it ended.
func (w *walk) verified(o occasion, before unit.Instant) unit.Instant {
	var last *round
	for i := range w.rounds {
		r := &w.rounds[i]
		if begun := slices.ContainsFunc(r.samples, func(t reprocessing.Taken) bool { return t.NotApplicable == "" }); begun && r.first >= o.at {
			last = r
		}
	}
	switch {
	case last == nil && w.everyCycle() && w.verifies(o):
		w.lack("%s: no cleaning verification", o.what)
	case last == nil:
	case !last.passed:
		w.lack("%s: the cleaning verification did not pass", o.what)
	case last.bare:
		w.lack("%s: a point was sampled before the scope was cleaned at all", o.what)
	case slices.ContainsFunc(slices.Collect(maps.Values(last.rests)), func(at unit.Instant) bool { return at.Known() && at < o.at }):
		w.lack("%s: a point was carried over from before", o.what) // each occasion has its own duties
	case last.first < before:
		w.lack("%s: the samples are older than what had to come before", o.what)
	}
	if last == nil {
		return 0
	}
	return last.last
}

// A reading beyond the action level counts whether or not a verification was due: it is answered only by a later
// cleaning and a later complete verification that passes.
func (w *walk) beyond(since []occasion) {
	for i, r := range w.rounds {
		if r.last < since[0].at || !r.beyond {
			continue
		}
		if !slices.ContainsFunc(w.rounds[i+1:], func(x round) bool { return x.passed && w.cleanedBetween(r, x) }) {
			w.lack("a point was over the action level at %s and none has passed since it was cleaned again", r.last)
		}
	}
}

// cleanedBetween says whether a cleaning that began after the samples of the one round were taken, and ended after
// the last of them was read, came before those of the other.
func (w *walk) cleanedBetween(bad, good round) bool {
	return slices.ContainsFunc(w.steps(reprocessing.ManualCleaning, bad.first), func(c reprocessing.Step) bool {
		return c.Result != reprocessing.Fail && c.End.Known() && c.End >= bad.last && c.End <= good.first
	})
}
