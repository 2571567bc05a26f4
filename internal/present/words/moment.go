package words

import (
	"fmt"
	"regexp"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// Clock writes instants.
type Clock func(unit.Instant) string

// Seen writes instants as they are seen at one in a zone; see Short.
func Seen(now unit.Instant, zone *time.Location) Clock {
	return func(i unit.Instant) string { return Short(i, now, zone) }
}

// Dated writes instants with their date, as a list needs that reaches over years; see Full.
func Dated(zone *time.Location) Clock {
	return func(i unit.Instant) string { return Full(i, zone) }
}

// written are instants as unit.Instant writes them into sentences, with date and zone.
var written = regexp.MustCompile(`[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2} [+-][0-9]{2}:[0-9]{2}`)

// Said writes the instants in a sentence of this program, which have their date and zone.
func (c Clock) Said(sentence string) string {
	return written.ReplaceAllStringFunc(sentence, func(moment string) string {
		t, err := time.Parse("2006-01-02 15:04 -07:00", moment)
		if err != nil {
			return moment
		}
		return c(unit.At(t))
	})
}

// Answer writes the instants in an answer of the release check. What a person wrote stays as it is.
func (c Clock) Answer(a reprocessing.Answer) reprocessing.Answer {
	a.Reasons = slices.Clone(a.Reasons)
	for i, r := range a.Reasons {
		a.Reasons[i].Text = c.Said(r.Text)
	}
	a.Next = slices.Clone(a.Next)
	for i, next := range a.Next {
		a.Next[i] = c.Said(next)
	}
	return a
}

// Short is an instant on the wall: "00:46" today, "yesterday 23:10", "tomorrow 07:00", "Sun 06:26" up to six
// days before or after today, and with its date otherwise. Days are those of the calendar in the zone, however
// long they are. The words around a weekday say whether it is past or to come.
func Short(at, now unit.Instant, zone *time.Location) string {
	if !at.Known() {
		return ""
	}
	t := at.Time().In(zone)
	switch days := dayNumber(t) - dayNumber(now.Time().In(zone)); {
	case days == 0:
		return t.Format("15:04")
	case days == -1:
		return t.Format("yesterday 15:04")
	case days == 1:
		return t.Format("tomorrow 15:04")
	case days >= -6 && days <= 6:
		return t.Format("Mon 15:04")
	}
	return t.Format("2006-01-02 15:04")
}

// dayNumber counts the days of the calendar: those that follow each other differ by 1, also where one has 23
// or 25 hours.
func dayNumber(t time.Time) int64 {
	const day = 24 * 60 * 60
	year, month, d := t.Date()
	return time.Date(year, month, d, 0, 0, 0, 0, time.UTC).Unix() / day
}

// Full is an instant with its date, for paper.
func Full(i unit.Instant, zone *time.Location) string {
	if !i.Known() {
		return ""
	}
	return i.Time().In(zone).Format("2006-01-02 15:04")
}

// Age says how long ago something was, or how long it is until then, in one or two units.
func Age(d time.Duration) string {
	if d < 0 {
		d = -d
	}
	switch {
	case d < time.Minute:
		return "under a minute"
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}
