package figure

import (
	"math"
	"strings"

	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/chart"
)

// Sizes of the strip in pixels.
const (
	stripCell  = 75.5 // least width of a station
	flagExtra  = 62.0 // what the flag takes beyond its station
	faceRoom   = 36.0 // above the line where a clock stands
	flagRoom   = 60.0 // where the flag does
	bareRoom   = 14.0 // above the line where there are none
	nameRoom   = 25.0 // from the line to the first text
	stripLeads = 14.0 // from text to text
	textGap    = 2.0  // least room between texts of two stations
	nameLines  = 2    // most lines of a name
)

// stripRow is one line of stations.
type stripRow struct {
	cells  []cell
	top    float64
	track  float64 // y of the line
	names  int     // lines that the longest name takes
	bottom float64
}

var (
	stripName = chart.TextStyle{Ink: chart.InkText, Size: 11, Anchor: chart.Middle}
	stripText = chart.TextStyle{Ink: chart.InkMuted, Size: 11, Anchor: chart.Middle}
)

// rows breaks the line into rows of about the same number of stations.
func (s strip) rows(width float64) (rows []stripRow, cellWidth float64) {
	cells := s.cells()
	fitting := max(1, int((width-flagExtra)/stripCell))
	lines := (len(cells) + fitting - 1) / fitting
	across := (len(cells) + lines - 1) / lines
	cellWidth = (width - flagExtra) / float64(across)
	y := 0.0
	for len(cells) > 0 {
		n := min(across, len(cells))
		r := stripRow{cells: cells[:n], top: y, names: 1}
		cells = cells[n:]
		room, lines := bareRoom, 0
		for _, c := range r.cells {
			if over := len(c.over(cellWidth - 4)); over > 0 {
				room = max(room, faceRoom+10+stripLeads*float64(over-1))
			}
			if c.flag != "" {
				room = max(room, flagRoom)
			}
			r.names = max(r.names, len(stripName.Wrap(c.name, cellWidth-textGap, nameLines)))
			lines = max(lines, len(c.texts()))
		}
		r.track = y + room
		r.bottom = r.track + nameRoom + stripLeads*float64(r.names+lines-1) + 8
		y = r.bottom + 10
		rows = append(rows, r)
	}
	return rows, cellWidth
}

// texts are the lines beneath the name that say something.
func (c cell) texts() (texts []stripLine) {
	for _, l := range c.lines {
		if strings.TrimSpace(l.text) != "" {
			texts = append(texts, l)
		}
	}
	return texts
}

// Height implements [chart.Picture].
func (s strip) Height(width float64) float64 {
	rows, _ := s.rows(width)
	return rows[len(rows)-1].bottom
}

// LeastHeight is the height that all rows take: a picture in less room is made smaller.
func (s strip) LeastHeight(width float64) float64 { return s.Height(width) }

// Draw implements [chart.Picture].
func (s strip) Draw(cv chart.Canvas, width, height float64) {
	rows, cellWidth := s.rows(width)
	shift := math.Max(0, (height-rows[len(rows)-1].bottom)/2)
	for i, r := range rows {
		r.track += shift
		d := stripDrawing{strip: s, row: r, cv: cv, cell: cellWidth}
		d.tracks(i == 0, i == len(rows)-1, rows, i, width)
		for j, c := range r.cells {
			d.station(c, (float64(j)+0.5)*cellWidth)
		}
	}
}

// stripDrawing draws one row.
type stripDrawing struct {
	strip
	row  stripRow
	cv   chart.Canvas
	cell float64
}

// tracks draws the line between the stations, from edge to edge where it goes on in another row.
func (d stripDrawing) tracks(first, last bool, rows []stripRow, i int, width float64) {
	y := d.row.track
	line := func(s chart.Style, from, to float64) {
		d.cv.Line(s, chart.Point{X: from, Y: y}, chart.Point{X: to, Y: y})
	}
	for j, c := range d.row.cells {
		x := (float64(j) + 0.5) * d.cell
		switch {
		case j > 0:
			line(c.track, x-d.cell, x)
		case !first:
			line(c.track, 0, x)
		}
	}
	if !last {
		line(rows[i+1].cells[0].track, (float64(len(d.row.cells))-0.5)*d.cell, width)
	}
}

