package figure_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"rinsate/internal/present/chart"
)

var update = flag.Bool("update", false, "rewrite the files in testdata")

// held is what a test or a property can fail.
type held interface {
	Helper()
	Errorf(format string, args ...any)
}

// golden compares with a file of testdata, or writes it.
func golden(t held, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Errorf("%v", err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Errorf("%v", err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s has changed; look at the pictures after go test -update", path)
	}
}

// wellFormed reads a picture as XML.
func wellFormed(t held, svg []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Errorf("not well-formed: %v", err)
			return
		}
		if e, ok := token.(xml.StartElement); ok {
			if e.Name.Local == "script" {
				t.Errorf("a script in the picture")
			}
			for _, a := range e.Attr {
				if strings.HasPrefix(a.Value, "javascript:") {
					t.Errorf("a link to a script")
				}
			}
		}
	}
}

type box struct{ left, top, right, bottom float64 }

type written struct {
	text string
	box
}

// recorder is a canvas that remembers what was drawn.
type recorder struct {
	all    box // of everything
	broken []string
	texts  []written
	marks  []box
	shapes []chart.Shape
	titles []string
	linked []chart.Point // the first mark of each
	fresh  bool
	hrefs  []string
}

func (r *recorder) reach(points ...chart.Point) {
	for _, p := range points {
		if math.IsNaN(p.X+p.Y) || math.Abs(p.X)+math.Abs(p.Y) > 1e5 {
			r.broken = append(r.broken, "a place that cannot be drawn")
			return
		}
		r.all.left, r.all.right = min(r.all.left, p.X), max(r.all.right, p.X)
		r.all.top, r.all.bottom = min(r.all.top, p.Y), max(r.all.bottom, p.Y)
	}
}

func (r *recorder) Line(_ chart.Style, a, b chart.Point)         { r.reach(a, b) }
func (r *recorder) Polyline(_ chart.Style, points []chart.Point) { r.reach(points...) }
func (r *recorder) Polygon(_ chart.Style, points []chart.Point)  { r.reach(points...) }

func (r *recorder) Clip(x, y, w, h float64, draw func()) {
	kept := r.all
	draw()
	r.all = kept // what is outside is not seen
	r.reach(chart.Point{X: x, Y: y}, chart.Point{X: x + w, Y: y + h})
}

func (r *recorder) Rect(_ chart.Style, x, y, w, h float64) {
	if w < 0 || h < 0 {
		r.broken = append(r.broken, "a rectangle of negative size")
	}
	r.reach(chart.Point{X: x, Y: y}, chart.Point{X: x + w, Y: y + h})
}

func (r *recorder) Marker(_ chart.Style, shape chart.Shape, at chart.Point, radius float64) {
	r.reach(chart.Point{X: at.X - radius, Y: at.Y - radius}, chart.Point{X: at.X + radius, Y: at.Y + radius})
	r.marks = append(r.marks, box{at.X - radius, at.Y - radius, at.X + radius, at.Y + radius})
	r.shapes = append(r.shapes, shape)
	if r.fresh {
		r.linked, r.fresh = append(r.linked, at), false
	}
}

func (r *recorder) Text(s chart.TextStyle, at chart.Point, text string) {
	if s.Size < 11 {
		r.broken = append(r.broken, "small text "+text)
	}
	b := box{}
	b.left, b.top, b.right, b.bottom = s.Box(at, text)
	r.reach(chart.Point{X: b.left, Y: b.top}, chart.Point{X: b.right, Y: b.bottom})
	r.texts = append(r.texts, written{text, b})
}

func (r *recorder) Link(title, href string, draw func()) {
	if strings.TrimSpace(title) == "" {
		r.broken = append(r.broken, "something to point at without a title")
	}
	r.titles, r.hrefs = append(r.titles, title), append(r.hrefs, href)
	r.fresh = true
	draw()
	r.fresh = false
}

// inspect draws a picture at its own height and checks what holds for every one: nothing leaves it,
// no text touches another, everything to point at has a title, each row of the table is full.
func inspect(t held, p chart.Picture, width float64) *recorder {
	t.Helper()
	height := p.Height(width)
	r := &recorder{}
	p.Draw(r, width, height)
	for _, b := range r.broken {
		t.Errorf("width %g: %s", width, b)
	}
	if a := r.all; a.left < -0.6 || a.top < -0.6 || a.right > width+0.6 || a.bottom > height+0.6 {
		t.Errorf("width %g, height %g: the drawing covers %v", width, height, a)
	}
	for i, a := range r.texts {
		for _, b := range r.texts[i+1:] {
			const hair = 0.3
			if a.left+hair < b.right && b.left+hair < a.right && a.top+hair < b.bottom && b.top+hair < a.bottom {
				t.Errorf("width %g: %q and %q overlap: %v %v", width, a.text, b.text, a.box, b.box)
			}
		}
	}
	table := p.Table()
	for _, row := range table.Rows {
		if len(row) != len(table.Header) {
			t.Errorf("a row of %d cells under %d headers", len(row), len(table.Header))
		}
	}
	return r
}
