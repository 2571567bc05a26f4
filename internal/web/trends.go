package web

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// trendsPage lists the series.
type trendsPage struct {
	// AsOf is when the charts were last looked at; empty before the first time.
	AsOf  string
	Lines []seriesLine
	Pager kit.Pager
	// Of is how many series there are, Adopted, Provisional and Without how many have which baseline.
	Of, Adopted, Provisional, Without      int
	Scope, Point, Kind, Standing, Baseline string
	Sort                                   string
	Points                                 []scope.PointKind
	Kinds                                  []scope.Kind
	Standings                              []standingChoice
	Baselines                              []string
	Sorts                                  []sorting
	Exports                                kit.Exports
}

type standingChoice struct {
	Standing desk.Standing
	Word     string
}

// sorting is an order of the list.
type sorting struct{ Key, Word string }

// seriesLine is one series of the list.
type seriesLine struct {
	Tag, Href, ScopeHref, Point, Kind, System, Kit string
	Readings                                       int
	Baseline, Why, Centre                          string
	Last, LastAt, LastHref                         string
	Mark                                           words.Mark
	Since                                          string
	Spark                                          template.HTML
}

// allSeriesShown is how many series a page of the list holds.
const seriesShown = 50

// sorts are the orders of the list of series.
var sorts = []sorting{
	{"", "scope and point"},
	{"standing", "standing"},
	{"since", "change, newest first"},
	{"last", "last reading, highest first"},
	{"centre", "centre, highest first"},
	{"n", "number of readings"},
}

// baselines are what a series can be compared with.
var baselines = []string{"adopted", "provisional", "none"}

