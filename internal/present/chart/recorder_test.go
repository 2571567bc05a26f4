package chart_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

// recorder is a canvas that remembers.
type recorder struct {
	broken  []string
	marks   []chart.Point
	texts   []setText
	titles  []string
	floors  []floor // the horizontal axes: what the plots stand on
	squares []chart.Box
}

type setText struct {
	text string
	box  chart.Box
}

type floor struct{ left, right, y float64 }

func (r *recorder) check(what string, values ...float64) {
	for _, v := range values {
		if math.IsNaN(v) || math.Abs(v) > 1e5 {
			r.broken = append(r.broken, what)
		}
	}
}

func (r *recorder) points(what string, points []chart.Point) {
	for _, p := range points {
		r.check(what, p.X, p.Y)
	}
}

func (r *recorder) Line(s chart.Style, a, b chart.Point) {
	r.points("line", []chart.Point{a, b})
	if s.Stroke == chart.InkAxis && s.Width == 1 && s.Dash == chart.Solid && a.Y == b.Y && b.X-a.X > 40 {
		r.floors = append(r.floors, floor{a.X, b.X, a.Y})
	}
}
func (r *recorder) Polyline(_ chart.Style, points []chart.Point) { r.points("polyline", points) }
func (r *recorder) Polygon(_ chart.Style, points []chart.Point)  { r.points("polygon", points) }
func (r *recorder) Rect(_ chart.Style, x, y, w, h float64) {
	r.check("rect", x, y, w, h)
	if w < 0 || h < 0 {
		r.broken = append(r.broken, "rect of negative size")
	}
	r.squares = append(r.squares, chart.Box{Left: x, Top: y, Right: x + w, Bottom: y + h})
}

func (r *recorder) Marker(_ chart.Style, _ chart.Shape, at chart.Point, radius float64) {
	r.check("marker", at.X, at.Y, radius)
	r.marks = append(r.marks, at)
}

func (r *recorder) Text(s chart.TextStyle, at chart.Point, text string) {
	r.check("text", at.X, at.Y)
	if s.Size < chart.SizeTick {
		r.broken = append(r.broken, "small text "+text)
	}
	if text = chart.Clean(text); text != "" && s.Rotate == 0 {
		r.texts = append(r.texts, setText{text, chart.TextBox(s, at, text)})
	}
}
func (r *recorder) Clip(_, _, _, _ float64, draw func()) { draw() }
func (r *recorder) Link(title, _ string, draw func()) {
	r.titles = append(r.titles, title)
	draw()
}

// held is what a test or a property can fail.
type held interface {
	Helper()
	Errorf(format string, args ...any)
}

// inspect draws and checks what holds for every picture: finite coordinates, every text within the
// picture and clear of every other, every mark within a plot, a title for everything to point at.
func inspect(t held, p chart.Picture, width, height float64) *recorder {
	t.Helper()
	r := &recorder{}
	p.Draw(r, width, height)
	for _, b := range r.broken {
		t.Errorf("width %g: %s", width, b)
	}
	for i, a := range r.texts {
		if a.box.Left < -0.5 || a.box.Top < -0.5 || a.box.Right > width+0.5 || a.box.Bottom > height+0.5 {
			t.Errorf("width %g: %q leaves the picture: %v", width, a.text, a.box)
		}
		for _, b := range r.texts[i+1:] {
			if overlap(a.box, b.box) {
				t.Errorf("width %g: %q and %q overlap: %v %v", width, a.text, b.text, a.box, b.box)
			}
		}
	}
	for _, m := range r.marks {
		if !r.inPlot(m) {
			t.Errorf("width %g: a mark at %v is outside of every plot %v", width, m, r.floors)
		}
	}
	for _, title := range r.titles {
		if title == "" {
			t.Errorf("width %g: something without a title", width)
		}
	}
	return r
}

// inPlot says whether a mark stands over one of the horizontal axes.
func (r *recorder) inPlot(p chart.Point) bool {
	for _, f := range r.floors {
		if p.X >= f.left-0.01 && p.X <= f.right+0.01 && p.Y <= f.y+0.01 && p.Y >= 0 {
			return true
		}
	}
	return false
}

// overlap allows a hair, since boxes include the slack for wider fonts.
func overlap(a, b chart.Box) bool {
	const hair = 0.3
	return a.Left+hair < b.Right && b.Left+hair < a.Right && a.Top+hair < b.Bottom && b.Top+hair < a.Bottom
}

func TestGalleryLayout(t *testing.T) {
	t.Parallel()
	for _, piece := range gallery() {
		for _, width := range []float64{240, 292, 320, 400, 479, 480, 720, 1000, 1600} {
			t.Run(piece.name, func(t *testing.T) { inspect(t, piece.picture, width, piece.picture.Height(width)) })
		}
	}
}

