package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// comparisonPage compares people, scopes, lots, meters or kinds by how often readings were over the
// action level.
type comparisonPage struct {
	studied
	By, Point string
	// ByWord begins with a capital letter.
	ByWord string
	// Least is how many readings a unit needs to be compared.
	Least     int
	Groupings []desk.Grouping
	Points    []pointWord
	People    kit.PeopleChoice
	Problem   string
	Answer    *comparisonAnswer
	Exports   kit.Exports
}

type comparisonAnswer struct {
	// N is the number of readings that are compared, Failures how many of them were over the action
	// level, Few how many units have too few.
	N, Failures, Few int
	Overall          string
	// Said is the answer in words, Wide that the limits are widened.
	Said string
	Wide string
	Rows []unitRow
	kit.Picture
}

// unitRow is one unit beside its limits.
type unitRow struct {
	Name, Href, Share, Inner, Outer, Mark string
	Trials, Failures                      int
	share                                 string
}

// leastCompared is how many readings a unit needs when nothing is said (common practice).
const leastCompared = 10

func (s sourcePages) comparison(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := comparisonPage{
		By:        cmp.Or(q.Get("by"), string(desk.ByScope)),
		Point:     q.Get("point"),
		Least:     leastCompared,
		Groupings: desk.Groupings,
		Points:    pointWords(),
		Exports:   x.Exports(),
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
	if text := q.Get("least"); text != "" {
		if page.Least, err = strconv.Atoi(text); err != nil || page.Least < 1 || page.Least > 1000 {
			return &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("%q is no number of readings.", text),
				Hint:    "Write a whole number from 1 to 1000.",
			}
		}
	}
	if !slices.Contains(desk.Groupings, desk.Grouping(page.By)) {
		return &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: fmt.Sprintf("%q is not something to compare.", page.By),
			Hint:    "Allowed are " + scope.Words(desk.Groupings) + ".",
		}
	}
	if page.Point != "" && !slices.Contains(scope.PointKinds, scope.PointKind(page.Point)) {
		return &kit.PageError{Status: http.StatusBadRequest, Message: fmt.Sprintf("There is no kind of point %q.", page.Point)}
	}
	page.ByWord = sentenceCase(page.By)
	if err := s.fillComparison(x.R.Context(), &page); err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	return x.Show(http.StatusOK, "comparison", false, page)
}

// counted is what is compared, as it is kept: with codes, whoever asked.
type counted struct {
	units []trend.Unit
	few   int
}

func (s sourcePages) fillComparison(ctx context.Context, page *comparisonPage) error {
	size, err := s.size(ctx)
	if err != nil {
		return err
	}
	asked := strings.Join([]string{"comparison", page.From, page.To, page.By, page.Point, strconv.Itoa(page.Least)}, "\x00")
	found, err := kit.Ask(ctx, &s.computed, kit.Question{Text: asked, Size: size}, func(ctx context.Context) (counted, error) {
		all, err := s.firsts(ctx, size, page.studied)
		return page.count(all), err
	})
	if err != nil {
		return err
	}
	units := slices.Clone(found.units)
	links, err := s.unitLinks(ctx, page, units)
	if err != nil {
		return err
	}
	f, err := trend.NewFunnel(units)
	if errors.Is(err, stats.ErrTooFew) {
		page.Problem = fmt.Sprintf(
			"%s with at least %d readings in this time: at least 2 are needed to compare. Choose an earlier begin or a smaller number.",
			countedUnits(len(units), page.By),
			page.Least,
		)
		return nil
	}
	if err != nil {
		return err
	}
	page.fill(f, found.few, links)
	return nil
}

// count counts first readings and leaves out the units with too few.
func (p *comparisonPage) count(all []desk.Measured) counted {
	if p.Point != "" {
		all = slices.DeleteFunc(slices.Clone(all), func(m desk.Measured) bool { return string(m.Point) != p.Point })
	}
	var c counted
	for _, u := range desk.FailuresOf(all, desk.Grouping(p.By)) {
		if u.Trials < p.Least {
			c.few++
			continue
		}
		c.units = append(c.units, u)
	}
	return c
}

