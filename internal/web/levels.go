package web

import (
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// levelsPage lists the levels by what they are for.
type levelsPage struct {
	System, Point, Q string
	Systems          []string
	Points           []scope.PointKind
	Targets          []levelTarget
	// Of is how many targets there are.
	Of int
	// Bare are targets with readings and without a level of their own.
	Bare      []bareTarget
	Templates []levelTemplate
	Exports   kit.Exports
	Workshop  string
}

// levelTarget is one target with its level in force and the other editions.
type levelTarget struct {
	System, Kit, Point, Kind, Analyte string
	// Heading is the point and Measured the analyte, as people read them.
	Heading, Measured string
	InForce           *levelLine
	Coming, Earlier   []levelLine
	// Workshop derives a new level for the target, Compare sets it beside others; empty for other residues
	// than ATP.
	Workshop, Compare string
}

// levelLine is one edition of a level.
type levelLine struct {
	Href, Alert, Action, Unit, Comparison, Source, Edition, Adopted, By string
	// Judges is since when it judges, which is its signature where that came after the adoption.
	Judges string
	// Derived says that the grounds are on record, Gone that the record was taken back.
	Derived, Gone bool
}

// bareTarget has readings and no level of its own.
type bareTarget struct {
	Target, Scope, ScopeHref, Last, LastHref, Workshop string
	// By is the level that judges there all the same; empty when readings have no outcome.
	By string
}

// levelTemplate is a published pair of limits.
type levelTemplate struct {
	Name, Analyte, Alert, Action, Unit, Comparison, Citation, Edition, Note string
	Verified                                                                bool
}

func (s levelPages) levels(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := levelsPage{
		System:   q.Get("system"),
		Point:    q.Get("point"),
		Q:        strings.TrimSpace(q.Get("q")),
		Points:   scope.PointKinds,
		Workshop: s.URL(workshopPath),
		Exports:  x.Exports(),
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	if err := s.View(x.R.Context(), func(v desk.View) error { return s.fillLevels(&page, v) }); err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	for _, t := range rules.Templates() {
		page.Templates = append(page.Templates, levelTemplate{
			t.Name,
			measured(t.Analyte),
			limitText(t.Alert),
			limitText(t.Action),
			string(t.Unit),
			comparisonWords(t.Comparison),
			t.Citation,
			t.Edition,
			t.Note,
			t.Verified,
		})
	}
	return x.Show(http.StatusOK, "levels", false, page)
}

func (s levelPages) fillLevels(page *levelsPage, v desk.View) error {
	all, err := v.Studies().LevelTargets()
	if err != nil {
		return err
	}
	page.Of = len(all)
	for _, t := range all {
		l := t.Any()
		if !slices.Contains(page.Systems, l.System) {
			page.Systems = append(page.Systems, l.System)
		}
		if page.System != "" && page.System != l.System || page.Point != "" && page.Point != string(l.Point) ||
			!kit.Mentions(page.Q, l.System, l.Kit, string(l.Point), string(l.Kind), string(l.Analyte), l.Source, l.Edition) {
			continue
		}
		line := levelTarget{
			System: l.System, Kit: l.Kit, Point: string(l.Point), Kind: kindWords(l.Kind), Analyte: string(l.Analyte),
			Heading: l.Point.Words(), Measured: measured(l.Analyte),
		}
		if t.InForce != nil {
			shown := s.levelLine(*t.InForce, v)
			line.InForce = &shown
		}
		for _, e := range t.Coming {
			line.Coming = append(line.Coming, s.levelLine(e, v))
		}
		for _, e := range t.Earlier {
			line.Earlier = append(line.Earlier, s.levelLine(e, v))
		}
		if l.Analyte == reading.ATP {
			query := targetQuery(level.Target{System: l.System, Kit: l.Kit, Point: l.Point, Kind: l.Kind})
			line.Workshop, line.Compare = s.URL(workshopPath)+"?"+query, s.URL(comparePath)+"?"+query
		}
		page.Targets = append(page.Targets, line)
	}
	return s.fillBare(page, v)
}

// fillBare fills in the targets with readings that no level was adopted for.
func (s levelPages) fillBare(page *levelsPage, v desk.View) error {
	measured, err := v.Studies().MeasuredTargets()
	if err != nil {
		return err
	}
	clock := s.ClockOf(v)
	for _, m := range measured {
		if m.Level != nil && m.Level.Kind == m.Kind {
			continue
		}
		line := bareTarget{
			Target: targetWords(m.Target), Scope: m.Scope, ScopeHref: s.ScopeHref(m.Scope), Last: clock(m.Last), LastHref: s.RecordHref(string(m.Reading)),
			Workshop: s.URL(workshopPath) + "?" + targetQuery(m.Target),
		}
		if m.Level != nil {
			line.By = "the level for every kind of scope: action " + limitText(m.Level.Action) + " RLU"
		}
		page.Bare = append(page.Bare, line)
	}
	return nil
}

func (s levelPages) levelLine(e desk.LevelEdition, v desk.View) levelLine {
	return levelLine{
		Href: s.LevelHref(
			string(e.Record),
		),
		Alert:      limitText(e.Alert),
		Action:     actionWords(e.Level),
		Unit:       string(e.Unit),
		Comparison: comparisonWords(e.Comparison),
		Source:     e.Source,
		Edition:    e.Edition,
		Adopted:    words.Full(e.Adopted, v.Zone()),
		Judges:     words.Full(e.Judges(), v.Zone()),
		By:         strings.Join(slices.DeleteFunc([]string{e.Adopter, e.Second}, func(s string) bool { return s == "" }), " and "),
		Derived:    e.Derived,
		Gone:       e.Replaced.Known(),
	}
}

func (p levelsPage) listing() kit.Listing {
	l := kit.Listing{Name: "levels"}
	for _, name := range []string{
		"state", "meter system", "kit", "point", "kind of scope", "analyte", "alert", "action", "unit", "counts as over", "source",
		"edition", "adopted", "judges from", "by", "grounds on record",
	} {
		l.Columns = append(l.Columns, table.SheetColumn{Name: name})
	}
	for _, t := range p.Targets {
		add := func(state string, e levelLine) {
			l.Rows = append(l.Rows, []string{
				state,
				t.System,
				t.Kit,
				t.Point,
				t.Kind,
				t.Analyte,
				e.Alert,
				e.Action,
				e.Unit,
				e.Comparison,
				e.Source,
				e.Edition,
				e.Adopted,
				e.Judges,
				e.By,
				sayYes(e.Derived),
			})
		}
		if t.InForce != nil {
			add("in force", *t.InForce)
		}
		for _, e := range t.Coming {
			add("from later on", e)
		}
		for _, e := range t.Earlier {
			add(map[bool]string{false: "earlier", true: "taken back"}[e.Gone], e)
		}
	}
	return l
}
