package reprocessing

import (
	"fmt"
	"slices"

	"rinsate/internal/base/unit"
)

// Two kinds of clock run until a step begins.
//
// Up to the manual cleaning it is residue that dries. The clock starts with the end of the use, or with that of a
// point-of-use treatment which was in time itself: one that came hours late, or for which no limit is set, starts
// none anew. What is late here stays late, since the residue has dried: only delayed reprocessing answers it, so that
// a soak is required then, with a manual cleaning after it (manufacturers' instructions; Multisociety 2016 and HICPAC
// 2016 ask for both times). What somebody writes about a delay answers nothing. A cleaning that is repeated later has
// no such clock.
//
// After the cleaning it is what grows or settles between two steps. That clock starts whenever the earlier step
// ends, and what is late is done again from there. Where the earlier step is lacking, or is not checked here, nobody can say
// what is late, and no clock runs: that it is lacking is said by itself.

// Dries says whether the clock of a step is one of residue that dries.
func (k StepKind) Dries() bool {
	return slices.Index(StepKinds, k) <= slices.Index(StepKinds, ManualCleaning)
}

// deadline returns when a step must begin that has not begun before an instant; zero when no clock runs for it.
func (g *release) deadline(rule StepRule, before unit.Instant) unit.Instant {
	if rule.Within == 0 {
		return 0
	}
	from := g.on.at
	if rule.Step.Dries() {
		if from = g.driesFrom(rule.From); !from.Known() {
			return 0
		}
		return from.Add(rule.Within.Duration())
	}
	begun := false
	for _, s := range g.of(rule.From) {
		if s.Result != Fail && s.End.Known() && s.End <= before {
			from, begun = max(from, s.End), true
		}
	}
	if !begun && !g.leftOut(rule.From) {
		return 0
	}
	return from.Add(rule.Within.Duration())
}

// leftOut says whether a step that is not on record may have been left out of the present occasion's route, so that what
// is counted from it is counted from the occasion.
func (g *trip) leftOut(kind StepKind) bool {
	steps := g.rules.For(g.h.Model.Name)
	i := slices.IndexFunc(steps, func(r StepRule) bool { return r.Step == kind })
	return i < 0 || !steps[i].Required && g.rules.asks(g.on.kind, steps, i) && g.inForce(steps[i], g.on.at)
}

// driesFrom returns since when residue dries for a clock that starts with a step: the end of that step where it began
// in time, at the latest when it had to begin, or else the end of the use. It is zero where no use is on record.
func (g *release) driesFrom(kind StepKind) unit.Instant {
	i := slices.IndexFunc(g.rules.For(g.h.Model.Name), func(r StepRule) bool { return r.Step == kind })
	if i < 0 || !g.bedside.Known() {
		return g.bedside
	}
	s, limit := g.first(g.rules.For(g.h.Model.Name)[i])
	if s != nil && s.End.Known() && limit.Known() && s.Start <= limit {
		return min(s.End, limit) // one that went on for hours wets nothing for hours
	}
	return g.bedside
}

// late says whether a step began too late, so that it has to be done again from the step before. What residue that dried
// asks for is asked for by the soak.
func (g *release) late(rule StepRule, done []Step) bool {
	last := done[len(done)-1]
	if rule.Step == Storage || rule.Step == Drying {
		last = g.ended(rule, done)
	}
	if !rule.Step.Dries() {
		if limit := g.deadline(rule, last.Start); limit.Known() && last.Start > limit {
			g.block(InReprocessing, g.began(rule, last, limit), rule.OnLate)
			return true
		}
		return false
	}
	if first, limit := g.first(rule); first != nil && limit.Known() && first.Start > limit {
		g.note(g.began(rule, *first, limit))
	}
	return false
}

// ended returns the storing, or the drying, that ended the wait since the step before: to move a scope later begins
// nothing, and neither does drying it once more, unless it was wet again.
func (g *release) ended(rule StepRule, done []Step) Step {
	last := done[len(done)-1]
	from := g.deadline(rule, last.Start).Add(-rule.Within.Duration())
	if rule.Step == Drying {
		from = max(from, g.on.previous)
	}
	for _, s := range done {
		if s.Result != Fail && s.Start >= from && (rule.Step == Storage || g.shown(s) && rule.lasted(s)) {
			return s
		}
	}
	return last
}

func (g *trip) began(rule StepRule, s Step, limit unit.Instant) Reason {
	return cite(Reason{Text: fmt.Sprintf("%s began at %s, later than %s", rule.Step.Words(), s.Start.In(g.zone), limit.In(g.zone)), Record: s.ID}, rule.Source)
}

// first returns the first step of a kind since the last use that was done, or goes on, nil when there is none, and
// when it had to begin. It stopped the drying, also where the scope was away for repair since. One that failed, that
// nobody finished before another began, or that took less time than it has to, stopped nothing.
func (g *release) first(rule StepRule) (first *Step, limit unit.Instant) {
	all := g.since(rule.Step, g.bedside)
	for i := range all {
		s := &all[i]
		if s.Result != Fail && g.shown(*s) && (rule.lasted(*s) || !s.End.Known() && i == len(all)-1) {
			return s, g.deadline(rule, s.Start)
		}
	}
	return nil, g.deadline(rule, g.at)
}

// lasted says whether a step took the time that it has to take; what takes time and took none proves nothing.
func (r StepRule) lasted(s Step) bool {
	return s.End.Known() && s.End.Sub(s.Start) >= r.AtLeast.Duration() && (s.End > s.Start || !takesTime(s.Kind))
}

// soaks says whether the present occasion's route has a soak where residue had time to dry: the use's always.
func (g *trip) soaks() bool {
	steps := g.rules.withSoak(g.h.Model.Name)
	return g.rules.asks(g.on.kind, steps, slices.IndexFunc(steps, func(r StepRule) bool { return r.Step == Soak }))
}

// missed returns the rule of a step that stops residue from drying and was not begun in time, as far as anybody can
// know; nil when all were, or can still be.
func (g *release) missed() *StepRule {
	_, unknown := g.h.unknown() // whether and when it was used meanwhile
	steps := g.rules.For(g.h.Model.Name)
	for i, rule := range steps {
		if !rule.Step.Dries() || !rule.Required || !g.rules.asks(OfUse, steps, i) || !g.inForce(rule, g.bedside) {
			continue
		}
		if unknown && rule.Within > 0 {
			return &rule
		}
		first, limit := g.first(rule)
		begun := g.at
		if first != nil {
			begun = first.Start
		}
		if limit.Known() && begun > limit || rule.Step == PointOfUse && rule.Within == 0 && first == nil && g.leftBedside() {
			return &rule
		}
	}
	return nil
}

// leftBedside says whether something was done since the last use that is done only once the scope has left the bedside:
// what should have been done there can then be made good by delayed reprocessing alone.
func (g *trip) leftBedside() bool {
	return g.bedside.Known() && slices.ContainsFunc(g.h.Steps, func(s Step) bool {
		return s.Start >= g.bedside && s.Kind != PointOfUse && s.Kind.Dries()
	})
}