// station draws one station at x.
func (d stripDrawing) station(c cell, x float64) {
	y := d.row.track
	if c.deadline.Known() {
		d.face(c, chart.Point{X: x, Y: y - 22})
	}
	if c.flag != "" {
		d.flag(c, x)
	}
	d.above(c, x)
	d.cv.Link(c.title, c.href, func() {
		d.cv.Marker(chart.Style{Fill: chart.InkPaper}, chart.Circle, chart.Point{X: x, Y: y}, c.radius+3)
		d.cv.Marker(c.style, c.shape, chart.Point{X: x, Y: y}, c.radius)
		at := y + nameRoom + stripLeads*float64(d.row.names)
		name := stripName.Wrap(c.name, d.cell-textGap, nameLines)
		for i, line := range name {
			d.cv.Text(stripName, chart.Point{X: x, Y: at - stripLeads*float64(len(name)-i)}, line)
		}
		for _, l := range c.texts() {
			d.text(l, x, at)
			at += stripLeads
		}
	})
}

func (d stripDrawing) text(l stripLine, x, y float64) {
	style := stripText
	style.Ink = l.ink
	if text := style.Fit(l.text, d.cell-textGap); text != "" {
		d.cv.Text(style, chart.Point{X: x, Y: y}, text)
	}
}

// above writes what is left and until when, above the clock or where it would be.
func (d stripDrawing) above(c cell, x float64) {
	lines := c.over(d.cell - 4)
	y := d.row.track - faceRoom
	if !c.deadline.Known() {
		y += 15
	}
	for i, l := range lines {
		d.text(l, x, y-stripLeads*float64(len(lines)-1-i))
	}
}

// over returns the lines above a station, broken to a width.
func (c cell) over(width float64) (lines []stripLine) {
	for _, l := range c.above {
		for _, text := range stripText.Wrap(l.text, width, 2) {
			lines = append(lines, stripLine{l.ink, text})
		}
	}
	return lines
}

// face draws a clock that shows the deadline, and a stem from it to the station.
func (d stripDrawing) face(c cell, at chart.Point) {
	ink := chart.InkText
	if c.deadline < d.now {
		ink = chart.InkAction
	}
	const radius = 6.5
	style := chart.Style{Stroke: ink, Width: 1.4}
	d.cv.Line(style, chart.Point{X: at.X, Y: at.Y + radius}, chart.Point{X: at.X, Y: d.row.track})
	d.cv.Marker(chart.Style{Fill: chart.InkPaper, Stroke: ink, Width: 1.4}, chart.Circle, at, radius)
	t := c.deadline.Time().In(d.zone)
	minutes := float64(t.Hour()%12*60 + t.Minute())
	hand := func(turns, length float64) {
		a := 2 * math.Pi * turns
		d.cv.Line(style, at, chart.Point{X: at.X + length*math.Sin(a), Y: at.Y - length*math.Cos(a)})
	}
	hand(minutes/720, 3)
	hand(math.Mod(minutes, 60)/60, 4.8)
}

// flagText is how the flag's word is set. The flag takes two lines where one is too long.
var flagText = chart.TextStyle{Size: 11, Bold: true}

// Sizes of the flag: between its lines, above and below them, before the word, and how deep it is notched.
const flagLead, flagPad, flagIndent, flagNotch = 13.0, 10.0, 6.0, 7.0

// flag draws the release check's state as a flag on a pole.
func (d stripDrawing) flag(c cell, x float64) {
	room := d.cell/2 + flagExtra - flagIndent - flagNotch - 1
	lines := flagText.Wrap(c.flag, room, 2)
	high, long := flagPad+flagLead*float64(len(lines)), 0.0
	for _, line := range lines {
		long = max(long, flagText.Width(line))
	}
	y := d.row.track
	top := y - flagRoom + 3
	d.cv.Line(chart.Style{Stroke: chart.InkText, Width: 2}, chart.Point{X: x, Y: top - 1}, chart.Point{X: x, Y: y})
	cloth, style := chart.Style{Fill: chart.InkText}, flagText
	style.Ink = chart.InkPaper
	switch d.answer.State {
	case reprocessing.Ready:
		cloth = chart.Style{Fill: chart.InkData}
	case reprocessing.OutOfService:
		cloth = chart.Style{Fill: chart.InkMuted}
	case reprocessing.OnHold:
	case reprocessing.InReprocessing, reprocessing.NothingAgainst, reprocessing.NotKnown, reprocessing.PaperDecides:
		fallthrough
	default:
		cloth, style.Ink = chart.Style{Fill: chart.InkPaper, Stroke: chart.InkText, Width: 1.4}, chart.InkText
	}
	right := x + flagIndent + long + flagNotch
	d.cv.Polygon(
		cloth,
		[]chart.Point{{X: x, Y: top}, {X: right, Y: top}, {X: right - flagNotch, Y: top + high/2}, {X: right, Y: top + high}, {X: x, Y: top + high}},
	)
	for i, line := range lines {
		d.cv.Text(style, chart.Point{X: x + flagIndent, Y: top + flagPad/2 + flagLead*(float64(i)+0.78)}, line)
	}
}
