package chart_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"rinsate/internal/present/chart"
)

// manyPoints is a reading every 40 minutes, one in 200 a signal.
func manyPoints(n int) chart.Control {
	random := rand.New(rand.NewPCG(11, 11))
	c := chart.Control{Main: chart.Panel{Y: chart.Axis{Label: "Reading", Unit: "RLU", Scale: chart.LogValues}}}
	c.Main.Limits = []chart.Limits{{Centre: 1.6, Lower: 0.7, Upper: 2.5}}
	for i := range n {
		p := chart.ControlPoint{
			At: start.Add(time.Duration(i) * 40 * time.Minute), Y: 1.6 + 0.3*random.NormFloat64(),
			Href: fmt.Sprintf("/samples/%d", i),
		}
		if i%200 == 7 {
			p.Signal = "1"
		}
		c.Main.Points = append(c.Main.Points, p)
	}
	return c
}

// Up to 2,000 points all are drawn. Above, each column of pixels keeps its smallest and largest, and
// every signal stays; the description says so.
func TestThinning(t *testing.T) {
	t.Parallel()
	all := manyPoints(chart.ThinAbove)
	if r := inspect(t, all, 720, 300); len(r.titles) != chart.ThinAbove {
		t.Errorf("%d of %d points drawn", len(r.titles), chart.ThinAbove)
	}
	if _, desc := all.Words(); strings.Contains(desc, "column of pixels") {
		t.Error("the description speaks of thinning")
	}

	many := manyPoints(20_000)
	r := inspect(t, many, 720, 300)
	if n := len(r.titles); n < 1000 || n > 2*720+100+2 {
		t.Errorf("%d of 20000 points drawn", n)
	}
	signals := 0
	shown := map[string]bool{}
	for _, title := range r.titles {
		shown[title] = true
		if strings.HasSuffix(title, "signal 1") {
			signals++
		}
	}
	if signals != 100 {
		t.Errorf("%d of 100 signals drawn", signals)
	}
	lowest, highest := many.Main.Points[0], many.Main.Points[0]
	for _, p := range many.Main.Points {
		if p.Y < lowest.Y {
			lowest = p
		}
		if p.Y > highest.Y {
			highest = p
		}
	}
	for _, p := range []chart.ControlPoint{lowest, highest} {
		if title := fmt.Sprintf("%s, %s RLU", p.At.Format("2006-01-02 15:04"), shortRLU(p.Y)); !shown[title] {
			t.Errorf("the extreme %q is not drawn", title)
		}
	}
	if _, desc := many.Words(); !strings.Contains(desc, "smallest and the largest in each column of pixels") {
		t.Errorf("the description does not speak of thinning: %s", desc)
	}
	if rows := len(many.Table().Rows); rows != 20_000 {
		t.Errorf("%d rows in the table", rows)
	}
}

// shortRLU is the label of a log10 reading: three digits below 1000, whole above.
func shortRLU(y float64) string {
	switch v := math.Pow(10, y); {
	case y < 1:
		return chart.Number(v)
	case y < 2:
		return chart.Number(math.Round(10*v) / 10)
	default:
		return chart.Number(math.Round(v))
	}
}

// The table has one row for each point, with the numbers that are drawn.
func TestControlTable(t *testing.T) {
	t.Parallel()
	c := controlChart()
	table := c.Table()
	want := "Date|After manual cleaning (RLU)|Centre|Lower limit|Upper limit|Moving range (log10 RLU)|Signal|Note"
	if got := strings.Join(table.Header, "|"); got != want {
		t.Errorf("header %s", got)
	}
	if len(table.Rows) != len(c.Main.Points) {
		t.Fatalf("%d rows for %d points", len(table.Rows), len(c.Main.Points))
	}
	row := 0
	for _, p := range c.Main.Points {
		if math.IsNaN(p.Y) {
			continue
		}
		if got := table.Rows[row][1]; got != shortRLU(p.Y) {
			t.Errorf("row %d has %s, the point %s", row, got, shortRLU(p.Y))
		}
		if got := table.Rows[row][6]; got != p.Signal {
			t.Errorf("row %d has signal %q, the point %q", row, got, p.Signal)
		}
		if got := table.Rows[row][7] != ""; got != p.Excluded {
			t.Errorf("row %d: left out %v, the point %v", row, got, p.Excluded)
		}
		row++
	}
	if last := table.Rows[len(table.Rows)-1]; last[1] != "–" {
		t.Errorf("the point without a value is not last: %v", last)
	}
	// The limits change at the repair, and from there the lower one is 10^0.98 = 9.55.
	if a, b := table.Rows[0], table.Rows[46]; a[3] != "11.2" || b[3] != "9.55" {
		t.Errorf("lower limits %s and %s", a[3], b[3])
	}
}

