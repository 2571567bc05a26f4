package words

import (
	"fmt"
	"time"

	"rinsate/internal/base/unit"
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

// Short is an instant on the wall: the time alone today, with the date otherwise.
func Short(at, now unit.Instant, zone *time.Location) string {
	if !at.Known() {
		return ""
	}
	t, n := at.Time().In(zone), now.Time().In(zone)
	if t.Year() == n.Year() && t.YearDay() == n.YearDay() {
		return t.Format("15:04")
	}
	return t.Format("2006-01-02 15:04")
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
