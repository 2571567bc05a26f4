// Package figure makes the pictures of package chart from what the desk answers: which numbers go
// where, in which words, and where a point leads. It computes no statistics and draws nothing.
//
// The same pictures serve the command line, the pages and the reports.
package figure

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
)

// Places says where things are to be found: each function returns a link, or "" for none. The zero
// value links nothing.
type Places struct {
	// Record is where a record is shown.
	Record func(id ledger.ID) string
}

func (p Places) record(id ledger.ID) string {
	if p.Record == nil || id == "" {
		return ""
	}
	return p.Record(id)
}

// rluAxis shows log10 of readings, labelled in RLU; see [place].
func rluAxis(system string) chart.Axis {
	return chart.Axis{Label: strings.TrimSpace(system + " reading"), Unit: "RLU", Scale: chart.LogValues}
}

// place returns where a reading stands on a logarithmic axis. A reading of 0 has no logarithm and is
// put where ½ would be.
func place(rlu float64) float64 { return math.Log10(max(rlu, 0.5)) }

// back returns where log10(RLU+1), on which the charts compute, stands on the axis.
func back(y float64) float64 { return place(trend.RLU(y)) }

// View is which chart of a series is drawn.
type View string

// The charts of a series.
const (
	Single   View = "single"
	Weighted View = "weighted"
	Sums     View = "sums"
)

// Views lists every chart of a series.
var Views = []View{Single, Weighted, Sums}

// Control draws a series: its readings, the baseline and limits, what happened and what the charts
// say. levels are drawn where the readings are.
func Control(s desk.Series, view View, levels []reading.Level, zone *time.Location, places Places) chart.Control {
	c := chart.Control{
		Meta:     chart.Meta{Title: fmt.Sprintf("%s, %s", s.Key.Scope, s.Key.Point)},
		Location: zone,
	}
	c.Main.Y = rluAxis(s.Key.System)
	for _, b := range s.Breaks {
		c.Breaks = append(c.Breaks, chart.Break{At: b.At.Time(), Reason: string(b.Reason)})
	}
	b := s.Baseline
	if b == nil {
		c.Desc = s.Why + ". " + caution
		for _, p := range s.Points {
			c.Main.Points = append(c.Main.Points, reads(p, places, zone))
		}
		c.Main.Levels = levelLines(levels)
		return c
	}
	c.Baselines = []chart.Period{{From: b.First.Time(), To: b.Last.Time(), Label: "baseline"}}
	if a := latestChange(s); a != nil {
		c.Change = &chart.Period{From: a.Since.After.Time(), To: a.Since.Until.Time(), Label: "change began"}
	}
	desc := []string{}
	if s.Provisional {
		desc = append(desc, "Nobody has adopted this baseline and its limits: they are provisional.")
	}
	c.Desc = strings.Join(append(desc, signalKey, caution), " ")
	d := drawing{Series: s, places: places, zone: zone, chart: &c}
	switch view {
	case Weighted:
		d.weighted()
	case Sums:
		d.sums()
	case Single:
		d.single()
		c.Main.Levels = levelLines(levels)
	}
	return c
}

// caution stands under every picture of readings.
const caution = "ATP shows organic residue, not sterility."

const signalKey = "Signals: I a single reading, M the step from the one before, E the weighted mean, C the sum of deviations, a number a run rule."

// latestChange returns the last signal that dates a change.
func latestChange(s desk.Series) *trend.Signal {
	for i := len(s.Watched.Signals) - 1; i >= 0; i-- {
		if a := &s.Watched.Signals[i]; a.Since != nil {
			return a
		}
	}
	return nil
}

func levelLines(levels []reading.Level) (lines []chart.Level) {
	for _, l := range levels {
		if l.Alert > 0 {
			lines = append(lines, chart.Level{Value: place(float64(l.Alert)), Label: "alert level", Kind: chart.AlertLevel})
		}
		lines = append(lines, chart.Level{Value: place(float64(l.Action)), Label: "action level", Kind: chart.ActionLevel})
	}
	return lines
}

// reads is a reading as a point of the chart.
func reads(p trend.Point, places Places, zone *time.Location) chart.ControlPoint {
	return chart.ControlPoint{
		At: p.At.Time(), Y: place(p.Value), Href: places.record(p.ID),
		Title: fmt.Sprintf("%s: %s RLU", p.At.In(zone), unit.Number(p.Value)),
	}
}

// drawing puts one series into a chart.
type drawing struct {
	desk.Series
	places Places
	zone   *time.Location
	chart  *chart.Control
}

// step is what the charts said at one reading.
type step struct {
	z       float64
	reached trend.State
	flags   trend.Flags
}

// steps runs the charts over the readings after the baseline.
func (d drawing) steps() []step {
	m := d.Monitor()
	state := m.Start()
	var steps []step
	for _, p := range d.After() {
		x := step{z: m.Z(p.Value)}
		state, x.reached, x.flags = m.Step(state, x.z)
		steps = append(steps, x)
	}
	return steps
}

func (x step) signal() string {
	var words []string
	add := func(on bool, word string) {
		if on {
			words = append(words, word)
		}
	}
	add(x.flags.Individuals != 0, "I")
	add(x.flags.MovingRange, "M")
	add(x.flags.EWMA != 0, "E")
	add(x.flags.CUSUM != 0, "C")
	for _, r := range trend.AllRules {
		add(x.flags.Rules.Has(r), fmt.Sprint(int(r)))
	}
	return strings.Join(words, " ")
}

