package web

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// comparePage sets two levels of one target side by side.
type comparePage struct {
	askedPage
	Choices []levelChoice
	// First and Second are the two in words; empty while they cannot be compared.
	First, Second string
	Words         []string
	Source        string
	Points        string
	Cleanings     string
	Spread        string
	Picture       kit.Picture
	Replay        *replayView
	// Judged are the two by the cultures that were given, nil without any.
	Given   int
	Judged  []namedJudgement
	Without string
	Typed   string
}

type namedJudgement struct {
	Name string
	*judgement
}

// levelChoice is a level that can be compared.
type levelChoice struct{ Value, Words string }

// templatePrefix tells a published template from the record of a level.
const templatePrefix = "template:"

func (s levelPages) compareLevels(x *kit.Exchange) error {
	return s.showCompare(x, http.StatusOK, askedOf(x.R.URL.Query()), "", kit.Form{})
}

// showCompare shows the comparison. sent is a form with cultures that was not accepted.
func (s levelPages) showCompare(x *kit.Exchange, status int, q asked, _ string, sent kit.Form) error {
	page := comparePage{askedPage: askedPage{Path: s.URL(comparePath), Start: s.URL(comparePath), Problem: sent.Problem, q: q}, Typed: sent.Typed["csv"]}
	if err := s.fillCompare(x, &page); err != nil {
		failed, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		status, page.Problem = failed, words
	}
	if page.Replay != nil && page.Replay.at != nil {
		if wanted, err := x.WantsFile(); err != nil || wanted {
			if err != nil {
				return err
			}
			return x.File(page.Replay.listing())
		}
	}
	return x.Show(status, "compare", false, page)
}

func (s levelPages) fillCompare(x *kit.Exchange, page *comparePage) error {
	t, ok, err := page.q.target()
	if err != nil || !ok {
		return firstError(err, s.chooseTarget(x, &page.askedPage))
	}
	page.Target = targetWords(t)
	from, to, daysErr := s.days(page.q)
	var pair [2]reading.Level
	var names [2]string
	err = s.View(x.R.Context(), func(v desk.View) error {
		editions, err := s.comparable(page, v, t)
		if err != nil {
			return err
		}
		for i, side := range []string{"first", "second"} {
			if pair[i], names[i], err = page.side(editions, t, side); err != nil {
				return err
			}
		}
		return daysErr
	})
	if err != nil {
		return err
	}
	if pair[0].Action == 0 || pair[1].Action == 0 {
		return nil // not chosen yet
	}
	page.First, page.Second = names[0]+": "+levelSaid(pair[0]), names[1]+": "+levelSaid(pair[1])
	return s.contrast(x, page, t, from, to, pair)
}

// comparable fills in the levels that can be chosen and returns those of them that were adopted. Unless
// something is asked, the one in force stands first, and second the one before it.
func (s levelPages) comparable(page *comparePage, v desk.View, t level.Target) ([]desk.LevelEdition, error) {
	all, err := v.Studies().LevelTargets()
	if err != nil {
		return nil, err
	}
	var editions []desk.LevelEdition
	for _, x := range all {
		a := x.Any()
		if a.System != t.System || a.Kit != t.Kit || a.Point != t.Point || a.Analyte != reading.ATP || a.Kind != "" && a.Kind != t.Kind {
			continue
		}
		var own []desk.LevelEdition
		if x.InForce != nil {
			own = append(own, *x.InForce)
		}
		own = append(append(own, x.Coming...), x.Earlier...)
		if a.Kind == t.Kind { // before those for every kind
			own, editions = append(own, editions...), nil
		}
		editions = append(editions, own...)
	}
	for _, e := range editions {
		page.Choices = append(
			page.Choices,
			levelChoice{
				string(e.Record),
				fmt.Sprintf("%s, edition %s, %s: action %s RLU", e.Source, e.Edition, words.Full(e.Adopted, v.Zone()), limitText(e.Action)),
			},
		)
	}
	for _, p := range rules.Templates() {
		if p.Analyte == reading.ATP && p.Unit == reading.RLU {
			page.Choices = append(
				page.Choices,
				levelChoice{templatePrefix + p.Name, fmt.Sprintf("published: %s: action %s RLU", p.Citation, limitText(p.Action))},
			)
		}
	}
	page.Choices = append(page.Choices, levelChoice{typedLevel, "typed here"})
	if page.q.get("first") == "" && len(editions) > 0 {
		page.q["first"] = []string{string(editions[0].Record)}
	}
	return editions, nil
}

