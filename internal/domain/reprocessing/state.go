package reprocessing

import (
	"fmt"
	"slices"
)

// A requirement of the rules is in force, starts on a day, or is kept elsewhere: there somebody keeps it on record, has
// signed that, and looks at it again by a day. What is not checked here is named with the answer. Where that is something
// without which a scope may carry something from one patient to another, the answer is never "ready": whoever checks it
// releases the scope, so that nobody here has to make a record up. Holds are always in force.

// released are the steps without which nothing is ever released here.
var released = []StepKind{LeakTest, ManualCleaning, Disinfection}

// requirements looks for those that are not checked here.
func (g *release) requirements(steps []StepRule) {
	for i, rule := range steps {
		if rule.KeptIn == "" && !rule.Starts.Known() {
			continue
		}
		over := rule.KeptIn != "" && !rule.kept(g.at, g.zone)
		if over {
			g.note(cite(Reason{Text: fmt.Sprintf("%s was kept elsewhere, and that was to be reviewed by %s: it is asked for here since", rule.Step.Words(),
				rule.KeptReview), Said: rule.KeptIn}, rule.Source))
			if !slices.Contains(released, rule.Step) {
				continue
			}
		}
		// That the day is over makes nothing ready: who releases a trip that began before stays who does.
		asks := func(o occasion) bool {
			return g.rules.asks(o.kind, steps, i) && (!g.inForce(rule, o.at) || over && rule.kept(o.at, g.zone))
		}
		if slices.ContainsFunc(g.all, asks) && (rule.Step != PointOfUse || g.bedside.Known()) {
			g.answer.Unchecked = append(g.answer.Unchecked, Unchecked{rule.Step, rule.KeptIn, rule.KeptBy, rule.KeptReview, rule.Starts})
		}
	}
}

// unchecked says whether a step is not checked here.
func (g *verdict) unchecked(kind StepKind) bool {
	return slices.ContainsFunc(g.answer.Unchecked, func(u Unchecked) bool { return u.Step == kind })
}

// elsewhere names what is not checked here, and leaves the release to whoever checks what no scope can do without.
func (g *release) elsewhere() {
	if len(g.answer.Unchecked) == 0 {
		return
	}
	g.note(Reason{Text: g.answer.NotChecked()})
	for _, u := range g.answer.Unchecked {
		if !slices.Contains(released, u.Step) {
			continue
		}
		next := "ask whether the scope is released there: " + u.KeptIn
		if u.KeptIn == "" {
			next = "ask whoever has checked it whether the scope is released: " + u.Step.Words()
		}
		if !g.answer.State.Clear() {
			next = "" // there is something to do before
		}
		g.block(NothingAgainst, Reason{Text: fmt.Sprintf("%s is not checked here: %s", u.Step.Words(), u.releases())}, next)
	}
}

// whole returns the rules with every required step in force, whatever the occasion: what ends a hold is on record here.
func (r Rules) whole() Rules {
	inForce := func(steps []StepRule) []StepRule {
		steps = slices.Clone(steps)
		for i := range steps {
			steps[i].Starts, steps[i].KeptIn, steps[i].KeptBy, steps[i].KeptReview = "", "", "", ""
		}
		return steps
	}
	models := r.Models
	r.Models, r.Steps, r.Routes, r.Earlier = make(map[string][]StepRule, len(models)), inForce(r.Steps), nil, nil
	for name, steps := range models {
		r.Models[name] = inForce(steps)
	}
	return r
}

// editions are the rules in force and those that count besides.
func (r Rules) editions() []Rules { return append([]Rules{r}, r.Earlier...) }

// afterLeak is what a leak of a model asks for: the most that an edition says which counts, and a repair where one does
// not speak of leak tests.
func (r Rules) afterLeak(model string) AfterFail {
	strict := []AfterFail{JustRepeat, CleanAgain, RepairFirst}
	most := JustRepeat
	for _, edition := range r.editions() {
		asks := RepairFirst
		for _, rule := range edition.For(model) {
			if rule.Step == LeakTest {
				asks = rule.AfterFail
			}
		}
		if slices.Index(strict, asks) > slices.Index(strict, most) {
			most = asks
		}
	}
	return most
}
