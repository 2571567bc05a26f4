package paper

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/present/chart"
)

// The styles of the paper, in pixels of three quarters of a point.
var (
	titleStyle = chart.TextStyle{Ink: chart.InkText, Size: 26, Bold: true}
	headStyle  = chart.TextStyle{Ink: chart.InkText, Size: 16, Bold: true}
	textStyle  = chart.TextStyle{Ink: chart.InkText, Size: 13.5}
	boldStyle  = chart.TextStyle{Ink: chart.InkText, Size: 17, Bold: true}
	smallStyle = chart.TextStyle{Ink: chart.InkText, Size: 11.5}
	nameStyle  = chart.TextStyle{Ink: chart.InkText, Size: 11.5, Bold: true}
	line       = chart.Style{Stroke: chart.InkText, Width: 1}
	hair       = chart.Style{Stroke: chart.InkAxis, Width: .75}
)

const (
	rowHeight   = 34.0 // room to write by hand
	footHeight  = 46.0
	stripes     = 10.0
	cellPadding = 4.0
	longest     = 40 // lines of a paragraph
)

// PDF returns a document as upright A4 pages.
func PDF(d Document, created time.Time) ([]byte, error) {
	l := &layout{}
	for _, s := range d.Sheets {
		l.sheet(s)
	}
	pages := make([]func(chart.Canvas), len(l.pages))
	for i, drawn := range l.pages {
		pages[i] = func(c chart.Canvas) {
			for _, draw := range drawn {
				draw(c)
			}
			foot(c, d.Foot, i+1, len(l.pages))
		}
	}
	return chart.Sheets(d.Title, chart.PDFOptions{Created: created}, pages...)
}

// layout lays sheets out on pages.
type layout struct {
	pages [][]func(chart.Canvas)
	y     float64
}

func (l *layout) page() {
	l.pages = append(l.pages, nil)
	l.y = 0
}

// room begins a page where there is not so much left; it says whether it did.
func (l *layout) room(height float64) bool {
	if l.y+height <= chart.SheetHeight-footHeight {
		return false
	}
	l.page()
	return true
}

func (l *layout) draw(f func(chart.Canvas)) {
	i := len(l.pages) - 1
	l.pages[i] = append(l.pages[i], f)
}

// text sets a paragraph.
func (l *layout) text(s chart.TextStyle, words string, after float64) {
	for _, words := range s.Wrap(words, chart.SheetWidth, longest) {
		l.room(1.35 * s.Size)
		at := chart.Point{X: 0, Y: l.y + s.Size}
		l.draw(func(c chart.Canvas) { c.Text(s, at, words) })
		l.y += 1.35 * s.Size
	}
	l.y += after
}

func (l *layout) sheet(s Sheet) {
	l.page()
	l.text(titleStyle, s.Title, 6)
	for _, p := range s.Lead {
		l.text(textStyle, p, 3)
	}
	if s.Barrier != "" {
		l.barrier(s.Barrier)
	}
	l.fields(s.Fields)
	for _, t := range s.Tables {
		l.table(t)
	}
	for _, t := range s.Ticks {
		l.y += 8
		l.room(3 * smallStyle.Size)
		l.text(nameStyle, t.Label, 0)
		l.text(smallStyle, strings.Join(t.Choices, "   ·   "), 2)
	}
	l.y += 8
	for _, n := range s.Notes {
		l.text(smallStyle, n, 2)
	}
}

// barrier draws black and white stripes, and below them what nobody may read past.
func (l *layout) barrier(words string) {
	lines := headStyle.Wrap(words, chart.SheetWidth, longest)
	l.room(stripes + 20 + 1.35*headStyle.Size*float64(len(lines)))
	top := l.y + 6
	l.draw(func(c chart.Canvas) {
		c.Clip(0, top, chart.SheetWidth, stripes, func() {
			for x := -stripes; x < chart.SheetWidth+stripes; x += 2 * stripes {
				c.Polygon(chart.Style{Fill: chart.InkText}, []chart.Point{
					{X: x, Y: top + stripes}, {X: x + stripes, Y: top}, {X: x + 2*stripes, Y: top}, {X: x + stripes, Y: top + stripes},
				})
			}
		})
		c.Rect(line, 0, top, chart.SheetWidth, stripes)
	})
	l.y = top + stripes + 4
	l.text(headStyle, words, 8)
}

