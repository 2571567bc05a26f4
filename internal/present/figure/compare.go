package figure

import (
	"fmt"
	"math"

	"rinsate/internal/domain/quality"
	"rinsate/internal/present/chart"
)

// Ratios draws how often which ratio of new to old was read, with the margin and the mean ratio.
func Ratios(title string, pairs []quality.Pair, found quality.Paired, p quality.Plan) chart.Histogram {
	h := chart.Histogram{
		Meta: chart.Meta{Title: title, Desc: "Within the margin a level may stay; the ratio is never a factor to convert readings with."},
		X:    chart.Axis{Label: "new to old", Scale: chart.Log}, Y: chart.Axis{Label: "pairs"},
		Bins: ratioBins(pairs),
	}
	margin := float64(p.Margin)
	h.Levels = []chart.Level{{Value: 1 / margin, Label: "margin"}, {Value: margin, Label: "margin"}}
	if found.Ratio > 0 {
		h.Levels = append(h.Levels, chart.Level{Value: found.Ratio, Label: "mean", Lo: found.RatioCI.Lo, Hi: found.RatioCI.Hi})
	}
	return h
}

// ratioBins counts the ratios in bins of equal width on the logarithm, about √n of them, that cover all.
func ratioBins(pairs []quality.Pair) []chart.Bin {
	logs := make([]float64, 0, len(pairs))
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range pairs {
		if p.Old > 0 && p.New > 0 {
			x := math.Log10(float64(p.New / p.Old))
			logs = append(logs, x)
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	if len(logs) == 0 {
		return nil
	}
	n := min(max(int(math.Ceil(math.Sqrt(float64(len(logs))))), 3), 20)
	width := (hi - lo) / float64(n)
	if width == 0 {
		width = 0.02
		lo -= width * float64(n) / 2
	}
	bins := make([]chart.Bin, n)
	for i := range bins {
		bins[i].From, bins[i].To = math.Pow(10, lo+float64(i)*width), math.Pow(10, lo+float64(i+1)*width)
	}
	for _, x := range logs {
		bins[min(max(int((x-lo)/width), 0), n-1)].Count++
	}
	for i := range bins {
		bins[i].Title = fmt.Sprintf("%.2f to %.2f: %.0f", bins[i].From, bins[i].To, bins[i].Count)
	}
	return bins
}

// Agreement draws the mean ratio and the limits of agreement with their intervals.
func Agreement(title string, found quality.Paired) chart.Forest {
	f := chart.Forest{
		Meta: chart.Meta{Title: title, Desc: "About 95 % of single ratios lie between the limits of agreement."},
		X:    chart.Axis{Label: "new to old", Scale: chart.Log}, Null: 1, Columns: []string{"ratio"},
	}
	for _, e := range []struct {
		name       string
		at, lo, hi float64
	}{
		{"upper limit of agreement", found.Limits.Hi, found.UpperCI.Lo, found.UpperCI.Hi},
		{"mean ratio", found.Ratio, found.RatioCI.Lo, found.RatioCI.Hi},
		{"lower limit of agreement", found.Limits.Lo, found.LowerCI.Lo, found.LowerCI.Hi},
	} {
		f.Effects = append(f.Effects, chart.Effect{Label: e.name, Estimate: e.at, Lo: e.lo, Hi: e.hi, Cells: []string{fmt.Sprintf("%.2f", e.at)}})
	}
	return f
}

// Gauge draws the components of a gauge study as standard deviations with their intervals.
func Gauge(title string, g quality.Gauge) chart.Forest {
	f := chart.Forest{
		Meta: chart.Meta{Title: title, Desc: "How far readings spread from each source alone."},
		X:    chart.Axis{Label: "standard deviation of log10 RLU"}, Null: math.NaN(), Columns: []string{"of the spread"},
	}
	for _, c := range g.Components() {
		if c.Name == quality.GaugeName {
			c.Name = "the measurement" // the whole name has no room
		}
		f.Effects = append(f.Effects, chart.Effect{
			Label:    c.Name,
			Estimate: c.SD,
			Lo:       math.Sqrt(max(0, c.CI.Lo)),
			Hi:       math.Sqrt(max(0, c.CI.Hi)),
			Cells:    []string{fmt.Sprintf("%.0f %%", 100*c.StudyVariation)},
		})
	}
	return f
}
