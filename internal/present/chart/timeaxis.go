package chart

import (
	"math"
	"time"
)

// timeRuler stretches a range of instants to pixels. Instants are seconds since 1970, because a
// difference of two time.Time overflows after 292 years.
type timeRuler struct {
	domain   span
	from, to float64
	location *time.Location
}

func seconds(t time.Time) float64 { return float64(t.Unix()) + float64(t.Nanosecond())/1e9 }

// at returns the pixel of an instant, at the nearer end if it lies outside.
func (r timeRuler) at(t time.Time) float64 {
	return ruler{domain: r.domain, from: r.from, to: r.to}.pixel(min(max(seconds(t), r.domain.lo), r.domain.hi))
}

// step is a distance of calendar ticks: some months, some days or some seconds.
type step struct {
	months, days, seconds int
	layout                string
}

// approximate returns the length in seconds, for choosing.
func (s step) approximate() float64 {
	return 2629746*float64(s.months) + 86400*float64(s.days) + float64(s.seconds)
}

// steps are the distances to choose from; above them come years in 1, 2, 5 times a power of ten.
func steps() []step {
	const clock, day, month = "15:04", "2 Jan", "Jan"
	return []step{
		{seconds: 60, layout: clock},
		{seconds: 300, layout: clock},
		{seconds: 900, layout: clock},
		{seconds: 3600, layout: clock},
		{seconds: 3 * 3600, layout: clock},
		{seconds: 6 * 3600, layout: clock},
		{days: 1, layout: day},
		{days: 2, layout: day},
		{days: 7, layout: day},
		{days: 14, layout: day},
		{months: 1, layout: month},
		{months: 2, layout: month},
		{months: 3, layout: month},
		{months: 6, layout: month},
	}
}

// ticks returns at most most ticks at round dates of the location's calendar: days at midnight,
// weeks at Monday, months at the first. The first tick and every first one of a year (of a day, for
// clock times) carry the year (the day) below.
func (r timeRuler) ticks(most int) []tick {
	length := r.domain.hi - r.domain.lo
	if !(length >= 0) || !finite(length) || most < 1 {
		return nil
	}
	for _, s := range steps() {
		if length/s.approximate() > float64(most)+1 {
			continue
		}
		if ticks := r.stepped(s); len(ticks) <= most && len(ticks) > 0 {
			return ticks
		}
	}
	years := max(1, int(niceStep(length/31556952, most)))
	if ticks := r.stepped(step{months: 12 * years, layout: "2006"}); len(ticks) <= most && len(ticks) > 0 {
		return ticks
	}
	// A range within one step: name its middle.
	return r.label([]time.Time{r.time((r.domain.lo + r.domain.hi) / 2)}, "2 Jan")
}

func (r timeRuler) time(s float64) time.Time {
	whole := math.Floor(min(max(s, -1e14), 1e14))
	return time.Unix(int64(whole), 0).In(r.location)
}

// stepped returns the ticks of one step.
func (r timeRuler) stepped(s step) []tick {
	first := r.time(r.domain.lo)
	year, month, day := first.Date()
	var index int // whole steps from an origin
	var at func(i int) time.Time
	switch {
	case s.months > 0:
		index = floorDiv(12*year+int(month)-1, s.months)
		at = func(i int) time.Time { return time.Date(0, time.Month(1+i*s.months), 1, 0, 0, 0, 0, r.location) }
	case s.days > 0:
		// Days are counted from a Monday.
		origin := time.Date(1969, 12, 29, 0, 0, 0, 0, time.UTC)
		days := int(math.Round((seconds(time.Date(year, month, day, 0, 0, 0, 0, time.UTC)) - seconds(origin)) / 86400))
		index = floorDiv(days, s.days)
		at = func(i int) time.Time { return time.Date(1969, 12, 29+i*s.days, 0, 0, 0, 0, r.location) }
	default:
		// Clock times count from midnight, so that they are round also where summer time shifts them.
		index = -1
		at = func(i int) time.Time {
			perDay := 86400 / s.seconds
			d := floorDiv(i, perDay)
			return time.Date(year, month, day+d, 0, 0, (i-d*perDay)*s.seconds, 0, r.location)
		}
	}
	var times []time.Time
	for i := index; len(times) < 1000; i++ {
		t := at(i)
		if seconds(t) > r.domain.hi {
			break
		}
		if seconds(t) >= r.domain.lo && (len(times) == 0 || t.After(times[len(times)-1])) {
			times = append(times, t)
		}
	}
	return r.label(times, s.layout)
}

// label writes the ticks, with what is the same for many of them only where it changes.
func (r timeRuler) label(times []time.Time, layout string) []tick {
	context := "2006"
	switch layout {
	case "15:04":
		context = "2 Jan 2006"
	case "2006":
		context = ""
	}
	ticks := make([]tick, 0, len(times))
	before := ""
	for _, t := range times {
		k := tick{at: r.at(t), label: t.Format(layout)}
		if now := t.Format(context); now != before {
			k.below, before = now, now
		}
		ticks = append(ticks, k)
	}
	return ticks
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// dated writes an instant as a date, with the clock time unless it is midnight.
func dated(t time.Time, location *time.Location) string {
	local := t.In(location)
	if h, m, s := local.Clock(); h == 0 && m == 0 && s == 0 {
		return local.Format("2006-01-02")
	}
	return local.Format("2006-01-02 15:04")
}

// place of a time zone that was not given.
func locationOr(l *time.Location) *time.Location {
	if l == nil {
		return time.UTC
	}
	return l
}
