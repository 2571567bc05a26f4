package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"rinsate/internal/present/chart"
)

// element is an element of an SVG file as an XML parser sees it.
type element struct {
	name  string
	attrs map[string]string
	text  string
}

// wellFormed parses strictly and returns the elements.
func wellFormed(t held, svg []byte) []element {
	t.Helper()
	var elements, open []element
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return elements
		}
		if err != nil {
			t.Errorf("not well-formed: %v", err)
			return elements
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, attrs: map[string]string{}}
			for _, a := range token.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			open = append(open, e)
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text += string(token)
			}
		case xml.EndElement:
			elements = append(elements, open[len(open)-1])
			open = open[:len(open)-1]
		case xml.Comment, xml.ProcInst, xml.Directive:
			t.Errorf("unexpected %T", token)
		}
	}
}

// Only these stand in a picture within a page: nothing that a strict content security policy stops.
var allowed = map[string]string{
	"svg": "xmlns class role aria-labelledby aria-describedby viewBox font-family width height", "title": "id", "desc": "id", "g": "clip-path transform",
	"a": "href", "clipPath": "id", "rect": "x y width height class fill stroke stroke-width",
	"line":     "x1 y1 x2 y2 class fill stroke stroke-width stroke-dasharray",
	"polyline": "points class fill stroke stroke-width stroke-dasharray stroke-linejoin",
	"polygon":  "points class fill stroke stroke-width stroke-dasharray",
	"circle":   "cx cy r class fill stroke stroke-width",
	"text":     "x y text-anchor transform font-weight font-size paint-order stroke-linejoin class fill stroke stroke-width",
}

func checkAllowed(t *testing.T, elements []element) {
	t.Helper()
	for _, e := range elements {
		names, ok := allowed[e.name]
		if !ok {
			t.Errorf("element %s", e.name)
		}
		for a := range e.attrs {
			if !strings.Contains(" "+names+" ", " "+a+" ") {
				t.Errorf("attribute %s of %s", a, e.name)
			}
		}
	}
}

func TestPageSVG(t *testing.T) {
	t.Parallel()
	classes := regexp.MustCompile(`^(ch|ch-spark|ch-[fs]-[a-z-]+)( ch-s-[a-z-]+| ch-spark)?$`)
	for _, piece := range gallery() {
		t.Run(piece.name, func(t *testing.T) {
			svg := chart.SVG(piece.picture, chart.SVGOptions{ID: "p9"})
			if again := chart.SVG(piece.picture, chart.SVGOptions{ID: "p9"}); !bytes.Equal(svg, again) {
				t.Error("drawn twice, the bytes differ")
			}
			elements := wellFormed(t, svg)
			checkAllowed(t, elements)
			title, desc := piece.picture.Words()
			found := 0
			for _, e := range elements {
				if c, ok := e.attrs["class"]; ok && !classes.MatchString(c) {
					t.Errorf("class %q", c)
				}
				switch e.attrs["id"] {
				case "p9-title":
					found++
					if e.name != "title" || e.text != title {
						t.Errorf("named %q by a %s, want %q", e.text, e.name, title)
					}
				case "p9-desc":
					found++
					if e.name != "desc" || e.text != desc {
						t.Errorf("described %q by a %s, want %q", e.text, e.name, desc)
					}
				}
			}
			root := elements[len(elements)-1]
			if found != 2 || root.attrs["aria-labelledby"] != "p9-title" || root.attrs["aria-describedby"] != "p9-desc" {
				t.Errorf("%d of 2 names found, root %v", found, root.attrs)
			}
		})
	}
}

// An image must not hold what takes the focus, so a picture with links is a group.
func TestRole(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason, role string
		href         string
	}{
		{"no link", "img", ""},
		{"a link", "group", "/samples/1"},
		{"a link that is not safe is none", "img", "javascript:alert(1)"},
	}
	for _, test := range tests {
		p := chart.Forest{Effects: []chart.Effect{{Label: "a", Estimate: 1, Lo: 0, Hi: 2, Href: test.href}}}
		elements := wellFormed(t, chart.SVG(p, chart.SVGOptions{}))
		if got := elements[len(elements)-1].attrs["role"]; got != test.role {
			t.Errorf("%s: role %q, want %q", test.reason, got, test.role)
		}
	}
}

