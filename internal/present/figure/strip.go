package figure

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/words"
)

// Strip draws a cycle as one line, from its beginning to the release check: each step with its status,
// when it began and how long it took; a clock at each step that has not begun and has a deadline,
// with the time that is left at now; at the end the release check's state as a flag. Where the line is too
// long for the width it goes on beneath. Steps lead to their records.
func Strip(t words.Terms, a reprocessing.Answer, now unit.Instant, zone *time.Location, places Places) chart.Picture {
	if zone == nil {
		zone = time.UTC
	}
	return strip{terms: t, answer: a, now: now, zone: zone, places: places}
}

type strip struct {
	terms  words.Terms
	answer reprocessing.Answer
	now    unit.Instant
	zone   *time.Location
	places Places
}

// running says whether a clock runs for a step.
func running(p reprocessing.Progress) bool {
	return p.Status == reprocessing.MissingStep && p.Deadline.Known()
}

// timeLeft says how far away an instant is: "42 min left" or "12 min over".
func (s strip) timeLeft(until unit.Instant) string {
	if left := until.Sub(s.now); left >= 0 {
		return lasting(left) + " left"
	}
	return lasting(s.now.Sub(until)) + " over"
}

// lasting writes how long something takes, in its two largest units, to the minute.
func lasting(d time.Duration) string {
	minutes := int(d.Minutes())
	days, hours, rest := minutes/1440, minutes/60%24, minutes%60
	switch {
	case d < 0:
		return ""
	case minutes == 0:
		return "under 1 min"
	case minutes < 60:
		return fmt.Sprintf("%d min", minutes)
	case days == 0 && rest == 0:
		return fmt.Sprintf("%d h", hours)
	case days == 0:
		return fmt.Sprintf("%d h %d min", hours, rest)
	case hours == 0:
		return fmt.Sprintf("%d d", days)
	}
	return fmt.Sprintf("%d d %d h", days, hours)
}

func (s strip) clock(i unit.Instant) string { return i.Time().In(s.zone).Format("15:04") }
func (s strip) day(i unit.Instant) string   { return i.Time().In(s.zone).Format("2 Jan") }

// wall is the time of day, with the date where that is not the date of now.
func (s strip) wall(i unit.Instant) string {
	if s.day(i) == s.day(s.now) && i.Sub(s.now).Abs() < 24*time.Hour {
		return s.clock(i)
	}
	return s.day(i) + ", " + s.clock(i)
}

// took is how long a step took, or that it goes on.
func took(p reprocessing.Progress) string {
	if !p.Start.Known() || !p.End.Known() {
		return ""
	}
	return lasting(p.End.Sub(p.Start))
}

// Words implements [chart.Picture].
func (s strip) Words() (title, desc string) {
	title = "Cycle"
	if s.answer.Scope != "" {
		title += " of " + s.answer.Scope
	}
	done := 0
	var clocks strings.Builder
	for _, p := range s.answer.Steps {
		if p.Status == reprocessing.DoneStep {
			done++
		}
		if running(p) {
			fmt.Fprintf(&clocks, " %s is to begin by %s: %s.", s.terms.Step(p.Step), s.wall(p.Deadline), s.timeLeft(p.Deadline))
		}
	}
	desc = fmt.Sprintf("As of %s the release check says: %s. %d of %d steps are done.", s.now.In(s.zone), s.verdict(), done, len(s.answer.Steps))
	return title, desc + clocks.String() + " " + caution
}

// verdict is the state of the release check and, where its word does not say it, that the scope is not for
// use.
func (s strip) verdict() string {
	word := s.terms.State(s.answer.State).Word
	if s.answer.State == reprocessing.Ready {
		return word
	}
	return word + ", " + usable(s.answer.State)
}

// usable says what a state of the release check means.
func usable(state reprocessing.State) string {
	switch state {
	case reprocessing.Ready:
		return "for use"
	case reprocessing.NothingAgainst:
		return "not released here"
	case reprocessing.PaperDecides:
		return "paper decides"
	case reprocessing.InReprocessing, reprocessing.NotKnown, reprocessing.OnHold, reprocessing.OutOfService:
	}
	return "not for use"
}

// Table implements [chart.Picture].
func (s strip) Table() chart.Table {
	title, _ := s.Words()
	known := func(i unit.Instant) string {
		if !i.Known() {
			return ""
		}
		return i.In(s.zone)
	}
	t := chart.Table{Caption: title, Header: []string{"Step", "Status", "Began", "Ended", "Took", "To begin by", "Time left"}}
	t.Rows = append(t.Rows, []string{"cycle began", "", known(s.answer.Cycle), "", "", "", ""})
	for _, p := range s.answer.Steps {
		left := ""
		if running(p) {
			left = s.timeLeft(p.Deadline)
		}
		t.Rows = append(t.Rows, []string{s.terms.Step(p.Step), string(p.Status), known(p.Start), known(p.End), took(p), known(p.Deadline), left})
	}
	left := ""
	if s.answer.Until.Known() {
		left = s.timeLeft(s.answer.Until)
	}
	t.Rows = append(t.Rows, []string{"release check", s.terms.State(s.answer.State).Word, known(s.now), known(s.answer.Until), "", "", left})
	return t
}

// cell is one station of the line: the beginning, a step or the release check.
type cell struct {
	title, href string
	shape       chart.Shape
	style       chart.Style
	radius      float64
	track       chart.Style // of the way that leads to it
	name        string
	lines       []stripLine // beneath the name
	above       []stripLine // above the clock, or where a clock would be
	deadline    unit.Instant
	flag        string // the word of the state, where the line ends
}

