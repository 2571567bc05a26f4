package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// levelPage is one level with the grounds on which it was adopted.
type levelPage struct {
	Said   string
	Target string
	levelLine
	// State says whether it judges now.
	State, Words, CV, Recorded, Record string
	// Targets is where all levels are, Workshop derives another for the same target, Compare sets it beside
	// the one in force.
	Workshop, Compare string
	Grounds           *groundsView
}

// groundsView is what a level rests on, as its record has it.
type groundsView struct {
	From, To, ReplayFrom, Method, Note, Digest, Costs string
	// Plan says how candidates were derived.
	Plan       []figureLine
	Summary    []figureLine
	Candidates []candidateRow
	Shape      string
	Warnings   []string
	Excluded   []reasonCount
	Left       []exclusionLine
	More       int
	Replay     *replayView
	Figures    []figureLine
	Sentence   string
	Cautions   []string
	Confidence string
}

type candidateRow struct {
	Method, Name, Refused string
	candidateCells
}

type reasonCount struct {
	Why   string
	Count int
}

type exclusionLine struct{ Href, ID, Why string }

func (s levelPages) level(x *kit.Exchange) error {
	page := levelPage{}
	if x.R.URL.Query().Get("done") == "adopted" {
		page.Said = "The level is adopted and signed."
	}
	err := s.View(x.R.Context(), func(v desk.View) error {
		e, g, err := v.Studies().LevelOf(x.R.PathValue("level"))
		if err != nil {
			return err
		}
		if page.State, err = standing(v, e); err != nil {
			return err
		}
		t := level.Target{System: e.System, Kit: e.Kit, Point: e.Point, Kind: e.Kind}
		page.Target, page.levelLine, page.Words = targetWords(t), s.levelLine(e, v), kit.Sentence(levelSaid(e.Level))
		if e.Analyte != reading.ATP {
			page.Words = "" // the table has it
		}
		page.Recorded, page.Record, page.CV = words.Full(e.Recorded, v.Zone()), s.RecordHref(string(e.Record)), limitText(e.CV)
		if e.Analyte == reading.ATP {
			page.Workshop = s.URL(workshopPath) + "?" + targetQuery(t)
			side := "second" // beside the one in force
			if page.State == inForce {
				side = "first"
			}
			page.Compare = s.URL(comparePath) + "?" + targetQuery(t) + "&" + side + "=" + string(e.Record)
		}
		if g != nil {
			page.Grounds, err = s.groundsView(v, *g)
		}
		return err
	})
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "level", false, page)
}

// inForce is the standing of a level that judges readings now.
const inForce = "in force"

// standing says whether a level judges readings.
func standing(v desk.View, e desk.LevelEdition) (string, error) {
	if e.Replaced.Known() {
		return "taken back " + words.Full(e.Replaced, v.Zone()), nil
	}
	all, err := v.Studies().LevelTargets()
	for _, t := range all {
		switch {
		case t.Any().Key() != e.Key():
		case t.InForce != nil && t.InForce.Record == e.Record:
			return inForce, nil
		case e.Judges() > v.Now():
			return "judges from " + words.Full(e.Judges(), v.Zone()) + " on", nil
		default:
			return "earlier: another edition has taken its place", nil
		}
	}
	return "", err
}

