package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

//go:embed all:templates
var templateFiles embed.FS

// pages are the parsed templates by the name of their file without its extension.
type pages map[string]*template.Template

// layout is the file that all pages share; files that begin with an underscore are parts of pages.
const layout = "layout"

// loadPages parses every page of a folder of the templates together with the layout and the parts.
func (s *Server) loadPages(folder string) (pages, error) {
	parts, err := fs.Glob(templateFiles, "templates/_*.html")
	if err != nil {
		return nil, err
	}
	shared := append([]string{"templates/" + layout + ".html"}, parts...)
	entries, err := templateFiles.ReadDir(path.Join("templates", folder))
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if name := strings.TrimSuffix(e.Name(), path.Ext(e.Name())); name != layout && !strings.HasPrefix(name, "_") && !e.IsDir() {
			names = append(names, name)
		}
	}
	all := pages{}
	for _, name := range names {
		t, err := template.New(name).Funcs(s.functions()).ParseFS(templateFiles, append(slices.Clone(shared), path.Join("templates", folder, name+".html"))...)
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

// functions are what templates may call; they decide nothing.
func (s *Server) functions() template.FuncMap {
	return template.FuncMap{
		"url":   s.url,
		"asset": s.asset,
		"term":  term,
		// termAs shows another form of the word, such as the plural.
		"termAs": termAs,
		"iso":    func(i unit.Instant) string { return i.Time().Format(time.RFC3339) },
	}
}

// frame is what every page has around its own content.
type frame struct {
	// Page is the name of the page, for the navigation.
	Page string
	Site string
	Demo bool
	// Filling is how far an invented year is; nil when it is complete.
	Filling *fillingFrame
	// Who is who has signed in; nil when nobody has.
	Who *person
	// Nav are the pages that the person may open, a section being one of them, and Pages are those of the
	// section that is open.
	Nav, Pages []link
	// Section is the section that is open, Style its style sheet; both empty for the day's pages.
	Section section
	Style   string
	// Help is where the page is explained; empty where nothing explains it.
	Help string
	// Now and Zone are the time of the page.
	Now  string
	Zone string
	// Refresh is after how many seconds a browser without scripts asks again; zero for never.
	Refresh int
	// Wide pages use the whole width, Bare ones have no navigation.
	Bare bool
	Body any
}

// link is an entry of the navigation; Open says that it is what is shown.
type link struct {
	Href, Text string
	Open       bool
}

// show renders a page into a buffer and then writes it, so that a fault leaves no half page.
func (x *exchange) show(status int, name string, bare bool, body any) error {
	t, ok := x.s.pages[name]
	if !ok {
		return fmt.Errorf("there is no page %q", name)
	}
	f := frame{Page: name, Demo: x.s.demo, Who: x.who, Bare: bare, Body: body}
	if x.s.desk != nil { // before the first run there is none
		zone := x.s.desk.DB.Zone()
		f.Filling = x.s.fillingFrame()
		f.Site, f.Now, f.Zone = x.s.desk.DB.Site().Name, x.s.now().In(zone), zone.String()
	}
	if !bare {
		f.Help = x.helpHref()
	}
	x.navigate(&f)
	if styled, ok := body.(interface{ style() string }); ok {
		f.Style = styled.style()
	}
	if changing, ok := body.(interface{ refresh() int }); ok {
		f.Refresh = changing.refresh()
	}
	var b bytes.Buffer
	part := layout
	if x.r.Header.Get(fragmentHeader) != "" {
		part = "main" // a live page fetches its own content anew
	}
	if err := t.ExecuteTemplate(&b, part, f); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	x.answer(status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// fragmentHeader asks for a page without its frame.
const fragmentHeader = "X-Fragment"

// navigate fills in where a page stands among those that the person may open.
func (x *exchange) navigate(f *frame) {
	for _, r := range x.s.routes {
		if r.page == f.Page && r.section != "" {
			f.Section, f.Style = r.section, r.section.style()
		}
	}
	var sections []section
	for _, r := range x.s.routes {
		if r.nav == "" || !x.opens(r) {
			continue
		}
		entry := link{Href: x.s.url(r.path), Text: r.nav, Open: r.page == f.Page}
		if r.section == "" {
			f.Nav = append(f.Nav, entry)
			continue
		}
		if r.section == f.Section {
			f.Pages = append(f.Pages, entry)
		}
		if !slices.Contains(sections, r.section) { // it begins with the first of its pages
			sections = append(sections, r.section)
			f.Nav = append(f.Nav, link{Href: entry.Href, Text: string(r.section), Open: r.section == f.Section})
		}
	}
}

// redirect sends the browser on after a form.
func (x *exchange) redirect(path string) error {
	http.Redirect(x.w, x.r, x.s.url(path), http.StatusSeeOther)
	return nil
}
