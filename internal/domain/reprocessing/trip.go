package reprocessing

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
)

// trip is what is on record of a scope since its last use, and which of the open occasions is looked at. It answers
// questions and says nothing.
type trip struct {
	h     History
	rules Rules
	at    unit.Instant
	zone  *time.Location
	// all are the open occasions: the one that began the cycle, then those before it, then storages that ran out; on is
	// the one whose route is looked at.
	all []occasion
	on  *occasion
	// bedside is the end of the last use, from which residue dries; zero when none is on record.
	bedside unit.Instant
}

// of returns the steps of one kind since the present occasion, the earliest first. What is done at the bedside belongs to
// the use, also where the scope was away for repair since.
func (g *trip) of(kind StepKind) []Step {
	if kind == PointOfUse {
		return g.since(kind, g.bedside)
	}
	return g.since(kind, g.on.at)
}

// since returns the steps of one kind that began at an instant or later, the earliest first. Of two that began at one
// instant the bad one counts, and so comes last: one that failed, or has no result, or went on, or took less.
func (g *trip) since(kind StepKind, from unit.Instant) []Step {
	steps := keep(g.h.Steps, func(s Step) bool { return s.Kind == kind && s.Start >= from })
	bad := []Result{Pass, NotStated, Fail}
	slices.SortFunc(steps, func(a, b Step) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(slices.Index(bad, a.Result), slices.Index(bad, b.Result)), cmp.Compare(b.End, a.End),
			cmp.Compare(a.Recorded, b.Recorded), cmp.Compare(a.ID, b.ID))
	})
	return steps
}

// main says whether the present occasion is the one that began the cycle.
func (g *trip) main() bool { return g.on == &g.all[0] }

// sinceWhen says in words since when the present occasion asks, where several do.
func (g *trip) sinceWhen() string {
	if len(g.all) == 1 {
		return ""
	}
	return fmt.Sprintf(" since %s at %s", g.on.by, g.on.at.In(g.zone))
}

// inForce says whether a step is checked here, for an occasion at an instant.
func (g *trip) inForce(rule StepRule, from unit.Instant) bool {
	return !rule.kept(g.at, g.zone) && (!rule.Starts.Known() || from >= rule.Starts.Begin(g.zone))
}

// required returns the i-th of the steps of the model as an occasion asks for it.
func (g *trip) required(o *occasion, steps []StepRule, i int) StepRule {
	rule := steps[i]
	rule.Required = rule.Required && g.rules.asks(o.kind, steps, i) && g.inForce(rule, o.at)
	if rule.Step == PointOfUse && !g.bedside.Known() {
		rule.Required = false // it never was on a patient here
	}
	return rule
}

// asked returns what the open occasions ask for, the earliest first.
func (g *trip) asked(steps []StepRule) []Asked {
	all := make([]Asked, 0, len(g.all))
	for i := range g.all {
		o := &g.all[len(g.all)-1-i]
		x := Asked{After: o.kind, Since: o.at, By: o.by, Steps: make([]StepKind, 0, len(steps))}
		for j, rule := range steps {
			if g.required(o, steps, j).Required || rule.Step == Verification {
				x.Steps = append(x.Steps, rule.Step)
			}
		}
		if j := slices.IndexFunc(g.rules.Routes, func(r Route) bool { return r.After == o.kind }); j >= 0 {
			x.Citation, x.Unverified = g.rules.Routes[j].Citation, !g.rules.Routes[j].Verified
		}
		all = append(all, x)
	}
	slices.SortStableFunc(all, func(a, b Asked) int { return cmp.Compare(a.Since, b.Since) })
	return all
}
