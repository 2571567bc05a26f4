package chart_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"rinsate/internal/present/chart"
)

// The gallery is invented data that uses every part of every picture.

var (
	nan   = math.NaN()
	start = time.Date(2026, 1, 5, 9, 30, 0, 0, time.UTC)
)

func days(n float64) time.Time { return start.Add(time.Duration(n * 24 * float64(time.Hour))) }

type piece struct {
	name    string
	picture chart.Picture
}

func gallery() []piece {
	return []piece{
		{"control", controlChart()},
		{"ewma", ewmaChart()},
		{"crowded", crowdedChart()},
		{"funnel", funnelPlot()},
		{"roc", rocCurves()},
		{"oc", ocCurves()},
		{"forest", forestPlot()},
		{"histogram", histogram()},
		{"empty", chart.Control{Meta: chart.Meta{Title: "Nothing yet"}}},
	}
}

// controlChart has two baselines with their own limits, a repair, a change and a moving range.
func controlChart() chart.Control {
	random := rand.New(rand.NewPCG(7, 7))
	c := chart.Control{
		Meta: chart.Meta{Title: "Instrument channel, colonoscope C-07", Desc: "ATP shows organic residue, not sterility."},
		Main: chart.Panel{
			Y:     chart.Axis{Label: "After manual cleaning", Unit: "RLU", Scale: chart.LogValues},
			Zones: true,
			Limits: []chart.Limits{
				{To: days(88), Centre: 1.62, Lower: 1.05, Upper: 2.19},
				{From: days(91), Centre: 1.5, Lower: 0.98, Upper: 2.02},
			},
			Levels: []chart.Level{
				{Value: 2, Label: "alert", Kind: chart.AlertLevel},
				{Value: math.Log10(200), Label: "action", Kind: chart.ActionLevel},
			},
		},
		Range: &chart.Panel{
			Y:      chart.Axis{Label: "Moving range", Unit: "log10 RLU"},
			Limits: []chart.Limits{{Centre: 0.21, Lower: nan, Upper: 0.7}},
		},
		Baselines: []chart.Period{{To: days(42), Label: "baseline"}, {From: days(91), To: days(120), Label: "baseline 2"}},
		Change:    &chart.Period{From: days(128), To: days(139), Label: "change began"},
		Breaks:    []chart.Break{{At: days(89.5), Reason: "repair: new biopsy channel"}, {At: days(105), Reason: "new kit lot"}},
	}
	before := nan
	for i := range 48 {
		at, y := days(3.5*float64(i)), 1.62+0.19*random.NormFloat64()
		if i >= 26 {
			y -= 0.12
		}
		if i > 37 {
			y += 0.42
		}
		p := chart.ControlPoint{At: at, Y: y, Href: fmt.Sprintf("/samples/%d", 100+i)}
		switch {
		case i == 9:
			p.Y, p.Excluded = 2.62, true
		case i == 17:
			p.Y = nan
		case i >= 42 && i%2 == 0:
			p.Signal = "2"
		}
		if i >= 26 && p.Y > 2.02 {
			p.Signal = "1"
		}
		c.Main.Points = append(c.Main.Points, p)
		if step := math.Abs(p.Y - before); !math.IsNaN(step) && !p.Excluded {
			q := chart.ControlPoint{At: at, Y: step, Href: p.Href}
			if step > 0.7 {
				q.Signal = "1"
			}
			c.Range.Points = append(c.Range.Points, q)
		}
		before = p.Y
	}
	return c
}

// ewmaChart is a moving average with the readings behind it and limits that widen at the start.
func ewmaChart() chart.Control {
	random := rand.New(rand.NewPCG(3, 3))
	c := chart.Control{
		Meta: chart.Meta{Title: "Moving average, all gastroscopes"},
		Main: chart.Panel{Y: chart.Axis{Label: "EWMA of log10 RLU"}},
	}
	const lambda, sigma, centre = 0.2, 0.3, 1.7
	z := centre
	raw := chart.Trace{Label: "reading", Dots: true}
	target := chart.Trace{Label: "target"}
	for i := range 40 {
		x := centre + sigma*random.NormFloat64()
		if i > 24 {
			x += 0.3
		}
		z = lambda*x + (1-lambda)*z
		// Exact limits of the EWMA: D. C. Montgomery, Introduction to Statistical Quality Control, eq. 9.25.
		half := 2.7 * sigma * math.Sqrt(lambda/(2-lambda)*(1-math.Pow(1-lambda, 2*float64(i+1))))
		p := chart.ControlPoint{At: days(float64(i)), Y: z}
		if math.Abs(z-centre) > half {
			p.Signal = "E"
		}
		c.Main.Points = append(c.Main.Points, p)
		c.Main.Limits = append(c.Main.Limits, chart.Limits{
			From: days(float64(i) - 0.5), To: days(float64(i) + 0.5), Centre: centre, Lower: centre - half, Upper: centre + half,
		})
		raw.Y = append(raw.Y, x)
		target.Y = append(target.Y, centre-0.1+0.002*float64(i))
	}
	c.Main.Traces = []chart.Trace{raw, target}
	return c
}

