package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Control is a control chart: values in time with their centre line and limits, and with what
// happened meanwhile. The values may be readings, moving averages, cumulative sums: the caller
// computes, this draws.
type Control struct {
	Meta
	Main      Panel
	Range     *Panel         // a second panel beneath on the same time, for the moving range
	Baselines []Period       // phases from which limits were set: shaded
	Change    *Period        // the interval in which a change began: shaded and edged
	Breaks    []Break        // vertical lines at which the process changed by intent
	Location  *time.Location // for the calendar; UTC if nil
}

// Panel is one plot of a control chart.
type Panel struct {
	Y      Axis
	Points []ControlPoint // any order; equal times keep theirs
	Limits []Limits
	Zones  bool // thin lines at one and two thirds of the way from the centre to each limit
	Levels []Level
	Traces []Trace
}

// ControlPoint is one value. A point without time or without a finite value (of a logarithmic axis:
// a positive one) is a gap.
type ControlPoint struct {
	At       time.Time
	Y        float64
	Signal   string // numbers of the rules that it breaks, such as "1" or "2, 5"; empty for none
	Excluded bool   // an outlier that the limits leave out: drawn hollow, the line passes it by
	Title    string // tooltip; date and value if empty
	Href     string // page of the point, or empty
}

// Limits holds from one instant to the next: centre line and limits, NaN where there is none. A zero
// From begins with the first point, a zero To ends with the picture.
type Limits struct {
	From, To             time.Time
	Centre, Lower, Upper float64
}

// LevelKind says what a level asks for.
type LevelKind uint8

// The kinds of level.
const (
	OtherLevel LevelKind = iota
	AlertLevel
	ActionLevel
)

// Level is a line at a value. Lo and Hi, unless equal, are the ends of its interval estimate, which
// a histogram shows.
type Level struct {
	Value  float64
	Label  string
	Kind   LevelKind
	Lo, Hi float64
}

func (k LevelKind) style() Style {
	switch k {
	case AlertLevel:
		return Style{Stroke: InkAlert, Width: 1.5, Dash: DashDot}
	case ActionLevel:
		return Style{Stroke: InkAction, Width: 1.5}
	case OtherLevel:
	}
	return Style{Stroke: InkLimit, Width: 1.5, Dash: Dotted}
}

// Trace is a further line in a panel: Y[i] belongs to Points[i] in the order they were given; NaN
// and what is missing at the end are gaps. With Dots it is small dots without a line, such as the
// single readings behind their moving average.
type Trace struct {
	Label string
	Y     []float64
	Dots  bool
}

// Period is a stretch of time. A zero From begins with the first point, a zero To ends with the last.
type Period struct {
	From, To time.Time
	Label    string
}

// Break is an instant at which the process was changed by intent, such as a repair or a new kit.
type Break struct {
	At     time.Time
	Reason string
}

// Height implements [Picture].
func (c Control) Height(width float64) float64 {
	h := min(max(0.42*width, 260), 440)
	if c.Range != nil {
		h += 110
	}
	return h
}

// thinAbove is the number of points of a panel up to which all are drawn.
const thinAbove = 2000

// Words implements [Picture].
func (c Control) Words() (title, desc string) {
	points := c.Main.sorted()
	if len(points) == 0 {
		return c.words("Control chart", "No data.")
	}
	location := locationOr(c.Location)
	signals, excluded := 0, 0
	for _, p := range points {
		if p.Signal != "" {
			signals++
		}
		if p.Excluded {
			excluded++
		}
	}
	say := []string{fmt.Sprintf("%s from %s to %s, %s.", counted(len(points), "point", "points"),
		dated(points[0].At, location), dated(points[len(points)-1].At, location), counted(signals, "signal", "signals"))}
	if excluded > 0 {
		say = append(say, counted(excluded, "outlier is", "outliers are")+" left out of the limits.")
	}
	if left := len(c.Main.Points) - len(points); left > 0 {
		say = append(say, counted(left, "point has", "points have")+" no date or no value that can be drawn.")
	}
	if n := len(c.Main.Limits); n > 0 {
		say = append(say, c.Main.limitWords(c.Main.Limits[n-1]))
	}
	for _, l := range c.Main.Levels {
		say = append(say, fmt.Sprintf("%s at %s.", sentence(l.Label, "level"), c.Main.Y.text(l.Value)))
	}
	for _, b := range c.Baselines {
		say = append(say, sentence(b.Label, "baseline")+" "+between(b, points, location)+".")
	}
	if c.Change != nil {
		say = append(say, sentence(c.Change.Label, "change began")+" "+between(*c.Change, points, location)+".")
	}
	for _, b := range c.Breaks {
		say = append(say, fmt.Sprintf("Break on %s: %s.", dated(b.At, location), clean(b.Reason)))
	}
	if len(points) > thinAbove {
		say = append(say, fmt.Sprintf("Of more than %d points only the smallest and the largest in each column of pixels are drawn, "+
			"and every signal and outlier.", thinAbove))
	}
	return c.words("Control chart", say...)
}