func (s numberPages) trends(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := trendsPage{
		Scope: strings.TrimSpace(
			q.Get("scope"),
		),
		Point:     q.Get("point"),
		Kind:      q.Get("kind"),
		Standing:  q.Get("standing"),
		Baseline:  q.Get("baseline"),
		Sort:      q.Get("sort"),
		Points:    scope.PointKinds,
		Kinds:     scope.Kinds,
		Baselines: baselines,
		Sorts:     sorts,
		Exports:   x.Exports(),
	}
	for _, st := range desk.Standings {
		page.Standings = append(page.Standings, standingChoice{st, standingWord(st)})
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	o := s.outlook()
	if o == nil {
		if wanted {
			return beingComputed()
		}
		return x.Show(http.StatusOK, "trends", false, page)
	}
	now, zone := s.Now(), s.Desk.DB.Zone()
	page.AsOf, page.Of = words.Short(o.At, now, zone), len(o.AllSeries)
	var list []desk.Summary
	for _, m := range o.AllSeries {
		switch figure.BaselineWord(m.Baseline, m.Provisional) {
		case "adopted":
			page.Adopted++
		case "provisional":
			page.Provisional++
		default:
			page.Without++
		}
		if page.shows(m) {
			list = append(list, m)
		}
	}
	sortSeries(list, page.Sort)
	if wanted {
		return x.File(s.seriesListing(list))
	}
	lo, hi, pager, err := x.Paged(len(list), seriesShown)
	if err != nil {
		return err
	}
	page.Pager = pager
	for i, m := range list[lo:hi] {
		page.Lines = append(page.Lines, s.seriesLine(m, fmt.Sprintf("spark-%d", i), now))
	}
	return x.Show(http.StatusOK, "trends", false, page)
}

// beingComputed is the answer before the series were looked at for the first time.
func beingComputed() error {
	return &kit.PageError{Status: http.StatusServiceUnavailable, Message: "The series are being computed.", Hint: "Try again in a minute."}
}

func (p trendsPage) shows(m desk.Summary) bool {
	is := func(wanted, got string) bool { return wanted == "" || wanted == got }
	return kit.Mentions(p.Scope, m.Key.Scope) && is(p.Point, string(m.Key.Point)) && is(p.Kind, string(m.Kind)) &&
		is(p.Standing, string(m.Standing)) && is(p.Baseline, figure.BaselineWord(m.Baseline, m.Provisional))
}

// sortAllSeries puts series, which come in the order of scope and point, into another one.
func sortSeries(list []desk.Summary, by string) {
	since := func(m desk.Summary) unit.Instant {
		switch {
		case m.Signal == nil:
			return 0
		case m.Signal.Since != nil:
			return m.Signal.Since.At
		}
		return m.Signal.First.At
	}
	centre := func(m desk.Summary) float64 {
		if m.Baseline == nil {
			return -1
		}
		return m.Baseline.RLU()
	}
	var compare func(a, b desk.Summary) int
	switch by {
	case "standing":
		compare = func(a, b desk.Summary) int {
			return cmp.Compare(slices.Index(desk.Standings, a.Standing), slices.Index(desk.Standings, b.Standing))
		}
	case "since":
		compare = func(a, b desk.Summary) int { return cmp.Compare(since(b), since(a)) }
	case "last":
		compare = func(a, b desk.Summary) int { return cmp.Compare(b.Last.Value, a.Last.Value) }
	case "centre":
		compare = func(a, b desk.Summary) int { return cmp.Compare(centre(b), centre(a)) }
	case "n":
		compare = func(a, b desk.Summary) int { return cmp.Compare(b.Readings, a.Readings) }
	default:
		return
	}
	slices.SortStableFunc(list, compare)
}

// standingWord names a standing in a list to choose from.
func standingWord(st desk.Standing) string {
	switch st {
	case desk.Moved:
		return "higher"
	case desk.Sunk:
		return "lower"
	case desk.Varying:
		return "spread"
	case desk.Over:
		return "signal over"
	case desk.Unwatched:
		return "no baseline"
	case desk.Calm:
	}
	return "no signal"
}

// standingMark is how a series stands, for the eye.
func standingMark(t words.Terms, st desk.Standing, last *trend.Signal) words.Mark {
	shape, word := figure.StandingBy(t, st, last)
	class := ""
	switch st {
	case desk.Moved:
		class = "action"
	case desk.Sunk, desk.Varying:
		class = "alert"
	case desk.Calm:
		class = "ready"
	case desk.Over, desk.Unwatched:
		class = "unknown"
	}
	return words.Mark{Word: word, Shape: shape, Class: class}
}

// seriesLine fills in a line of the list; id tells its picture from others.
func (s *Server) seriesLine(m desk.Summary, id string, now unit.Instant) seriesLine {
	zone := s.Desk.DB.Zone()
	line := seriesLine{
		Tag: m.Key.Scope, Href: s.SeriesHref(m.Key), ScopeHref: s.ScopeHref(m.Key.Scope), Point: m.Key.Point.Words(), Kind: m.Kind.Words(),
		System: m.Key.System, Kit: m.Key.Kit, Readings: m.Readings, Baseline: figure.BaselineWord(m.Baseline, m.Provisional), Why: m.Why,
		Last: unit.Number(m.Last.Value).String(), LastAt: words.Short(m.Last.At, now, zone), LastHref: s.RecordHref(string(m.Last.ID)),
		Mark: standingMark(s.Terms, m.Standing, m.Signal), Since: sinceWords(m.Signal, now, s), Spark: spark(m, id),
	}
	if m.Baseline != nil {
		line.Centre = fmt.Sprintf("%.0f", m.Baseline.RLU())
	}
	return line
}

// sinceWords says since about when the last signal's change has lasted.
func sinceWords(a *trend.Signal, now unit.Instant, s *Server) string {
	switch {
	case a == nil:
		return ""
	case a.Since != nil:
		return words.Short(a.Since.At, now, s.Desk.DB.Zone())
	}
	return words.Short(a.First.At, now, s.Desk.DB.Zone())
}

// spark draws the last readings on their log scale, three standard deviations either side of the centre.
func spark(m desk.Summary, id string) template.HTML {
	line := chart.Spark{Title: fmt.Sprintf("the last %d readings of %s, %s, in log10 RLU", len(m.Recent), m.Key.Scope, m.Key.Point)}
	for _, v := range m.Recent {
		line.Values = append(line.Values, trend.LogRLU(v))
	}
	if b := m.Baseline; b != nil {
		line.Min, line.Max = float64(b.Mean-3*b.Sigma), float64(b.Mean+3*b.Sigma)
	}
	return template.HTML(chart.Sparkline(line, id)) //nolint:gosec // drawn by chart, which escapes texts
}

func (s numberPages) seriesListing(list []desk.Summary) kit.Listing {
	zone := s.Desk.DB.Zone()
	l := kit.Listing{Name: "trends", Columns: []table.SheetColumn{
		{Name: "scope"},
		{Name: "point"},
		{Name: "kind"},
		{Name: "system"},
		{Name: "kit"},
		{Name: "readings", Number: true},
		{Name: "baseline"},
		{Name: "centre RLU", Number: true},
		{Name: "sd of log10", Number: true},
		{Name: "last RLU", Number: true},
		{Name: "last at"},
		{Name: "standing"},
		{Name: "since about"},
		{Name: "why no baseline"},
	}}
	for _, m := range list {
		centre, sd, since := "", "", ""
		if m.Baseline != nil {
			centre, sd = fmt.Sprintf("%.0f", m.Baseline.RLU()), fmt.Sprintf("%.3f", float64(m.Baseline.Sigma))
		}
		if m.Signal != nil && m.Signal.Since != nil {
			since = m.Signal.Since.At.In(zone)
		}
		_, word := figure.StandingBy(s.Terms, m.Standing, m.Signal)
		l.Rows = append(l.Rows, []string{
			m.Key.Scope, string(m.Key.Point), string(m.Kind), m.Key.System, m.Key.Kit, strconv.Itoa(m.Readings), figure.BaselineWord(m.Baseline, m.Provisional),
			centre, sd, unit.Number(m.Last.Value).String(), m.Last.At.In(zone), word, since, m.Why,
		})
	}
	return l
}
