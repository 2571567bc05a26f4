// Package unit names the quantities that cross package borders, so that a length is never
// mistaken for a volume nor a local clock reading for an instant.
//
// It answers nothing about endoscopes. Quantities that are not whole numbers are written to
// records as decimal strings ("2.8"), because RFC 8785 serialises JSON numbers as IEEE 754
// doubles and another reader might round them; a decimal text that is read back gives the same
// double, so equal texts compare as equal. Instants are whole microseconds UTC.
package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Instant is a moment in whole microseconds since 1970-01-01T00:00:00Z. The zero value means
// "not known".
type Instant int64

// At truncates t to microseconds. The zero time.Time gives the zero Instant.
func At(t time.Time) Instant {
	if t.IsZero() {
		return 0
	}
	return Instant(t.UnixMicro())
}

// Time returns the instant in UTC; the zero Instant gives the zero time.Time.
func (i Instant) Time() time.Time {
	if i == 0 {
		return time.Time{}
	}
	return time.UnixMicro(int64(i)).UTC()
}

// Known says whether the instant was given at all.
func (i Instant) Known() bool { return i != 0 }

// Add returns the instant d later; parts of a microsecond are dropped.
func (i Instant) Add(d time.Duration) Instant { return i + Instant(d/time.Microsecond) }

// Sub returns how long i is after j.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i-j) * time.Microsecond }

// String prints RFC 3339 in UTC, or "unknown".
func (i Instant) String() string {
	if i == 0 {
		return "unknown"
	}
	return i.Time().Format(time.RFC3339Nano)
}

// In prints the instant in a zone, always with its offset, to the minute: 2026-10-25 02:30 +01:00.
func (i Instant) In(zone *time.Location) string {
	if i == 0 {
		return "unknown"
	}
	return i.Time().In(zone).Format("2006-01-02 15:04 -07:00")
}

// The measured quantities. Each is written to JSON as a decimal string and never as NaN or an
// infinity.
type (
	// Millimetres is a length.
	Millimetres float64
	// Millilitres is a volume.
	Millilitres float64
	// SquareCentimetres is an area.
	SquareCentimetres float64
	// Celsius is a temperature.
	Celsius float64
	// Number is a quantity whose unit stands beside it (a reading, a limit, a coefficient).
	Number float64
)

// MarshalText writes the shortest decimal text that reads back to the same value.
func (v Millimetres) MarshalText() ([]byte, error) { return marshal(float64(v)) }

// UnmarshalText reads a decimal text.
func (v *Millimetres) UnmarshalText(b []byte) error { return unmarshal((*float64)(v), b) }

// MarshalText writes the shortest decimal text that reads back to the same value.
func (v Millilitres) MarshalText() ([]byte, error) { return marshal(float64(v)) }

// UnmarshalText reads a decimal text.
func (v *Millilitres) UnmarshalText(b []byte) error { return unmarshal((*float64)(v), b) }

// MarshalText writes the shortest decimal text that reads back to the same value.
func (v SquareCentimetres) MarshalText() ([]byte, error) { return marshal(float64(v)) }

// UnmarshalText reads a decimal text.
func (v *SquareCentimetres) UnmarshalText(b []byte) error { return unmarshal((*float64)(v), b) }

// MarshalText writes the shortest decimal text that reads back to the same value.
func (v Celsius) MarshalText() ([]byte, error) { return marshal(float64(v)) }

// UnmarshalText reads a decimal text.
func (v *Celsius) UnmarshalText(b []byte) error { return unmarshal((*float64)(v), b) }

// MarshalText writes the shortest decimal text that reads back to the same value.
func (v Number) MarshalText() ([]byte, error) { return marshal(float64(v)) }

// UnmarshalText reads a decimal text.
func (v *Number) UnmarshalText(b []byte) error { return unmarshal((*float64)(v), b) }

// String prints the shortest decimal text.
func (v Number) String() string { return text(float64(v)) }

// String prints the shortest decimal text without the unit.
func (v Millimetres) String() string { return text(float64(v)) }

// String prints the shortest decimal text without the unit.
func (v Millilitres) String() string { return text(float64(v)) }

// String prints the shortest decimal text without the unit.
func (v SquareCentimetres) String() string { return text(float64(v)) }

// String prints the shortest decimal text without the unit.
func (v Celsius) String() string { return text(float64(v)) }

// ParseNumber reads a decimal text with a point: an optional sign, digits, at most one point.
// Exponents, thousands separators, hexadecimal, NaN and infinities are refused, since a person or
// an instrument that sends them means something else.
func ParseNumber(s string) (Number, error) {
	var v Number
	err := unmarshal((*float64)(&v), []byte(s))
	return v, err
}

func text(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func marshal(v float64) ([]byte, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil, fmt.Errorf("%v cannot be written as a decimal number", v)
	}
	if v == 0 {
		v = 0 // a negative zero would be written "-0"
	}
	return strconv.AppendFloat(nil, v, 'f', -1, 64), nil
}

func unmarshal(v *float64, b []byte) error {
	s := string(b)
	digits := strings.TrimLeft(s, "+-")
	if len(s)-len(digits) > 1 || digits == "" || strings.Trim(digits, "0123456789.") != "" ||
		strings.Count(digits, ".") > 1 || digits == "." {
		return fmt.Errorf("%q is not a decimal number such as 12 or 6.4", s)
	}
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(f, 0) {
		return fmt.Errorf("%q is too large for a measured number", s)
	}
	*v = f
	return nil
}

// Span is a length of time in whole microseconds, written as "60s", "4h" or "1h30min" (one unit or
// several, largest first).
type Span int64