// Every point has one title, and as many links as there are points stand in the file.
func TestEveryPointIsALink(t *testing.T) {
	t.Parallel()
	roc, oc := rocCurves(), ocCurves()
	control := controlChart()
	tests := []struct {
		name    string
		picture chart.Picture
		want    int
	}{
		// One of the 48 points has no value; the moving range leaves out what that and the outlier touch.
		{"control", control, 47 + len(control.Range.Points)},
		{"ewma", ewmaChart(), 40},
		{"funnel", funnelPlot(), 34},
		{"roc", roc, len(roc.Curves[0].Points) + len(roc.Curves[1].Points)},
		{"oc", oc, len(oc.Curves) + len(oc.Marks)},
		{"forest", forestPlot(), 7}, // one of 8 has no estimate
		{"histogram", histogram(), 20},
		{"empty", chart.Forest{}, 0},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r := inspect(t, test.picture, 720, test.picture.Height(720))
			if len(r.titles) != test.want {
				t.Errorf("%d titles, want %d", len(r.titles), test.want)
			}
			svg := string(chart.SVG(test.picture, chart.SVGOptions{}))
			if got := strings.Count(svg, "<a>") + strings.Count(svg, "<a href="); got != test.want {
				t.Errorf("%d links, want %d", got, test.want)
			}
			if got := strings.Count(svg, "<title>"); got != test.want {
				t.Errorf("%d titles in the file, want %d", got, test.want)
			}
		})
	}
}

// anyFloat draws ordinary values and, now and then, what breaks arithmetic.
func anyFloat() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64Range(-5, 5),
		rapid.Float64Range(0, 2000),
		rapid.Just(0.0),
		rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64, 5e-324, 1e-12, 1e140}),
		rapid.Float64(),
	)
}

func anyAxis(t *rapid.T) chart.Axis {
	a := chart.Axis{
		Label: rapid.StringN(0, 30, 60).Draw(t, "axis"),
		Unit:  rapid.SampledFrom([]string{"", "RLU"}).Draw(t, "unit"),
		Scale: rapid.SampledFrom([]chart.Scale{chart.Linear, chart.Log, chart.LogValues, chart.Percent}).Draw(t, "scale"),
	}
	return a
}

func someFloats(t *rapid.T, name string) []float64 {
	return rapid.SliceOfN(anyFloat(), 0, 12).Draw(t, name)
}

func anyControl(t *rapid.T) chart.Control {
	c := chart.Control{Meta: chart.Meta{Title: "x"}, Main: chart.Panel{Y: anyAxis(t), Zones: rapid.Bool().Draw(t, "zones")}}
	instant := rapid.OneOf(rapid.Float64Range(0, 400), rapid.SampledFrom([]float64{0, -1e5, 1e5}))
	for _, v := range someFloats(t, "values") {
		c.Main.Points = append(c.Main.Points, chart.ControlPoint{
			At: days(instant.Draw(t, "at")), Y: v,
			Signal:   rapid.SampledFrom([]string{"", "1", "2, 5"}).Draw(t, "signal"),
			Excluded: rapid.Bool().Draw(t, "excluded"),
		})
	}
	for range rapid.IntRange(0, 3).Draw(t, "limits") {
		c.Main.Limits = append(c.Main.Limits, chart.Limits{
			From: days(instant.Draw(t, "from")), To: days(instant.Draw(t, "to")),
			Centre: anyFloat().Draw(t, "centre"), Lower: anyFloat().Draw(t, "lower"), Upper: anyFloat().Draw(t, "upper"),
		})
	}
	c.Main.Levels = anyLevels(t)
	if rapid.Bool().Draw(t, "traced") {
		c.Main.Traces = []chart.Trace{{Label: "trace", Y: someFloats(t, "trace"), Dots: rapid.Bool().Draw(t, "dots")}}
	}
	for range rapid.IntRange(0, 5).Draw(t, "breaks") {
		c.Breaks = append(c.Breaks, chart.Break{At: days(instant.Draw(t, "break")), Reason: rapid.StringN(0, 50, 100).Draw(t, "reason")})
	}
	if rapid.Bool().Draw(t, "changed") {
		c.Change = &chart.Period{From: days(instant.Draw(t, "from")), To: days(instant.Draw(t, "to"))}
		c.Baselines = []chart.Period{{To: days(instant.Draw(t, "to")), Label: "first"}}
	}
	if rapid.Bool().Draw(t, "ranged") {
		c.Range = &chart.Panel{Y: anyAxis(t), Points: c.Main.Points, Limits: c.Main.Limits}
	}
	return c
}

