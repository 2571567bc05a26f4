package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// meterPage is one meter: whether it may be used, its checks and what follows from those that failed.
type meterPage struct {
	meterRow
	// Outcome is that of the check that was just recorded; nil otherwise.
	Outcome *checkOutcome
	// Form records a check; nil for whoever may not.
	Form *checkForm
	studied
	// Days is how long the time is that is shown.
	Days   int
	Charts []controlChart
	Checks []checkRow
	// AllChecks is how many checks there were in the time, AllDoubts how many readings are in doubt; no
	// more are shown than checksShown and doubtsShown.
	AllChecks, AllDoubts   int
	Doubts                 []doubtRow
	Targets                []targetRow
	Own                    []ownRow
	Services               []checkRow
	CheckFiles, DoubtFiles kit.Exports
}

// controlChart is one control of a meter over time.
type controlChart struct {
	Name string
	kit.Picture
}

// checkRow is one check.
type checkRow struct {
	At, Href, By string
	Controls     []string
	Mark         words.Mark
	// Broken are the rules that it broke, in sentences; empty when it broke none.
	Broken    []string
	Why, Next string
	Serviced  string
}

// doubtRow is a reading that a failed check takes the trust from.
type doubtRow struct {
	Scope, ScopeHref, Point, At, Value, Href string
	Outcome                                  words.Mark
	Failed, FailedHref, Why                  string
}

// targetRow is what a control should read.
type targetRow struct{ Kind, Material, For, Limits, Own, Source, Adopter, Since string }

// ownRow is what a meter's own checks say of a control, beside the maker's limits.
type ownRow struct {
	Control, Maker string
	// Few says that there are too few checks; the rest is empty then.
	Few                string
	Base, Centre, Own3 string
	Later, Refused     int
	First, Why         string
}

// Lengths of the lists of a meter's page.
const (
	checksShown = 100
	doubtsShown = 200
	allOfThem   = math.MaxInt
)

func (s meterPages) meter(x *kit.Exchange) error {
	return s.meterPage(x, http.StatusOK, x.R.PathValue("meter"), kit.Sent{})
}

// meterPage shows a meter, with a check that was sent and not accepted.
func (s meterPages) meterPage(x *kit.Exchange, status int, code string, was kit.Sent) error {
	page := meterPage{}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	if page.studied, err = readStudied(x); err != nil {
		return err
	}
	var checks []desk.CheckLine
	var doubts []desk.InDoubt
	err = s.View(x.R.Context(), func(v desk.View) error {
		now, zone := s.Now(), v.Zone()
		l, err := v.Measuring().MeterLine(code, now)
		if err != nil {
			return err
		}
		page.meterRow = s.meterRow(l, now, s.ClockOf(v), zone)
		page.Days = int(math.Round(page.end.Sub(page.start).Hours() / 24))
		if checks, err = v.Measuring().Checks(code, page.start, page.end-1); err != nil {
			return err
		}
		most := doubtsShown
		if wanted {
			most = allOfThem
		}
		if doubts, page.AllDoubts, err = v.Measuring().InDoubt(code, page.start, page.end, most); err != nil || wanted {
			return err
		}
		if err := s.fillMeter(&page, v, l, checks); err != nil {
			return err
		}
		if x.Can(desk.ToCheckMeter) {
			if page.Form, err = s.checkForm(x, v, l, now, was); err != nil {
				return err
			}
		}
		page.Outcome, err = s.checkOutcome(x, v, code, doubts)
		return err
	})
	if err != nil {
		return err
	}
	zone := s.Desk.DB.Zone()
	page.AllChecks = len(checks)
	if wanted && x.R.URL.Query().Get("list") == "doubts" {
		return x.File(doubtListing(code, s.doubtRows(doubts, zone)))
	}
	if !wanted {
		checks = checks[max(0, len(checks)-checksShown):]
	}
	for _, c := range slices.Backward(checks) {
		page.Checks = append(page.Checks, s.checkRow(c, zone))
	}
	if wanted {
		return x.File(checkListing(code, page.Checks))
	}
	page.Doubts = s.doubtRows(doubts, zone)
	page.CheckFiles, page.DoubtFiles = x.Exports(), exportsOfList(x, "doubts")
	return x.Show(status, "meter", false, page)
}