// fields draws labels with lines to write on, three abreast.
func (l *layout) fields(labels []string) {
	const abreast = 3
	for i, label := range labels {
		if i%abreast == 0 {
			l.room(40)
			l.y += 40
		}
		x, y, width := float64(i%abreast)*chart.SheetWidth/abreast, l.y, chart.SheetWidth/abreast-16
		label := smallStyle.Fit(label, width)
		l.draw(func(c chart.Canvas) {
			c.Text(smallStyle, chart.Point{X: x, Y: y - 24}, label)
			c.Line(line, chart.Point{X: x, Y: y}, chart.Point{X: x + width, Y: y})
		})
	}
	if len(labels) > 0 {
		l.y += 8
	}
}

// table draws a table; its head stands again where it goes on on another page.
func (l *layout) table(t Table) {
	l.y += 10
	l.room(2*rowHeight + 3*headStyle.Size)
	if t.Title != "" {
		l.text(headStyle, t.Title, 2)
	}
	edges := t.edges()
	l.head(t, edges)
	for _, row := range t.All() {
		cells, height := cellsOf(t, row, edges)
		if l.room(height) {
			l.head(t, edges)
		}
		top := l.y
		l.draw(func(c chart.Canvas) {
			for i, col := range t.Columns {
				if col.Box {
					c.Rect(chart.Style{Stroke: chart.InkText, Width: 1.5}, edges[i]+cellPadding, top+7, 20, 20)
				}
				style := styleOf(col)
				for n, words := range cells[i] {
					c.Text(style, chart.Point{X: edges[i] + cellPadding, Y: top + 6 + style.Size + float64(n)*1.25*style.Size}, words)
				}
				c.Line(hair, chart.Point{X: edges[i], Y: top}, chart.Point{X: edges[i], Y: top + height})
			}
			c.Line(hair, chart.Point{X: chart.SheetWidth, Y: top}, chart.Point{X: chart.SheetWidth, Y: top + height})
			c.Line(hair, chart.Point{X: 0, Y: top + height}, chart.Point{X: chart.SheetWidth, Y: top + height})
		})
		l.y += height
	}
}

func styleOf(c Column) chart.TextStyle {
	if c.Bold {
		return boldStyle
	}
	return textStyle
}

// edges are where the columns begin, and where the last one ends.
func (t Table) edges() []float64 {
	sum := 0.0
	for _, c := range t.Columns {
		sum += c.Share
	}
	edges := []float64{0}
	for _, c := range t.Columns {
		edges = append(edges, edges[len(edges)-1]+c.Share/sum*chart.SheetWidth)
	}
	return edges
}

// cellsOf breaks the cells of a row into lines, and says how high the row is.
func cellsOf(t Table, row []string, edges []float64) (cells [][]string, height float64) {
	const most = 6
	height = rowHeight
	for i, words := range row {
		s := styleOf(t.Columns[i])
		lines := s.Wrap(words, edges[i+1]-edges[i]-2*cellPadding, most)
		cells = append(cells, lines)
		height = max(height, 12+1.25*s.Size*float64(len(lines)))
	}
	return cells, height
}

func (l *layout) head(t Table, edges []float64) {
	const most = 3
	height := 0.0
	names := make([][]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = nameStyle.Wrap(c.Name, edges[i+1]-edges[i]-2*cellPadding, most)
		height = max(height, 8+1.25*nameStyle.Size*float64(len(names[i])))
	}
	top := l.y
	l.draw(func(c chart.Canvas) {
		for i := range t.Columns {
			for n, words := range names[i] {
				c.Text(nameStyle, chart.Point{X: edges[i] + cellPadding, Y: top + 3 + nameStyle.Size + float64(n)*1.25*nameStyle.Size}, words)
			}
		}
		c.Line(line, chart.Point{X: 0, Y: top + height}, chart.Point{X: chart.SheetWidth, Y: top + height})
	})
	l.y += height
}

// foot draws the line that ends every page.
func foot(c chart.Canvas, words string, page, pages int) {
	const most = 3
	top := chart.SheetHeight - footHeight + 8
	c.Line(hair, chart.Point{X: 0, Y: top}, chart.Point{X: chart.SheetWidth, Y: top})
	s := chart.TextStyle{Ink: chart.InkText, Size: 9.5}
	for i, words := range s.Wrap(words, chart.SheetWidth-80, most) {
		c.Text(s, chart.Point{X: 0, Y: top + 12 + float64(i)*1.3*s.Size}, words)
	}
	s.Anchor = chart.End
	c.Text(s, chart.Point{X: chart.SheetWidth, Y: top + 12}, fmt.Sprintf("page %d of %d", page, pages))
}
