package chart

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// PDFOptions says how a picture becomes a page.
type PDFOptions struct {
	Created time.Time // date of the document; 1970-01-01 if zero, so that equal pictures give equal bytes
	Author  string
}

// Points in a pixel, and the page in points: A4 landscape (ISO 216, 297 mm × 210 mm).
const (
	pointsPerPixel = 0.75
	pageWidth      = 841.89
	pageHeight     = 595.28
	pageMargin     = 48.0
)

// PDF returns the picture as a document of one page, A4 landscape: the title, the picture and its
// description below, with the characters used of the fonts embedded. The error, if any, is that of
// the PDF writer.
func PDF(p Picture, o PDFOptions) ([]byte, error) {
	title, desc := p.Words()
	created := o.Created
	if created.IsZero() {
		created = time.Unix(0, 0)
	}
	doc := fpdf.New("L", "pt", "A4", "")
	doc.SetCreationDate(created.UTC())
	doc.SetModificationDate(created.UTC())
	doc.SetCatalogSort(true)
	doc.SetTitle(title, true)
	doc.SetSubject(desc, true)
	doc.SetAuthor(clean(o.Author), true)
	doc.SetCreator("Rinsate", true)
	doc.SetLang("en")
	doc.SetAutoPageBreak(false, 0)
	doc.AddPage()

	c := newPDFCanvas(doc, pageMargin, pageMargin-12, pointsPerPixel)
	width := (pageWidth - 2*pageMargin) / pointsPerPixel
	heading := wrap(title, sizeTitle, width, 2)
	drawHeading(c, heading, 0)
	top := headingHeight(len(heading)) + 6
	notes := wrap(desc, sizeTick, width, 8)
	bottom := (pageHeight-2*pageMargin+12)/pointsPerPixel - 1.4*sizeTick*float64(len(notes)) - 10
	for i, line := range notes {
		c.Text(TextStyle{Ink: InkMuted, Size: sizeTick}, Point{0, bottom + 10 + 1.4*sizeTick*float64(i+1)}, line)
	}
	height := min(bottom-top, max(p.Height(width), 0.55*width))
	if err := DrawPDF(doc, p, pageMargin, pageMargin-12+top*pointsPerPixel, width*pointsPerPixel, height*pointsPerPixel); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return nil, fmt.Errorf("write the picture as PDF: %w", err)
	}
	return b.Bytes(), nil
}

// DrawPDF draws the picture into a rectangle of the current page of a document, in the document's
// unit. Text is 8¼ points and more, unless the rectangle is too small for the picture. Font, colours and line width are afterwards what they were; the
// dash pattern is solid. The error is that of the document.
func DrawPDF(doc *fpdf.Fpdf, p Picture, x, y, width, height float64) error {
	if doc.Err() {
		return fmt.Errorf("draw the picture into the document: %w", doc.Error())
	}
	pixel := pointsPerPixel / doc.GetConversionRatio()
	w, h := sizeOf(p, width/pixel, height/pixel, 0)
	if few := height / pixel; h > few { // too low for the picture: all of it becomes smaller
		w, h = sizeOf(p, w*h/few, h, 0)
	}
	pixel = min(width/w, height/h)

	restore := saved(doc)
	c := newPDFCanvas(doc, x, y, pixel)
	p.Draw(c, w, h)
	restore()
	if doc.Err() {
		return fmt.Errorf("draw the picture into the document: %w", doc.Error())
	}
	return nil
}

// saved returns what puts the document's pens back.
func saved(doc *fpdf.Fpdf) func() {
	family, style := doc.GetFontFamily(), doc.GetFontStyle()
	size, _ := doc.GetFontSize()
	line, cap, join := doc.GetLineWidth(), doc.GetLineCapStyle(), doc.GetLineJoinStyle()
	dr, dg, db := doc.GetDrawColor()
	fr, fg, fb := doc.GetFillColor()
	tr, tg, tb := doc.GetTextColor()
	return func() {
		if family != "" {
			doc.SetFont(family, style, size)
		}
		doc.SetLineWidth(line)
		doc.SetLineCapStyle(cap)
		doc.SetLineJoinStyle(join)
		doc.SetDashPattern(nil, 0)
		doc.SetDrawColor(dr, dg, db)
		doc.SetFillColor(fr, fg, fb)
		doc.SetTextColor(tr, tg, tb)
	}
}

const pdfFamily = "chart-inter"

// pdfCanvas draws on a page of a document.
type pdfCanvas struct {
	doc         *fpdf.Fpdf
	left, top   float64 // in the document's unit
	pixel       float64 // a pixel in the document's unit
	hot         []box   // what the links being drawn cover, in pixels
	pointsInPix float64
}

func newPDFCanvas(doc *fpdf.Fpdf, left, top, pixel float64) *pdfCanvas {
	doc.AddUTF8FontFromBytes(pdfFamily, "", interRegular())
	doc.AddUTF8FontFromBytes(pdfFamily, "B", interSemiBold())
	doc.SetLineJoinStyle("verification")
	doc.SetLineCapStyle("butt")
	return &pdfCanvas{doc: doc, left: left, top: top, pixel: pixel, pointsInPix: pixel * doc.GetConversionRatio()}
}

func (c *pdfCanvas) x(v float64) float64 { return c.left + v*c.pixel }
func (c *pdfCanvas) y(v float64) float64 { return c.top + v*c.pixel }

