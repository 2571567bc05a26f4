package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// signalsPage lists the signals.
type signalsPage struct {
	AsOf                                  string
	Lines                                 []signalRow
	Pager                                 kit.Pager
	State, Scope, Point, Direction, Since string
	People                                bool
	Points                                []scope.PointKind
	States                                []stateWord
	Directions                            []trend.Direction
	Exports                               kit.Exports
	// New, Seen and Explained count the signals that are not closed.
	New, Seen, Explained int
}

// stateWord is a state to choose from.
type stateWord struct{ Key, Word string }

// The states that the list can be narrowed down to, beside those of a life.
const (
	notClosed  = ""
	everyState = "all"
	goneState  = "gone"
)

var signalStates = []stateWord{
	{notClosed, "not closed"},
	{string(trend.LifeNew), "new"},
	{string(trend.LifeSeen), "seen"},
	{string(trend.LifeExplained), "explained"},
	{string(trend.LifeClosed), "closed"},
	{goneState, "no longer raised"},
	{everyState, "all"},
}

// signalRow is one signal of a list. ID and Href are empty where limits are tried out, which raise no signals.
type signalRow struct {
	ID                                      string
	Href, Tag, ScopeHref, SeriesHref        string
	Point, System, Kit                      string
	Mark, Life                              words.Mark
	Signalled, SignalledHref                string
	Since, SinceHref                        string
	Interval, Change, Words                 string
	With                                    string
	Others                                  int
	Open, Provisional, Gone, Shifted, Again bool
	Acts                                    int
}

// signalsShownPerPage is how many signals a page of the list holds.
const signalsShownPerPage = 50

func (s numberPages) signalList(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := signalsPage{
		State: q.Get(
			"state",
		),
		Scope:      strings.TrimSpace(q.Get("scope")),
		Point:      q.Get("point"),
		Direction:  q.Get("direction"),
		Since:      q.Get("since"),
		People:     q.Has("people"),
		Points:     scope.PointKinds,
		States:     signalStates,
		Directions: []trend.Direction{trend.Higher, trend.Lower, trend.Spread},
		Exports:    x.Exports(),
	}
	file, err := x.WantsFile()
	if err != nil {
		return err
	}
	from, _, err := x.Day("since")
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(signalStates, func(w stateWord) bool { return w.Key == page.State }) {
		return badChoice("There is no state %q.", page.State)
	}
	o := s.outlook()
	if o == nil && file {
		return beingComputed()
	}
	raised, err := s.raised(x, o)
	if err != nil {
		return err
	}
	if o != nil {
		page.AsOf = words.Short(o.At, s.Now(), s.Desk.DB.Zone())
	}
	for _, r := range raised {
		switch r.State {
		case trend.LifeNew:
			page.New++
		case trend.LifeSeen:
			page.Seen++
		case trend.LifeExplained:
			page.Explained++
		case trend.LifeClosed:
		}
	}
	list := slices.DeleteFunc(raised, func(r desk.Raised) bool { return !page.shows(r, from) })
	if file {
		return x.File(s.signalListing(list, page.People))
	}
	lo, hi, pager, err := x.Paged(len(list), signalsShownPerPage)
	if err != nil {
		return err
	}
	page.Pager = pager
	for _, r := range list[lo:hi] {
		page.Lines = append(page.Lines, s.signalRow(r, page.People))
	}
	return x.Show(http.StatusOK, "signals", false, page)
}

// raised brings the signals as they were last computed together with what people did about them since.
func (s numberPages) raised(x *kit.Exchange, o *desk.Outlook) (all []desk.Raised, err error) {
	err = s.View(x.R.Context(), func(v desk.View) error {
		all, err = v.Numbers().Raised(signalsIn(o))
		return err
	})
	return all, err
}

// signalsIn returns the signals of an outlook, none before the first.
func signalsIn(o *desk.Outlook) []desk.Signal {
	if o == nil {
		return nil
	}
	return o.Signals
}

func (p signalsPage) shows(r desk.Raised, from unit.Instant) bool {
	switch p.State {
	case everyState:
	case notClosed:
		if r.State == trend.LifeClosed && !r.Again { // what signals again wants somebody
			return false
		}
	case goneState:
		if r.Signal != nil {
			return false
		}
	default:
		if string(r.State) != p.State {
			return false
		}
	}
	direction := r.Direction
	if r.Signal != nil {
		direction = r.Signal.Direction
	}
	is := func(wanted, got string) bool { return wanted == "" || wanted == got }
	return kit.Mentions(p.Scope, r.Series.Scope) && is(p.Point, string(r.Series.Point)) && is(p.Direction, string(direction)) && r.Signalled >= from
}

// signalRow fills in a line of the list. People are named only when that is asked for.
func (s *Server) signalRow(r desk.Raised, people bool) signalRow {
	now, zone := s.Now(), s.Desk.DB.Zone()
	line := s.computedRow(r.Series, r.Signal, people)
	line.ID, line.Href, line.Life, line.Acts, line.Shifted, line.Gone, line.Again = string(
		r.ID,
	), s.SignalHref(
		r.ID,
	), s.Terms.Life(
		r.State,
	), r.Acts, r.Shifted, r.Signal == nil, r.Again
	if r.Signal == nil {
		line.Mark, line.Signalled, line.SignalledHref = s.Terms.Direction(r.Direction), words.Short(r.Signalled, now, zone), s.RecordHref(string(r.Reading))
	}
	return line
}

