package web

import (
	"net/http"
	"slices"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/web/kit"
)

// The addresses of the workshop, where a level is derived and adopted, and of the comparison of two.
const (
	workshopPath = "/levels/workshop"
	comparePath  = "/levels/compare"
)

// The steps of the workshop, as ?step= names them.
const (
	baselineStep   = "baseline"
	candidatesStep = "candidates"
	culturesStep   = "cultures"
	knownStep      = "known"
	replayStep     = "replay"
	adoptStep      = "adopt"
)

// workshopSteps are the steps in order, with their names. Those from the third on need a level.
var workshopSteps = []struct{ name, text string }{
	{baselineStep, "Baseline"},
	{candidatesStep, "Candidates"},
	{culturesStep, "Cultures"},
	{knownStep, "Known cleanliness"},
	{replayStep, "The past replayed"},
	{adoptStep, "Adopt"},
}

// workshopPage is one step on the way to a level.
type workshopPage struct {
	askedPage
	Step  string
	Steps []workshopStep
	// Level is the level that was chosen, in words; empty while none is.
	Level string
	// Next is where the next step is; empty when the form of the step leads there.
	Next       string
	Baseline   *baselineView
	Candidates *candidatesView
	Cultures   *culturesView
	Known      *knownView
	Replay     *replayView
	Adopt      *adoptView
}

// askedPage is what the pages of the workshop have in common.
type askedPage struct {
	// Path is the address of the page without its query, Start the same without a target.
	Path, Start string
	Problem     string
	// Target is what the level is for, in words; empty while none is chosen from Targets.
	Target  string
	Targets []targetChoice
	q       asked
}

// targetChoice is something that a level can be for.
type targetChoice struct{ System, Kit, Point, Kind, Href, Now, Last string }

type workshopStep struct {
	Number     int
	Text, Href string
	Open       bool
}

// Value is what is asked under a name.
func (p askedPage) Value(name string) string { return p.q.get(name) }

// Hidden is what a form passes on that asks for some names itself.
func (p askedPage) Hidden(but ...string) []namedValue { return p.q.hidden(but...) }

// HiddenBut is Hidden for the parts of the question that a form asks for.
func (p askedPage) HiddenBut(part string) []namedValue {
	switch part {
	case baselineStep:
		return p.q.hidden(slices.Concat([]string{"from", "to"}, askedReadings)...)
	case candidatesStep:
		return p.q.hidden(askedPlan...)
	case "choice":
		return p.q.hidden(askedLevel...)
	case culturesStep:
		return p.q.hidden("cultures")
	case "prevalence":
		return p.q.hidden("prevalence")
	case knownStep:
		return p.q.hidden(askedTrial...)
	case replayStep:
		return p.q.hidden("sample", "cleaning")
	case "pair":
		return p.q.hidden(slices.Concat([]string{"from", "to"}, askedPair, askedTrial)...)
	}
	return p.q.hidden()
}

// Usual is what is asked under a name, or what stands there when nothing is.
func (p askedPage) Usual(name string) string {
	if v := p.q.get(name); v != "" {
		return v
	}
	usual := level.Usual(level.Target{})
	switch name {
	case "share-alert":
		return usual.Alert.String()
	case "share-action":
		return usual.Action.String()
	case "confidence":
		return usual.Confidence.String()
	case "take":
		return string(usual.Take)
	case "comparison", "first-comparison", "second-comparison":
		return string(usual.Comparison)
	case "seed":
		return usual.Seed
	case "detection", "outliers":
		return "0"
	case "sample":
		return "8"
	case "cleaning":
		return "16"
	case "shared":
		return "0"
	}
	return ""
}

// exports are where the list of a step is taken away, also when the page answers a form.
func (p askedPage) exports(x *kit.Exchange, step string) kit.Exports {
	if !x.May(access.Export) {
		return kit.Exports{}
	}
	return kit.Exports{CSV: p.Path + "?" + p.q.with("step", step, "format", kit.CSV), XLSX: p.Path + "?" + p.q.with("step", step, "format", kit.XLSX)}
}

func (s levelPages) workshop(x *kit.Exchange) error {
	values := x.R.URL.Query()
	return s.showWorkshop(x, http.StatusOK, askedOf(values), values.Get("step"), kit.Form{})
}

// showWorkshop shows a step. sent is a form of the step that was not accepted.
func (s levelPages) showWorkshop(x *kit.Exchange, status int, q asked, step string, sent kit.Form) error {
	page := workshopPage{askedPage: askedPage{Path: s.URL(workshopPath), Start: s.URL(workshopPath), Problem: sent.Problem, q: q}, Step: step}
	if !slices.ContainsFunc(workshopSteps, func(w struct{ name, text string }) bool { return w.name == step }) {
		page.Step = baselineStep
	}
	err := s.fillWorkshop(x, &page, sent)
	if err != nil {
		failed, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		status, page.Problem = failed, words
	}
	if rows, ok := page.rows(); ok && err == nil {
		if wanted, err := x.WantsFile(); err != nil || wanted {
			if err != nil {
				return err
			}
			return x.File(rows)
		}
	}
	return x.Show(status, "workshop", false, page)
}

