package chart

import (
	"net/url"
	"strings"
)

// SVGOptions says how a picture becomes SVG.
type SVGOptions struct {
	ID         string  // prefix of all ids, so that several pictures can stand on one page; "chart" if empty
	Width      float64 // width of the layout in pixels; 720 if zero
	Height     float64 // what suits the width if zero
	Standalone bool    // a file of its own: with heading, paper and dark colours in a style element
}

// SVG returns the picture as an SVG element. Within a page it has neither style nor script: colours
// are attributes, which the rules of [Stylesheet] override by class. It is named by its title and
// description, scales by its viewBox, and every point in it has a tooltip.
//
// A picture with links has the role "group", one without the role "img", since an image's content
// is hidden from assistive technology and must not take the focus (WAI-ARIA 1.2, img: children
// presentational).
func SVG(p Picture, o SVGOptions) []byte {
	margin, top, bottom := 0.0, 0.0, 0.0
	if o.Standalone {
		margin, bottom = 14, 8
	}
	width, height := sizeOf(p, o.Width, o.Height, 2*margin)
	title, desc := p.Words()
	c := &svgCanvas{id: identifier(o.ID)}
	if o.Standalone {
		heading := wrap(title, sizeTitle, width, 3)
		top = headingHeight(len(heading))
		c.Rect(Style{Fill: InkPaper}, 0, 0, width+2*margin, height+top+bottom)
		c.raw(`<g transform="translate(`).num(margin).raw(" ").num(top).raw(")\">\n")
		drawHeading(c, heading, -top)
	}
	p.Draw(c, width, height)
	if o.Standalone {
		c.raw("</g>\n")
	}
	body := c.b

	c.b = make([]byte, 0, len(body)+len(desc)+1024)
	role := "img"
	if c.links {
		role = "group"
	}
	c.raw(`<svg xmlns="http://www.w3.org/2000/svg" class="ch" role="`).raw(role)
	c.raw(`" aria-labelledby="`).raw(c.id).raw(`-title" aria-describedby="`).raw(c.id).raw(`-desc" viewBox="0 0 `)
	c.num(width + 2*margin).raw(" ").num(height + top + bottom)
	c.raw(`" font-family="`).raw(fontFamily).raw(`">`)
	c.raw(`<title id="`).raw(c.id).raw(`-title">`).escaped(title).raw("</title>")
	c.raw(`<desc id="`).raw(c.id).raw(`-desc">`).escaped(desc).raw("</desc>\n")
	if o.Standalone {
		c.raw("<style>").raw(darkRules()).raw("</style>\n")
	}
	c.b = append(c.b, body...)
	return append(c.b, "</svg>\n"...)
}

// sizeOf returns the size of the layout within a width, less what margins take.
func sizeOf(p Picture, width, height, margins float64) (w, h float64) {
	if !(width > 0) || width > 10000 {
		width = 720
	}
	width = max(width-margins, minWidth)
	if !(height > 0) || height > 10000 {
		height = p.Height(width)
	}
	least := 120.0
	if f, ok := p.(interface{ LeastHeight(width float64) float64 }); ok {
		least = f.LeastHeight(width)
	}
	return width, max(height, least)
}

func headingHeight(lines int) float64 { return float64(lines)*1.3*sizeTitle + 14 }

// drawHeading writes lines downwards from top.
func drawHeading(c Canvas, lines []string, top float64) {
	for i, line := range lines {
		c.Text(TextStyle{Ink: InkText, Size: sizeTitle, Bold: true}, Point{0, top + 1.3*sizeTitle*float64(i+1) + 4}, line)
	}
}

// SafeHref returns a link that leads to a page: relative, or http, https or mailto. Anything else,
// script above all, is empty.
func SafeHref(href string) string {
	href = clean(href)
	u, err := url.Parse(href)
	if err != nil || strings.ContainsAny(href, " \\") {
		return ""
	}
	switch strings.ToLower(u.Scheme) {
	case "", "http", "https", "mailto":
		return u.String()
	}
	return ""
}

// identifier returns what can stand in an id and in url(#id).
func identifier(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return -1
	}, s)
	switch {
	case s == "":
		return "chart"
	case s[0] == '-' || (s[0] >= '0' && s[0] <= '9'):
		return "c" + s
	}
	return s
}

// svgCanvas draws into XML text.
type svgCanvas struct {
	b     []byte
	id    string
	clips int
	links bool
}

func (c *svgCanvas) raw(s string) *svgCanvas     { c.b = append(c.b, s...); return c }
func (c *svgCanvas) num(v float64) *svgCanvas    { c.b = appendNumber(c.b, v); return c }
func (c *svgCanvas) escaped(s string) *svgCanvas { c.b = appendEscaped(c.b, s); return c }