// crowdedChart has more labels than there is room for, and levels close to each other.
func crowdedChart() chart.Control {
	c := chart.Control{
		Meta: chart.Meta{Title: "A crowded year with a title that is much too long for a telephone and goes on and on"},
		Main: chart.Panel{
			Y:      chart.Axis{Label: "Reading", Unit: "RLU"},
			Limits: []chart.Limits{{Centre: 100, Lower: 96, Upper: 104}},
			Levels: []chart.Level{
				{Value: 100, Label: "alert", Kind: chart.AlertLevel},
				{Value: 101, Label: "action level of the facility", Kind: chart.ActionLevel},
				{Value: 102, Label: "maker's limit"},
			},
		},
		Baselines: []chart.Period{{Label: "baseline of the first quarter"}},
	}
	for i := range 60 {
		p := chart.ControlPoint{At: days(6 * float64(i)), Y: 100 + 5*math.Sin(float64(i))}
		if i%3 == 0 {
			p.Signal = "1, 2, 5"
		}
		c.Main.Points = append(c.Main.Points, p)
	}
	for i := range 7 {
		c.Breaks = append(c.Breaks, chart.Break{At: days(250 + 14*float64(i)), Reason: fmt.Sprintf("repair %d: replacement of the distal end", i+1)})
	}
	return c
}

func funnelPlot() chart.Funnel {
	random := rand.New(rand.NewPCG(5, 5))
	const overall = 0.12
	f := chart.Funnel{
		Meta:    chart.Meta{Title: "Samples at or over the action level, by endoscope"},
		X:       chart.Axis{Label: "Samples"},
		Y:       chart.Axis{Label: "At or over action", Scale: chart.Percent},
		Overall: overall,
	}
	for i := range 34 {
		n := 10 + math.Floor(150*random.Float64())
		p := overall + math.Sqrt(overall*(1-overall)/n)*random.NormFloat64()
		u := chart.Unit{Label: fmt.Sprintf("G-%02d", i+1), Size: n, Value: max(0, math.Round(p*n)/n), Href: fmt.Sprintf("/scopes/%d", i)}
		switch i {
		case 7, 8:
			u.Size, u.Value, u.Outside = 88+float64(i), 0.27, true
		case 20:
			u.Size, u.Value, u.Outside, u.Label = 150, 0.24, true, "D-03 (duodenoscope)"
		}
		f.Units = append(f.Units, u)
	}
	for _, z := range []struct {
		label string
		z     float64
		extra bool
	}{{"95 %", 1.96, false}, {"99.8 %", 3.09, false}, {"99.8 % adjusted", 3.09 * 1.4, true}} {
		l := chart.Funnelling{Label: z.label, Adjusted: z.extra}
		for n := 5.0; n <= 180; n++ {
			half := z.z * math.Sqrt(overall*(1-overall)/n)
			l.X, l.Lo, l.Hi = append(l.X, n), append(l.Lo, max(0, overall-half)), append(l.Hi, overall+half)
		}
		f.Limits = append(f.Limits, l)
	}
	return f
}

func rocCurves() chart.ROC {
	curve := func(label, note string, power float64, chosen int) chart.ROCCurve {
		c := chart.ROCCurve{Label: label, Note: note}
		for i := range 21 {
			x := math.Pow(float64(i)/20, 2)
			p := chart.ROCPoint{FalsePositive: x, Sensitivity: math.Pow(x, power), Href: fmt.Sprintf("?at=%d", i)}
			if i == chosen {
				p.Chosen, p.Label = true, fmt.Sprintf("%d RLU", 400-20*i)
			}
			c.Points = append(c.Points, p)
			c.Band.X = append(c.Band.X, x)
			c.Band.Lo = append(c.Band.Lo, math.Pow(x, power*1.5))
			c.Band.Hi = append(c.Band.Hi, math.Pow(x, power*0.6))
		}
		return c
	}
	return chart.ROC{
		Meta: chart.Meta{Title: "ATP against culture"},
		Curves: []chart.ROCCurve{
			curve("instrument channel", "AUC 0.83 (0.76 to 0.9)", 0.2, 9),
			curve("outer distal end", "AUC 0.69 (0.6 to 0.78)", 0.45, 11),
		},
	}
}

