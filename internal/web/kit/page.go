package kit

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// layout is the file that all pages share; files that begin with an underscore are parts of pages.
const layout = "layout"

// loadPages parses every page of a folder together with the layout and the parts of a shared one, and
// returns them by the name of their file without its extension.
func (s *Shell) loadPages(shared, folder fs.FS, functions template.FuncMap) (map[string]*template.Template, error) {
	common, err := template.New(layout).Funcs(s.functions()).Funcs(functions).ParseFS(shared, layout+".html", "_*.html")
	if err != nil {
		return nil, fmt.Errorf("the layout of the pages: %w", err)
	}
	files, err := fs.Glob(folder, "*.html")
	if err != nil {
		return nil, err
	}
	all := map[string]*template.Template{}
	for _, file := range files {
		name := strings.TrimSuffix(file, ".html")
		if name == layout || strings.HasPrefix(name, "_") {
			continue
		}
		t, err := common.Clone()
		if err == nil {
			t, err = t.ParseFS(folder, file)
		}
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		for _, part := range []string{layout, "title", "main"} {
			if t.Lookup(part) == nil {
				return nil, fmt.Errorf("page %s does not define %q", name, part)
			}
		}
		all[name] = t
	}
	return all, nil
}

// functions are what every page may call; they decide nothing.
func (s *Shell) functions() template.FuncMap {
	return template.FuncMap{
		"url":   s.URL,
		"asset": s.Asset,
		"iso":   func(i unit.Instant) string { return i.Time().Format(time.RFC3339) },
	}
}

// frame is what every page has around its own content.
type frame struct {
	// Page is the name of the page, for the navigation.
	Page string
	Site string
	Demo bool
	// Notice is a line that stands on every page for a time; nil at others.
	Notice *Notice
	// Who is who has signed in; nil when nobody has.
	Who *Person
	// Nav are the pages that the person may open, a section being one of them, and Pages are those of the
	// section that is open.
	Nav, Pages []Link
	// Section is the section that is open, Style its style sheet; both empty for the day's pages.
	Section Section
	Style   string
	// Help is where the page is explained; empty where nothing explains it.
	Help string
	// Now and Zone are the time of the page.
	Now  string
	Zone string
	// Refresh is after how many seconds a browser without scripts asks again; zero for never.
	Refresh int
	// Bare pages have no navigation.
	Bare bool
	Body any
}

// Link is an entry of the navigation; Open says that it is what is shown.
type Link struct {
	Href, Text string
	Open       bool
}

// Show renders a page, a template by its name around a body, into a buffer and then writes it, so that a
// fault leaves no half page.
func (x *Exchange) Show(status int, name string, bare bool, body any) error {
	t, ok := x.Shell.Pages[name]
	if !ok {
		return fmt.Errorf("there is no page %q", name)
	}
	f := frame{Page: name, Demo: x.Shell.demo, Who: x.Who, Bare: bare, Body: body}
	if x.Shell.Desk != nil { // before the first run there is none
		if x.Shell.notice != nil {
			if f.Notice = x.Shell.notice(); f.Notice != nil && (f.Notice.Alarm || f.Notice.Paper) && x.Who == nil {
				f.Notice.Href = "" // nobody is led to a page that they may not open
			}
		}
		zone := x.Shell.Desk.DB.Zone()
		f.Site, f.Now, f.Zone = x.Shell.Desk.DB.Site().Name, x.Shell.Now().In(zone), zone.String()
	}
	if !bare && x.Shell.explain != nil {
		f.Help = x.Shell.explain(x)
	}
	f.navigate(x)
	if styled, ok := body.(interface{ StyleSheet() string }); ok {
		f.Style = styled.StyleSheet()
	}
	if changing, ok := body.(interface{ RefreshEvery() int }); ok {
		f.Refresh = changing.RefreshEvery()
	}
	var b bytes.Buffer
	part := layout
	if x.R.Header.Get(FragmentHeader) != "" {
		part = "main" // a live page fetches its own content anew
	}
	if err := t.ExecuteTemplate(&b, part, f); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	x.Answer(status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// FragmentHeader asks for a page without its frame.
const FragmentHeader = "X-Fragment"

// navigate fills in where a page stands among those that the person may open.
func (f *frame) navigate(x *Exchange) {
	for _, r := range x.Shell.Table {
		if r.Page == f.Page && r.Section != "" {
			f.Section, f.Style = r.Section, r.Section.style()
		}
	}
	var sections []Section
	for _, r := range x.Shell.Table {
		if r.Nav == "" || !x.Opens(r) {
			continue
		}
		entry := Link{Href: x.Shell.URL(r.Path), Text: r.Nav, Open: r.Page == f.Page}
		if r.Section == "" {
			f.Nav = append(f.Nav, entry)
			continue
		}
		if r.Section == f.Section {
			f.Pages = append(f.Pages, entry)
		}
		if !slices.Contains(sections, r.Section) { // it begins with the first of its pages
			sections = append(sections, r.Section)
			f.Nav = append(f.Nav, Link{Href: entry.Href, Text: string(r.Section), Open: r.Section == f.Section})
		}
	}
}