// side reads one of the two levels, as a level of the target, with a short name; the zero Level when none
// is chosen.
func (p *comparePage) side(editions []desk.LevelEdition, t level.Target, side string) (l reading.Level, name string, err error) {
	asked := p.q.get(side)
	l = reading.Level{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, Analyte: reading.ATP, Unit: reading.RLU, Comparison: reading.AtOrOver}
	switch {
	case asked == "":
		return reading.Level{}, "", nil
	case asked == typedLevel:
		l.Comparison = cmp.Or(reading.Comparison(p.q.get(side+"-comparison")), reading.AtOrOver)
		if err := p.q.limits(&l, side+"-alert", side+"-action"); err != nil {
			return l, "", err
		}
		name = "typed"
	case strings.HasPrefix(asked, templatePrefix):
		for _, x := range rules.Templates() {
			if templatePrefix+x.Name == asked && x.Analyte == reading.ATP {
				l.Alert, l.Action, l.Comparison, name = x.Alert, x.Action, x.Comparison, x.Citation
			}
		}
	default:
		for _, e := range editions {
			if string(e.Record) == asked {
				l.Alert, l.Action, l.Comparison, l.CV, name = e.Alert, e.Action, e.Comparison, e.CV, e.Source+", edition "+e.Edition
			}
		}
	}
	if name == "" {
		return l, "", mistyped("There is no level %q for %s. Choose one of the list.", asked, targetWords(t))
	}
	l.Source = side
	return l, name, checked(l)
}

// contrast fills in what the two levels do: to scopes of known cleanliness, to the past, and against
// cultures.
func (s levelPages) contrast(x *kit.Exchange, page *comparePage, t level.Target, from, to unit.Instant, pair [2]reading.Level) error {
	study, err := s.study(page.q, t)
	if err != nil {
		return err
	}
	d, err := s.studied(x.R.Context(), study)
	if err != nil {
		return err
	}
	o, source, err := s.operating(x, page.q, d, 3)
	if err != nil {
		return err
	}
	o.Points, o.Cleanings = o.Points[:1], o.Cleanings[:1] // more curves than four cannot be told apart
	page.Source, page.Spread, page.Points, page.Cleanings = source, threePlaces(o.Spread), numberList(o.Points), numberList(o.Cleanings)
	if err := page.chances(o, pair); err != nil {
		return err
	}
	cultures, err := page.q.cultures()
	if err != nil {
		return err
	}
	page.Given = len(cultures)
	page.Without = page.Path + "?" + page.q.with("cultures", "", "prevalence", "")
	return s.View(x.R.Context(), func(v desk.View) error {
		past, err := s.past(page.q, v, from, to)
		if err != nil {
			return err
		}
		if err := s.contrastPast(x, page, v, past, pair, o.Costs); err != nil {
			return err
		}
		if past.Begin > from {
			page.Replay.Notes = append(
				page.Replay.Notes,
				fmt.Sprintf(
					"There are more readings than are replayed at once: the latest %d are, from %s on.",
					len(past.Rows),
					words.Full(past.Begin, v.Zone()),
				),
			)
		}
		for i, name := range []string{"first", "second"} {
			if len(cultures) == 0 {
				break
			}
			j, err := s.judged(page.q, name, &past, pair[i], d.Plan.Confidence, cultures)
			if err != nil {
				return err
			}
			page.Judged = append(page.Judged, namedJudgement{name, j})
		}
		page.cultureWords()
		return nil
	})
}

