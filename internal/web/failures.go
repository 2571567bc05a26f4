package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// failuresPage shows how often first tests were over the action level, and how close together.
type failuresPage struct {
	AsOf                            string
	By, Scope, Kind, From, To, View string
	Cadences                        []desk.Cadence
	Kinds                           []scope.Kind
	Views                           []stateWord
	Chart                           *kit.Picture
	// Lines are the periods of a page of their list, the newest first.
	Lines               []periodLine
	Pager               kit.Pager
	Verifications, Over int
	// Facts are what the charts say in words, Why why there is no chart.
	Facts   []string
	Why     string
	Failed  []failedLine
	Exports kit.Exports
}

type periodLine struct {
	From, Share, Limits string
	Verifications, Over int
	Mark                *words.Mark
}

// failedLine is a verification over the action level, with how long it was since the one before.
type failedLine struct{ At, Tag, Href, Record, Verifications, Days string }

// The charts of failures.
const (
	sharesView = "shares"
	gapsView   = "gaps"
	timesView  = "times"
)

var failureViews = []stateWord{{sharesView, "share by period"}, {gapsView, "cleaning verifications between failures"}, {timesView, "days between failures"}}

// failuresBack is how many days are looked at when no other time is asked for, failedShown how many of the
// last failures are listed, periodsShown how many periods a page of their list holds.
const (
	failuresBack = 180
	failedShown  = 20
	periodsShown = 30
)

func (s numberPages) failures(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := failuresPage{
		By: q.Get("by"), Scope: strings.TrimSpace(q.Get("scope")), Kind: q.Get("kind"), From: q.Get("from"), To: q.Get("to"), View: q.Get("view"),
		Cadences: desk.Cadences, Kinds: scope.Kinds, Views: failureViews, Exports: x.Exports(),
	}
	if page.By == "" {
		page.By = string(desk.Weekly)
	}
	if page.View == "" {
		page.View = sharesView
	}
	file, err := x.WantsFile()
	if err != nil {
		return err
	}
	if !slices.Contains(desk.Cadences, desk.Cadence(page.By)) || !slices.ContainsFunc(failureViews, func(w stateWord) bool { return w.Key == page.View }) {
		return badChoice("There is no such period or chart.")
	}
	from, to, err := failureTime(x, &page)
	if err != nil {
		return err
	}
	o := s.outlook()
	if o == nil {
		if file {
			return beingComputed()
		}
		return x.Show(http.StatusOK, "failures", false, page)
	}
	page.AsOf = words.Short(o.At, s.Now(), s.Desk.DB.Zone())
	s.fillFailures(&page, page.verifications(o.Verifications, from, to))
	if file {
		return x.File(page.listing())
	}
	lo, hi, pager, err := x.Paged(len(page.Lines), periodsShown)
	if err != nil {
		return err
	}
	page.Lines, page.Pager = page.Lines[lo:hi], pager
	return x.Show(http.StatusOK, "failures", false, page)
}

// failureTime reads the time that is asked for; without one it is the last half year, which the form then
// shows.
func failureTime(x *kit.Exchange, page *failuresPage) (from, to unit.Instant, err error) {
	if from, _, err = x.Day("from"); err != nil {
		return 0, 0, err
	}
	if _, to, err = x.Day("to"); err != nil {
		return 0, 0, err
	}
	zone := x.Shell.Desk.DB.Zone()
	if to == 0 {
		to = x.Shell.Now() + 1
	}
	if from == 0 {
		from = to.AddDays(-failuresBack, zone).Midnight(zone) // where the day begins that the form shows
		page.From = from.Time().In(zone).Format(time.DateOnly)
	}
	if from >= to {
		return 0, 0, badChoice("The time from %s to %s is empty.", page.From, page.To)
	}
	return from, to, nil
}

