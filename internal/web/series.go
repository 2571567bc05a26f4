package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// seriesPage is one series: its chart, its readings, and what they are compared with.
type seriesPage struct {
	Tag, Href, ScopeHref, Point, System, Kit, Kind string
	Said                                           string
	// Waiting says that limits are not known yet, since the series are still being computed.
	Waiting bool
	// Others are the series of the same point on other scales.
	Others []kit.Link
	Mark   words.Mark
	Chart  *kit.Picture
	// Choice is what was chosen to be drawn; Trial says that the limits are not those in force.
	Choice seriesChoice
	Trial  bool
	Usual  string
	// Shown and Of count the readings that are drawn and all of them.
	Shown, Of int
	Readings  []pointLine
	Pager     kit.Pager
	Exports   kit.Exports
	Baseline  *baselineFacts
	Why       string
	Limits    []string
	// FalseSignals says what the limits promise.
	FalseSignals string
	Breaks       []breakLine
	Levels       []string
	Signals      []signalRow
	// AdoptHref is where the baseline can be adopted, empty for whoever may not; Adopt is the form.
	AdoptHref string
	Adopt     *adoptForm
}

// baselineFacts are what readings are compared with.
type baselineFacts struct {
	Word, Href, First, Last, Centre, SD string
	N                                   int
	Notes                               []string
	Screened                            []pointLine
}

type pointLine struct {
	At, Value, Z, EWMA, Up, Down, Signal, Href string
}

type breakLine struct{ At, Reason string }

// adoptForm adopts the baseline and the limits of a series.
type adoptForm struct {
	*kit.Form
	Action string
	// Holds says that a chart holds, which is replaced; Signalling that a signal is open, whose readings
	// would become part of the measure.
	Holds, Signalling, Prove bool
	// Proposed says what would be adopted, Why why nothing can be.
	Proposed, Why string
}

// seriesChoice is what of a series is drawn and with which limits, as the address says it.
type seriesChoice struct {
	View                               figure.View
	Last                               int
	From, To                           string
	FalseSignals, Lambda, K, HeadStart string
	Charts                             map[string]bool
	Rules                              map[int]bool
	watching                           desk.Watching
	from, to                           unit.Instant
	set                                bool
}

// How many readings the chart shows, unless another number is asked for, and how many lines the table of
// readings has. All is a number over any.
const (
	lastShown     = 200
	readingsShown = 50
	allReadings   = 1 << 30
)

var viewWords = []struct {
	View figure.View
	Word string
}{{figure.Single, "single readings"}, {figure.Weighted, "weighted mean (EWMA)"}, {figure.Sums, "sums of deviations (CUSUM)"}}

// Views, Lasts and AllCharts are what can be chosen.
func (c seriesChoice) Views() any { return viewWords }

// Lasts are how many readings can be asked for.
func (c seriesChoice) Lasts() []int { return []int{50, lastShown, 1000, 5000} }

// AllCharts are the charts that can be switched on.
func (c seriesChoice) AllCharts() []struct{ Key, Word string } {
	return []struct{ Key, Word string }{
		{string(trend.IndividualsChart), "single readings"},
		{string(trend.MovingRangeChart), "step from one reading to the next"},
		{string(trend.EWMAChart), "weighted mean (EWMA)"},
		{string(trend.CUSUMChart), "sums of deviations (CUSUM)"},
	}
}

// AllRules are the run rules with their patterns.
func (c seriesChoice) AllRules() []struct {
	Rule int
	Word string
} {
	var list []struct {
		Rule int
		Word string
	}
	for _, r := range trend.AllRules {
		list = append(list, struct {
			Rule int
			Word string
		}{int(r), r.Pattern()})
	}
	return list
}

// All says that every reading is drawn.
func (c seriesChoice) All() bool { return c.Last == allReadings }