func TestStandaloneSVG(t *testing.T) {
	t.Parallel()
	svg := string(chart.SVG(forestPlot(), chart.SVGOptions{Standalone: true}))
	for _, want := range []string{"<style>@media (prefers-color-scheme:dark){", ".ch-f-paper{fill:#15181c}", ">Effects on the reading after cleaning</text>"} {
		if !strings.Contains(svg, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(string(chart.SVG(forestPlot(), chart.SVGOptions{})), "<style") {
		t.Error("a picture within a page has a style element")
	}
}

const hostile = `"><script>alert(1)</script><a href='javascript:x' onclick="y">&amp;]]><!-- ` + "\x00\x1b\u202e\u2028\xff\ufffe"

// harm puts the hostile text into every string of a value, links included.
func harm(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(hostile)
	case reflect.Struct:
		if v.Type().PkgPath() == "time" {
			return
		}
		for _, field := range v.Fields() {
			harm(field)
		}
	case reflect.Slice:
		for i := range v.Len() {
			harm(v.Index(i))
		}
	case reflect.Pointer:
		if !v.IsNil() && v.Type().Elem().PkgPath() != "time" {
			harm(v.Elem())
		}
	default:
	}
}

func TestHostileText(t *testing.T) {
	t.Parallel()
	for _, piece := range gallery() {
		t.Run(piece.name, func(t *testing.T) {
			v := reflect.New(reflect.TypeOf(piece.picture))
			v.Elem().Set(reflect.ValueOf(piece.picture))
			harm(v.Elem())
			p, ok := reflect.TypeAssert[chart.Picture](v.Elem())
			if !ok {
				t.Fatal("no longer a picture")
			}
			elements := wellFormed(t, chart.SVG(p, chart.SVGOptions{ID: hostile}))
			checkAllowed(t, elements)
			carried := false
			for _, e := range elements {
				if href, ok := e.attrs["href"]; ok {
					t.Errorf("a link to %q", href)
				}
				carried = carried || strings.Contains(e.text, "<script>alert(1)</script>")
			}
			if !carried {
				t.Error("the text itself is not shown")
			}
			html := string(p.Table().HTML())
			if strings.Contains(html, "<script") || strings.Contains(html, "<a ") {
				t.Error("the table lets markup through")
			}
			wellFormed(t, []byte(html))
			if _, err := chart.PDF(p, chart.PDFOptions{}); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestSafeHref(t *testing.T) {
	t.Parallel()
	tests := []struct{ reason, href, want string }{
		{"path", "/samples/1?x=2#y", "/samples/1?x=2#y"},
		{"relative", "?bin=3", "?bin=3"},
		{"fragment", "#row-3", "#row-3"},
		{"https", "https://example.org/a", "https://example.org/a"},
		{"mail", "mailto:a@example.org", "mailto:a@example.org"},
		{"script", "javascript:alert(1)", ""},
		{"script in capitals", "JaVaScRiPt:alert(1)", ""},
		{"script behind a control", "\x01javascript:alert(1)", ""},
		{"script split by a tab", "java\tscript:alert(1)", ""},
		{"data", "data:text/html,x", ""},
		{"not a link", "%zz", ""},
		{"letters beyond ASCII are encoded", "/scopes/ä", "/scopes/%C3%A4"},
		{"none", "", ""},
	}
	for _, test := range tests {
		if got := chart.SafeHref(test.href); got != test.want {
			t.Errorf("%s: %q, want %q", test.reason, got, test.want)
		}
	}
}

// Two pictures on a page share no id.
func TestIDs(t *testing.T) {
	t.Parallel()
	page := append(chart.SVG(ocCurves(), chart.SVGOptions{ID: "a"}), chart.SVG(ocCurves(), chart.SVGOptions{ID: "b"})...)
	page = append(page, chart.Sparkline(sparkline(), "c")...)
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllSubmatch(page, -1) {
		id := string(m[1])
		if seen[id] {
			t.Errorf("id %q twice", id)
		}
		seen[id] = true
	}
	if len(seen) < 7 {
		t.Errorf("only %d ids", len(seen))
	}
	for _, m := range regexp.MustCompile(`url\(#([^)]*)\)`).FindAllSubmatch(page, -1) {
		if !seen[string(m[1])] {
			t.Errorf("url(#%s) leads nowhere", m[1])
		}
	}
}