func anyLevels(t *rapid.T) []chart.Level {
	var levels []chart.Level
	for range rapid.IntRange(0, 4).Draw(t, "levels") {
		levels = append(levels, chart.Level{
			Value: anyFloat().Draw(t, "level"), Lo: anyFloat().Draw(t, "lo"), Hi: anyFloat().Draw(t, "hi"),
			Label: rapid.SampledFrom([]string{"", "alert", "action level of the facility"}).Draw(t, "label"),
			Kind:  rapid.SampledFrom([]chart.LevelKind{chart.OtherLevel, chart.AlertLevel, chart.ActionLevel}).Draw(t, "kind"),
		})
	}
	return levels
}

func anyPicture(t *rapid.T) chart.Picture {
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		return anyControl(t)
	case 1:
		f := chart.Funnel{X: anyAxis(t), Y: anyAxis(t), Overall: anyFloat().Draw(t, "overall")}
		for _, v := range someFloats(t, "values") {
			f.Units = append(f.Units, chart.Unit{
				Label: rapid.StringN(1, 20, 40).Draw(t, "label"), Size: anyFloat().Draw(t, "size"), Value: v,
				Outside: rapid.Bool().Draw(t, "outside"), Title: "unit",
			})
		}
		f.Limits = []chart.Funnelling{{Label: "95 %", X: someFloats(t, "x"), Lo: someFloats(t, "lo"), Hi: someFloats(t, "hi")}}
		return f
	case 2:
		r := chart.ROC{}
		for range rapid.IntRange(0, 6).Draw(t, "curves") {
			c := chart.ROCCurve{Label: rapid.StringN(0, 40, 80).Draw(t, "label"), Note: "AUC", Band: chart.Band{
				X: someFloats(t, "x"), Lo: someFloats(t, "lo"), Hi: someFloats(t, "hi"),
			}}
			fraction := rapid.OneOf(rapid.Float64Range(0, 1), anyFloat())
			for range rapid.IntRange(0, 6).Draw(t, "points") {
				c.Points = append(c.Points, chart.ROCPoint{
					FalsePositive: fraction.Draw(t, "fp"), Sensitivity: fraction.Draw(t, "tp"),
					Chosen: rapid.Bool().Draw(t, "chosen"), Label: "100 RLU",
				})
			}
			r.Curves = append(r.Curves, c)
		}
		return r
	case 3:
		o := chart.OC{X: anyAxis(t), Y: anyAxis(t), Levels: anyLevels(t)}
		for range rapid.IntRange(0, 5).Draw(t, "curves") {
			o.Curves = append(o.Curves, chart.OCCurve{Label: "curve", X: someFloats(t, "x"), P: someFloats(t, "p")})
		}
		o.Marks = []chart.OCMark{{X: anyFloat().Draw(t, "mark"), P: anyFloat().Draw(t, "mark"), Label: "here"}}
		return o
	case 4:
		f := chart.Forest{X: anyAxis(t), Null: anyFloat().Draw(t, "null"), Ranked: rapid.Bool().Draw(t, "ranked"), Columns: []string{"a", "b"}}
		for _, v := range someFloats(t, "estimates") {
			f.Effects = append(f.Effects, chart.Effect{
				Label: rapid.StringN(0, 60, 100).Draw(t, "label"), Estimate: v,
				Lo: anyFloat().Draw(t, "lo"), Hi: anyFloat().Draw(t, "hi"), Cells: []string{rapid.StringN(0, 20, 40).Draw(t, "cell")},
				Summary: rapid.Bool().Draw(t, "summary"),
			})
		}
		return f
	}
	h := chart.Histogram{X: anyAxis(t), Y: anyAxis(t), Levels: anyLevels(t), Fitted: chart.Fitted{Label: "fit", X: someFloats(t, "x"), Y: someFloats(t, "y")}}
	for _, v := range someFloats(t, "counts") {
		h.Bins = append(h.Bins, chart.Bin{
			From: anyFloat().Draw(t, "from"), To: anyFloat().Draw(t, "to"), Count: v, Censored: rapid.Bool().Draw(t, "censored"),
		})
	}
	return h
}

// Whatever the values: nothing leaves the picture, no text touches another, every mark is in a plot,
// both back ends give a file that can be read.
func TestAnyPictureHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := anyPicture(t)
		width := rapid.Float64Range(240, 1400).Draw(t, "width")
		inspect(t, p, width, p.Height(width))
		wellFormed(t, chart.SVG(p, chart.SVGOptions{Width: width, Standalone: rapid.Bool().Draw(t, "standalone")}))
		for _, row := range p.Table().Rows {
			if len(row) != len(p.Table().Header) {
				t.Errorf("a row of %d cells under %d headers", len(row), len(p.Table().Header))
			}
		}
	})
}