// fillWorkshop fills in the step that is asked for. After an error the page shows what could be said by
// then, which is enough to put right what was typed.
func (s levelPages) fillWorkshop(x *kit.Exchange, page *workshopPage, sent kit.Form) error {
	t, ok, err := page.q.target()
	if err != nil || !ok {
		return firstError(err, s.chooseTarget(x, &page.askedPage))
	}
	page.Target = targetWords(t)
	s.steps(page, false)
	study, err := s.study(page.q, t)
	if page.Step == baselineStep { // its form is there whatever is wrong with it
		page.Baseline = &baselineView{Doubts: doubtLines(page.q, x.R.URL.Query().Get("name"))}
	}
	if err != nil {
		return s.astray(page, err)
	}
	d, err := s.studied(x.R.Context(), study)
	if err != nil {
		return s.astray(page, err)
	}
	l, chosen, err := page.q.level(d.Derivation)
	if page.Step == baselineStep {
		s.steps(page, chosen)
		s.fillBaseline(x, page, d)
		return nil // a level that these readings do not give is told in the next step
	}
	if page.Step == candidatesStep || err != nil || !chosen {
		if page.Step != candidatesStep && err == nil {
			err = mistyped("Choose a candidate first, or type a level.")
		}
		page.Step = candidatesStep
		s.steps(page, chosen)
		s.fillCandidates(x, page, d, l)
		return err
	}
	s.steps(page, true)
	page.Level = levelSaid(l)
	switch page.Step {
	case culturesStep:
		return s.fillCultures(x, page, d, l, sent)
	case knownStep:
		return s.fillKnown(x, page, d, l)
	case replayStep:
		return s.fillReplay(x, page, d, l)
	case adoptStep:
		return s.fillAdopt(x, page, d, l, sent)
	}
	return nil
}

// astray leads back to the first step when the readings themselves cannot be had.
func (s levelPages) astray(page *workshopPage, err error) error {
	if page.Step != baselineStep {
		page.Step = baselineStep
		page.Baseline = &baselineView{Doubts: doubtLines(page.q, "")}
		s.steps(page, false)
	}
	return err
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// steps fills in where the steps are; those that need a level have no address before there is one.
func (s levelPages) steps(page *workshopPage, chosen bool) {
	page.Steps = nil
	for i, w := range workshopSteps {
		step := workshopStep{Number: i + 1, Text: w.text, Open: w.name == page.Step}
		if chosen || i < 2 {
			step.Href = page.Path + "?" + page.q.with("step", w.name)
			if i > 0 && workshopSteps[i-1].name == page.Step {
				page.Next = step.Href
			}
		}
		page.Steps = append(page.Steps, step)
	}
}

// chooseTarget lists what a level can be for: what is measured, and what levels were adopted for.
func (s levelPages) chooseTarget(x *kit.Exchange, page *askedPage) error {
	return s.View(x.R.Context(), func(v desk.View) error {
		measured, err := v.Studies().MeasuredTargets()
		if err != nil {
			return err
		}
		levels, err := v.Registry().Levels()
		if err != nil {
			return err
		}
		clock := s.ClockOf(v)
		listed := map[level.Target]bool{}
		add := func(t level.Target, last string) {
			if listed[t] {
				return
			}
			listed[t] = true
			now := "no level"
			if l, ok := reading.Find(levels, reading.ATP, reading.Circumstances{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, At: v.Now()}); ok {
				now = "action " + limitText(l.Action) + " RLU"
			}
			page.Targets = append(page.Targets, targetChoice{
				System: t.System, Kit: t.Kit, Point: string(t.Point), Kind: kindWords(t.Kind), Href: page.Path + "?" + targetQuery(t), Now: now, Last: last,
			})
		}
		for _, m := range measured {
			every := m.Target
			every.Kind = ""
			add(every, clock(m.Last))
			add(m.Target, clock(m.Last))
		}
		for _, l := range levels {
			if l.Analyte == reading.ATP {
				add(level.Target{System: l.System, Kit: l.Kit, Point: l.Point, Kind: l.Kind}, "")
			}
		}
		return nil
	})
}

// levelSaid is a level in a line.
func levelSaid(l reading.Level) string {
	words := "action level " + limitText(l.Action) + " RLU, exceeded by a value " + comparisonWords(l.Comparison)
	if l.Alert > 0 {
		words = "alert level " + limitText(l.Alert) + " RLU, " + words
	}
	return words
}
