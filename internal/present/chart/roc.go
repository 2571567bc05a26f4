package chart

import (
	"fmt"
)

// ROC is a receiver operating characteristic: sensitivity against 1 − specificity as a threshold
// moves, of one test or of two that are compared.
type ROC struct {
	Meta
	Curves []ROCCurve
}

// ROCCurve is one test. Points are in the order of the threshold, from 0,0 to 1,1 or back.
type ROCCurve struct {
	Label  string
	Note   string // such as "AUC 0.87 (0.81 to 0.92)"
	Points []ROCPoint
	Band   Band
}

// ROCPoint is the operating point at one threshold, both fractions from 0 to 1; others are left out.
type ROCPoint struct {
	FalsePositive float64 // 1 − specificity
	Sensitivity   float64
	Chosen        bool // a threshold in use: marked and labelled
	Label         string
	Title, Href   string
}

// Band is a confidence band: at X[i] from Lo[i] to Hi[i]. The zero value is none.
type Band struct{ X, Lo, Hi []float64 }

// rocMarks is the number of points of a curve up to which each is marked; above that only the
// chosen ones are.
const rocMarks = 200

// curveStyle tells the i-th curve of a picture from the others by ink and by pattern.
func curveStyle(i int) Style {
	inks := []Ink{InkData, InkSecond, InkThird, InkFourth}
	dashes := []Dash{Solid, Dashed, DashDot, Dotted}
	// The pattern moves on after each round, so that sixteen curves differ.
	return Style{Stroke: inks[i%4], Dash: dashes[(i+i/4)%4], Width: 1.8}
}

func (p ROCPoint) ok() bool {
	return p.FalsePositive >= 0 && p.FalsePositive <= 1 && p.Sensitivity >= 0 && p.Sensitivity <= 1
}

func (c ROCCurve) drawable() []ROCPoint {
	points := make([]ROCPoint, 0, len(c.Points))
	for _, p := range c.Points {
		if p.ok() {
			points = append(points, p)
		}
	}
	return points
}

func (r ROC) empty() bool {
	for _, c := range r.Curves {
		if len(c.drawable()) > 0 {
			return false
		}
	}
	return true
}

// Height implements [Picture].
func (r ROC) Height(width float64) float64 { return min(width, 520) }

// Words implements [Picture].
func (r ROC) Words() (title, desc string) {
	if r.empty() {
		return r.words("ROC curve", "No data.")
	}
	var say []string
	for _, c := range r.Curves {
		points := c.drawable()
		say = append(say, joined(", ", sentence(c.Label, "curve"), clean(c.Note), counted(len(points), "point", "points"))+".")
		for _, p := range points {
			if p.Chosen {
				say = append(say, fmt.Sprintf("Chosen: %s.", p.text()))
			}
		}
		if len(points) > rocMarks {
			say = append(say, fmt.Sprintf("Of more than %d points only the chosen ones are marked.", rocMarks))
		}
	}
	return r.words("ROC curve", say...)
}

func (p ROCPoint) text() string {
	return joined(", ", clean(p.Label), "sensitivity "+number(100*p.Sensitivity)+" %",
		"specificity "+number(100*(1-p.FalsePositive))+" %")
}

// Table implements [Picture]: one row for each point.
func (r ROC) Table() Table {
	title, _ := r.Words()
	t := Table{Caption: title, Header: []string{"Curve", "Point", "1 − specificity", "Sensitivity", "Chosen"}}
	percent := Axis{Scale: Percent}
	for _, c := range r.Curves {
		for _, p := range c.Points {
			chosen := "no"
			if p.Chosen {
				chosen = "yes"
			}
			t.Rows = append(t.Rows, []string{
				joined(", ", clean(c.Label), clean(c.Note)), clean(p.Label),
				percent.short(p.FalsePositive), percent.short(p.Sensitivity), chosen,
			})
		}
	}
	return t
}

// Draw implements [Picture]. The plot is square.
func (r ROC) Draw(cv Canvas, width, height float64) {
	if r.empty() {
		noData(cv, width, height)
		return
	}
	xAxis := Axis{Label: "1 − specificity", Scale: Percent, Max: 1}
	yAxis := Axis{Label: "Sensitivity", Scale: Percent, Max: 1}
	left, right, top := 34.0, 14.0, 26.0
	side := min(width-left-right, height-top-xAxisHeight(xAxis))
	plot := box{left, top, left + side, top + side}
	x := ruler{axis: xAxis, domain: span{0, 1}, from: plot.left, to: plot.right}
	y := ruler{axis: yAxis, domain: span{0, 1}, from: plot.bottom, to: plot.top}
	drawYAxis(cv, y, plot, Point{plot.left - 34, sizeLabel}, width)
	drawXAxis(cv, x, plot, width)
	cv.Line(Style{Stroke: InkAxis, Width: 1, Dash: Dotted}, Point{plot.left, plot.bottom}, Point{plot.right, plot.top})

	cv.Clip(plot.left, plot.top, side, side, func() {
		for i, c := range r.Curves {
			r.band(cv, c.Band, x, y, i)
		}
	})
	taken := newPlacer(plot)
	for i, c := range r.Curves {
		r.curve(cv, c, x, y, i, taken)
	}
	r.names(cv, plot, width, taken)
	for i, c := range r.Curves {
		r.marks(cv, c, x, y, i, taken)
	}
}

