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
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// metersPage lists the meters, or those that were asked for.
type metersPage struct {
	Lines []meterRow
	// Of is how many meters there are.
	Of               int
	State, System, Q string
	States           []conditionChoice
	Systems          []string
	// MayCheck says that whoever asks may record a check.
	MayCheck bool
	Exports  kit.Exports
}

type conditionChoice struct{ Value, Word string }

// meterRow is a meter of the list.
type meterRow struct {
	Code, Href, CheckHref, System, Serial string
	Mark                                  words.Mark
	Until, Left, Why                      string
	// Last is when it was last checked and Outcome what that came to.
	Last, LastHref string
	Outcome        words.Mark
	// Serviced is what was done at its last service and when.
	Serviced, ServicedHref string
	Readings               string
	// cells are the row as a file has it, with whole dates.
	cells []string
}

// conditionMark is a meter's condition for the eye. A meter whose check has run out is due.
func conditionMark(t words.Terms, s quality.State) words.Mark {
	switch {
	case s.Condition == quality.Checked:
		return t.Mark(words.Checked)
	case s.Condition == quality.Failed:
		return t.Mark(words.CheckFailed)
	case s.Since.Known():
		return t.Mark(words.CheckDue)
	}
	return t.Mark(words.NeverChecked)
}

// conditionChoices are the conditions that the list can be narrowed down to.
var conditionChoices = []conditionChoice{
	{string(quality.Checked), "checked"}, {string(quality.Unchecked), "due or never checked"}, {string(quality.Failed), "failed"},
}

func (s meterPages) meters(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := metersPage{
		State: q.Get("state"), System: q.Get("system"), Q: strings.TrimSpace(q.Get("q")), States: conditionChoices,
		MayCheck: x.Can(desk.ToCheckMeter), Exports: x.Exports(),
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	if err := s.View(x.R.Context(), func(v desk.View) error { return s.fillMeters(&page, v) }); err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	return x.Show(http.StatusOK, "meters", false, page)
}

func (s meterPages) fillMeters(page *metersPage, v desk.View) error {
	now := s.Now()
	lines, err := v.Measuring().MeterLines(now)
	if err != nil {
		return err
	}
	page.Of = len(lines)
	for _, l := range lines {
		if !slices.Contains(page.Systems, l.System) {
			page.Systems = append(page.Systems, l.System)
		}
		if page.State != "" && page.State != string(l.State.Condition) || page.System != "" && page.System != l.System ||
			!kit.Mentions(page.Q, l.Code, l.Serial) {
			continue
		}
		page.Lines = append(page.Lines, s.meterRow(l, now, s.ClockOf(v), v.Zone()))
	}
	slices.Sort(page.Systems)
	return nil
}

func (s meterPages) meterRow(l desk.MeterLine, now unit.Instant, clock words.Clock, zone *time.Location) meterRow {
	row := meterRow{
		Code: l.Code, Href: s.MeterHref(l.Code), CheckHref: s.MeterHref(l.Code) + "#check", System: l.System, Serial: l.Serial,
		Mark: conditionMark(s.Terms, l.State), Until: clock(l.State.Until), Why: clock.Said(l.State.Why), Readings: strconv.Itoa(l.Readings),
	}
	if l.State.Condition == quality.Checked {
		row.Left = words.Age(l.State.Until.Sub(now)) + " left"
	}
	if l.MoreReadings() {
		row.Readings = "over " + row.Readings
	}
	switch {
	case l.Last == nil || l.Last.Verdict.At < l.Counted:
		row.Readings += " in the last 7 days"
	default:
		row.Readings += " since the last check"
	}
	if l.Last != nil {
		row.Last, row.LastHref, row.Outcome = clock(l.Last.Verdict.At), s.RecordHref(string(l.Last.ID)), s.Terms.Verdict(l.Last.Verdict.Outcome)
	}
	if l.Serviced != nil {
		row.Serviced, row.ServicedHref = fmt.Sprintf("%s, %s", clock(l.Serviced.Verdict.At), l.Serviced.Serviced), s.RecordHref(string(l.Serviced.ID))
	}
	row.cells = []string{row.Code, row.System, row.Serial, row.Mark.Word, words.Full(l.State.Until, zone), l.State.Why, "", row.Outcome.Word, "", "", row.Readings}
	if l.Last != nil {
		row.cells[6] = words.Full(l.Last.Verdict.At, zone)
	}
	if l.Serviced != nil {
		row.cells[8], row.cells[9] = words.Full(l.Serviced.Verdict.At, zone), l.Serviced.Serviced
	}
	return row
}

func (p metersPage) listing() kit.Listing {
	l := kit.Listing{Name: "meters", Columns: []table.SheetColumn{
		{Name: "meter"},
		{Name: "system"},
		{Name: "serial"},
		{Name: "state"},
		{Name: "until"},
		{Name: "because"},
		{Name: "last check"},
		{Name: "outcome"},
		{Name: "last service"},
		{Name: "what was done"},
		{Name: "readings"},
	}}
	for _, m := range p.Lines {
		l.Rows = append(l.Rows, m.cells)
	}
	return l
}
