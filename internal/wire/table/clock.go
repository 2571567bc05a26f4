package table

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// Clock says how a file writes moments. The zero value reads RFC 3339 only.
type Clock struct {
	// Zone is the IANA name of the zone of times without an offset, such as Europe/Berlin.
	Zone string
	// Format lists the layouts accepted; none means rfc3339. A text that two layouts read
	// differently is refused.
	//
	// A layout is rfc3339 or is made of these: YYYY; MM or M; DD or D; HH or H (0–23) or hh or h
	// (1–12) with A (AM or PM); mm; ss; S (one to nine digits of a second's fraction); Z (Z or
	// +hh:mm or +hhmm). Two letters want two digits, one letter one or two. Spaces, T and
	// - / . : , _ stand for themselves.
	Format []string
	// Ambiguous says which of two readings counts when a clock was set back and a time came
	// twice: "first" or "second". Without it such a time is an error.
	Ambiguous string
}

const formatRFC3339 = "rfc3339"

// clock is a Clock made ready.
type clock struct {
	zone    *time.Location
	layouts []layout
	wanted  string // the layouts, for messages
	second  bool   // of two readings the second counts
	choose  bool   // there is a rule for two readings
}

// layout is a sequence of tokens, one byte each: the letters of the notation, lower-case letters
// of its own for RFC 3339, or the literal itself with the high bit set.
type layout []byte

const (
	literal   = 0x80
	tokYear   = 'Y'
	tokMonth  = 'M' // two digits
	tokMonth1 = 'n' // one or two
	tokDay    = 'D'
	tokDay1   = 'd'
	tokHour   = 'H'
	tokHour1  = 'g'
	tokHalf   = 'h' // of twelve
	tokHalf1  = 'i'
	tokMinute = 'm'
	tokSecond = 's'
	tokPart   = 'S'
	tokNoon   = 'A'
	tokOffset = 'Z'
	tokT      = 't' // T or t
	tokPoint  = 'p' // nothing, or a point and digits
	tokStrict = 'z' // Z, z or an offset with its colon
)

// rfc3339 is the date-time of RFC 3339, 5.6: fraction optional, T and Z in either case, offset
// with a colon. time.Parse is both laxer (+24:00, a comma) and stricter (no :60, no lower case).
var rfc3339 = layout{
	tokYear, '-' | literal, tokMonth, '-' | literal, tokDay, tokT, tokHour, ':' | literal,
	tokMinute, ':' | literal, tokSecond, tokPoint, tokStrict,
}

var tokens = []struct {
	text string
	tok  byte
	what byte // tokens of the same kind exclude each other
}{
	{"YYYY", tokYear, 'y'},
	{"MM", tokMonth, 'M'},
	{"M", tokMonth1, 'M'},
	{"DD", tokDay, 'd'},
	{"D", tokDay1, 'd'},
	{"HH", tokHour, 'h'},
	{"H", tokHour1, 'h'},
	{"hh", tokHalf, 'h'},
	{"h", tokHalf1, 'h'},
	{"mm", tokMinute, 'm'},
	{"ss", tokSecond, 's'},
	{"S", tokPart, 'S'},
	{"A", tokNoon, 'A'},
	{"Z", tokOffset, 'Z'},
}

func (c Clock) compile() (clock, *ProfileError) {
	var out clock
	switch c.Ambiguous {
	case "":
	case "first", "second":
		out.choose, out.second = true, c.Ambiguous == "second"
	default:
		return out, &ProfileError{Key: "time.ambiguous", Problem: fmt.Sprintf("%q is neither first nor second", shorten(c.Ambiguous))}
	}
	if c.Zone != "" {
		zone, err := time.LoadLocation(c.Zone)
		if err != nil || zone == time.Local {
			return out, &ProfileError{Key: "time.zone", Problem: fmt.Sprintf("%q is not a zone such as Europe/Berlin", shorten(c.Zone))}
		}
		out.zone = zone
	}
	formats := c.Format
	if len(formats) == 0 {
		formats = []string{formatRFC3339}
	}
	for _, f := range formats {
		l, offset, err := compileLayout(f)
		if err == nil && !offset && out.zone == nil {
			err = errors.New("has no offset, so the zone must be given")
		}
		if err != nil {
			return out, &ProfileError{Key: "time.format", Problem: fmt.Sprintf("%q %v", shorten(f), err)}
		}
		out.layouts = append(out.layouts, l)
	}
	out.wanted = strings.Join(formats, " or ")
	if out.wanted == formatRFC3339 {
		out.wanted = "2026-11-25T08:30:00+01:00 (with its offset)"
	}
	return out, nil
}