// seriesChoiceOf reads what is asked for; without limits of its own those in force are shown.
func seriesChoiceOf(x *kit.Exchange, q url.Values) (c seriesChoice, err error) {
	c = seriesChoice{View: figure.View(q.Get("view")), Last: lastShown, From: q.Get("from"), To: q.Get("to"), Charts: map[string]bool{}, Rules: map[int]bool{}}
	if c.View == "" {
		c.View = figure.Single
	}
	if !slices.Contains(figure.Views, c.View) {
		return c, badChoice("There is no chart %q.", string(c.View))
	}
	switch text := q.Get("last"); text {
	case "":
	case "all":
		c.Last = allReadings
	default:
		if c.Last, err = strconv.Atoi(text); err != nil || c.Last < 1 {
			return c, badChoice("%q readings cannot be shown.", text)
		}
	}
	if c.from, _, err = x.Day("from"); err != nil {
		return c, err
	}
	if _, c.to, err = x.Day("to"); err != nil {
		return c, err
	}
	return c, c.limits(q)
}

func badChoice(format string, args ...any) error {
	return &kit.PageError{Status: http.StatusBadRequest, Message: fmt.Sprintf(format, args...), Hint: "Choose again from the lists on the page."}
}

// limits reads the limits that are asked for.
func (c *seriesChoice) limits(q url.Values) error {
	c.watching = desk.UsualWatching()
	c.set = q.Has("limits")
	if !c.set {
		c.FalseSignals = "1"
		c.Charts = map[string]bool{string(trend.IndividualsChart): true, string(trend.EWMAChart): true, string(trend.CUSUMChart): true}
		return nil
	}
	c.FalseSignals, c.Lambda, c.K, c.HeadStart = q.Get("false-signals"), q.Get("lambda"), q.Get("k"), q.Get("head-start")
	w := desk.Watching{Trial: true}
	for _, f := range []struct {
		text, what string
		into       *unit.Number
		must       bool
	}{
		{c.FalseSignals, "false signals a month", &w.FalseSignals, true},
		{c.Lambda, "weight", &w.Lambda, false},
		{c.K, "reference value", &w.K, false},
		{c.HeadStart, "head start", &w.HeadStart, false},
	} {
		text := strings.ReplaceAll(strings.TrimSpace(f.text), ",", ".")
		if text == "" && !f.must {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v > 0) {
			return badChoice("%q is no number over 0 for the %s.", f.text, f.what)
		}
		*f.into = unit.Number(v)
	}
	for _, name := range q["charts"] {
		c.Charts[name] = true
		if !w.Charts.Switch(trend.ChartName(name)) {
			return badChoice("There is no chart %q.", name)
		}
	}
	var rules []trend.Rule
	for _, text := range q["rules"] {
		n, err := strconv.Atoi(text)
		if err != nil || !slices.Contains(trend.AllRules, trend.Rule(n)) {
			return badChoice("There is no run rule %q.", text)
		}
		c.Rules[n] = true
		rules = append(rules, trend.Rule(n))
	}
	w.Charts.Rules.On = trend.RulesOf(rules...)
	c.watching = w
	return nil
}

func (s numberPages) series(x *kit.Exchange) error {
	return s.seriesPage(x, http.StatusOK, x.R.URL.Query(), kit.Sent{})
}

// seriesOf finds the series of an address: where a point has readings on several scales and none is named,
// the one with the latest reading.
func (s numberPages) seriesOf(v desk.View, x *kit.Exchange, q url.Values) (key trend.Key, others []trend.Key, err error) {
	tag, point := x.R.PathValue("tag"), scope.PointKind(x.R.PathValue("point"))
	keys, err := v.Numbers().Scales(tag, point, s.Now())
	if err != nil {
		return key, nil, err
	}
	if len(keys) == 0 {
		return key, nil, kit.NotHere("%s has no reading at %s.", tag, point)
	}
	key = keys[0]
	if q.Get("system") != "" || q.Get("kit") != "" {
		key = trend.Key{Scope: tag, Point: point, System: q.Get("system"), Kit: q.Get("kit")}
	}
	return key, slices.DeleteFunc(keys, func(k trend.Key) bool { return k == key }), nil
}

