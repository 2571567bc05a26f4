package reprocessing

import (
	"cmp"
	"slices"

	"rinsate/internal/base/unit"
)

// each walks through the routes of all open occasions step by step, the present cycle's first, with the steps of the model
// in order. What lacks by the later occasion lacks by the earlier one as well, and is said once.
func (g *release) each(steps []StepRule, look func(StepRule) (p Progress, looked bool)) {
	for i := range steps {
		var of Progress
		told := false
		for j := range g.all {
			g.on = &g.all[j]
			reasons, next := len(g.answer.Reasons), len(g.answer.Next)
			rule := g.required(g.on, steps, i)
			p, looked := look(rule)
			if !looked {
				continue
			}
			g.again(rule, p)
			if told && of.Status.lacks() {
				g.answer.Reasons, g.answer.Next = g.answer.Reasons[:reasons], g.answer.Next[:next]
			}
			if !told {
				of, told = p, true
			} else {
				of = of.worse(p)
			}
		}
		if told {
			g.answer.Steps = append(g.answer.Steps, of)
		}
	}
	g.on = &g.all[0]
}

// again lists a step that is done and will have to be done again, since one before it is still to be done: what is listed
// is done once, in that order.
func (g *release) again(rule StepRule, p Progress) {
	switch {
	case p.Status.lacks():
		written := !slices.ContainsFunc(g.unwritten, func(s Step) bool { return s.ID == p.Record })
		result := p.Status == MissingStep && p.Record != "" && p.Step != Verification // which is only to be said
		g.on.anew = g.on.anew || (rule.Required || p.Step == Verification) && written && !result
	case p.Status == DoneStep && rule.Required && g.on.anew && p.Step == Verification:
		g.next("sample again")
	case p.Status == DoneStep && rule.Required && g.on.anew:
		g.next("repeat: " + p.Step.Words())
	}
}

// runOuts adds the storages that ran out before the scope was cleaned again, or disinfected once more: from then on they
// ask for their route. A storage that has run out now is answered apart.
func (g *release) runOuts() {
	earliest := g.all[len(g.all)-1]
	g.on, g.quiet = &earliest, true
	defer func() { g.on, g.quiet = &g.all[0], false }()
	done := g.of(Disinfection)
	for i, s := range done {
		again := slices.IndexFunc(done[i+1:], func(s Step) bool { return s.Result != Fail })
		if again < 0 {
			continue
		}
		if l, ok := g.ranOut(s, done[i+1+again].Start); ok {
			g.note(l.why)
			g.all = append(g.all, occasion{kind: OfRunOut, at: l.at, by: "its storage time was over", previous: l.at})
		}
	}
}

// ranOut returns what ended the storage after a disinfection, where that was before somebody cleaned the scope, or
// disinfected it once more at an instant.
func (g *release) ranOut(earlier Step, again unit.Instant) (l limit, ok bool) {
	to := again
	for _, s := range g.of(ManualCleaning) {
		if s.Result != Fail && s.Start >= earlier.last() {
			to = min(to, s.Start)
		}
	}
	limits, hung := g.limits(earlier.last(), to)
	if !hung || g.unchecked(Storage) {
		return l, false
	}
	first := slices.MinFunc(limits, func(a, b limit) int { return cmp.Compare(a.at, b.at) })
	return first, first.at <= to
}
