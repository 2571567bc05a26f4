package chart_test

import (
	"bytes"
	"compress/zlib"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

func TestPDF(t *testing.T) {
	t.Parallel()
	for _, piece := range gallery() {
		t.Run(piece.name, func(t *testing.T) {
			t.Parallel()
			pdf, err := chart.PDF(piece.picture, chart.PDFOptions{})
			if err != nil {
				t.Fatal(err)
			}
			again, err := chart.PDF(piece.picture, chart.PDFOptions{})
			if err != nil || !bytes.Equal(pdf, again) {
				t.Errorf("drawn twice, the bytes differ (%v)", err)
			}
			if !bytes.HasPrefix(pdf, []byte("%PDF-1.")) || !bytes.HasSuffix(bytes.TrimSpace(pdf), []byte("%%EOF")) {
				t.Error("not a PDF file")
			}
			if n := len(regexp.MustCompile(`/Type /Page\b`).FindAll(pdf, -1)); n != 1 {
				t.Errorf("%d pages, want 1", n)
			}
			if !bytes.Contains(pdf, []byte("[0 0 841.89 595.28]")) {
				t.Error("the page is not A4 landscape")
			}
			title, _ := piece.picture.Words()
			if !bytes.Contains(pdf, utf16(title)) {
				t.Errorf("the title %q is not in the file", title)
			}
			if page := pageStream(t, pdf); !strings.Contains(page, "Tj") || strings.Contains(page, "NaN") || strings.Contains(page, "Inf") {
				t.Error("the page has no text or a number that is none")
			}
			if len(pdf) > 60_000 { // a whole font has 340 kB
				t.Errorf("%d bytes: the fonts are not cut to what is used", len(pdf))
			}
		})
	}
}

// utf16 is a string as PDF keeps it; the texts here are ASCII.
func utf16(s string) []byte {
	b := []byte{0xfe, 0xff}
	for _, r := range s {
		b = append(b, byte(r>>8), byte(r))
	}
	return b
}

// pageStream returns the drawing operators of the page.
func pageStream(t *testing.T, pdf []byte) string {
	t.Helper()
	for rest := pdf; ; {
		at := bytes.Index(rest, []byte("stream\n"))
		if at < 0 {
			t.Fatal("no page stream")
		}
		rest = rest[at+len("stream\n"):]
		r, err := zlib.NewReader(bytes.NewReader(rest))
		if err != nil {
			continue
		}
		b, err := io.ReadAll(r)
		if err == nil && bytes.Contains(b, []byte(" Td (")) {
			return string(b)
		}
	}
}

func TestPDFCreated(t *testing.T) {
	t.Parallel()
	pdf, err := chart.PDF(forestPlot(), chart.PDFOptions{Created: time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC), Author: "A. Reader"})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range [][]byte{[]byte("D:20260304050607"), utf16("A. Reader")} {
		if !bytes.Contains(pdf, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

// A report's own pens are as before, whatever its unit, and what it writes next is in its font.
func TestDrawPDFRestores(t *testing.T) {
	t.Parallel()
	for _, unit := range []string{"pt", "mm"} {
		doc := fpdf.New("P", unit, "A4", "")
		doc.SetCompression(false)
		doc.AddPage()
		doc.SetFont("Helvetica", "B", 17)
		doc.SetTextColor(1, 2, 3)
		doc.SetDrawColor(4, 5, 6)
		doc.SetLineWidth(0.7)
		if err := chart.DrawPDF(doc, controlChart(), 20, 20, 150, 100); err != nil {
			t.Fatal(err)
		}
		if err := chart.DrawPDF(doc, ocCurves(), 20, 130, 150, 100); err != nil {
			t.Fatal(err)
		}
		size, _ := doc.GetFontSize()
		r, g, b := doc.GetTextColor()
		dr, dg, db := doc.GetDrawColor()
		if doc.GetFontFamily() != "helvetica" || doc.GetFontStyle() != "B" || size != 17 || doc.GetLineWidth() != 0.7 {
			t.Errorf("%s: font %s %s %g, line %g", unit, doc.GetFontFamily(), doc.GetFontStyle(), size, doc.GetLineWidth())
		}
		if [6]int{r, g, b, dr, dg, db} != [6]int{1, 2, 3, 4, 5, 6} {
			t.Errorf("%s: colours %d %d %d, %d %d %d", unit, r, g, b, dr, dg, db)
		}
	}
}

// A document that has failed is not drawn on.
func TestDrawPDFOnAFailedDocument(t *testing.T) {
	t.Parallel()
	doc := fpdf.New("P", "mm", "A4", "")
	doc.SetErrorf("the disk is full")
	if err := chart.DrawPDF(doc, forestPlot(), 0, 0, 100, 100); err == nil || !strings.Contains(err.Error(), "the disk is full") {
		t.Errorf("error %v", err)
	}
}

// A forest of a hundred rows becomes smaller rather than letting its rows touch.
func TestPDFOfATallForest(t *testing.T) {
	t.Parallel()
	tall := chart.Forest{Meta: chart.Meta{Title: "Tall"}}
	for range 100 {
		tall.Effects = append(tall.Effects, chart.Effect{Label: "row", Estimate: 1, Lo: 0.5, Hi: 2})
	}
	pdf, err := chart.PDF(tall, chart.PDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	// Baselines of the text, in points from below.
	lines := regexp.MustCompile(`BT [-0-9.]+ ([-0-9.]+) Td`).FindAllStringSubmatch(pageStream(t, pdf), -1)
	if len(lines) < 100 {
		t.Fatalf("%d texts", len(lines))
	}
	for _, l := range lines {
		if strings.HasPrefix(l[1], "-") {
			t.Errorf("a text at %s, below the page", l[1])
		}
	}
}

// Characters that the font lacks are question marks in the picture, and do no harm in the title.
func TestPDFOfUnknownCharacters(t *testing.T) {
	t.Parallel()
	p := chart.Forest{Meta: chart.Meta{Title: "🧪 内視鏡"}, Effects: []chart.Effect{{Label: "🧪 内", Estimate: 1, Lo: 0, Hi: 2}}}
	pdf, err := chart.PDF(p, chart.PDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if page := pageStream(t, pdf); strings.Count(page, "\x00?") < 3+4 {
		t.Errorf("the page has no question marks: %q", page)
	}
}

// Links of a document lead to a host or are left out.
func TestPDFLinks(t *testing.T) {
	t.Parallel()
	p := chart.Forest{Effects: []chart.Effect{
		{Label: "a", Estimate: 1, Lo: 0, Hi: 2, Href: "https://example.org/(a)"},
		{Label: "b", Estimate: 2, Lo: 1, Hi: 3, Href: "/effects/2"},
	}}
	pdf, err := chart.PDF(p, chart.PDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(pdf, []byte("/Subtype /Link")); n != 1 || !bytes.Contains(pdf, []byte(`/URI (https://example.org/\(a\))`)) {
		t.Errorf("%d links, want the one that has a host", n)
	}
}

// The widths read from the font are those that the PDF library reads.
func TestWidthsAgreeWithThePDFLibrary(t *testing.T) {
	t.Parallel()
	doc := fpdf.New("P", "pt", "A4", "")
	doc.AddUTF8FontFromBytes("inter", "", chart.Regular())
	doc.AddUTF8FontFromBytes("inter", "B", chart.SemiBold())
	for _, text := range []string{"Łódź 104.71 RLU", "≥ 200 % – 1 − specificity…", "Ελλάδα, Київ", "iiiiWWWW", "–"} {
		for _, style := range []string{"", "B"} {
			doc.SetFont("inter", style, 1000)
			slack := chart.Slack
			if style == "B" {
				slack = chart.SlackBold
			}
			got, want := chart.TextWidth(text, 1000, style == "B")/slack, doc.GetStringWidth(text)
			// The library rounds each width to a thousandth of the size.
			if math.Abs(got-want) > float64(len(text)) {
				t.Errorf("%q %s: %.1f, the library has %.1f", text, style, got, want)
			}
		}
	}
}

// Whatever the values, the file has no number that is none.
func TestAnyPictureAsPDF(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rapid.Check(t, func(t *rapid.T) {
		doc := fpdf.New("L", "mm", "A4", "")
		doc.SetCompression(false)
		doc.AddPage()
		if err := chart.DrawPDF(doc, anyPicture(t), 10, 10, rapid.Float64Range(20, 270).Draw(t, "width"), rapid.Float64Range(20, 180).Draw(t, "height")); err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := doc.Output(&b); err != nil {
			t.Fatal(err)
		}
		if page, _, _ := bytes.Cut(b.Bytes(), []byte("endstream")); bytes.Contains(page, []byte("NaN")) || bytes.Contains(page, []byte("Inf")) {
			t.Fatal("a number that is none")
		}
	})
}