// band shades the first band; the edges of further ones are lines, because shades hide each other.
func (r ROC) band(cv Canvas, b Band, x, y ruler, i int) {
	n := min(len(b.X), len(b.Lo), len(b.Hi))
	lo, hi := curveRuns(x, y, b.X[:n], b.Lo[:n]), curveRuns(x, y, b.X[:n], b.Hi[:n])
	if i == 0 && len(lo) == 1 && len(hi) == 1 {
		area := append([]Point{}, lo[0]...)
		for j := range hi[0] {
			area = append(area, hi[0][len(hi[0])-1-j])
		}
		cv.Polygon(Style{Fill: InkShade}, area)
		return
	}
	for _, run := range append(lo, hi...) {
		cv.Polyline(Style{Stroke: curveStyle(i).Stroke, Width: 0.8, Dash: Dotted}, run)
	}
}

func (r ROC) curve(cv Canvas, c ROCCurve, x, y ruler, i int, taken *placer) {
	points := c.drawable()
	line := make([]Point, len(points))
	for j, p := range points {
		line[j] = Point{x.pixel(p.FalsePositive), y.pixel(p.Sensitivity)}
	}
	cv.Polyline(curveStyle(i), line)
	for j := 1; j < len(line); j++ {
		takeLine(taken, line[j-1], line[j])
	}
}

// takeLine takes small boxes along a segment.
func takeLine(taken *placer, p, q Point) {
	steps := int(max(abs(p.X-q.X), abs(p.Y-q.Y))/8) + 1
	for i := range steps + 1 {
		f := float64(i) / float64(steps)
		taken.take(around(Point{p.X + f*(q.X-p.X), p.Y + f*(q.Y-p.Y)}, 2))
	}
}

func abs(v float64) float64 { return max(v, -v) }

// names writes the name of each curve with a sample of how it is drawn: beside the plot if the
// picture is wide enough, else into its lower right, which a curve of any use leaves free.
func (r ROC) names(cv Canvas, plot box, width float64, taken *placer) {
	const sample, line, gap = 30.0, 14.0, 18.0
	room := width - plot.right - sample - 20
	beside := room > 200
	if !beside {
		room = 0.62 * plot.width()
	}
	type name struct {
		lines []string
		wide  float64
	}
	names := make([]name, len(r.Curves))
	high := 0.0
	for i, c := range r.Curves {
		names[i].lines = wrap(joined(", ", clean(c.Label), clean(c.Note)), sizeTick, room, 3)
		for _, l := range names[i].lines {
			names[i].wide = max(names[i].wide, textWidth(l, sizeTick, false))
		}
		high += gap + line*float64(len(names[i].lines)-1)
	}
	y := plot.top + 14
	if !beside {
		y = max(plot.bottom-high+8, plot.top+14)
	}
	for i, n := range names {
		if len(n.lines) == 0 || y+line*float64(len(n.lines)-1) > plot.bottom {
			continue
		}
		x := plot.right - 8 - n.wide
		if beside {
			x = plot.right + 16 + sample
		}
		s := TextStyle{Ink: InkText, Size: sizeTick, Halo: true}
		cv.Line(curveStyle(i), Point{x - sample, y - 4}, Point{x - 6, y - 4})
		taken.take(box{x - sample, y - 6, x, y})
		for j, l := range n.lines {
			at := Point{x, y + line*float64(j)}
			cv.Text(s, at, l)
			taken.take(textBox(s, at, l))
		}
		y += gap + line*float64(len(n.lines)-1)
	}
}

func (r ROC) marks(cv Canvas, c ROCCurve, x, y ruler, i int, taken *placer) {
	points := c.drawable()
	ink := curveStyle(i).Stroke
	var chosen []ROCPoint
	for _, p := range points {
		if !p.Chosen && len(points) > rocMarks {
			continue
		}
		at := Point{x.pixel(p.FalsePositive), y.pixel(p.Sensitivity)}
		title := clean(p.Title)
		if title == "" {
			title = joined(", ", clean(c.Label), p.text())
		}
		cv.Link(title, p.Href, func() {
			if p.Chosen {
				cv.Marker(Style{Fill: InkPaper, Stroke: ink, Width: 2}, Diamond, at, 5)
				return
			}
			cv.Marker(Style{Fill: ink}, Circle, at, 2)
		})
		if p.Chosen {
			taken.take(around(at, 6))
			chosen = append(chosen, p)
		}
	}
	for _, p := range chosen {
		at := Point{x.pixel(p.FalsePositive), y.pixel(p.Sensitivity)}
		s := TextStyle{Ink: InkText, Size: sizeTick, Bold: true, Halo: true}
		text := fit(p.Label, sizeTick, true, 0.5*(x.to-x.from))
		taken.label(cv, nil, at, 6, s, text, true, further[:])
	}
}
