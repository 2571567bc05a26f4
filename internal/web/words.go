package web

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/turnaround"
)

// mark is a state for the eye: a word, a shape and a class for the colour. None of the three stands
// alone.
type mark struct{ Word, Shape, Class string }

func markOf(s turnaround.State) mark {
	switch s {
	case turnaround.Ready:
		return mark{"ready", "✓", "ready"}
	case turnaround.InWork:
		return mark{"in work", "…", "work"}
	case turnaround.Held:
		return mark{"held", "■", "held"}
	case turnaround.Out:
		return mark{"out of service", "−", "out"}
	case turnaround.Unknown:
	}
	return mark{"unknown", "○", "unknown"}
}

// age says how long ago something was, or how long it is until then, in one or two units.
func age(d time.Duration) string {
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

// clockTime is an instant on the wall: the time alone today, with the date otherwise.
func clockTime(at, now unit.Instant, zone *time.Location) string {
	if !at.Known() {
		return ""
	}
	t, n := at.Time().In(zone), now.Time().In(zone)
	if t.Year() == n.Year() && t.YearDay() == n.YearDay() {
		return t.Format("15:04")
	}
	return t.Format("2006-01-02 15:04")
}

// spaced writes a name such as outer-distal-end in words.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