// verifications returns the first tests that were asked for.
func (p failuresPage) verifications(all []desk.FirstTest, from, to unit.Instant) []desk.FirstTest {
	index := func(at unit.Instant) int {
		i, _ := slices.BinarySearchFunc(all, at, func(r desk.FirstTest, at unit.Instant) int { return int(r.At - at) })
		return i
	}
	var kept []desk.FirstTest
	for _, r := range all[index(from):index(to)] {
		if (p.Scope == "" || strings.EqualFold(p.Scope, r.Scope)) && (p.Kind == "" || p.Kind == string(r.Kind)) {
			kept = append(kept, r)
		}
	}
	return kept
}

// fillFailures computes the charts of some verifications.
func (s numberPages) fillFailures(page *failuresPage, verifications []desk.FirstTest) {
	zone := s.Desk.DB.Zone()
	between := desk.BetweenFailures(verifications)
	page.Verifications, page.Over = len(verifications), len(between.Failures)
	s.fillFailed(page, between)
	periods := desk.Periods(verifications, desk.Cadence(page.By), zone)
	shares, err := desk.Shares(periods)
	if err != nil {
		page.Why = fmt.Sprintf(
			"There are cleaning verifications in %d periods: at least 2 are needed to compare. Choose an earlier begin or shorter periods.",
			len(periods),
		)
		return
	}
	for i, p := range slices.Backward(periods) {
		page.Lines = append(page.Lines, linePeriod(s.Terms, p, shares.Points[i], zone))
	}
	gaps, gapsErr := trend.NewGChart(between.Gaps)
	times, timesErr := trend.NewTChart(between.Days)
	page.Facts = figure.FailureWords(shares, between)
	var p kit.Picture
	switch page.View {
	case gapsView:
		if gapsErr != nil {
			page.Why = "Too few cleaning verifications were over the action level to show what lay between them."
			return
		}
		p = kit.Pictured("chart", figure.Gaps("Cleaning verifications between those over the action level", between, gaps, zone, s.places()))
	case timesView:
		if timesErr != nil {
			page.Why = "Too few cleaning verifications were over the action level to show what lay between them."
			return
		}
		p = kit.Pictured("chart", figure.Times("Days between cleaning verifications over the action level", between, times, zone, s.places()))
	default:
		p = kit.Drawing("chart", figure.Shares("First tests over the action level", periods, shares, zone))
	}
	page.Chart = &p
}

func linePeriod(t words.Terms, p desk.Period, x trend.AttributePoint, zone *time.Location) periodLine {
	line := periodLine{
		From: p.From.Time().In(zone).Format(time.DateOnly), Verifications: int(p.Trials), Over: p.Failures,
		Share: figure.Percent(x.Value), Limits: figure.Percent(x.Lower) + " to " + figure.Percent(x.Upper),
	}
	switch {
	case x.Crossing > 0:
		line.Mark = marked(t, words.OverLimit)
	case x.Crossing < 0:
		line.Mark = marked(t, words.UnderLimit)
	}
	return line
}

// fillFailed lists the last verifications over the action level.
func (s numberPages) fillFailed(page *failuresPage, b desk.Between) {
	now, zone := s.Now(), s.Desk.DB.Zone()
	for i, r := range slices.Backward(b.Failures) {
		if len(page.Failed) == failedShown {
			return
		}
		line := failedLine{At: words.Short(r.At, now, zone), Tag: r.Scope, Href: s.ScopeHref(r.Scope), Record: s.RecordHref(string(r.Reading))}
		if i > 0 {
			line.Verifications, line.Days = strconv.Itoa(int(b.Gaps[i-1])), fmt.Sprintf("%.1f", b.Days[i-1])
		}
		page.Failed = append(page.Failed, line)
	}
}

func (p failuresPage) listing() kit.Listing {
	l := kit.Listing{Name: "failures", Columns: []table.SheetColumn{
		{Name: "from"}, {Name: "first tests", Number: true}, {Name: "over", Number: true}, {Name: "share"}, {Name: "limits"}, {Name: "signal"},
	}}
	for _, x := range p.Lines {
		signal := ""
		if x.Mark != nil {
			signal = x.Mark.Word
		}
		l.Rows = append(l.Rows, []string{x.From, strconv.Itoa(x.Verifications), strconv.Itoa(x.Over), x.Share, x.Limits, signal})
	}
	return l
}