func (s numberPages) seriesPage(x *kit.Exchange, status int, q url.Values, was kit.Sent) error {
	choice, err := seriesChoiceOf(x, q)
	if err != nil {
		return err
	}
	file, err := x.WantsFile()
	if err != nil {
		return err
	}
	o := s.outlook()
	page := seriesPage{
		Choice:  choice,
		Trial:   choice.set,
		Waiting: o == nil,
		Said:    map[string]string{"adopted": "The baseline and its limits are adopted."}[q.Get("done")],
		Exports: x.Exports(),
	}
	var series desk.Series
	err = s.View(x.R.Context(), func(v desk.View) error {
		key, others, err := s.seriesOf(v, x, q)
		if err != nil {
			return err
		}
		for _, k := range others {
			page.Others = append(page.Others, kit.Link{Href: s.SeriesHref(k), Text: k.System + ", " + k.Kit})
		}
		if series, err = s.watched(v, key, choice.watching, o); err != nil {
			return err
		}
		s.fillSeries(&page, v, x, series, was)
		if page.Levels, err = s.levelsOf(v, series); err != nil {
			return err
		}
		if page.Chart, err = s.seriesChart(v, series, choice, &page); err != nil {
			return err
		}
		page.Signals, err = s.signalsOf(v, series, choice, o)
		return err
	})
	if err != nil {
		return err
	}
	from, to := choice.window(series.Points)
	all := series.Numbered()[from:to]
	slices.Reverse(all) // the newest first
	if file {
		return x.File(readingListing(series.Key, s.readingLines(all)))
	}
	lo, hi, pager, err := x.Paged(len(all), readingsShown)
	if err != nil {
		return err
	}
	page.Readings, page.Pager = s.readingLines(all[lo:hi]), pager
	return x.Show(status, "series", false, page)
}

// watched returns a series as the charts see it. Before the series were looked at for the first time only
// adopted limits are known.
func (s numberPages) watched(v desk.View, key trend.Key, w desk.Watching, o *desk.Outlook) (desk.Series, error) {
	if o == nil {
		return v.Numbers().SeriesIn(key, s.Now(), desk.Watching{}, 0)
	}
	return v.Numbers().SeriesIn(key, s.Now(), w, o.Monthly)
}

// fillSeries fills in what the series is compared with.
func (s numberPages) fillSeries(page *seriesPage, v desk.View, x *kit.Exchange, series desk.Series, was kit.Sent) {
	k, zone := series.Key, v.Zone()
	page.Tag, page.Href, page.ScopeHref, page.Point, page.System, page.Kit, page.Kind = k.Scope, s.SeriesHref(
		k,
	), s.ScopeHref(
		k.Scope,
	), k.Point.Words(), k.System, k.Kit, string(
		series.Kind,
	)
	page.Of, page.Why, page.Usual = len(series.Points), kit.Sentence(series.Why), s.SeriesHref(k)
	var last *trend.Signal
	if n := len(series.Watched.Signals); n > 0 {
		last = &series.Watched.Signals[n-1]
	}
	page.Mark = standingMark(s.Terms, series.Standing(), last)
	for _, b := range series.Breaks {
		page.Breaks = append(page.Breaks, breakLine{b.At.In(zone), string(b.Reason)})
	}
	if b := series.Baseline; b != nil {
		facts := baselineFacts{
			Word: figure.BaselineWord(b, series.Provisional), Href: s.RecordHref(string(series.Chart)), N: b.N, First: b.First.In(zone), Last: b.Last.In(zone),
			Centre: fmt.Sprintf("%.0f", b.RLU()), SD: fmt.Sprintf("%.3f", float64(b.Sigma)),
		}
		for _, n := range b.Notes {
			facts.Notes = append(facts.Notes, n.Words)
		}
		for _, o := range b.Screened {
			facts.Screened = append(facts.Screened, pointLine{At: o.At.In(zone), Value: o.Value.String(), Href: s.RecordHref(string(o.ID))})
		}
		page.Baseline = &facts
	}
	if d := series.Design; d != nil {
		for _, share := range d.Shares {
			page.Limits = append(page.Limits, figure.ShareWords(share))
		}
		page.FalseSignals = fmt.Sprintf(
			"%.2g false signals a month over all series, which have %.0f readings in a month",
			float64(d.PerMonth),
			float64(d.Promise.Readings),
		)
	}
	if !x.Can(desk.ToAdoptChart) || page.Waiting {
		return
	}
	// What would be adopted is looked at only when somebody wants to: every reading since the last break is
	// screened for it.
	if page.AdoptHref = x.With("adopt", "asked") + "#adopt"; was.Name == "adopt" || x.R.URL.Query().Has("adopt") {
		page.Adopt = s.adoptForm(series, x, was)
	}
}

