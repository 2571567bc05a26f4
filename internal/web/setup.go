package web

import (
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// setUpPage is how far a facility is described, part by part in the order in which they build on each
// other.
type setUpPage struct {
	Parts []partLine
	// Missing is how many things are missing before a first test can be taken.
	Missing int
	Import  string
}

// partLine is one part of the set-up.
type partLine struct {
	Name, What, Has string
	Mark            words.Mark
	Missing, Look   []string
	Links           []kit.Link
}

// setUp shows what is registered and what is missing before a first test of samples.
func (s setUpPages) setUp(x *kit.Exchange) error {
	var page setUpPage
	page.Import = x.LinkTo("/import")
	err := s.View(x.R.Context(), func(v desk.View) error {
		all, err := v.Registry().SetUp(s.Now())
		if err != nil {
			return err
		}
		for _, p := range all {
			page.Missing += len(p.Missing)
			page.Parts = append(page.Parts, s.partLine(x, p))
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "set-up", false, page)
}

func (s setUpPages) partLine(x *kit.Exchange, p desk.PartState) partLine {
	l := partLine{Has: p.Has, Missing: p.Missing, Look: p.Look, Mark: s.Terms.Mark(words.Done)}
	switch {
	case len(p.Missing) > 0:
		l.Mark = s.Terms.Mark(words.Missing)
	case len(p.Look) > 0:
		l.Mark = s.Terms.Mark(words.LookAt)
	}
	to := func(path, text string) {
		if href := x.LinkTo(path); href != "" {
			l.Links = append(l.Links, kit.Link{Href: href, Text: text})
		}
	}
	switch p.Part {
	case desk.RulesPart:
		l.Name, l.What = "Rules", "When cleaning verifications are due, how they are decided, which steps a cycle has."
		to("/set-up/rules", "The rule set")
	case desk.ModelsPart:
		l.Name, l.What = "Models", "Channels with bore and length; the sampling points follow from them."
		to("/set-up/models", "The models")
		to("/set-up/register/model", "Register a model")
	case desk.ProtocolPart:
		l.Name, l.What = "Protocols", "How each kind of sampling point is sampled: acts, volumes, times."
		if href := x.LinkTo("/set-up/rules"); href != "" {
			l.Links = append(l.Links, kit.Link{Href: href + "#protocols", Text: "The protocols"})
		}
	case desk.FleetPart:
		l.Name, l.What = "Scopes", "Every scope with its tag, model and owner."
		to("/set-up/fleet", "The scopes")
		to("/set-up/register/scope", "Register a scope")
	case desk.PeoplePart:
		l.Name, l.What = "People", "Accounts with roles: who may sample, and who may decide."
		to("/people", "The accounts")
	case desk.MetersPart:
		l.Name, l.What = "Meters", "Meters, the targets of their controls, and a check that holds."
		to("/set-up/meters", "The meters")
		to("/set-up/register/meter", "Register a meter")
		to("/set-up/targets", "The targets")
		to("/meters", "Checks")
	case desk.KitsPart:
		l.Name, l.What = "Kits", "Lots of kits that are in date."
		to("/set-up/kits", "The lots")
		to("/set-up/register/lot", "Register a lot")
	case desk.LevelsPart:
		l.Name, l.What = "Levels", "Alert and action level for each meter system, kit and kind of sampling point."
		to("/levels", "The levels")
		to("/set-up/levels", "First levels")
		to("/set-up/register/level", "Adopt a first level")
	}
	return l
}
