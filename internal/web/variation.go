package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// What is explained, as ?of= names it.
const (
	ofReadings = "readings"
	ofFailures = "failures"
)

// variationPage says where the variation of readings comes from.
type variationPage struct {
	studied
	// Of is what is explained, Point the only kind of point, Scale the meter system and kit.
	Of, Point, Scale string
	Points           []pointWord
	Scales           []scaleChoice
	People           kit.PeopleChoice
	// Without is what is left out, as source:name, WithoutWords the same in words and All where nothing is.
	Without, WithoutWords, All string
	// Problem is why there is no answer.
	Problem, Hint string
	Answer        *variationAnswer
	Exports       kit.Exports
}

// scaleChoice is a meter system with a kit that there are readings of.
type scaleChoice struct {
	Value, Text string
	Chosen      bool
	scale       desk.Scale
}

// variationAnswer is the answer, in words first.
type variationAnswer struct {
	N int
	// What is what the ratios are of: readings or odds.
	What, Scale string
	Said        string
	// Distinct are the effects that stand out.
	Distinct []effectRow
	Parts    [][]string
	Picture  kit.Picture
	Sources  []sourceAnswer
	Fixed    [][]string
	Notes    []string
}

// sourceAnswer are the effects of one source.
type sourceAnswer struct {
	Name, Plural string
	Effects      []effectRow
	Ranked       int
	kit.Picture
}

// effectRow is by how much one scope, person, lot or meter reads higher.
type effectRow struct {
	Source, Name, Href, Ratio, Interval string
	// Words are the effect as a sentence, Out and OutHref what leaving it out is called and where.
	Words, OutHref string
	N              int
	Mark           string
	Ranked         bool
	lo, hi, ratio  string
}

// plurals of the sources.
func plural(s attribution.Source) string {
	switch s {
	case attribution.Person:
		return "people"
	case attribution.Scope, attribution.Lot, attribution.Meter:
	}
	return string(s) + "s"
}

// scaleValue names a scale in one field of a form.
func scaleValue(s desk.Scale) string {
	return url.Values{"system": {s.System}, "kit": {s.Kit}}.Encode()
}

func (s sourcePages) variation(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := variationPage{Of: q.Get("of"), Point: q.Get("point"), Scale: q.Get("scale"), Without: q.Get("without"), Points: pointWords(), Exports: x.Exports()}
	if page.Of == "" {
		page.Of = ofReadings
	}
	shown, err := x.ShowsPeople()
	if err != nil {
		return err
	}
	page.People = kit.PeopleChoice{May: x.May(kit.SeePeople), Shown: shown}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	if page.studied, err = readStudied(x); err != nil {
		return err
	}
	if err := page.check(); err != nil {
		return err
	}
	if err := s.fillVariation(x, &page); err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	return x.Show(http.StatusOK, "variation", false, page)
}

// check refuses what is not known.
func (p *variationPage) check() error {
	if p.Of != ofReadings && p.Of != ofFailures {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Readings or failures can be explained.", Hint: "Write of=readings or of=failures."}
	}
	if p.Point != "" && !slices.Contains(scope.PointKinds, scope.PointKind(p.Point)) {
		return &kit.PageError{Status: http.StatusBadRequest, Message: fmt.Sprintf("There is no kind of point %q.", p.Point)}
	}
	source, name, ok := p.without()
	switch {
	case p.Without == "":
	case !ok || name == "":
		return &kit.PageError{Status: http.StatusBadRequest, Message: "What is left out cannot be read.", Hint: "Write it like without=lot:7."}
	case source == attribution.Person && !p.People.Shown:
		return &kit.PageError{Status: http.StatusForbidden, Message: "People are hidden, so that none of them can be left out by code."}
	default:
		p.WithoutWords = string(source) + " " + name
	}
	return nil
}

func (p *variationPage) without() (attribution.Source, string, bool) {
	source, name, _ := strings.Cut(p.Without, ":")
	return attribution.Source(source), name, slices.Contains(attribution.Sources, attribution.Source(source))
}

// query returns the address of the page as it is, to be changed in parts.
func (p *variationPage) query() url.Values {
	q := p.studied.query()
	for name, value := range map[string]string{"of": p.Of, "point": p.Point, "scale": p.Scale, "without": p.Without} {
		if value != "" {
			q.Set(name, value)
		}
	}
	if p.People.Shown {
		q.Set("people", kit.PeopleShown)
	}
	return q
}

// varied is an answer as it is kept: with codes, whoever asked.
type varied struct {
	attribution.Answer
	scales []desk.Scale
	scale  desk.Scale
	// people are all codes in the readings.
	people []string
	// problem is why there is no answer.
	problem string
}