// chances draws both levels over scopes of the same cleanliness and says how far apart they are.
func (p *comparePage) chances(o desk.Operating, pair [2]reading.Level) error {
	centre := math.Sqrt(float64(pair[0].Action) * float64(pair[1].Action))
	var curves []figure.Curve
	for _, l := range pair {
		o.Level = l
		of, err := figure.OperatingCurves(o, l.Source+": ", centre)
		if err != nil {
			return err
		}
		curves = append(curves, of...)
	}
	p.Picture = kit.Pictured("both", figure.Operation("What the two levels do", spreadWords(o), curves, pair[0], pair[1]))
	a, b := pair[0], pair[1]
	switch ratio := float64(b.Action) / float64(a.Action); {
	case a.Action != b.Action:
		p.Words = append(p.Words, fmt.Sprintf("The second action level is %.2f times the first.", ratio))
	case a.Comparison == b.Comparison && a.Alert == b.Alert:
		p.Words = append(p.Words, "The two have the same alert level, action level and comparison: they judge alike.")
	default:
		p.Words = append(p.Words, "Both have the same action level.")
	}
	if a.Comparison != b.Comparison {
		p.Words = append(
			p.Words,
			fmt.Sprintf(
				"The first action level is exceeded by a value %s, the second by one %s.",
				comparisonWords(a.Comparison),
				comparisonWords(b.Comparison),
			),
		)
	}
	for _, l := range pair {
		var chances [2]level.Operation
		for i, of := range pair {
			o.Level = of
			var err error
			if chances[i], err = o.At(float64(l.Action)/2, o.Points[0], o.Cleanings[0]); err != nil {
				return err
			}
		}
		p.Words = append(
			p.Words,
			fmt.Sprintf(
				"A scope whose true median is half the %s action level, %.0f RLU, is cleaned again with a probability of %s by the first and of %s by the second.",
				l.Source,
				float64(l.Action)/2,
				chanceText(chances[0].Over),
				chanceText(chances[1].Over),
			),
		)
		if a.Action == b.Action {
			break
		}
	}
	return nil
}

// contrastPast replays the past under both levels.
func (s levelPages) contrastPast(x *kit.Exchange, page *comparePage, v desk.View, past desk.Past, pair [2]reading.Level, costs desk.Costs) error {
	costs.MostChanges = mostFileChanges
	found, err := v.Studies().Contrast(past, pair[0], pair[1], costs)
	if err != nil {
		return err
	}
	page.Replay = &replayView{First: "first", Second: "second", Exports: page.exports(x, "")}
	if err := s.fillTallies(page.Replay, v, past, found); err != nil {
		return err
	}
	a, b := found.Today, found.Proposed
	page.Words = append(
		page.Words,
		fmt.Sprintf(
			"Over the period the first asks for %d further cleanings and the second for %d; %d and %d scopes would have been put on hold.",
			a.Recleans,
			b.Recleans,
			a.Holds,
			b.Holds,
		),
		fmt.Sprintf("%d cleaning verifications have another outcome.", found.Changed),
	)
	return nil
}

// cultureWords says what cultures tell of the two levels.
func (p *comparePage) cultureWords() {
	if len(p.Judged) == 2 {
		a, b := p.Judged[0], p.Judged[1]
		p.Words = append(
			p.Words,
			fmt.Sprintf("Of %d culture-positive scopes %d were over the first action level and %d over the second; of %d negative ones %d and %d were.",
				a.TruePositive+a.FalseNegative, a.TruePositive, b.TruePositive, a.FalsePositive+a.TrueNegative, a.FalsePositive, b.FalsePositive),
		)
	}
}

// Sides are the names of the two levels.
func (comparePage) Sides() []string { return []string{"first", "second"} }