// fillMeter fills in charts, targets, and what own checks say.
func (s meterPages) fillMeter(page *meterPage, v desk.View, l desk.MeterLine, checks []desk.CheckLine) error {
	zone := v.Zone()
	targets, err := v.Measuring().TargetsOf(l.Meter)
	if err != nil {
		return err
	}
	for _, t := range targets {
		page.Targets = append(page.Targets, targetOf(t, zone))
	}
	records := figure.Places{Record: func(id ledger.ID) string { return s.RecordHref(string(id)) }}
	for i, c := range controlsOf(checks) {
		drawn := figure.Checks(l.Meter, c.Kind, c.Material, checks, targets, zone, records)
		page.Charts = append(page.Charts, controlChart{string(c.Kind) + " control: " + c.Material, kit.Pictured("control-"+strconv.Itoa(i), drawn)})
	}
	for _, c := range checks {
		if c.Serviced != "" {
			page.Services = append(page.Services, s.checkRow(c, zone))
		}
	}
	readables, err := v.Measuring().Readables(l.Meter, s.Now())
	if err != nil {
		return err
	}
	for _, r := range readables {
		if r.Kind != quality.Positive || r.Material == "" {
			continue
		}
		row, err := ownOf(v, l.Code, r.Target, checks, page.start)
		if err != nil {
			return err
		}
		page.Own = append(page.Own, row)
	}
	return nil
}

// controlsOf lists what was read in checks, by kind and material, in the order of the kinds.
func controlsOf(checks []desk.CheckLine) []quality.Control {
	var list []quality.Control
	for _, kind := range quality.ControlKinds {
		for _, c := range checks {
			for _, k := range c.Controls {
				same := func(o quality.Control) bool { return o.Kind == k.Kind && o.Material == k.Material }
				if k.Kind == kind && !slices.ContainsFunc(list, same) {
					list = append(list, k)
				}
			}
		}
	}
	return list
}

func (s meterPages) checkRow(c desk.CheckLine, zone *time.Location) checkRow {
	row := checkRow{
		At: words.Full(
			c.Verdict.At,
			zone,
		),
		Href:     s.RecordHref(string(c.ID)),
		By:       c.By,
		Mark:     s.Terms.Verdict(c.Verdict.Outcome),
		Why:      c.Verdict.Why,
		Next:     c.Verdict.Next,
		Serviced: c.Serviced,
	}
	for _, k := range c.Controls {
		row.Controls = append(row.Controls, fmt.Sprintf("%s %s RLU (%s)", k.Kind, k.Value, material(k.Material, k.Lot)))
	}
	for _, h := range c.Verdict.Hits {
		row.Broken = append(row.Broken, h.Why)
	}
	return row
}

// material names what is read, with its lot where it has one.
func material(name, lot string) string {
	if lot == "" {
		return name
	}
	return name + ", lot " + lot
}

func (s meterPages) doubtRows(doubts []desk.InDoubt, zone *time.Location) []doubtRow {
	rows := make([]doubtRow, len(doubts))
	for i, d := range doubts {
		rows[i] = doubtRow{
			Scope:     d.Scope,
			ScopeHref: s.ScopeHref(d.Scope),
			Point:     text.Spaced(d.With.Point),
			At:        words.Full(d.With.At, zone),
			Value:     d.Value.Typed + " " + string(d.Value.Unit),
			Href: s.RecordHref(
				string(d.ID),
			),
			Outcome:    s.Terms.Outcome(d.Judgement.Outcome),
			Failed:     words.Full(d.Failed, zone),
			FailedHref: s.RecordHref(string(d.Check)),
			Why:        d.Why,
		}
	}
	return rows
}