func (p Panel) limitWords(l Limits) string {
	parts := joined(", ",
		named("centre ", l.Centre, p.Y), named("lower limit ", l.Lower, p.Y), named("upper limit ", l.Upper, p.Y))
	if parts == "" {
		return ""
	}
	return "Latest limits: " + parts + "."
}

// named returns the name and the value, empty if there is none.
func named(name string, v float64, y Axis) string {
	if !finite(v) {
		return ""
	}
	return name + y.text(v)
}

// sentence returns the label, or its stand-in, with a capital.
func sentence(label, fallback string) string {
	if label = clean(label); label == "" {
		label = fallback
	}
	first := []rune(label)[0]
	return strings.ToUpper(string(first)) + strings.TrimPrefix(label, string(first))
}

func between(p Period, points []placed, location *time.Location) string {
	from, to := p.From, p.To
	if from.IsZero() {
		from = points[0].At
	}
	if to.IsZero() {
		to = points[len(points)-1].At
	}
	return "from " + dated(from, location) + " to " + dated(to, location)
}

// placed is a point that can be drawn, and where it was in the order given.
type placed struct {
	ControlPoint
	index int
}

// sorted returns the points that can be drawn, in time.
func (p Panel) sorted() []placed {
	points := make([]placed, 0, len(p.Points))
	for i, q := range p.Points {
		if _, ok := p.Y.place(q.Y); ok && !q.At.IsZero() {
			points = append(points, placed{q, i})
		}
	}
	slices.SortStableFunc(points, func(a, b placed) int { return a.At.Compare(b.At) })
	return points
}

// Table implements [Picture]: one row for each point, in time, those that cannot be drawn last.
func (c Control) Table() Table {
	title, _ := c.Words()
	location := locationOr(c.Location)
	t := Table{Caption: title, Header: []string{"Date", heading(c.Main.Y, "Value")}}
	for _, trace := range c.Main.Traces {
		t.Header = append(t.Header, clean(trace.Label))
	}
	limits := len(c.Main.Limits) > 0
	if limits {
		t.Header = append(t.Header, "Centre", "Lower limit", "Upper limit")
	}
	ranges := map[int64]float64{}
	if c.Range != nil {
		t.Header = append(t.Header, heading(c.Range.Y, "Range"))
		for _, p := range c.Range.sorted() {
			ranges[p.At.UnixMicro()] = p.Y
		}
	}
	t.Header = append(t.Header, "Signal", "Note")

	points := c.Main.sorted()
	drawn := make([]bool, len(c.Main.Points))
	for _, p := range points {
		drawn[p.index] = true
	}
	for i, p := range c.Main.Points {
		if !drawn[i] {
			points = append(points, placed{p, i})
		}
	}
	for _, p := range points {
		date := "–"
		if !p.At.IsZero() {
			date = dated(p.At, location)
		}
		row := []string{date, c.Main.Y.short(p.Y)}
		for _, trace := range c.Main.Traces {
			row = append(row, c.Main.Y.short(trace.value(p.index)))
		}
		if limits {
			l := c.Main.limitsAt(p.At)
			row = append(row, c.Main.Y.short(l.Centre), c.Main.Y.short(l.Lower), c.Main.Y.short(l.Upper))
		}
		if c.Range != nil {
			v, ok := ranges[p.At.UnixMicro()]
			if !ok {
				v = math.NaN()
			}
			row = append(row, c.Range.Y.short(v))
		}
		note := ""
		if p.Excluded {
			note = "left out of the limits"
		}
		t.Rows = append(t.Rows, append(row, clean(p.Signal), note))
	}
	return t
}

// heading is the header of a column of values.
func heading(a Axis, fallback string) string {
	if title := a.title(); title != "" {
		return title
	}
	return fallback
}

func (t Trace) value(i int) float64 {
	if i < 0 || i >= len(t.Y) {
		return math.NaN()
	}
	return t.Y[i]
}

// limitsAt returns the last limits that hold at an instant, NaN if none do.
func (p Panel) limitsAt(at time.Time) Limits {
	for _, l := range slices.Backward(p.Limits) {
		if (l.From.IsZero() || !at.Before(l.From)) && (l.To.IsZero() || !at.After(l.To)) {
			return l
		}
	}
	nan := math.NaN()
	return Limits{Centre: nan, Lower: nan, Upper: nan}
}