// computedRow fills in what is known of a signal as it computes; nil leaves all of that empty.
func (s *Server) computedRow(k trend.Key, a *desk.Signal, people bool) signalRow {
	now, zone := s.Now(), s.Desk.DB.Zone()
	line := signalRow{Tag: k.Scope, ScopeHref: s.ScopeHref(k.Scope), SeriesHref: s.SeriesHref(k), Point: k.Point.Words(), System: k.System, Kit: k.Kit}
	if a == nil {
		return line
	}
	line.Mark, line.Signalled, line.SignalledHref = s.Terms.Direction(a.Direction), words.Short(a.First.At, now, zone), s.RecordHref(string(a.First.ID))
	line.With, line.Others, line.Open, line.Provisional = withWords(a.Coincides, people), a.Others, a.Open, a.Provisional
	line.Words = figure.SignalWords(a.Signal, zone)
	if since := a.Since; since != nil {
		line.SinceHref = s.RecordHref(string(since.ID))
		line.Since, line.Interval = words.Short(since.At, now, zone), words.Short(since.After, now, zone)+" to "+words.Short(since.Until, now, zone)
		line.Change = fmt.Sprintf("%.0f → %.0f", float64(since.Before), float64(since.Now))
	}
	return line
}

// withWords says what came together with a change. Whoever cleaned is not named unless that is asked for.
func withWords(coincides []string, people bool) string {
	words := slices.Clone(coincides)
	for i, w := range words {
		if strings.HasPrefix(w, desk.CleanedBy) && !people {
			words[i] = desk.CleanedBy + " one person"
		}
	}
	return strings.Join(words, ", ")
}

// signalsOf lists the signals of one series, the newest first: with their lives where the limits in force
// raised them, without where others are tried out.
func (s numberPages) signalsOf(v desk.View, series desk.Series, c seriesChoice, o *desk.Outlook) ([]signalRow, error) {
	var rows []signalRow
	if c.set || o == nil {
		for _, a := range slices.Backward(desk.Signals([]desk.Series{series}, 0)) {
			rows = append(rows, s.computedRow(series.Key, &a, false))
		}
		slices.Reverse(rows)
		return rows, nil
	}
	raised, err := v.Numbers().Raised(o.Signals)
	for _, r := range raised {
		if r.Series == series.Key {
			rows = append(rows, s.signalRow(r, false))
		}
	}
	return rows, err
}

func (s numberPages) signalListing(list []desk.Raised, people bool) kit.Listing {
	zone := s.Desk.DB.Zone()
	l := kit.Listing{Name: "signals", Columns: []table.SheetColumn{
		{Name: "signal"},
		{Name: "scope"},
		{Name: "point"},
		{Name: "system"},
		{Name: "kit"},
		{Name: "readings"},
		{Name: "state"},
		{Name: "raised now"},
		{Name: "raised"},
		{Name: "since about"},
		{Name: "not before"},
		{Name: "not after"},
		{Name: "RLU before", Number: true},
		{Name: "RLU now", Number: true},
		{Name: "came with"},
		{Name: "others", Number: true},
		{Name: "baseline"},
		{Name: "acts", Number: true},
	}}
	for _, r := range list {
		row := []string{
			string(r.ID),
			r.Series.Scope,
			string(r.Series.Point),
			r.Series.System,
			r.Series.Kit,
			string(r.Direction),
			string(r.State),
			"no longer",
			r.Signalled.In(zone),
			"",
			"",
			"",
			"",
			"",
			"",
			"",
			"",
			strconv.Itoa(r.Acts),
		}
		if a := r.Signal; a != nil {
			row[5], row[7], row[8] = string(a.Direction), map[bool]string{true: "open", false: "over"}[a.Open], a.First.At.In(zone)
			if since := a.Since; since != nil {
				row[9], row[10], row[11] = since.At.In(zone), since.After.In(zone), since.Until.In(zone)
				row[12], row[13] = fmt.Sprintf("%.0f", float64(since.Before)), fmt.Sprintf("%.0f", float64(since.Now))
			}
			row[14], row[15], row[16] = withWords(
				a.Coincides,
				people,
			), strconv.Itoa(
				a.Others,
			), map[bool]string{true: "provisional", false: "adopted"}[a.Provisional]
		}
		l.Rows = append(l.Rows, row)
	}
	return l
}

// scopeNumbers are the signals of one scope that are not closed, and where its trends are.
type scopeNumbers struct {
	Signals     []signalRow
	Waiting     bool
	Trends, All string
}

// scopeNumbers returns them for whoever may see numbers, nil for others.
func (s *Server) scopeNumbers(v desk.View, x *kit.Exchange, tag string) (*scopeNumbers, error) {
	if !x.May(access.SeeNumbers) {
		return nil, nil //nolint:nilnil // nothing to show is an answer
	}
	o := s.outlook()
	raised, err := v.Numbers().Raised(signalsIn(o))
	n := scopeNumbers{
		Waiting: o == nil,
		Trends:  s.URL("/trends?" + url.Values{"scope": {tag}}.Encode()),
		All:     s.URL("/signals?" + url.Values{"scope": {tag}, "state": {everyState}}.Encode()),
	}
	for _, r := range raised {
		if r.Series.Scope == tag && (r.State != trend.LifeClosed || r.Again) {
			n.Signals = append(n.Signals, s.signalRow(r, false))
		}
	}
	return &n, err
}
