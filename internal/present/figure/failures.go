package figure

import (
	"fmt"
	"math"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
)

// Shares draws the share of verifications over the action level by periods.
func Shares(title string, periods []desk.Period, a trend.AttributeChart, zone *time.Location) chart.Control {
	c := chart.Control{
		Meta: chart.Meta{
			Title: title,
			Desc: fmt.Sprintf(
				"Shares vary %.2f times as widely as chance alone would have them. Signals: X a share outside its limits. %s",
				a.SigmaZ,
				caution,
			),
		},
		Location: zone,
	}
	c.Main.Y = chart.Axis{Label: "over the action level", Scale: chart.Percent}
	for i, p := range periods {
		x := a.Points[i]
		c.Main.Points = append(c.Main.Points, chart.ControlPoint{
			At: (p.From + (p.To-p.From)/2).Time(), Y: x.Value, Signal: onlyIf(x.Crossing != 0, "X"),
			Title: fmt.Sprintf("from %s: %d of %.0f", p.From.In(zone), p.Failures, p.Trials),
		})
		c.Main.Limits = append(c.Main.Limits, chart.Limits{From: p.From.Time(), To: p.To.Time(), Centre: a.Centre, Lower: x.Lower, Upper: x.Upper})
	}
	return c
}

// Gaps draws how many verifications lay between those over the action level; each point leads to the reading that
// was over it.
func Gaps(title string, b desk.Between, g trend.GChart, zone *time.Location, places Places) chart.Control {
	return between(title, "first tests since the one before", b, b.Gaps, g.Gap, 0, g.Quantile(tripleSigma), zone, places)
}

// Times draws how many days lay between verifications over the action level; each point leads to the reading that
// was over it.
func Times(title string, b desk.Between, t trend.TChart, zone *time.Location, places Places) chart.Control {
	return between(title, "days since the one before", b, b.Days, t.Centre, t.Lower, t.Upper, zone, places)
}

// tripleSigma is the probability of a normal value up to three standard deviations above its mean, to
// which the upper limit of gaps is set.
const tripleSigma = 0.99865

func between(title, label string, b desk.Between, values []float64, centre, lower, upper float64, zone *time.Location, places Places) chart.Control {
	c := chart.Control{
		Meta:     chart.Meta{Title: title, Desc: "A long way to the one before is good news. Signals: X outside the limits. " + caution},
		Location: zone,
	}
	c.Main.Y = chart.Axis{Label: label}
	for i, v := range values {
		at := b.Failures[i+1]
		c.Main.Points = append(c.Main.Points, chart.ControlPoint{
			At:     at.At.Time(),
			Y:      v,
			Signal: onlyIf(v > upper || v < lower, "X"),
			Href:   places.record(at.Reading),
			Title:  fmt.Sprintf("%s at %s: %.0f", at.Scope, at.At.In(zone), v),
		})
	}
	if lower == 0 {
		lower = math.NaN()
	}
	c.Main.Limits = []chart.Limits{{Centre: centre, Lower: lower, Upper: upper}}
	return c
}

// burst is how many failures in a row are looked at for coming too close together.
const burst = 3

// FailureWords says in sentences what the charts of failures say: how many verifications fail, how far apart, and
// whether the last ones came too close together.
func FailureWords(shares trend.AttributeChart, b desk.Between) []string {
	words := []string{
		fmt.Sprintf(
			"Overall %s of first tests were over the action level; shares vary %.2f times as widely as chance alone would have them, and the limits are as wide.",
			Percent(shares.Centre),
			shares.SigmaZ,
		),
	}
	gaps, err := trend.NewGChart(b.Gaps)
	if err != nil {
		return words
	}
	words = append(
		words,
		fmt.Sprintf(
			"One in %.1f first tests on average; %d first tests since the last. More than %.0f would be a signal that fewer fail.",
			gaps.Gap+1,
			b.Since,
			gaps.Quantile(tripleSigma),
		),
	)
	times, err := trend.NewTChart(b.Days)
	uses, days, ok := b.Burst(burst)
	if err == nil && ok {
		words = append(
			words,
			fmt.Sprintf(
				"The last %d came within %.0f cleaning verifications (as close by chance: %.2g) and %.1f days (%.2g).",
				burst,
				uses+burst,
				gaps.Burst(burst, uses),
				days,
				times.Burst(burst, days),
			),
		)
	}
	return words
}

// Percent writes a share.
func Percent(p float64) string { return fmt.Sprintf("%.1f %%", 100*p) }
