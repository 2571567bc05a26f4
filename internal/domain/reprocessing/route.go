package reprocessing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// What has to be done with a scope is asked for by occasions: it was used, it arrived, it came back from repair, it hung
// longer than it may. Each has a route, the steps that the rules ask for after it, and each that came since the last use,
// and that use itself, keeps its own: a later one adds to what is open and discharges none of it. So every route is
// looked at for itself, from its occasion on, with the last step of each kind, which has to be in order in that route.
// One step serves all the routes that ask for it; one that only an earlier occasion asks for may lie before the later one.

// Occasion is what asks for a route.
type Occasion string

// The occasions. They are part of rule sets for ever: never rename or reuse one, only add.
const (
	OfUse     Occasion = "use"
	OfArrival Occasion = "arrival"
	OfRepair  Occasion = "repair"
	OfRunOut  Occasion = "storage-run-out"
	OfCulture Occasion = "culture"
	// ofRestore is that the records were restored from a copy. No rule says what it asks for: everything.
	ofRestore Occasion = "restore"
)

// Occasions lists what can ask for a route. That a scope was sampled for culture is not on record, so that no rule can go
// by it yet.
var Occasions = []Occasion{OfUse, OfArrival, OfRepair, OfRunOut}

// Words says what the route of an occasion comes after.
func (o Occasion) Words() string {
	switch o {
	case OfUse:
		return "after use"
	case OfArrival:
		return "on arrival"
	case OfRepair:
		return "after repair"
	case OfRunOut:
		return "when the storage time is over"
	case OfCulture:
		return "after sampling for culture"
	case ofRestore:
		return "after a restore of the records"
	}
	return string(o)
}

// Route is the steps that an occasion asks for. Which of them may be left out, and their limits, is said with the steps.
type Route struct {
	After           Occasion   `yaml:"after" json:"after"`
	Steps           []StepKind `yaml:"steps" json:"steps"`
	sampling.Source `yaml:",inline"`
}

// asks says whether the route of an occasion has the i-th of the steps of a model. Rules that say nothing of it ask for
// every step, once the storage time is over for those from the manual cleaning on; the treatment at the bedside belongs to
// the use.
func (r Rules) asks(o Occasion, steps []StepRule, i int) bool {
	step := steps[i].Step
	if step == Soak && o == OfUse { // for what was delayed, whatever else the route has
		return true
	}
	if j := slices.IndexFunc(r.Routes, func(x Route) bool { return x.After == o }); j >= 0 {
		return slices.Contains(r.Routes[j].Steps, step)
	}
	switch o {
	case OfUse, ofRestore:
		return true
	case OfRunOut:
		return i >= slices.IndexFunc(steps, func(s StepRule) bool { return s.Step == ManualCleaning })
	case OfArrival, OfRepair, OfCulture:
	}
	return step != PointOfUse
}

// RouteOf returns the steps that an occasion asks for of a model, in order.
func (r Rules) RouteOf(o Occasion, model string) (route []StepRule) {
	steps := r.For(model)
	for i, s := range steps {
		if r.asks(o, steps, i) {
			route = append(route, s)
		}
	}
	return route
}

// checkRoutes refuses routes that cannot be followed, or without what nothing can do without.
func (r Rules) checkRoutes() error {
	for i, route := range r.Routes {
		where := fmt.Sprintf("route %s", route.After.Words())
		switch {
		case route.After == OfCulture:
			return fmt.Errorf("%s: that a scope was sampled for culture is not on record, so that nothing would ask for it: take the route out", where)
		case !slices.Contains(Occasions, route.After):
			return fmt.Errorf("route: after %q is not known; allowed: %s", route.After, scope.Words(Occasions))
		case slices.ContainsFunc(r.Routes[:i], func(x Route) bool { return x.After == route.After }):
			return fmt.Errorf("%s is given twice", where)
		case route.Citation == "":
			return fmt.Errorf("%s: the citation is missing", where)
		}
		last := -1
		for _, kind := range route.Steps {
			at := slices.IndexFunc(r.Steps, func(s StepRule) bool { return s.Step == kind })
			switch {
			case at < 0:
				return fmt.Errorf("%s: %q is none of the steps", where, kind)
			case at <= last:
				return fmt.Errorf("%s: %s is given twice, or not in the order of the steps", where, kind.Words())
			case kind == PointOfUse && route.After != OfUse:
				return fmt.Errorf("%s: %s belongs to the use", where, kind.Words())
			}
			last = at
		}
		for _, kind := range indispensable {
			if !slices.Contains(route.Steps, kind) {
				return fmt.Errorf("%s: %s must be there", where, kind)
			}
		}
	}
	return nil
}

