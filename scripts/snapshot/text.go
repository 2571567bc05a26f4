package main

import (
	"io"
	"slices"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// page is what people read of a page, and where they can go from it.
type page struct {
	text  string
	links []string
}

// readable are the attributes that people read, hear or follow.
var readable = []string{"alt", "aria-label", "aria-description", "title", "placeholder", "value", "label", "href", "action", "src"}

// states are attributes that people see and that have no value.
var states = []string{"checked", "selected", "disabled", "required", "open", "readonly"}

// inline are the elements that stand in a line with the text around them.
var inline = []atom.Atom{
	atom.A, atom.Abbr, atom.B, atom.Bdi, atom.Bdo, atom.Cite, atom.Code, atom.Data, atom.Dfn, atom.Em, atom.I, atom.Kbd, atom.Mark,
	atom.Q, atom.S, atom.Samp, atom.Small, atom.Span, atom.Strong, atom.Sub, atom.Sup, atom.Time, atom.U, atom.Var, atom.Wbr,
}

// blank makes spaces of what ends a line of the source.
var blank = strings.NewReplacer("\n", " ", "\r", " ", "\t", " ")

// readPage returns the text of a page: a line for each block, attributes in brackets before what they belong to.
func readPage(source string) page {
	var p page
	var b strings.Builder
	z := html.NewTokenizer(strings.NewReader(source))
	unread := 0 // how many scripts and style sheets are open
	for {
		kind := z.Next()
		if kind == html.ErrorToken {
			if z.Err() != io.EOF { //nolint:errorlint // the tokenizer returns it bare
				b.WriteString("\n[broken: " + z.Err().Error() + "]\n")
			}
			p.text = fold(b.String())
			return p
		}
		t := z.Token()
		hidden := t.DataAtom == atom.Style || t.DataAtom == atom.Script && !slices.Contains(t.Attr, html.Attribute{Key: "type", Val: "application/json"})
		switch kind {
		case html.TextToken:
			if unread == 0 {
				// A line of the source is no line of the page.
				b.WriteString(blank.Replace(t.Data))
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			if !slices.Contains(inline, t.DataAtom) {
				b.WriteString("\n")
			}
			b.WriteString(p.attributes(t))
			if hidden && kind == html.StartTagToken {
				unread++
			}
		case html.EndTagToken:
			if !slices.Contains(inline, t.DataAtom) {
				b.WriteString("\n")
			}
			if unread > 0 && (t.DataAtom == atom.Style || t.DataAtom == atom.Script) {
				unread--
			}
		case html.ErrorToken, html.CommentToken, html.DoctypeToken:
		}
	}
}

// attributes returns what is read of an element's attributes, and keeps where it leads.
func (p *page) attributes(t html.Token) string {
	var parts []string
	for _, a := range t.Attr {
		switch {
		case slices.Contains(readable, a.Key):
			parts = append(parts, a.Key+"="+a.Val)
		case slices.Contains(states, a.Key):
			parts = append(parts, a.Key)
		}
		if a.Key == "href" || a.Key == "src" {
			p.links = append(p.links, a.Val)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	slices.Sort(parts)
	return "[" + strings.Join(parts, "; ") + "] "
}

// fold makes one space of every run of them, and leaves out empty lines.
func fold(text string) string {
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "\n")
}
