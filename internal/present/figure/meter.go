package figure

import (
	"fmt"
	"math"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/chart"
)

// Checks draws one control of a meter over time with what it should read; a control leads to its check.
func Checks(
	m quality.Meter,
	kind quality.ControlKind,
	material string,
	checks []desk.CheckLine,
	targets []quality.Target,
	zone *time.Location,
	places Places,
) chart.Control {
	c := chart.Control{
		Meta:     chart.Meta{Title: fmt.Sprintf("Meter %s, %s control: %s", m.Code, kind, material), Desc: "Signals: X a rejected check."},
		Location: zone,
	}
	c.Main.Y = rluAxis(m.System)
	var last quality.Control
	for _, x := range checks {
		for _, k := range x.Controls {
			if k.Kind != kind || k.Material != material {
				continue
			}
			last = k
			c.Main.Points = append(c.Main.Points, chart.ControlPoint{
				Href: places.record(x.ID), At: k.At.Time(), Y: place(float64(k.Value)), Signal: onlyIf(x.Verdict.Outcome == quality.Rejected, "X"),
				Title: fmt.Sprintf("%s: %s RLU, %s", k.At.In(zone), k.Value, x.Verdict.Outcome),
			})
		}
		if x.Serviced != "" {
			c.Breaks = append(c.Breaks, chart.Break{At: x.Verdict.At.Time(), Reason: x.Serviced})
		}
	}
	t, ok := quality.FindTarget(targets, m, last)
	if !ok {
		return c
	}
	l := chart.Limits{Centre: math.NaN(), Lower: math.NaN(), Upper: math.NaN()}
	if t.Charted() {
		l.Centre, l.Lower, l.Upper = back(float64(t.Mean)), back(float64(t.Mean-3*t.SD)), back(float64(t.Mean+3*t.SD))
		c.Main.Zones = true
		c.Main.Limits = []chart.Limits{l}
	}
	for _, limit := range []struct {
		value unit.Number
		label string
	}{{t.Low, "lower limit"}, {t.High, "upper limit"}} {
		if limit.value > 0 {
			c.Main.Levels = append(c.Main.Levels, chart.Level{Value: place(float64(limit.value)), Label: limit.label, Kind: chart.ActionLevel})
		}
	}
	return c
}
