package reprocessing

import (
	"cmp"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Decide judges together the samples of one cleaning of the cycle that an instant belongs to, with the rules
// in force then. prior is the decision on the cleaning that the history has, nil when there is none. What
// the decision is called by, its rules and record, is the caller's to fill in.
func Decide(h History, rules Rules, judging reading.Rules, at unit.Instant, cleaning int, zone *time.Location) (d Decision, prior *Decision) {
	start, end := CycleStart(h, at), h.cycleEnd(at)
	d = Decision{Scope: h.Instrument.Tag, Cycle: start}
	results := make(points)
	for _, p := range h.Model.Points() {
		if p.NotApplicable != "" {
			results.at(p.Kind).NotApplicable = p.NotApplicable
		}
	}
	for i := range h.Decisions {
		before := &h.Decisions[i]
		if !before.In(start) || before.begun() >= end {
			continue
		}
		if before.Verification.Cleaning == cleaning {
			prior = before
		}
		if before.Verification.Cleaning < cleaning && before.Passed() {
			judging.Cleanings++ // only failed cleanings lead to an escalation
		}
		if judging.Retest == reading.FailingPoints && before.Verification.Cleaning == cleaning-1 && before.Verification.Outcome == reading.Action {
			results.carry(before.Verification)
		}
	}
	results.take(&d, keep(h.Samples, func(t Taken) bool { return t.Cleaning == cleaning && t.Collected >= start && t.Collected < end }))
	if !d.Last.Known() && prior != nil { // all of its samples were taken back: it speaks of the same time, and of nothing
		d.First, d.Last = prior.First, prior.Last
	}
	required := Required(h, rules, at, zone)
	for _, point := range h.unanswered(start, end, cleaning) {
		if !slices.Contains(required, point) {
			required = append(required, point)
		}
	}
	d.Verification = judging.Judge(cleaning, required, results.list())
	return d, prior
}

// unanswered returns the points that were over the action level after an earlier cleaning of the cycle and have
// not passed since. A point that nobody has to sample is among them once somebody did: other points do not show
// that it is clean now.
func (h History) unanswered(start, end unit.Instant, cleaning int) []scope.PointKind {
	earlier := keep(h.Decisions, func(d Decision) bool {
		return d.In(start) && d.begun() < end && d.Verification.Cleaning < cleaning
	})
	slices.SortStableFunc(earlier, func(a, b Decision) int { return cmp.Compare(a.Verification.Cleaning, b.Verification.Cleaning) })
	var over []scope.PointKind
	for _, d := range earlier {
		for _, p := range d.Verification.Points {
			switch {
			case p.Outcome == reading.Action && !slices.Contains(over, p.Point):
				over = append(over, p.Point)
			case p.Outcome.Passed():
				over = slices.DeleteFunc(over, func(x scope.PointKind) bool { return x == p.Point })
			}
		}
	}
	return over
}

// Cleaned is one cleaning of a cycle: which it is, and when its last sample was taken. The rules that were in
// force then decide on it.
type Cleaned struct {
	Cleaning int
	At       unit.Instant
}

// Later returns the cleanings after one of the cycle that an instant belongs to, in order, as far as they were
// sampled or decided on. What was decided on them rests on the decisions before: on the points that they carried
// over, on those that had failed, and on how many cleanings had.
func (h History) Later(at unit.Instant, cleaning int) []Cleaned {
	start, end := CycleStart(h, at), h.cycleEnd(at)
	last := map[int]unit.Instant{}
	decided := map[int]unit.Instant{}
	for _, t := range h.Samples {
		if t.Cleaning > cleaning && t.Collected >= start && t.Collected < end {
			last[t.Cleaning] = max(last[t.Cleaning], t.Collected)
		}
	}
	for _, d := range h.Decisions {
		if d.Verification.Cleaning > cleaning && d.In(start) && d.begun() < end {
			decided[d.Verification.Cleaning] = d.last()
		}
	}
	for n, at := range decided {
		if !last[n].Known() { // its samples were taken back
			last[n] = at
		}
	}
	later := make([]Cleaned, 0, len(last))
	for n, at := range last {
		later = append(later, Cleaned{n, at})
	}
	slices.SortFunc(later, func(a, b Cleaned) int { return cmp.Compare(a.Cleaning, b.Cleaning) })
	return later
}

// Required returns the points without which a verification at an instant is not complete: the routine ones and
// those that are due.
func Required(h History, rules Rules, at unit.Instant, zone *time.Location) []scope.PointKind {
	required := h.Model.Routine()
	for _, due := range Due(h, rules, at, zone) {
		for _, p := range due.Points {
			if !slices.Contains(required, p) {
				required = append(required, p)
			}
		}
	}
	return required
}

// points collects what is known of the points of a verification.
type points map[scope.PointKind]*reading.PointResult

func (p points) at(kind scope.PointKind) *reading.PointResult {
	if p[kind] == nil {
		p[kind] = &reading.PointResult{Point: kind}
	}
	return p[kind]
}

// carry takes over the points that passed in a failed verification where only the others are sampled again.
func (p points) carry(failed reading.Verification) {
	for _, x := range failed.Points {
		if x.Outcome.Passed() && x.NotApplicable == "" {
			r := p.at(x.Point)
			r.Outcome, r.Carried = x.Outcome, true
		}
	}
}

// take takes in the samples of the cleaning, and when the decision's first was collected and its last was
// read. A point that is sampled is not carried over.
func (p points) take(d *Decision, samples []Taken) {
	var earliest unit.Instant
	// Where a point was sampled more than once, its last sample says since when the verification shows the scope;
	// all of its readings are judged.
	last := make(map[scope.PointKind]unit.Instant)
	for _, t := range samples {
		if t.NotApplicable != "" { // only the model takes a point away: whoever is out of time or swabs leaves it missing
			continue
		}
		r := p.at(t.Point)
		r.Carried = false
		if earliest == 0 || t.Collected < earliest {
			earliest = t.Collected
		}
		if t.counts() {
			last[t.Point] = max(last[t.Point], t.Collected)
		}
		d.Last = max(d.Last, t.Collected, t.Read)
		r.Readings = append(r.Readings, t.Judgements...)
		r.Pending = r.Pending || len(t.Judgements) == 0
	}
	for _, at := range last {
		if d.First == 0 || at < d.First {
			d.First = at
		}
	}
	if d.First == 0 {
		d.First = earliest
	}
}

func (p points) list() []reading.PointResult {
	list := make([]reading.PointResult, 0, len(p))
	for _, r := range p {
		list = append(list, *r)
	}
	slices.SortFunc(list, func(a, b reading.PointResult) int { return cmp.Compare(a.Point, b.Point) })
	return list
}

// counts says whether a sample can decide anything: one whose readings are all void cannot, and does
// not say when its verification began either.
func (t Taken) counts() bool {
	return len(t.Judgements) == 0 || slices.ContainsFunc(t.Judgements, func(j reading.Judgement) bool { return j.Outcome != reading.Void })
}

// New says whether a decision is to be recorded after the one before it on the same cleaning, nil when there
// is none: the verification is complete or over the action level, or was decided before and is now different. So
// it is also when a cleaning before it failed after all, and this one is the last that the rules provide for.
func (d Decision) New(prior *Decision) bool {
	if prior == nil {
		return d.Verification.Complete || d.Verification.Outcome == reading.Action
	}
	return d.Verification.Outcome != prior.Verification.Outcome || d.Verification.Complete != prior.Verification.Complete ||
		d.Verification.Why != prior.Verification.Why || d.First != prior.First || d.Last != prior.Last || d.escalates() != prior.escalates()
}

// escalates says whether the decision asks for people instead of another cleaning.
func (d Decision) escalates() bool { return d.Verification.Next.Act == reading.HoldScope }

// HoldsAfter says whether a decision places a hold after the one before it on the same cleaning: it is over
// the action level, and that one was not, or did not ask for people yet.
func (d Decision) HoldsAfter(prior *Decision) bool {
	return d.Verification.Outcome == reading.Action &&
		(prior == nil || prior.Verification.Outcome != reading.Action || d.escalates() && !prior.escalates())
}

// Hold returns the hold that a decision over the action level places; record is that of the decision.
func (d Decision) Hold(record, by string) Hold {
	return Hold{
		Scope: d.Scope, Kind: CleaningHold, At: d.Last, By: by, Cause: record, Escalated: d.escalates(),
		Reason: d.Verification.Words() + ": " + d.Verification.Why,
	}
}