func checkListing(code string, rows []checkRow) kit.Listing {
	l := kit.Listing{Name: "checks of " + code, Columns: []table.SheetColumn{
		{Name: "at"}, {Name: "controls"}, {Name: "outcome"}, {Name: "because"}, {Name: "next"}, {Name: "serviced"}, {Name: "by"},
	}}
	for _, c := range rows {
		l.Rows = append(l.Rows, []string{c.At, strings.Join(c.Controls, "; "), c.Mark.Word, c.Why, c.Next, c.Serviced, c.By})
	}
	return l
}

func doubtListing(code string, rows []doubtRow) kit.Listing {
	l := kit.Listing{Name: "readings in doubt of " + code, Columns: []table.SheetColumn{
		{Name: "scope"}, {Name: "point"}, {Name: "at"}, {Name: "reading"}, {Name: "outcome"}, {Name: "failed check"}, {Name: "because"},
	}}
	for _, d := range rows {
		l.Rows = append(l.Rows, []string{d.Scope, d.Point, d.At, d.Value, d.Outcome.Word, d.Failed, d.Why})
	}
	return l
}

func targetOf(t quality.Target, zone *time.Location) targetRow {
	row := targetRow{
		Kind: string(
			t.Kind,
		),
		Material: material(t.Material, t.Lot),
		For:      "every meter of " + t.System,
		Limits:   limitWords(t),
		Source:   t.Source + ", edition " + t.Edition,
		Adopter:  t.Adopter,
		Since:    words.Full(t.Adopted, zone),
	}
	if t.Meter != "" {
		row.For = "meter " + t.Meter
	}
	if t.Charted() {
		row.Own = fmt.Sprintf("%s, from %d own checks", threeSigma(t), t.Runs)
	}
	return row
}

// limitWords are the limits of a target in words.
func limitWords(t quality.Target) string {
	switch {
	case t.Kind == quality.Positive && t.High == 0:
		return "none"
	case t.Low > 0:
		return fmt.Sprintf("%s to %s RLU", t.Low, t.High)
	}
	return fmt.Sprintf("at most %s RLU", t.High)
}

// threeSigma is the range of three standard deviations about the mean of own checks, turned back into RLU.
func threeSigma(t quality.Target) string {
	mean, sd := float64(t.Mean), float64(t.SD)
	return fmt.Sprintf("%.0f to %.0f RLU", trend.RLU(mean-3*sd), trend.RLU(mean+3*sd))
}

// ownOf says what a meter's own checks say of a control.
func ownOf(v desk.View, code string, held quality.Target, checks []desk.CheckLine, from unit.Instant) (ownRow, error) {
	row := ownRow{Control: material(held.Material, held.Lot), Maker: limitWords(held)}
	o, err := v.Measuring().OwnRuns(code, held, checks, from)
	if err != nil {
		return row, err
	}
	if o.Same {
		row.Few = "all of them read the same, which gives no spread to judge by"
		return row, nil
	}
	if !o.Own.Charted() {
		row.Few = fmt.Sprintf("%d good checks in this time; %d are needed", o.Few, quality.MinRuns)
		return row, nil
	}
	zone := v.Zone()
	row.Base = fmt.Sprintf("%d checks from %s to %s", o.Own.Runs, words.Full(o.Base[0], zone), words.Full(o.Base[1], zone))
	row.Centre, row.Own3 = fmt.Sprintf("%.0f RLU", trend.RLU(float64(o.Own.Mean))), threeSigma(o.Own)
	row.Later = len(o.Later)
	for _, later := range o.Later {
		if later.Outcome != quality.Rejected {
			continue
		}
		if row.Refused++; row.Refused == 1 {
			row.First, row.Why = words.Full(later.At, zone), later.Why
		}
	}
	return row, nil
}

// exportsOfList are the addresses of a further list of the page, by its name.
func exportsOfList(x *kit.Exchange, list string) kit.Exports {
	e := x.Exports()
	for _, address := range []*string{&e.CSV, &e.XLSX} {
		if *address != "" {
			*address += "&list=" + url.QueryEscape(list)
		}
	}
	return e
}
