package figure

import (
	"fmt"
	"math"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/chart"
)

// histogramBins is about how many bars a histogram has.
const histogramBins = 24

// Baseline draws the readings of a baseline that count, on a logarithmic axis, with the fitted
// distribution and the candidates.
func Baseline(samples []level.Sample, d level.Derivation, proposed reading.Level) chart.Histogram {
	h := chart.Histogram{
		Meta: chart.Meta{Title: "Baseline: " + targetWords(d.Plan.Target), Desc: caution},
		X:    chart.Axis{Label: "reading", Unit: "RLU", Scale: chart.LogValues}, Y: chart.Axis{Label: "readings"},
	}
	out := map[string]bool{}
	for _, x := range d.Excluded {
		out[x.ID] = true
	}
	var logs []float64
	censored := 0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range samples {
		if out[s.ID] {
			continue
		}
		if s.Value <= d.Plan.Detection {
			censored++
			continue
		}
		x := place(float64(s.Value))
		logs = append(logs, x)
		lo, hi = min(lo, x), max(hi, x)
	}
	if len(logs) == 0 {
		return h
	}
	width := max((hi-lo)/histogramBins, 0.01)
	counts := make([]float64, int((hi-lo)/width)+1)
	for _, x := range logs {
		counts[int((x-lo)/width)]++
	}
	for i, n := range counts {
		h.Bins = append(h.Bins, chart.Bin{From: lo + float64(i)*width, To: lo + float64(i+1)*width, Count: n})
	}
	if censored > 0 {
		h.Bins = append([]chart.Bin{{From: lo - width, To: lo, Count: float64(censored), Censored: true}}, h.Bins...)
	}
	if f := d.Fit; f != nil {
		h.Fitted = fitted(float64(f.Mean), float64(f.SD), lo, hi, width, float64(len(logs)+censored))
	}
	if proposed.Action == 0 {
		return h
	}
	if proposed.Alert > 0 {
		h.Levels = append(h.Levels, candidateLine("alert", d.Alert, chart.AlertLevel, float64(proposed.Alert)))
	}
	h.Levels = append(h.Levels, candidateLine("action", d.Action, chart.ActionLevel, float64(proposed.Action)))
	return h
}

// NamedLevel is a level with the name that a picture gives it.
type NamedLevel struct {
	Name string
	reading.Level
}

// BaselineUnder draws the readings of a baseline that count with the action levels of several levels.
func BaselineUnder(samples []level.Sample, d level.Derivation, levels ...NamedLevel) chart.Histogram {
	h := Baseline(samples, d, reading.Level{})
	h.Title = "Readings of the period: " + targetWords(d.Plan.Target)
	h.Fitted = chart.Fitted{} // nothing is derived here
	for i, l := range levels {
		kind := chart.ActionLevel
		if i > 0 {
			kind = chart.OtherLevel
		}
		at := place(float64(l.Action))
		h.Levels = append(h.Levels, chart.Level{Label: l.Name, Kind: kind, Value: at, Lo: at, Hi: at})
	}
	return h
}

func targetWords(t level.Target) string {
	words := fmt.Sprintf("%s, %s with %s", t.Point, t.System, t.Kit)
	if t.Kind != "" {
		words += ", " + string(t.Kind)
	}
	return words
}

// fitted is the normal density of log10 in the unit of the bars.
func fitted(meanLn, sdLn, lo, hi, width, n float64) chart.Fitted {
	mean, sd := meanLn/math.Ln10, sdLn/math.Ln10
	f := chart.Fitted{Label: "log-normal"}
	const steps = 120
	for i := range steps + 1 {
		x := lo + (hi+2*width-lo)*float64(i)/steps
		z := (x - mean) / sd
		f.X = append(f.X, x)
		f.Y = append(f.Y, n*width*math.Exp(-z*z/2)/(sd*math.Sqrt(2*math.Pi)))
	}
	return f
}

// candidateLine is a proposed level with the interval of the first method that proposes it; one that none
// proposes has no interval.
func candidateLine(name string, p level.Percentile, kind chart.LevelKind, value float64) chart.Level {
	l := chart.Level{Label: name, Kind: kind, Value: place(value)}
	l.Lo, l.Hi = l.Value, l.Value
	for _, c := range p.Candidates {
		if c.Interval != nil && float64(c.Level) == value {
			l.Lo, l.Hi = place(float64(c.Interval.Lo)), place(float64(c.Interval.Hi))
			break
		}
	}
	return l
}

// Discrimination draws how well readings tell positive from negative scopes, with the level and the
// best cut.
func Discrimination(pairs []level.Pair, r level.Reference) (chart.ROC, error) {
	values, truth := make([]float64, len(pairs)), make([]bool, len(pairs))
	for i, p := range pairs {
		values[i], truth[i] = float64(p.Value), p.Positive
	}
	roc, err := stats.NewROC(values, truth)
	if err != nil {
		return chart.ROC{}, err
	}
	curve := chart.ROCCurve{
		Label: "readings", Note: fmt.Sprintf("area %.2f (%.2f to %.2f)", float64(r.Area.Value), float64(r.Area.Interval.Lo), float64(r.Area.Interval.Hi)),
	}
	for c := range roc.Cuts() {
		sensitivity := float64(c.TruePositive) / float64(c.Positives())
		falsePositive := float64(c.FalsePositive) / float64(c.Negatives())
		p := chart.ROCPoint{FalsePositive: falsePositive, Sensitivity: sensitivity}
		if !math.IsInf(c.At, 0) {
			p.Title = fmt.Sprintf("at or over %.0f RLU: sensitivity %.0f %%, specificity %.0f %%", c.At, 100*sensitivity, 100*(1-falsePositive))
		}
		if r.Best != nil && c.At == float64(r.Best.Cut) {
			p.Chosen, p.Label = true, fmt.Sprintf("best cut %.0f", c.At)
		}
		curve.Points = append(curve.Points, p)
	}
	level := chart.ROCCurve{Label: fmt.Sprintf("action level %s", r.AtLevel.Action), Points: []chart.ROCPoint{{
		FalsePositive: 1 - float64(r.AtLevel.Specificity.Value), Sensitivity: float64(r.AtLevel.Sensitivity.Value),
		Chosen: true, Label: fmt.Sprintf("action level %s", r.AtLevel.Action),
	}}}
	return chart.ROC{
		Meta:   chart.Meta{Title: "Readings against cultures", Desc: r.Sentence + ". " + caution},
		Curves: []chart.ROCCurve{curve, level},
	}, nil
}

// Curve is what a level does to scopes of known cleanliness for one number of points.
type Curve struct {
	Label string
	X, P  []float64
}

// Operation draws the probability that a scope is cleaned again or put on hold, against its true median. Of more
// than one level each action level is named by its source.
func Operation(title, desc string, curves []Curve, levels ...reading.Level) chart.OC {
	c := chart.OC{
		Meta: chart.Meta{Title: title, Desc: desc + " " + caution},
		X:    chart.Axis{Label: "true median", Unit: "RLU", Scale: chart.Log}, Y: chart.Axis{Label: "probability", Scale: chart.Percent},
	}
	for _, l := range levels {
		label := "action level"
		if len(levels) > 1 {
			label += " " + l.Source
		}
		c.Levels = append(c.Levels, chart.Level{Value: float64(l.Action), Label: label, Kind: chart.ActionLevel})
	}
	for _, x := range curves {
		c.Curves = append(c.Curves, chart.OCCurve{Label: x.Label, X: x.X, P: x.P})
	}
	return c
}