func TestControlWords(t *testing.T) {
	t.Parallel()
	_, desc := controlChart().Words()
	for _, want := range []string{
		"ATP shows organic residue, not sterility. 47 points from 2026-01-05 09:30 to 2026-06-18 21:30, 4 signals.",
		"1 outlier is left out of the limits.", "1 point has no date or no value that can be drawn.",
		"Latest limits: centre 31.6 RLU, lower limit 9.55 RLU, upper limit 105 RLU.",
		"Alert at 100 RLU.", "Baseline from 2026-01-05 09:30 to 2026-02-16 09:30.",
		"Change began from 2026-05-13 09:30", "Break on 2026-04-04 21:30: repair: new biopsy channel.",
	} {
		if !strings.Contains(desc, want) {
			t.Errorf("%q is not in the description: %s", want, desc)
		}
	}
}

// Points come in any order and are drawn in time; the argument is not changed.
func TestControlOrder(t *testing.T) {
	t.Parallel()
	c := manyPoints(50)
	shuffled := c
	shuffled.Main.Points = append([]chart.ControlPoint{}, c.Main.Points...)
	rand.New(rand.NewPCG(1, 1)).Shuffle(50, func(i, j int) {
		p := shuffled.Main.Points
		p[i], p[j] = p[j], p[i]
	})
	first := shuffled.Main.Points[0]
	if a, b := chart.SVG(c, chart.SVGOptions{}), chart.SVG(shuffled, chart.SVGOptions{}); string(a) != string(b) {
		t.Error("the order of the points changes the picture")
	}
	if shuffled.Main.Points[0] != first {
		t.Error("the argument was changed")
	}
}

// The three kinds of mark differ in shape, not only in colour.
func TestControlShapes(t *testing.T) {
	t.Parallel()
	svg := string(chart.SVG(controlChart(), chart.SVGOptions{}))
	for _, want := range []string{
		`<polygon points="`,                        // a signal is a diamond
		`" class="ch-f-paper ch-s-data"`,           // an outlier is hollow
		`" class="ch-f-data" fill="#0072b2"/>`,     // a point is a full circle
		`>1</text>`,                                // the number of the rule
		`stroke-dasharray="5 3"`,                   // limits are dashed
		`stroke-dasharray="7 2.5 1.5 2.5"`,         // the alert level
		`>repair: new biopsy channel</text>`,       // the reason of a break
		`class="ch-f-shade"`, `>baseline 2</text>`, // a baseline
		`class="ch-f-change-shade"`, `>change began</text>`,
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("%s is missing", want)
		}
	}
}

// The line does not pass over a break, a gap does not end it.
func TestControlLineBreaks(t *testing.T) {
	t.Parallel()
	c := manyPoints(6)
	lines := func() int { return strings.Count(string(chart.SVG(c, chart.SVGOptions{})), "<polyline") }
	before := lines()
	c.Breaks = []chart.Break{{At: start.Add(100 * time.Minute), Reason: "new kit"}}
	if got := lines(); got != before+1 {
		t.Errorf("%d lines with a break, %d without", got, before)
	}
}

// Nothing to show is said, not drawn wrong.
func TestNoData(t *testing.T) {
	t.Parallel()
	pictures := []chart.Picture{
		chart.Control{},
		chart.Funnel{},
		chart.ROC{},
		chart.OC{},
		chart.Forest{},
		chart.Histogram{},
		chart.Control{Main: chart.Panel{Points: []chart.ControlPoint{{At: start, Y: nan}, {At: start, Y: math.Inf(1)}, {Y: 1}}}},
		chart.Control{Main: chart.Panel{Y: chart.Axis{Scale: chart.Log}, Points: []chart.ControlPoint{{At: start, Y: 0}, {At: start, Y: -1}}}},
		chart.Funnel{Units: []chart.Unit{{Size: nan, Value: 1}}},
		chart.ROC{Curves: []chart.ROCCurve{{Points: []chart.ROCPoint{{FalsePositive: 1.1, Sensitivity: 0.5}}}}},
		chart.OC{Curves: []chart.OCCurve{{X: []float64{1}, P: []float64{nan}}}},
		chart.Forest{Effects: []chart.Effect{{Estimate: nan}}},
		chart.Histogram{Bins: []chart.Bin{{From: 2, To: 1, Count: 3}}},
	}
	for i, p := range pictures {
		svg := chart.SVG(p, chart.SVGOptions{})
		wellFormed(t, svg)
		if !strings.Contains(string(svg), ">no data</text>") {
			t.Errorf("picture %d does not say so", i)
		}
		if title, desc := p.Words(); title == "" || !strings.Contains(desc, "No data.") {
			t.Errorf("picture %d: %q, %q", i, title, desc)
		}
		if _, err := chart.PDF(p, chart.PDFOptions{}); err != nil {
			t.Error(err)
		}
	}
}

// The speed goal is 300 ms for 20,000 points.
func BenchmarkControlSVG(b *testing.B) {
	for _, n := range []int{200, 2000, 20_000} {
		c := manyPoints(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			size := 0
			for b.Loop() {
				size = len(chart.SVG(c, chart.SVGOptions{Width: 1000}))
			}
			b.ReportMetric(float64(size), "bytes")
		})
	}
}

func BenchmarkControlPDF(b *testing.B) {
	for _, n := range []int{200, 2000, 20_000} {
		c := manyPoints(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := chart.PDF(c, chart.PDFOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