// paint writes classes and, as what holds without a style sheet, the colours.
func (c *svgCanvas) paint(s Style) *svgCanvas {
	fill, stroke := s.Fill.paint(), s.Stroke.paint()
	switch {
	case s.Fill != InkNone && s.Stroke != InkNone:
		c.raw(` class="ch-f-`).raw(fill.name).raw(" ch-s-").raw(stroke.name)
	case s.Fill != InkNone:
		c.raw(` class="ch-f-`).raw(fill.name)
	default:
		c.raw(` class="ch-s-`).raw(stroke.name)
	}
	c.raw(`" fill="`).raw(fill.light).raw(`"`)
	if s.Stroke != InkNone {
		c.raw(` stroke="`).raw(stroke.light).raw(`"`)
		if s.Width != 1 {
			c.raw(` stroke-width="`).num(s.Width).raw(`"`)
		}
		for i, length := range s.Dash.lengths() {
			c.raw([]string{` stroke-dasharray="`, " "}[min(i, 1)]).num(length)
		}
		if s.Dash != Solid {
			c.raw(`"`)
		}
	}
	return c
}

func (c *svgCanvas) Line(s Style, a, b Point) {
	c.raw(`<line x1="`).num(a.X).raw(`" y1="`).num(a.Y).raw(`" x2="`).num(b.X).raw(`" y2="`).num(b.Y).raw(`"`)
	s.Fill = InkNone
	c.paint(s).raw("/>\n")
}

func (c *svgCanvas) corners(points []Point) {
	c.raw(` points="`)
	for i, p := range points {
		if i > 0 {
			c.raw(" ")
		}
		c.num(p.X).raw(",").num(p.Y)
	}
	c.raw(`"`)
}

func (c *svgCanvas) Polyline(s Style, points []Point) {
	if len(points) < 2 {
		return
	}
	c.raw("<polyline")
	c.corners(points)
	s.Fill = InkNone
	c.paint(s).raw(` stroke-linejoin="round"/>` + "\n")
}

func (c *svgCanvas) Polygon(s Style, points []Point) {
	if len(points) < 3 {
		return
	}
	c.raw("<polygon")
	c.corners(points)
	c.paint(s).raw("/>\n")
}

func (c *svgCanvas) Rect(s Style, x, y, width, height float64) {
	c.raw(`<rect x="`).num(x).raw(`" y="`).num(y).raw(`" width="`).num(max(width, 0)).raw(`" height="`).num(max(height, 0)).raw(`"`)
	c.paint(s).raw("/>\n")
}

func (c *svgCanvas) Marker(s Style, shape Shape, at Point, r float64) {
	if outline := shape.outline(at, r); outline != nil {
		c.Polygon(s, outline)
		return
	}
	c.raw(`<circle cx="`).num(at.X).raw(`" cy="`).num(at.Y).raw(`" r="`).num(r).raw(`"`)
	c.paint(s).raw("/>\n")
}

func (c *svgCanvas) Text(s TextStyle, at Point, text string) {
	if text = clean(text); text == "" {
		return
	}
	c.raw(`<text x="`).num(at.X).raw(`" y="`).num(at.Y).raw(`"`)
	switch s.Anchor {
	case Start:
	case Middle:
		c.raw(` text-anchor="middle"`)
	case End:
		c.raw(` text-anchor="end"`)
	}
	if s.Rotate != 0 {
		c.raw(` transform="rotate(`).num(-s.Rotate).raw(" ").num(at.X).raw(" ").num(at.Y).raw(`)"`)
	}
	if s.Bold {
		c.raw(` font-weight="600"`)
	}
	c.raw(` font-size="`).num(s.Size).raw(`"`)
	style := Style{Fill: s.Ink}
	if s.Halo {
		style.Stroke, style.Width = InkPaper, 3
		c.raw(` paint-order="stroke" stroke-linejoin="round"`)
	}
	c.paint(style).raw(">").escaped(text).raw("</text>\n")
}

func (c *svgCanvas) Clip(x, y, width, height float64, draw func()) {
	c.clips++
	id := c.id + "-clip" + number(float64(c.clips))
	c.raw(`<clipPath id="`).raw(id).raw(`"><rect x="`).num(x).raw(`" y="`).num(y).raw(`" width="`).num(width)
	c.raw(`" height="`).num(height).raw(`"/></clipPath><g clip-path="url(#`).raw(id).raw(`)">` + "\n")
	draw()
	c.raw("</g>\n")
}

func (c *svgCanvas) Link(title, href string, draw func()) {
	c.raw("<a")
	if href = SafeHref(href); href != "" {
		c.links = true
		c.raw(` href="`).escaped(href).raw(`"`)
	}
	c.raw("><title>").escaped(title).raw("</title>")
	draw()
	c.raw("</a>\n")
}
