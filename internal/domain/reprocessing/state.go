package reprocessing

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// A requirement of the rules is in force, starts on a day, or is kept elsewhere: there somebody keeps it on record, has
// signed that, and looks at it again by a day. What is not checked here is named with the answer. Where that is something
// without which a scope may carry something from one patient to another, the answer is never "ready": whoever checks it
// releases the scope, so that nobody here has to make a record up. Holds are always in force.

// Unchecked is a requirement that is not checked here.
type Unchecked struct {
	Step StepKind `json:"step"`
	// KeptIn is where it is on record, KeptBy who has signed that, Review the last day before that is looked at again.
	KeptIn string    `json:"kept_in,omitempty"`
	KeptBy string    `json:"kept_by,omitempty"`
	Review unit.Date `json:"review,omitempty"`
	// Starts is the day from which it is checked here.
	Starts unit.Date `json:"starts,omitempty"`
}

// Words says what is not checked, and why, without who has signed that.
func (u Unchecked) Words() string {
	if u.KeptIn != "" {
		return fmt.Sprintf("%s (kept elsewhere: %s; to be reviewed by %s)", u.Step.Words(), u.KeptIn, u.Review)
	}
	return fmt.Sprintf("%s (starts on %s)", u.Step.Words(), u.Starts)
}

// releases says who releases the scope in place of this check.
func (u Unchecked) releases() string {
	if u.KeptIn != "" {
		return u.KeptIn + " releases"
	}
	return "whoever has checked it releases"
}

// notChecked is how the line begins that names what is not checked.
const notChecked = "not checked here: "

// Clear says that nothing on record here speaks against the scope: it is ready, or whoever checks the rest releases it.
func (s State) Clear() bool { return s == Ready || s == NothingAgainst }

// NotChecked names in one line what is not checked here; empty when everything is.
func (a Answer) NotChecked() string {
	if len(a.Unchecked) == 0 {
		return ""
	}
	return notChecked + strings.Join(wordsOf(a.Unchecked), ", ")
}

func wordsOf[T interface{ Words() string }](all []T) []string {
	words := make([]string, len(all))
	for i, x := range all {
		words[i] = x.Words()
	}
	return words
}

// released are the steps without which nothing is ever released here.
var released = []StepKind{LeakTest, ManualCleaning, Disinfection}

// kept says whether a step is kept elsewhere at an instant: until the day is over by which that is reviewed.
func (r StepRule) kept(at unit.Instant, zone *time.Location) bool {
	return r.KeptIn != "" && at < r.KeptReview.End(zone)
}

// inForce says whether a step is checked here, for an occasion at an instant.
func (g *release) inForce(rule StepRule, from unit.Instant) bool {
	return !rule.kept(g.at, g.zone) && (!rule.Starts.Known() || from >= rule.Starts.Begin(g.zone))
}

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
func (g *release) unchecked(kind StepKind) bool {
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

// and returns the stricter of two answers about one scope and instant by two editions of the rules: what is asked for by
// the one in force, then what the other asks for besides.
func (a Answer) and(b Answer) Answer {
	if slices.Index(States, b.State) > slices.Index(States, a.State) {
		a.State = b.State
	}
	switch {
	case a.State != Ready:
		a.Until = 0
	case b.Until.Known() && (!a.Until.Known() || b.Until < a.Until):
		a.Until = b.Until
	}
	for _, r := range b.Reasons {
		if r.Blocks && !slices.ContainsFunc(a.Reasons, func(x Reason) bool { return x.Blocks && x.Text == r.Text && x.Said == r.Said && x.Record == r.Record }) {
			r.Text += "; so the rules asked that were in force in this cycle"
			a.Reasons = append(a.Reasons, r)
		}
	}
	for _, next := range b.Next {
		if !slices.Contains(a.Next, next) {
			a.Next = append(a.Next, next)
		}
	}
	for _, p := range b.Steps {
		i := slices.IndexFunc(a.Steps, func(x Progress) bool { return x.Step == p.Step })
		if i < 0 {
			a.Steps = append(a.Steps, p)
			continue
		}
		a.Steps[i] = a.Steps[i].worse(p)
	}
	for _, w := range b.Wanting {
		if !slices.Contains(a.Wanting, w) {
			a.Wanting = append(a.Wanting, w)
		}
	}
	for _, u := range b.Unchecked {
		if !slices.Contains(a.Unchecked, u) {
			a.Unchecked = append(a.Unchecked, u)
		}
	}
	return a
}