func (s sourcePages) fillVariation(x *kit.Exchange, page *variationPage) error {
	ctx := x.R.Context()
	size, err := s.size(ctx)
	if err != nil {
		return err
	}
	asked := strings.Join([]string{"variation", page.From, page.To, page.Of, page.Point, page.Scale, page.Without}, "\x00")
	found, err := kit.Ask(ctx, &s.computed, kit.Question{Text: asked, Size: size}, func(ctx context.Context) (varied, error) {
		all, err := s.firsts(ctx, size, page.studied)
		return page.explain(all), err
	})
	if err != nil {
		return err
	}
	for _, c := range found.scales {
		page.Scales = append(page.Scales, scaleChoice{scaleValue(c), fmt.Sprintf("%s with %s, %d readings", c.System, c.Kit, c.Readings), c == found.scale, c})
	}
	if found.problem != "" {
		page.Problem = kit.Sentence(found.problem)
		return nil
	}
	var hidden desk.Disguise
	if !page.People.Shown {
		if err := s.View(ctx, func(v desk.View) (err error) {
			hidden, err = v.Records().Disguise(found.people)
			return err
		}); err != nil {
			return err
		}
	}
	if page.Without != "" {
		q := page.query()
		q.Del("without")
		page.All = s.URL("/variation?" + q.Encode())
	}
	page.Answer = s.variationAnswer(page, found, hidden)
	return nil
}

// explain fits the model to first readings.
func (p *variationPage) explain(all []desk.Measured) varied {
	var found varied
	if p.Point != "" {
		all = slices.DeleteFunc(slices.Clone(all), func(m desk.Measured) bool { return string(m.Point) != p.Point })
	}
	for _, m := range all {
		if m.Cleaner != "" && !slices.Contains(found.people, m.Cleaner) {
			found.people = append(found.people, m.Cleaner)
		}
	}
	rows, scales := desk.ExplainedOf(all)
	found.scales = scales
	if len(scales) == 0 {
		found.problem = "there is no reading in this time: choose an earlier begin"
		return found
	}
	at := slices.IndexFunc(scales, func(c desk.Scale) bool { return scaleValue(c) == p.Scale })
	if at < 0 && p.Scale != "" {
		found.problem = "there is no reading of this meter system and kit in this time: choose another"
		return found
	}
	found.scale = scales[max(at, 0)]
	list := rows[[2]string{found.scale.System, found.scale.Kit}]
	if source, name, _ := p.without(); p.Without != "" {
		if list = attribution.Without(list, source, name); len(list) == found.scale.Readings {
			found.problem = "there is no reading of what is left out: choose something else"
			return found
		}
	}
	explain := attribution.Explain
	if p.Of == ofFailures {
		explain = attribution.ExplainFailures
	}
	var err error
	if found.Answer, err = explain(list, attribution.Usual()); err != nil {
		found.problem = plainly(err)
	}
	return found
}

// plainly takes what is for programs from the words of an error of a fit.
func plainly(err error) string {
	text := err.Error()
	for _, kind := range []error{stats.ErrArgument, mixed.ErrData, stats.ErrTooFew} {
		if errors.Is(err, kind) {
			text = strings.TrimSuffix(text, ": "+kind.Error())
		}
	}
	return text
}

// variationAnswer puts an answer into words, with people under the names that are shown.
func (s sourcePages) variationAnswer(page *variationPage, found varied, hidden desk.Disguise) *variationAnswer {
	a := &variationAnswer{N: found.Rows, What: "readings", Scale: found.scale.System + " with " + found.scale.Kit}
	for _, n := range found.Notes {
		a.Notes = append(a.Notes, kit.Sentence(n))
	}
	spread := "log10 RLU"
	if page.Of == ofFailures {
		a.What, spread = "odds of a failure", "the log odds of a failure"
	}
	a.Said = shares(found.Parts)
	for _, p := range found.Parts {
		levels, interval := "", ""
		if p.Levels > 0 {
			levels = strconv.Itoa(p.Levels)
		}
		if p.Hi > 0 {
			interval = fmt.Sprintf("%.3f to %.3f", p.Lo, p.Hi)
		}
		a.Parts = append(a.Parts, []string{figure.PartName(p), levels, percentOf(p.Share), fmt.Sprintf("%.3f", p.SD), interval})
	}
	a.Picture = kit.Pictured("parts", figure.Parts("Parts of the variation", spread, found.Parts))
	for _, source := range attribution.Sources {
		effects := found.Of(source)
		if len(effects) == 0 {
			continue
		}
		rows := make([]effectRow, len(effects))
		for i, e := range effects {
			code := e.Name
			if source == attribution.Person && !page.People.Shown {
				effects[i].Name = hidden.Of(code)
			}
			rows[i] = s.effectRow(page, found.scale, effects[i], code, a.What)
			if rows[i].Ranked && e.Distinct {
				a.Distinct = append(a.Distinct, rows[i])
			}
		}
		a.Sources = append(a.Sources, s.sourceAnswer(source, a.What, effects, rows))
	}
	for _, f := range found.Fixed {
		a.Fixed = append(a.Fixed, []string{text.Spaced(f.Name), "× " + times(f.Ratio), times(f.Lo) + " to " + times(f.Hi)})
	}
	return a
}