// compileLayout also says whether the layout holds an offset.
func compileLayout(text string) (l layout, offset bool, err error) {
	if strings.EqualFold(text, formatRFC3339) {
		return rfc3339, true, nil
	}
	var seen [256]bool
	half := false // hours of twelve
	open := false // the last token takes one digit or two, so a digit may not follow
	for rest := text; rest != ""; {
		if strings.IndexByte(" -/.:,_T", rest[0]) >= 0 {
			l, rest, open = append(l, rest[0]|literal), rest[1:], false
			continue
		}
		found := false
		for _, t := range tokens {
			if !strings.HasPrefix(rest, t.text) {
				continue
			}
			if seen[t.what] {
				return nil, false, fmt.Errorf("names the same part twice (%s)", t.text)
			}
			if open && t.tok != tokNoon && t.tok != tokOffset {
				return nil, false, fmt.Errorf("needs a separator before %s", t.text)
			}
			open = t.tok == tokMonth1 || t.tok == tokDay1 || t.tok == tokHour1 || t.tok == tokHalf1 || t.tok == tokPart
			seen[t.what], found = true, true
			half = half || t.tok == tokHalf || t.tok == tokHalf1
			l, rest = append(l, t.tok), rest[len(t.text):]
			break
		}
		if !found {
			return nil, false, fmt.Errorf("holds %q; write for example YYYY-MM-DD HH:mm:ss or DD.MM.YYYY HH:mm", shorten(rest))
		}
	}
	switch {
	case !seen['y'] || !seen['M'] || !seen['d'] || !seen['h'] || !seen['m']:
		return nil, false, errors.New("lacks a part: year, month, day, hour and minute are needed")
	case half != seen['A']:
		return nil, false, errors.New("must use A together with hh or h, and HH or H without it")
	case seen[tokPart] && !seen[tokSecond]:
		return nil, false, errors.New("has a fraction but no seconds")
	}
	return l, seen['Z'], nil
}

// wall is what a clock showed.
type wall struct {
	year, month, day, hour, minute, second, micro int

	offset    int // seconds east of UTC
	hasOffset bool
	afternoon bool
	half      bool
}

// digits takes least to most digits from the front of s.
func digits(s []byte, least, most int) (value int, rest []byte, ok bool) {
	n := 0
	for n < most && n < len(s) && s[n] >= '0' && s[n] <= '9' {
		value = value*10 + int(s[n]-'0')
		n++
	}
	return value, s[n:], n >= least
}

// fraction takes a second's fraction: digits after the sixth are dropped, as unit.Instant does.
func fraction(s []byte, most int) (micro int, rest []byte, ok bool) {
	n := 0
	for scale := 100_000; n < most && n < len(s) && s[n] >= '0' && s[n] <= '9'; n++ {
		micro += int(s[n]-'0') * scale
		scale /= 10
	}
	return micro, s[n:], n > 0
}

// read says whether s has the layout's shape.
func (l layout) read(s []byte) (w wall, ok bool) {
	for _, tok := range l {
		ok = true
		switch tok {
		case tokYear:
			w.year, s, ok = digits(s, 4, 4)
		case tokMonth:
			w.month, s, ok = digits(s, 2, 2)
		case tokMonth1:
			w.month, s, ok = digits(s, 1, 2)
		case tokDay:
			w.day, s, ok = digits(s, 2, 2)
		case tokDay1:
			w.day, s, ok = digits(s, 1, 2)
		case tokHour:
			w.hour, s, ok = digits(s, 2, 2)
		case tokHour1:
			w.hour, s, ok = digits(s, 1, 2)
		case tokHalf:
			w.half = true
			w.hour, s, ok = digits(s, 2, 2)
		case tokHalf1:
			w.half = true
			w.hour, s, ok = digits(s, 1, 2)
		case tokMinute:
			w.minute, s, ok = digits(s, 2, 2)
		case tokSecond:
			w.second, s, ok = digits(s, 2, 2)
		case tokPart:
			w.micro, s, ok = fraction(s, 9)
		case tokPoint:
			if len(s) > 0 && s[0] == '.' {
				w.micro, s, ok = fraction(s[1:], len(s))
			}
		case tokNoon:
			if ok = len(s) >= 2 && s[1]|0x20 == 'm' && (s[0]|0x20 == 'a' || s[0]|0x20 == 'p'); ok {
				w.afternoon = s[0]|0x20 == 'p'
				s = s[2:]
			}
		case tokOffset, tokStrict:
			w.hasOffset = true
			w.offset, s, ok = offset(s, tok == tokStrict)
		case tokT:
			if ok = len(s) > 0 && s[0]|0x20 == 't'; ok {
				s = s[1:]
			}
		default:
			if ok = len(s) > 0 && s[0] == tok&^literal; ok {
				s = s[1:]
			}
		}
		if !ok {
			return w, false
		}
	}
	return w, len(s) == 0
}