type stripLine struct {
	ink  chart.Ink
	text string
}

// cells lists the stations in order.
func (s strip) cells() []cell {
	begin := cell{
		name: "cycle began", shape: chart.Square, style: chart.Style{Fill: chart.InkText}, radius: 6.5,
		above: []stripLine{{chart.InkMuted, "as of"}, {chart.InkText, s.wallNow()}}, title: "cycle began",
	}
	before := ""
	date := func(i unit.Instant) string {
		if d := s.day(i); d != before {
			before = d
			return d
		}
		return ""
	}
	if t := s.answer.Cycle; t.Known() {
		begin.title += " " + t.In(s.zone)
		begin.lines = []stripLine{{chart.InkText, s.clock(t)}, {chart.InkMuted, date(t)}}
	}
	cells := []cell{begin}
	for _, p := range s.answer.Steps {
		cells = append(cells, s.station(p, date))
	}
	cells = append(cells, s.release())
	// What is not due lies on the way to what follows.
	for i := len(s.answer.Steps); i > 0; i-- {
		if s.answer.Steps[i-1].Status == reprocessing.NotDueStep {
			cells[i].track = cells[i+1].track
		}
	}
	return cells
}

func (s strip) wallNow() string {
	return s.now.Time().In(s.zone).Format("2 Jan, 15:04")
}

// station is one step.
func (s strip) station(p reprocessing.Progress, date func(unit.Instant) string) cell {
	c := cell{name: s.terms.Step(p.Step), href: s.places.record(ledger.ID(p.Record)), radius: 8}
	ink := chart.InkMuted
	solid, warning := chart.Style{Stroke: chart.InkData, Width: 5}, chart.Style{Stroke: chart.InkAction, Width: 5}
	c.style = chart.Style{Fill: chart.InkData}
	switch p.Status {
	case reprocessing.DoneStep:
		c.shape, c.track = chart.Circle, solid
	case reprocessing.RunningStep:
		c.shape, c.track, ink = chart.TriangleRight, solid, chart.InkText
		c.track.Dash = chart.Dashed
	case reprocessing.FailedStep:
		c.shape, c.track, ink = chart.Diamond, warning, chart.InkSignalText
		c.style.Fill = chart.InkAction
	case reprocessing.StaleStep:
		c.shape, c.track, ink = chart.TriangleLeft, warning, chart.InkSignalText
		c.style.Fill, c.track.Dash = chart.InkAction, chart.DashDot
	case reprocessing.NotDueStep:
		c.shape, c.radius = chart.Circle, 3.5
		c.style = chart.Style{Fill: chart.InkPaper, Stroke: chart.InkAxis, Width: 1.2}
	case reprocessing.MissingStep:
		fallthrough
	default:
		c.shape, c.track, ink = chart.Circle, ahead, chart.InkText
		c.style = chart.Style{Fill: chart.InkPaper, Stroke: chart.InkText, Width: 1.8}
	}
	c.lines = []stripLine{{ink, string(p.Status)}}
	c.title = c.name + ": " + string(p.Status)
	if p.Start.Known() {
		at := s.clock(p.Start)
		long := took(p)
		if long == "" {
			at = "since " + at
		}
		c.lines = append(c.lines, stripLine{chart.InkText, at}, stripLine{chart.InkMuted, long}, stripLine{chart.InkMuted, date(p.Start)})
		c.title += joined(", ", "", " began "+p.Start.In(s.zone), long)
	}
	if running(p) {
		c.deadline = p.Deadline
		left, ink := s.timeLeft(p.Deadline), chart.InkText
		if p.Deadline < s.now {
			ink = chart.InkSignalText
		}
		c.above = []stripLine{{ink, left}, {chart.InkMuted, "by " + s.wall(p.Deadline)}}
		c.title += fmt.Sprintf(", to begin by %s, %s", p.Deadline.In(s.zone), left)
	}
	return c
}

// ahead is the way to what is not done.
var ahead = chart.Style{Stroke: chart.InkAxis, Width: 2, Dash: chart.Dotted}

// release check is the end of the line.
func (s strip) release() cell {
	state := s.answer.State
	c := cell{name: "release check", flag: s.terms.State(state).Word, radius: 7.5, track: ahead, title: "release check: " + s.verdict()}
	c.lines = []stripLine{{chart.InkText, usable(state)}}
	switch state {
	case reprocessing.Ready:
		c.shape, c.style, c.track = chart.Circle, chart.Style{Fill: chart.InkData}, chart.Style{Stroke: chart.InkData, Width: 5}
	case reprocessing.InReprocessing:
		c.shape, c.style = chart.TriangleRight, chart.Style{Fill: chart.InkText}
	case reprocessing.OnHold:
		c.shape, c.style = chart.Square, chart.Style{Fill: chart.InkText}
	case reprocessing.OutOfService:
		c.shape, c.style = chart.Cross, chart.Style{Fill: chart.InkText}
	case reprocessing.NothingAgainst, reprocessing.NotKnown, reprocessing.PaperDecides:
		fallthrough
	default:
		c.shape, c.style = chart.Diamond, chart.Style{Fill: chart.InkPaper, Stroke: chart.InkText, Width: 1.6}
	}
	if u := s.answer.Until; u.Known() {
		left := s.timeLeft(u)
		c.lines = append(c.lines, stripLine{chart.InkText, left}, stripLine{chart.InkMuted, "until " + s.clock(u)}, stripLine{chart.InkMuted, s.day(u)})
		c.title += fmt.Sprintf(" until %s, %s", u.In(s.zone), left)
	}
	return c
}