// sourceAnswer draws the effects of a source; each leads to where it came from.
func (s sourcePages) sourceAnswer(source attribution.Source, what string, effects []attribution.Effect, rows []effectRow) sourceAnswer {
	drawn := figure.Effects(sentenceCase(plural(source)), what, effects)
	for i, e := range drawn.Effects {
		if at := slices.IndexFunc(rows, func(r effectRow) bool { return r.Name == e.Label }); at >= 0 {
			drawn.Effects[i].Href = rows[at].Href
		}
	}
	return sourceAnswer{
		Name:    string(source),
		Plural:  sentenceCase(plural(source)),
		Effects: rows,
		Ranked:  len(drawn.Effects),
		Picture: kit.Pictured("effects-"+string(source), drawn),
	}
}

// sentenceCase begins with a capital letter.
func sentenceCase(text string) string { return strings.TrimSuffix(kit.Sentence(text), ".") }

// effectRow is one effect under the name that is shown; code is what it is called in the records.
func (s sourcePages) effectRow(page *variationPage, scale desk.Scale, e attribution.Effect, code, what string) effectRow {
	row := effectRow{
		Source: string(e.Source), Name: e.Name, N: e.Rows, Ranked: e.Ranked, Ratio: "× " + times(e.Ratio), Interval: times(e.Lo) + " to " + times(e.Hi),
		ratio: fmt.Sprintf("%.4g", e.Ratio), lo: fmt.Sprintf("%.4g", e.Lo), hi: fmt.Sprintf("%.4g", e.Hi),
	}
	switch {
	case !e.Ranked:
		row.Mark = "too few to rank"
		if code == attribution.NotOnRecord {
			row.Mark = "not ranked"
		}
	case e.Distinct && e.Ratio > 1:
		row.Mark = "▲ higher"
	case e.Distinct:
		row.Mark = "▼ lower"
	}
	name := row.Name
	if e.Source != attribution.Person || page.People.Shown {
		name = row.Source + " " + row.Name
	}
	row.Words = fmt.Sprintf("%s: %s %s times as high as those of the others (%s), other things equal", sentenceCase(name), what, times(e.Ratio), row.Interval)
	if code == attribution.NotOnRecord {
		return row
	}
	known := e.Source != attribution.Person || page.People.Shown
	switch {
	case !known: // a link would tell who it is
	case e.Source == attribution.Scope:
		row.Href = s.TrendHref(code, scope.PointKind(page.Point), url.Values{"system": {scale.System}, "kit": {scale.Kit}})
	default:
		if row.Href = s.RecordsOf(string(e.Source), code); row.Href == "" && e.Source == attribution.Meter {
			row.Href = s.MeterHref(code)
		}
	}
	if known {
		q := page.query()
		q.Set("without", row.Source+":"+code)
		row.OutHref = s.URL("/variation?" + q.Encode())
	}
	return row
}

// times writes a ratio for a person; one that a handful of readings leaves without bound is not spelt out.
func times(ratio float64) string {
	switch {
	case ratio >= 1000:
		return "over 1000"
	case ratio < 0.01:
		return "under 0.01"
	}
	return fmt.Sprintf("%.2f", ratio)
}

// shares says in a sentence where the variation comes from, the largest part first.
func shares(parts []attribution.Part) string {
	parts = slices.Clone(parts)
	slices.SortStableFunc(parts, func(a, b attribution.Part) int { return cmp.Compare(b.Share, a.Share) })
	words := make([]string, len(parts))
	for i, p := range parts {
		if p.Source == "" {
			words[i] = fmt.Sprintf("%.0f %% from what none of these explains", 100*p.Share)
			continue
		}
		words[i] = fmt.Sprintf("%.0f %% from %s", 100*p.Share, plural(p.Source))
	}
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

func (p variationPage) listing() kit.Listing {
	l := kit.Listing{Name: "variation", Columns: []table.SheetColumn{
		{Name: "from"},
		{Name: "to"},
		{Name: "meter system and kit"},
		{Name: "point"},
		{Name: "source"},
		{Name: "name"},
		{Name: "readings", Number: true},
		{Name: "ratio", Number: true},
		{Name: "low", Number: true},
		{Name: "high", Number: true},
		{Name: "ranked"},
		{Name: "stands out"},
	}}
	if p.Answer == nil {
		return l
	}
	for _, source := range p.Answer.Sources {
		for _, e := range source.Effects {
			ranked, out := "no", ""
			if e.Ranked {
				ranked, out = "yes", strings.TrimLeft(e.Mark, "▲▼ ")
			}
			l.Rows = append(l.Rows, []string{p.From, p.To, p.Answer.Scale, p.Point, e.Source, e.Name, strconv.Itoa(e.N), e.ratio, e.lo, e.hi, ranked, out})
		}
	}
	return l
}