func (s levelPages) groundsView(v desk.View, g desk.Grounds) (*groundsView, error) {
	zone := v.Zone()
	view := &groundsView{
		From: words.Full(
			g.From,
			zone,
		),
		To:         words.Full(g.To-1, zone),
		ReplayFrom: words.Full(g.ReplayFrom, zone),
		Method:     cmp.Or(string(g.Method), "typed by hand"),
		Note:       g.Note,
	}
	if d := g.Derivation; d != nil {
		s.derivationView(view, *d, zone)
	}
	left := 0
	for why, n := range g.Excluded {
		if strings.HasPrefix(why, "re-test ") {
			why += ": the scope had been cleaned again"
		}
		view.Excluded = append(view.Excluded, reasonCount{why, n})
		left += n
	}
	slices.SortFunc(view.Excluded, func(a, b reasonCount) int { return cmp.Compare(a.Why, b.Why) })
	view.More = left - len(view.Left)
	if g.Replay != nil {
		r := &replayView{First: "the level before", Second: "this level", Changed: g.Replay.Changed, Tallies: tallyLines(g.Replay.Today, g.Replay.Proposed)}
		for _, k := range g.Replay.Kinds {
			r.Kinds = append(r.Kinds, kindTallies{k.Kind.Words(), tallyLines(k.Today, k.Proposed)})
		}
		for _, c := range g.Verifications {
			line, err := s.changeLine(v, c)
			if err != nil {
				return nil, err
			}
			r.Changes = append(r.Changes, line)
		}
		if g.SampleMinutes > 0 || g.CleaningMinutes > 0 {
			view.Costs = fmt.Sprintf("Counted with %s minutes for a sample and %s for a further cleaning.", g.SampleMinutes, g.CleaningMinutes)
		}
		view.Replay = r
	}
	if r := g.Reference; r != nil {
		view.Figures, view.Sentence, view.Cautions, view.Confidence = figureLines(
			*r,
		), kit.Sentence(
			r.Sentence,
		), sentences(
			r.Warnings,
		), shareText(
			r.Confidence.Float(),
		)
		if g.Unlinked > 0 {
			view.Cautions = append(view.Cautions, fmt.Sprintf("%d cultures had no reading before them and do not count.", g.Unlinked))
		}
	}
	return view, nil
}

// derivationView tells how candidates were derived and what they were.
func (s levelPages) derivationView(view *groundsView, d level.Derivation, zone *time.Location) {
	p, b := d.Plan, d.Baseline
	take := "the upper confidence bound of the percentile becomes the level"
	if p.Take == level.Estimate {
		take = "the estimated percentile becomes the level"
	}
	view.Plan = []figureLine{
		{Name: "share of readings that the alert level lets pass", Value: shareText(p.Alert.Float())},
		{Name: "share of readings that the action level lets pass", Value: shareText(p.Action.Float())},
		{Name: "confidence", Value: shareText(p.Confidence.Float())},
		{Name: "taken", Value: take},
		{Name: "the action level is exceeded", Value: "by a value " + comparisonWords(p.Comparison)},
		{Name: "detection limit", Value: strconv.Itoa(p.Detection) + " RLU"},
		{Name: "outliers left out at most", Value: strconv.Itoa(p.Outliers)},
		{Name: "resampling begins from", Value: fmt.Sprintf("%q, %d times", p.Seed, p.Resamples)},
	}
	view.Summary = []figureLine{
		{Name: "readings that count", Value: fmt.Sprintf("%d of %d, of %d scopes", b.Counted, b.Given, b.Scopes)},
		{Name: "first and last", Value: words.Full(b.First, zone) + " to " + words.Full(b.Last, zone)},
		{Name: "lowest, median, highest", Value: fmt.Sprintf("%d, %s, %d RLU", b.Lowest, b.Median, b.Highest)},
		{Name: "at or below the detection limit", Value: strconv.Itoa(b.Censored)},
	}
	if c := d.Clustering; c.Estimable {
		view.Summary = append(
			view.Summary,
			figureLine{
				Name:  "how much readings of one scope resemble each other",
				Value: fmt.Sprintf("intraclass correlation %.2f: worth %d independent readings", float64(c.Correlation), c.Effective),
			},
		)
	}
	view.Shape = "Too few readings to tell whether they look log-normal."
	if d.Shape.Known {
		view.Shape = fmt.Sprintf(
			"The readings %s log-normal (correlation of the probability plot %.4f, p = %.3f).",
			map[bool]string{true: "look", false: "do not look"}[d.Shape.Fits],
			float64(d.Shape.Correlation),
			float64(d.Shape.P),
		)
	}
	for i, x := range []level.Percentile{d.Alert, d.Action} {
		for _, c := range x.Candidates {
			view.Candidates = append(view.Candidates, candidateRow{string(c.Method), []string{"alert", "action"}[i], c.Refused, cellsOf(c, x)})
		}
	}
	for _, e := range d.Excluded {
		view.Left = append(view.Left, exclusionLine{s.RecordHref(e.ID), e.ID, e.Why})
	}
	view.Warnings, view.Digest = sentences(d.Warnings), b.Digest
}