// single draws the readings with the limits of single ones.
func (d drawing) single() {
	b := d.Baseline
	out := map[ledger.ID]bool{}
	for _, s := range b.Screened {
		out[s.ID] = true
	}
	steps := d.steps()
	for i, p := range d.Points {
		point := reads(p, d.places, d.zone)
		point.Excluded = out[p.ID]
		if i >= d.From {
			point.Signal = steps[i-d.From].signal()
		}
		d.chart.Main.Points = append(d.chart.Main.Points, point)
	}
	d.limits(float64(b.Mean), float64(b.Sigma)*float64(d.Design.Share(trend.IndividualsChart).Limit))
}

// limits adds limits at a distance from the centre, both on the scale of the charts; a chart that is
// off has the centre alone.
func (d drawing) limits(centre, distance float64) {
	l := chart.Limits{From: d.Baseline.First.Time(), Centre: back(centre), Lower: math.NaN(), Upper: math.NaN()}
	if distance > 0 {
		l.Lower, l.Upper = back(centre-distance), back(centre+distance)
	}
	d.chart.Main.Limits = []chart.Limits{l}
}

// weighted draws the weighted mean with the readings as dots behind it.
func (d drawing) weighted() {
	b := d.Baseline
	mean, sigma := float64(b.Mean), float64(b.Sigma)
	dots := chart.Trace{Label: "single readings", Dots: true}
	for i, x := range d.steps() {
		p := d.After()[i]
		point := reads(p, d.places, d.zone)
		point.Title = fmt.Sprintf("%s: weighted mean %.0f RLU after %s RLU", p.At.In(d.zone), trend.RLU(mean+sigma*x.reached.EWMA.Mean), unit.Number(p.Value))
		dots.Y = append(dots.Y, point.Y)
		point.Y, point.Signal = back(mean+sigma*x.reached.EWMA.Mean), onlyIf(x.flags.EWMA != 0, "E")
		d.chart.Main.Points = append(d.chart.Main.Points, point)
	}
	d.chart.Main.Traces = []chart.Trace{dots}
	share := d.Design.Share(trend.EWMAChart)
	lambda := float64(d.Design.Promise.Lambda)
	d.limits(mean, sigma*float64(share.Limit)*math.Sqrt(lambda/(2-lambda)))
}

// sums draws the sums of deviations upward and, beneath, downward.
func (d drawing) sums() {
	limit := float64(d.Design.Share(trend.CUSUMChart).Limit)
	limits := []chart.Limits{{Lower: math.NaN(), Centre: 0, Upper: limit}}
	if limit == 0 {
		limits[0].Upper = math.NaN()
	}
	panel := func(name string) chart.Panel {
		return chart.Panel{Y: chart.Axis{Label: name, Unit: "sd"}, Limits: limits}
	}
	up, down := panel("sum upward"), panel("sum downward")
	for i, x := range d.steps() {
		p := d.After()[i]
		point := reads(p, d.places, d.zone)
		point.Title = fmt.Sprintf(
			"%s: upward %.1f, downward %.1f after %s RLU",
			p.At.In(d.zone),
			x.reached.CUSUM.Up,
			x.reached.CUSUM.Down,
			unit.Number(p.Value),
		)
		point.Y, point.Signal = x.reached.CUSUM.Up, onlyIf(x.flags.CUSUM > 0, "C")
		up.Points = append(up.Points, point)
		point.Y, point.Signal = x.reached.CUSUM.Down, onlyIf(x.flags.CUSUM < 0, "C")
		down.Points = append(down.Points, point)
	}
	d.chart.Main, d.chart.Range = up, &down
}

func onlyIf(on bool, word string) string {
	if on {
		return word
	}
	return ""
}

// funnelSteps is from how many sizes the limits of a funnel are drawn.
const funnelSteps = 120

// Funnel draws people, scopes or lots with how often their verifications or readings were over the action
// level, with the limits that chance alone explains.
func Funnel(title, what string, f trend.Funnel) chart.Funnel {
	c := chart.Funnel{
		Meta: chart.Meta{Title: title, Desc: "Within the limits there is nothing to rank: units differ there by chance alone. " + caution},
		X:    chart.Axis{Label: "number of " + what}, Y: chart.Axis{Label: "over the action level", Scale: chart.Percent}, Overall: f.Target,
	}
	most := 1
	for _, u := range f.Units {
		most = max(most, u.Trials)
		c.Units = append(c.Units, chart.Unit{
			Label: u.Name, Size: float64(u.Trials), Value: u.Proportion, Outside: u.Beyond != 0,
			Title: fmt.Sprintf("%s: %d of %d", u.Name, u.Failures, u.Trials),
		})
	}
	for _, pair := range []struct {
		label string
		tail  float64
	}{{"95 %", 0.025}, {"99.8 %", 0.001}} {
		exact, wide := chart.Funnelling{Label: pair.label}, chart.Funnelling{Label: pair.label + " with spread", Adjusted: true}
		last := 0
		for i := 1; i <= funnelSteps; i++ {
			n := max(1, most*11*i/(10*funnelSteps))
			if n == last {
				continue
			}
			last = n
			exact.X = append(exact.X, float64(n))
			exact.Lo = append(exact.Lo, max(0, trend.FunnelLimit(n, f.Target, pair.tail)))
			exact.Hi = append(exact.Hi, min(1, trend.FunnelLimit(n, f.Target, 1-pair.tail)))
			if f.OverDispersed {
				l := f.LimitsAt(n, pair.tail)
				wide.X, wide.Lo, wide.Hi = append(wide.X, float64(n)), append(wide.Lo, l.Lo), append(wide.Hi, l.Hi)
			}
		}
		c.Limits = append(c.Limits, exact)
		if f.OverDispersed {
			c.Limits = append(c.Limits, wide)
		}
	}
	return c
}