// unitLinks puts people under the names that are shown and says where each unit leads, by that name.
func (s sourcePages) unitLinks(ctx context.Context, page *comparisonPage, units []trend.Unit) (map[string]string, error) {
	links := map[string]string{}
	switch desk.Grouping(page.By) {
	case desk.ByPerson:
		if page.People.Shown {
			for _, u := range units {
				links[u.Name] = s.RecordsOf("person", u.Name)
			}
			break
		}
		codes := make([]string, len(units))
		for i, u := range units {
			codes[i] = u.Name
		}
		return nil, s.View(ctx, func(v desk.View) error {
			hidden, err := v.Records().Disguise(slices.DeleteFunc(codes, func(c string) bool { return c == desk.NotOnRecord }))
			for i := range units {
				units[i].Name = hidden.Of(units[i].Name)
			}
			return err
		})
	case desk.ByScope:
		for _, u := range units {
			links[u.Name] = s.TrendHref(u.Name, scope.PointKind(page.Point), nil)
		}
	case desk.ByMeter:
		for _, u := range units {
			links[u.Name] = cmp.Or(s.RecordsOf("meter", u.Name), s.MeterHref(u.Name))
		}
	case desk.ByLot:
		return links, s.View(ctx, func(v desk.View) error {
			lots, err := v.Day().Lots()
			for _, l := range lots {
				links[l.Kit+" "+l.Lot] = s.RecordsOf("lot", l.Lot)
			}
			return err
		})
	case desk.ByKind, desk.ByPoint:
	}
	delete(links, desk.NotOnRecord)
	return links, nil
}

// fill puts the comparison into words, the unit that stands out most above the others first.
func (p *comparisonPage) fill(f trend.Funnel, few int, links map[string]string) {
	drawn := figure.Funnel("Readings over the action level by "+p.By, "readings", f)
	for i, u := range drawn.Units {
		drawn.Units[i].Href = links[u.Label]
	}
	a := &comparisonAnswer{Few: few, Overall: percentOf(f.Target), Picture: kit.Pictured("funnel", drawn)}
	units := slices.Clone(f.Units)
	slices.SortStableFunc(units, func(x, y trend.FunnelUnit) int { return cmp.Or(cmp.Compare(y.Z, x.Z), strings.Compare(x.Name, y.Name)) })
	var above, below []string
	for _, u := range units {
		a.N, a.Failures = a.N+u.Trials, a.Failures+u.Failures
		row := unitRow{
			Name:     u.Name,
			Href:     links[u.Name],
			Trials:   u.Trials,
			Failures: u.Failures,
			Share:    percentOf(u.Proportion),
			share:    fmt.Sprintf("%.4g", u.Proportion),
			Inner: percentOf(
				u.Inner.Lo,
			) + " to " + percentOf(
				u.Inner.Hi,
			),
			Outer: percentOf(u.Outer.Lo) + " to " + percentOf(u.Outer.Hi),
			Mark:  beyond(u.Beyond),
		}
		if p.By == string(desk.ByPoint) {
			row.Name = text.Spaced(row.Name)
		}
		switch {
		case u.Beyond >= 2:
			above = append(above, row.Name)
		case u.Beyond <= -2:
			below = append(below, row.Name)
		}
		a.Rows = append(a.Rows, row)
	}
	a.Said = outsideWords(above, below)
	if f.OverDispersed {
		a.Wide = fmt.Sprintf("Units differ throughout by more than chance (φ = %.2f), so the limits are widened by the spread between them.", f.Phi)
	}
	p.Answer = a
}

// outsideWords says what lies outside the outer limits.
func outsideWords(above, below []string) string {
	if len(above)+len(below) == 0 {
		return "Nothing lies outside the 99.8 % limits: differences of this size come by chance alone, and there is nothing to rank."
	}
	var said []string
	if len(above) > 0 {
		said = append(said, "More often over the action level than chance explains: "+strings.Join(above, ", ")+".")
	}
	if len(below) > 0 {
		said = append(said, "Less often: "+strings.Join(below, ", ")+".")
	}
	return strings.Join(said, " ")
}

// beyond says where a unit lies against its limits.
func beyond(n int) string {
	switch {
	case n >= 2:
		return "▲▲ above 99.8 %"
	case n == 1:
		return "▲ above 95 %"
	case n == -1:
		return "▼ below 95 %"
	case n <= -2:
		return "▼▼ below 99.8 %"
	}
	return "within"
}

// countedUnits is a number of units in words.
func countedUnits(n int, by string) string {
	words := by + "s"
	switch {
	case n == 1:
		words = by
	case by == string(desk.ByPerson):
		words = "people"
	}
	return fmt.Sprintf("%d %s", n, words)
}

func (p comparisonPage) listing() kit.Listing {
	l := kit.Listing{Name: "comparison by " + p.By, Columns: []table.SheetColumn{
		{Name: "from"},
		{Name: "to"},
		{Name: "point"},
		{Name: p.By},
		{Name: "readings", Number: true},
		{Name: "over the action level", Number: true},
		{Name: "share", Number: true},
		{Name: "95 % limits"},
		{Name: "99.8 % limits"},
		{Name: "against the limits"},
	}}
	if p.Answer == nil {
		return l
	}
	for _, u := range p.Answer.Rows {
		l.Rows = append(l.Rows, []string{p.From, p.To, p.Point, u.Name, strconv.Itoa(u.Trials), strconv.Itoa(u.Failures), u.share, u.Inner, u.Outer, u.Mark})
	}
	return l
}