func ocCurves() chart.OC {
	o := chart.OC{
		Meta:   chart.Meta{Title: "How often a scope is cleaned again"},
		X:      chart.Axis{Label: "True median", Unit: "RLU", Scale: chart.Log},
		Y:      chart.Axis{Label: "Probability of cleaning again", Scale: chart.Percent},
		Levels: []chart.Level{{Value: 100, Label: "alert", Kind: chart.AlertLevel}, {Value: 200, Label: "action", Kind: chart.ActionLevel}},
		Marks:  []chart.OCMark{{X: 200, P: 0.5, Label: "even"}},
	}
	for _, k := range []int{1, 2, 4, 8} {
		c := chart.OCCurve{Label: fmt.Sprintf("%d points", k)}
		if k == 1 {
			c.Label = "1 point"
		}
		for e := 1.0; e <= 3.3; e += 0.05 {
			one := 0.5 * math.Erfc((math.Log10(200)-e)/0.35/math.Sqrt2)
			c.X, c.P = append(c.X, math.Pow(10, e)), append(c.P, 1-math.Pow(1-one, float64(k)))
		}
		o.Curves = append(o.Curves, c)
	}
	return o
}

func forestPlot() chart.Forest {
	f := chart.Forest{
		Meta:    chart.Meta{Title: "Effects on the reading after cleaning"},
		X:       chart.Axis{Label: "Ratio of readings", Scale: chart.Log, Min: 0.25, Max: 4},
		Null:    1,
		Columns: []string{"Ratio (95 %)", "n"},
		Ranked:  true,
	}
	for i, e := range []struct {
		label       string
		est, lo, hi float64
	}{
		{"Delay over 60 minutes", 1.62, 1.3, 2.02},
		{"Elevator present", 2.1, 1.4, 5.2},
		{"Night shift", 1.08, 0.9, 1.3},
		{"Flushed with the aid of a pump", 0.71, 0.6, 0.84},
		{"New brush", 0.93, 0.8, 1.08},
		{"Channel repaired less than a year ago", 0.62, 0.15, 1.2},
		{"Person who cleaned it (unknown)", nan, nan, nan},
	} {
		row := chart.Effect{Label: e.label, Estimate: e.est, Lo: e.lo, Hi: e.hi, Href: fmt.Sprintf("/effects/%d", i)}
		row.Cells = []string{fmt.Sprintf("%.2f (%.2f to %.2f)", e.est, e.lo, e.hi), fmt.Sprint(120 + 17*i)}
		if math.IsNaN(e.est) {
			row.Cells[0] = "–"
		}
		f.Effects = append(f.Effects, row)
	}
	f.Effects = append(f.Effects, chart.Effect{Label: "All", Estimate: 1.05, Lo: 0.92, Hi: 1.2, Summary: true, Cells: []string{"1.05 (0.92 to 1.20)", "1421"}})
	return f
}

func histogram() chart.Histogram {
	h := chart.Histogram{
		Meta: chart.Meta{Title: "Readings of the instrument channel"},
		X:    chart.Axis{Label: "Reading", Unit: "RLU", Scale: chart.LogValues},
		Y:    chart.Axis{Label: "Readings"},
		Fitted: chart.Fitted{
			Label: "log-normal, median 40",
		},
		Levels: []chart.Level{
			{Value: 1.9, Lo: 1.82, Hi: 1.99, Label: "95th percentile"},
			{Value: 2.0, Label: "alert", Kind: chart.AlertLevel},
			{Value: 2.18, Lo: 2.05, Hi: 2.36, Label: "99th percentile"},
			{Value: 2.3, Label: "action", Kind: chart.ActionLevel},
		},
	}
	const centre, sigma, total = 1.6, 0.32, 400.0
	density := func(x float64) float64 {
		z := (x - centre) / sigma
		return total * 0.1 * math.Exp(-z*z/2) / sigma / math.Sqrt(2*math.Pi)
	}
	for i := range 20 {
		from := 0.7 + 0.1*float64(i)
		wobble := 1 + 0.2*math.Sin(5*float64(i))
		h.Bins = append(h.Bins, chart.Bin{
			From: from, To: from + 0.1, Count: math.Round(density(from+0.05) * wobble), Censored: i == 0, Href: fmt.Sprintf("?bin=%d", i),
		})
	}
	h.Bins[0].Count = 14
	for x := 0.7; x <= 2.71; x += 0.02 {
		h.Fitted.X, h.Fitted.Y = append(h.Fitted.X, x), append(h.Fitted.Y, density(x))
	}
	return h
}