// paint sets the pens and returns the operator for filling, drawing or both; false for neither.
func (c *pdfCanvas) paint(s Style) (string, bool) {
	operator := ""
	if s.Fill != InkNone {
		c.doc.SetFillColor(rgb(s.Fill.paint().light))
		operator += "F"
	}
	if s.Stroke != InkNone {
		c.doc.SetDrawColor(rgb(s.Stroke.paint().light))
		c.doc.SetLineWidth(s.Width * c.pixel)
		lengths := s.Dash.lengths()
		for i := range lengths {
			lengths[i] *= c.pixel
		}
		c.doc.SetDashPattern(lengths, 0)
		operator += "D"
	}
	return operator, operator != ""
}

// rgb reads #rrggbb.
func rgb(hex string) (r, g, b int) {
	v, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return int(v >> 16 & 255), int(v >> 8 & 255), int(v & 255)
}

// cover widens the area of the link being drawn.
func (c *pdfCanvas) cover(points ...Point) {
	if len(c.hot) == 0 {
		return
	}
	h := &c.hot[len(c.hot)-1]
	for _, p := range points {
		h.left, h.right = min(h.left, p.X), max(h.right, p.X)
		h.top, h.bottom = min(h.top, p.Y), max(h.bottom, p.Y)
	}
}

func (c *pdfCanvas) Line(s Style, a, b Point) { c.Polyline(s, []Point{a, b}) }

func (c *pdfCanvas) Polyline(s Style, points []Point) {
	s.Fill = InkNone
	c.path(s, points, false)
}

func (c *pdfCanvas) Polygon(s Style, points []Point) { c.path(s, points, true) }

func (c *pdfCanvas) path(s Style, points []Point, closed bool) {
	operator, ok := c.paint(s)
	if !ok || len(points) < 2 {
		return
	}
	for i, p := range points {
		if i == 0 {
			c.doc.MoveTo(c.x(p.X), c.y(p.Y))
		} else {
			c.doc.LineTo(c.x(p.X), c.y(p.Y))
		}
	}
	if closed {
		c.doc.ClosePath()
	}
	c.doc.DrawPath(operator)
	c.cover(points...)
}

func (c *pdfCanvas) Rect(s Style, x, y, width, height float64) {
	c.path(s, []Point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}, true)
}

func (c *pdfCanvas) Marker(s Style, shape Shape, at Point, r float64) {
	if outline := shape.outline(at, r); outline != nil {
		c.path(s, outline, true)
		return
	}
	if operator, ok := c.paint(s); ok {
		c.doc.Circle(c.x(at.X), c.y(at.Y), r*c.pixel, operator)
	}
	c.cover(Point{at.X - r, at.Y - r}, Point{at.X + r, at.Y + r})
}

func (c *pdfCanvas) Text(s TextStyle, at Point, text string) {
	text = settable(text, s.Bold)
	if text == "" {
		return
	}
	style := ""
	if s.Bold {
		style = "B"
	}
	c.doc.SetFont(pdfFamily, style, s.Size*c.pointsInPix)
	x, y := c.x(at.X), c.y(at.Y)
	left := x
	switch s.Anchor {
	case Start:
	case Middle:
		left -= c.doc.GetStringWidth(text) / 2
	case End:
		left -= c.doc.GetStringWidth(text)
	}
	if s.Rotate != 0 {
		c.doc.TransformBegin()
		c.doc.TransformRotate(s.Rotate, x, y)
		defer c.doc.TransformEnd()
	}
	if s.Halo {
		c.paint(Style{Stroke: InkPaper, Width: 3})
		c.doc.SetTextRenderingMode(1)
		c.doc.Text(left, y, text)
		c.doc.SetTextRenderingMode(0)
	}
	c.doc.SetTextColor(rgb(s.Ink.paint().light))
	c.doc.Text(left, y, text)
}

// settable replaces what the font cannot show by a question mark.
func settable(text string, bold bool) string {
	widths := regular()
	if bold {
		widths = semiBold()
	}
	return strings.Map(func(r rune) rune {
		if _, ok := widths[r]; ok && r <= 0xffff {
			return r
		}
		return '?'
	}, clean(text))
}

func (c *pdfCanvas) Clip(x, y, width, height float64, draw func()) {
	c.doc.ClipRect(c.x(x), c.y(y), width*c.pixel, height*c.pixel, false)
	draw()
	c.doc.ClipEnd()
	// The end of a clip also brings back the font from before it, which the document does not know:
	// set it anew.
	if size, _ := c.doc.GetFontSize(); c.doc.GetFontFamily() == pdfFamily {
		c.doc.SetFontSize(size + 1)
		c.doc.SetFontSize(size)
	}
}

func (c *pdfCanvas) Link(_, href string, draw func()) {
	c.hot = append(c.hot, box{1e9, 1e9, -1e9, -1e9})
	draw()
	h := c.hot[len(c.hot)-1]
	c.hot = c.hot[:len(c.hot)-1]
	// Without a host a link in a document leads nowhere.
	if href = SafeHref(href); !strings.Contains(href, ":") || h.right < h.left {
		return
	}
	h = h.grown(1)
	c.doc.LinkString(c.x(h.left), c.y(h.top), h.width()*c.pixel, h.height()*c.pixel, href)
}