// adoptForm says what would be adopted.
func (s numberPages) adoptForm(series desk.Series, x *kit.Exchange, was kit.Sent) *adoptForm {
	q := x.R.URL.Query()
	q.Del("done")
	q.Del("adopt")
	q.Set("system", series.Key.System)
	q.Set("kit", series.Key.Kit)
	f := adoptForm{
		Form: x.Form(
			was,
			"adopt",
		),
		Action:     kit.AddressOf(s.URL("/trends/"+url.PathEscape(series.Key.Scope)+"/"+string(series.Key.Point)), q),
		Holds:      series.Chart != "",
		Prove:      x.Unsigned(),
		Signalling: series.Standing() != desk.Calm && series.Standing() != desk.Over && series.Baseline != nil,
	}
	b, why, err := series.Proposed(0)
	switch {
	case err != nil:
		f.Why = kit.Sentence(err.Error())
	case b == nil:
		f.Why = kit.Sentence(why)
	default:
		zone := s.Desk.DB.Zone()
		f.Proposed = fmt.Sprintf(
			"%d readings from %s to %s, centre %.0f RLU, standard deviation %.3f of log10",
			b.N,
			b.First.In(zone),
			b.Last.In(zone),
			b.RLU(),
			float64(b.Sigma),
		)
		if n := len(b.Screened); n > 0 {
			f.Proposed += fmt.Sprintf(", %d left out as outliers", n)
		}
	}
	return &f
}

// levelsOf says what the readings are judged by.
func (s numberPages) levelsOf(v desk.View, series desk.Series) (words []string, err error) {
	levels, err := v.Registry().LevelsFor(series.Key, series.Kind, s.Now())
	for _, l := range levels {
		words = append(words, levelWords(l))
	}
	return words, err
}

// window returns which points are shown: the last so many of the time that was asked for.
func (c seriesChoice) window(points []trend.Point) (lo, hi int) {
	hi = len(points)
	for c.to != 0 && hi > 0 && points[hi-1].At >= c.to {
		hi--
	}
	for lo < hi && points[lo].At < c.from {
		lo++
	}
	return max(lo, hi-c.Last), hi
}

// places says where the records of a picture's points are.
func (s numberPages) places() figure.Places {
	return figure.Places{Record: func(id ledger.ID) string { return s.RecordHref(string(id)) }}
}

// seriesChart draws the chart that was asked for; nil when the time has no reading.
func (s numberPages) seriesChart(v desk.View, series desk.Series, c seriesChoice, page *seriesPage) (*kit.Picture, error) {
	levels, err := v.Registry().LevelsFor(series.Key, series.Kind, s.Now())
	if err != nil {
		return nil, err
	}
	lo, hi := c.window(series.Points)
	if page.Shown = hi - lo; lo == hi {
		return nil, nil //nolint:nilnil // no picture is an answer
	}
	return s.drawn(series, c.View, lo, hi, levels), nil
}