// The spans that rules are made of. A Day here is exactly 24 h; rules that count calendar days in
// a facility's zone say so and use AddDays.
const (
	Microsecond Span = 1
	Second           = 1_000_000 * Microsecond
	Minute           = 60 * Second
	Hour             = 60 * Minute
	Day              = 24 * Hour
)

// Duration converts to a time.Duration.
func (s Span) Duration() time.Duration { return time.Duration(s) * time.Microsecond }

// SpanOf converts from a time.Duration; parts of a microsecond are dropped.
func SpanOf(d time.Duration) Span { return Span(d / time.Microsecond) }

// String prints the span with the two largest units that are not zero: 7d, 1h30min, 45s.
func (s Span) String() string { return s.text(2) }

// MarshalText writes the span exactly, in the form that ParseSpan reads.
func (s Span) MarshalText() ([]byte, error) { return []byte(s.text(len(spanUnits))), nil }

// UnmarshalText reads the form of ParseSpan.
func (s *Span) UnmarshalText(b []byte) error {
	v, err := ParseSpan(string(b))
	if err == nil {
		*s = v
	}
	return err
}

func (s Span) text(most int) string {
	if s == 0 {
		return "0s"
	}
	var b strings.Builder
	if s < 0 {
		b.WriteByte('-')
		s = -s
	}
	parts := 0
	for _, u := range spanUnits {
		if n := s / u.size; n > 0 && parts < most {
			fmt.Fprintf(&b, "%d%s", n, u.name)
			s -= n * u.size
			parts++
		}
	}
	return b.String()
}

var spanUnits = []struct {
	name string
	size Span
}{{"d", Day}, {"h", Hour}, {"min", Minute}, {"s", Second}, {"ms", Second / 1000}, {"us", Microsecond}}

// longestSpan keeps every span that is read well inside what a time.Duration holds (292 years).
const longestSpan = 100 * 366 * Day

// ParseSpan reads a rule's length of time: whole numbers with a unit d, h, min, s, largest first,
// such as "4h", "1h30min" or "7d".
func ParseSpan(text string) (Span, error) {
	var total Span
	rest, last := text, Span(math.MaxInt64)
	for rest != "" {
		n := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
		count, err := strconv.ParseInt(rest[:n], 10, 32)
		rest = rest[n:]
		m := len(rest) - len(strings.TrimLeft(rest, "abcdefghijklmnopqrstuvwxyz"))
		unit := rest[:m]
		rest = rest[m:]
		var size Span
		for _, u := range spanUnits {
			if u.name == unit {
				size = u.size
			}
		}
		if err != nil || size == 0 || size >= last {
			return 0, fmt.Errorf("%q is not a length of time: write whole numbers with d, h, min or s, largest first, such as 4h or 1h30min", text)
		}
		if Span(count) > (longestSpan-total)/size {
			return 0, fmt.Errorf("%q is longer than any rule could mean", text)
		}
		total += Span(count) * size
		last = size
	}
	if text == "" {
		return 0, fmt.Errorf("a length of time is missing: write for example 4h or 1h30min")
	}
	return total, nil
}

// Midnight returns the instant at which the calendar day of another one begins in zone. Where that is no wall-clock
// time, since clocks are put forward then, it is the first instant after it.
func (i Instant) Midnight(zone *time.Location) Instant {
	t := i.Time().In(zone)
	begin := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, zone)
	if begin.Day() != t.Day() { // put back to the hour before, which is of the day before
		begin = begin.Add(time.Hour)
	}
	return At(begin)
}

// AddDays returns the instant n calendar days later in zone, at the same wall-clock time, so that
// a limit of seven days does not move by an hour when daylight saving begins or ends. A wall-clock
// time that exists twice or not at all has two readings; the earlier one counts, which is the safe
// side for an expiry.
func (i Instant) AddDays(n int, zone *time.Location) Instant {
	t := i.Time().In(zone)
	wall := time.Date(t.Year(), t.Month(), t.Day()+n, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
	var exact, either time.Time
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, offset := wall.Add(near).In(zone).Zone()
		d := wall.Add(-time.Duration(offset) * time.Second)
		if either.IsZero() || d.Before(either) {
			either = d
		}
		_, actual := d.In(zone).Zone()
		if actual == offset && (exact.IsZero() || d.Before(exact)) {
			exact = d
		}
	}
	if exact.IsZero() {
		return At(either)
	}
	return At(exact)
}

// Date is a day of the calendar as ISO 8601 writes it, such as 2026-03-31; empty for none. Whoever asks says in which zone.
type Date string

// Known says whether there is a day.
func (d Date) Known() bool { return d != "" }

// UnmarshalText reads a day, or none.
func (d *Date) UnmarshalText(b []byte) error {
	if _, err := time.Parse(time.DateOnly, string(b)); err != nil && len(b) > 0 {
		return fmt.Errorf("%q is no day: write it as 2026-03-31", b)
	}
	*d = Date(b)
	return nil
}

// Begin returns the first instant of the day in a zone, 0 where there is no day.
func (d Date) Begin(zone *time.Location) Instant { return d.noon(0, zone).Midnight(zone) }

// End returns the first instant after the day in a zone, 0 where there is no day.
func (d Date) End(zone *time.Location) Instant { return d.noon(1, zone).Midnight(zone) }

// noon returns noon of the day so many days later, from which midnight is found on days of 23 and 25 hours as well.
func (d Date) noon(later int, zone *time.Location) Instant {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return 0
	}
	return At(time.Date(t.Year(), t.Month(), t.Day()+later, 12, 0, 0, 0, zone))
}
