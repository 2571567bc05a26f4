package figure

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/words"
)

// Standing says how a series stands, as a shape and words.
func Standing(t words.Terms, s desk.Series) (shape, said string) {
	var last *trend.Signal
	if n := len(s.Watched.Signals); n > 0 {
		last = &s.Watched.Signals[n-1]
	}
	return StandingBy(t, s.Standing(), last)
}

// StandingBy says how a series stands by its standing and its last signal, which may be nil.
func StandingBy(t words.Terms, st desk.Standing, last *trend.Signal) (shape, said string) {
	switch {
	case st == desk.Unwatched:
		return "?", "no baseline"
	case last == nil:
		return "✓", "no signal"
	}
	m := t.Direction(last.Direction)
	if !last.Open {
		return m.Shape, m.Word + ", over"
	}
	return m.Shape, m.Word
}

// BaselineWord says what a series is held against.
func BaselineWord(b *trend.Baseline, provisional bool) string {
	switch {
	case b == nil:
		return "none"
	case provisional:
		return "provisional"
	}
	return "adopted"
}

// SignalWords says what a signal means, in the facility's time.
func SignalWords(a trend.Signal, zone *time.Location) string {
	text := a.First.Words
	if s := a.Since; s != nil {
		text += fmt.Sprintf(" Most likely since the reading of %s (95 %%: after %s, not later than %s), from about %.0f to about %.0f RLU.",
			s.At.In(zone), known(s.After, zone), s.Until.In(zone), float64(s.Before), float64(s.Now))
	}
	return text
}

func known(at unit.Instant, zone *time.Location) string {
	if !at.Known() {
		return "an unknown time"
	}
	return at.In(zone)
}

// ShareWords says what one chart does: its limit, how rarely it signals falsely, and after how many
// readings it finds what.
func ShareWords(s trend.Share) string {
	text := string(s.Chart)
	if s.Rule != 0 {
		text += fmt.Sprintf(" %d (%s)", int(s.Rule), s.Rule.Pattern())
	}
	if s.Limit > 0 {
		text += fmt.Sprintf(": limit %.2f", float64(s.Limit))
	}
	parts := []string{fmt.Sprintf("%s, a false signal in %.0f readings", text, 1/float64(s.Rate))}
	for _, d := range s.Delays {
		parts = append(parts, fmt.Sprintf("a shift of %s found after %.1f", d.Shift, float64(d.Readings)))
	}
	return strings.Join(parts, "; ")
}

// Signal names the charts that signal at a reading, as the charts do: I a single reading, M the step from
// the one before, E the weighted mean, C the sum of deviations, a number a run rule.
func Signal(f trend.Flags) string { return step{flags: f}.signal() }

// Between cuts a chart down to the points from one instant to another, both included, with what lies about
// them.
func Between(c chart.Control, from, to time.Time) chart.Control {
	c.Main = panelBetween(c.Main, from, to)
	if c.Range != nil {
		low := panelBetween(*c.Range, from, to)
		c.Range = &low
	}
	var baselines []chart.Period
	for _, b := range c.Baselines {
		if b, ok := within(b, from, to); ok {
			baselines = append(baselines, b)
		}
	}
	c.Baselines = baselines
	if c.Change != nil {
		change, ok := within(*c.Change, from, to)
		if c.Change = &change; !ok {
			c.Change = nil
		}
	}
	var breaks []chart.Break
	for _, b := range c.Breaks {
		if !b.At.Before(from) && !b.At.After(to) {
			breaks = append(breaks, b)
		}
	}
	c.Breaks = breaks
	return c
}

func panelBetween(p chart.Panel, from, to time.Time) chart.Panel {
	traces := make([]chart.Trace, len(p.Traces))
	for i, t := range p.Traces {
		traces[i] = chart.Trace{Label: t.Label, Dots: t.Dots}
	}
	var points []chart.ControlPoint
	for i, q := range p.Points {
		if q.At.Before(from) || q.At.After(to) {
			continue
		}
		points = append(points, q)
		for j, t := range p.Traces {
			if i < len(t.Y) {
				traces[j].Y = append(traces[j].Y, t.Y[i])
			}
		}
	}
	p.Points, p.Traces = points, traces
	return p
}

func within(p chart.Period, from, to time.Time) (chart.Period, bool) {
	if p.From.Before(from) {
		p.From = from
	}
	if p.To.IsZero() || p.To.After(to) {
		p.To = to
	}
	return p, !p.From.After(p.To)
}