// readingLines says of readings what the charts made of them.
func (s numberPages) readingLines(all []desk.Numbered) []pointLine {
	lines := make([]pointLine, 0, len(all))
	zone := s.Desk.DB.Zone()
	for _, n := range all {
		line := pointLine{At: n.At.In(zone), Value: unit.Number(n.Value).String(), Href: s.RecordHref(string(n.ID))}
		if n.Counted {
			two := func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
			line.Z, line.EWMA, line.Up, line.Down, line.Signal = two(n.Z), two(n.EWMA), two(n.Up), two(n.Down), figure.Signal(n.Flags)
		}
		lines = append(lines, line)
	}
	return lines
}

func readingListing(k trend.Key, lines []pointLine) kit.Listing {
	l := kit.Listing{Name: "readings", Columns: []table.SheetColumn{
		{Name: "scope"},
		{Name: "point"},
		{Name: "system"},
		{Name: "kit"},
		{Name: "at"},
		{Name: "RLU", Number: true},
		{Name: "z", Number: true},
		{Name: "EWMA", Number: true},
		{Name: "CUSUM up", Number: true},
		{Name: "CUSUM down", Number: true},
		{Name: "signal"},
		{Name: "record"},
	}}
	for _, r := range lines {
		_, record, _ := strings.Cut(r.Href, "/records/")
		l.Rows = append(l.Rows, []string{k.Scope, string(k.Point), k.System, k.Kit, r.At, r.Value, r.Z, r.EWMA, r.Up, r.Down, r.Signal, record})
	}
	return l
}

// adoptLimits adopts the baseline and the limits of a series. It is a signature.
func (s numberPages) adoptLimits(x *kit.Exchange) error {
	q := x.R.URL.Query()
	choice, err := seriesChoiceOf(x, q)
	if err != nil {
		return err
	}
	f := x.Read("from")
	err = s.adoptSeries(x, q, choice, f)
	if err == nil {
		key := url.Values{"system": {q.Get("system")}, "kit": {q.Get("kit")}, "done": {"adopted"}}
		return x.Redirect("/trends/" + url.PathEscape(x.R.PathValue("tag")) + "/" + url.PathEscape(x.R.PathValue("point")) + "?" + key.Encode())
	}
	status, words, ok := kit.Refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	return s.seriesPage(x, status, q, kit.Sent{Name: "adopt", Form: f})
}

func (s numberPages) adoptSeries(x *kit.Exchange, q url.Values, choice seriesChoice, f kit.Form) error {
	o := s.outlook()
	if o == nil {
		return beingComputed()
	}
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	freeze := desk.Freeze{Anew: true, Watching: choice.watching}
	if day := f.Typed["from"]; day != "" {
		if freeze.From, err = s.Instant(day + "T00:00"); err != nil {
			return err
		}
	}
	if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		key, _, err := s.seriesOf(w.View, x, q)
		if err != nil {
			return err
		}
		frozen, err := w.OnSignals().AdoptChart(e, key, freeze, o.Monthly)
		if err == nil && frozen.Why != "" {
			return &kit.PageError{Status: http.StatusConflict, Message: kit.Sentence(frozen.Why), Hint: "Nothing was adopted."}
		}
		return err
	})
}

// drawn draws the points of a series from one index to another. The readings are in a table of their own.
func (s numberPages) drawn(series desk.Series, view figure.View, lo, hi int, levels []reading.Level) *kit.Picture {
	c := figure.Control(series, view, levels, s.Desk.DB.Zone(), s.places())
	if lo > 0 || hi < len(series.Points) {
		c = figure.Between(c, series.Points[lo].At.Time(), series.Points[hi-1].At.Time())
	}
	p := kit.Drawing("chart", c)
	return &p
}
