package reprocessing

import (
	"fmt"
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