func offset(s []byte, colon bool) (seconds int, rest []byte, ok bool) {
	if len(s) == 0 {
		return 0, s, false
	}
	if s[0]|0x20 == 'z' {
		return 0, s[1:], true
	}
	sign := 1
	switch s[0] {
	case '+':
	case '-':
		sign = -1
	default:
		return 0, s, false
	}
	hours, s, ok := digits(s[1:], 2, 2)
	if !ok || hours > 23 {
		return 0, s, false
	}
	if len(s) > 0 && s[0] == ':' {
		s = s[1:]
	} else if colon {
		return 0, s, false
	}
	minutes, s, ok := digits(s, 2, 2)
	return sign * (hours*3600 + minutes*60), s, ok && minutes <= 59
}

// parse returns the moment, or what is wrong with the text.
func (c *clock) parse(s []byte) (at unit.Instant, problem string) {
	read := false
	for _, l := range c.layouts {
		w, ok := l.read(s)
		if !ok {
			continue
		}
		got, trouble := c.settle(w)
		switch {
		case !read:
			at, problem, read = got, trouble, true
		case problem != "" && trouble == "":
			at, problem = got, ""
		case problem == "" && trouble == "" && at != got:
			return 0, "fits two of the profile's time formats, which read it differently"
		}
	}
	if !read {
		return 0, "is not a time like " + c.wanted
	}
	return at, problem
}

// settle turns a clock reading into a moment.
//
// A second 60 is a leap second: it is taken as the start of the following second, since neither
// unit.Instant nor a computer's clock counts leap seconds, and only where one can stand, before
// midnight UTC at a month's end (RFC 3339, 5.7).
func (c *clock) settle(w wall) (unit.Instant, string) {
	if w.half {
		if w.hour < 1 || w.hour > 12 {
			return 0, "names an hour outside 1–12"
		}
		w.hour %= 12
		if w.afternoon {
			w.hour += 12
		}
	}
	leap := w.second == 60
	if leap {
		w.second, w.micro = 59, 0
	}
	if w.hour > 23 || w.minute > 59 || w.second > 59 {
		return 0, "names a time of day that does not exist"
	}
	t := time.Date(w.year, time.Month(w.month), w.day, w.hour, w.minute, w.second, w.micro*1000, time.UTC)
	if w.month < 1 || w.month > 12 || t.Day() != w.day || int(t.Month()) != w.month {
		return 0, "names a day that does not exist"
	}
	if w.hasOffset {
		t = t.Add(-time.Duration(w.offset) * time.Second)
	} else {
		readings, n := locate(t, c.zone)
		switch {
		case n == 0:
			return 0, fmt.Sprintf("does not exist in %s, where clocks were set forward past it", c.zone)
		case n == 2 && !c.choose:
			return 0, fmt.Sprintf("comes twice in %s, where clocks were set back: give the offset, %s or %s, or say in the profile which counts (ambiguous)",
				c.zone, readings[0].In(c.zone).Format("-07:00"), readings[1].In(c.zone).Format("-07:00"))
		case n == 2 && c.second:
			t = readings[1]
		default:
			t = readings[0]
		}
	}
	if leap {
		t = t.Add(time.Second)
		if t.Day() != 1 || t.Hour() != 0 || t.Minute() != 0 || t.Second() != 0 {
			return 0, "has a second 60 where no leap second can be"
		}
	}
	at := unit.Instant(t.UnixMicro())
	if !at.Known() {
		return 0, "is 1970-01-01 00:00 UTC, which a clock shows that was never set"
	}
	return at, ""
}

// locate returns the moments, earliest first, at which clocks in zone showed t's date and time: none
// in the hour that is left out in spring, two in the hour that is repeated in autumn.
//
// The offset of the day before is tried first: two readings differ because clocks were set back
// between them, so the one with the older offset is the earlier.
func locate(t time.Time, zone *time.Location) (readings [2]time.Time, n int) {
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, before := t.Add(near).In(zone).Zone()
		d := t.Add(-time.Duration(before) * time.Second)
		if _, actual := d.In(zone).Zone(); actual != before || (n == 1 && d.Equal(readings[0])) {
			continue
		}
		readings[n] = d
		n++
	}
	return readings, n
}

var strictClock = clock{layouts: []layout{rfc3339}, wanted: "2026-11-25T08:30:00+01:00 (with its offset)"}

// ParseTime reads an RFC 3339 date-time, strictly: an offset is needed and lies within ±23:59, the
// fraction follows a point, T and Z may be lower case. A leap second, 23:59:60 UTC at a month's
// end, is read as the start of the following second; parts of a microsecond are dropped.
func ParseTime(text string) (unit.Instant, error) {
	at, problem := strictClock.parse([]byte(text))
	if problem != "" {
		return 0, fmt.Errorf("%q %s", shorten(text), problem)
	}
	return at, nil
}