// occasion is one that has not been followed by a use, with how far the walk through its route is.
type occasion struct {
	kind Occasion
	at   unit.Instant
	// by says what it was, record which record shows it.
	by, record string
	// previous is the end of the last required step that was looked at.
	previous     unit.Instant
	previousStep StepKind
}

// occasions returns what asks for a route since the last use, with that, the earliest first; the last of them begins the
// present cycle. Where a storage ran out is not among them: that follows from the rules.
func (h History) occasions() []occasion {
	all := make([]occasion, 1, 2)
	all[0] = occasion{kind: OfArrival, at: h.Instrument.InService, by: "it came into service"}
	use := occasion{kind: OfUse, at: math.MinInt64, by: "the last use ended"}
	for _, u := range h.Uses {
		if u.last() >= use.at {
			use.at, use.record = u.last(), u.ID
		}
	}
	if use.record != "" || use.at > math.MinInt64 {
		if all = append(all, use); all[0].at < use.at {
			all = all[1:]
		}
	}
	for _, r := range h.Repairs {
		if r.Returned.Known() && r.Returned >= use.at {
			all = append(all, occasion{kind: OfRepair, at: r.Returned, by: "it came back from repair", record: r.ID})
		}
	}
	if r, ok := h.Restored(); ok && r.At >= use.at {
		all = append(all, occasion{kind: ofRestore, at: r.At, by: "the records were restored from a copy", record: r.ID})
	}
	if len(all) > 1 {
		slices.SortStableFunc(all, func(a, b occasion) int { return cmp.Compare(a.at, b.at) })
	}
	return all
}

// Begun returns when the trip of a scope began that goes on at an instant: with the end of its last use, or else with its
// arrival. Everything that an occasion since asks for belongs to it.
func Begun(h History, at unit.Instant) unit.Instant {
	past := h.until(at)
	begun := h.Instrument.InService
	for i, u := range past.Uses {
		if i == 0 || u.last() > begun {
			begun = u.last()
		}
	}
	return begun
}

// Asked is what an occasion asks for, as people read it.
type Asked struct {
	After Occasion     `json:"after"`
	Since unit.Instant `json:"since"`
	// By says what it was, such as "it came back from repair".
	By    string     `json:"by"`
	Steps []StepKind `json:"steps"`
	// Citation is where the route comes from; Unverified says that the facility has not checked it.
	Citation   string `json:"citation,omitempty"`
	Unverified bool   `json:"unverified,omitempty"`
}

// Words says what the occasion asks for in a line, without when it was.
func (a Asked) Words() string {
	return fmt.Sprintf("%s: %s", a.After.Words(), scope.Named(a.Steps))
}

// asked returns what the open occasions ask for, the earliest first.
func (g *release) asked(steps []StepRule) []Asked {
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

// required returns the i-th of the steps of the model as an occasion asks for it.
func (g *release) required(o *occasion, steps []StepRule, i int) StepRule {
	rule := steps[i]
	rule.Required = rule.Required && g.rules.asks(o.kind, steps, i) && g.inForce(rule, o.at)
	if rule.Step == PointOfUse && !g.bedside.Known() {
		rule.Required = false // it never was on a patient here
	}
	return rule
}

// main says whether the present occasion is the one that began the cycle.
func (g *release) main() bool { return g.on == &g.all[0] }

// sinceWhen says in words since when the present occasion asks, where several do.
func (g *release) sinceWhen() string {
	if len(g.all) == 1 {
		return ""
	}
	return fmt.Sprintf(" since %s at %s", g.on.by, g.on.at.In(g.zone))
}

// each walks through the routes of all open occasions step by step, the present cycle's first, with the steps of the model
// in order. What lacks by the later occasion lacks by the earlier one as well, and is said once.
func (g *release) each(steps []StepRule, look func(StepRule) (p Progress, looked bool)) {
	for i := range steps {
		var of Progress
		told := false
		for j := range g.all {
			g.on = &g.all[j]
			reasons, next := len(g.answer.Reasons), len(g.answer.Next)
			p, looked := look(g.required(g.on, steps, i))
			if !looked {
				continue
			}
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

// lacks says whether a step with the status is one that an occasion still asks for.
func (s Status) lacks() bool { return s != DoneStep && s != NotDueStep }

// worse returns the one of two that says more against the scope; where neither does, the one that was done.
func (p Progress) worse(other Progress) Progress {
	switch {
	case p.Status.lacks():
		return p
	case other.Status.lacks(), p.Status == NotDueStep:
		return other
	}
	return p
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
