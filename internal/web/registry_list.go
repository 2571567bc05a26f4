package web

import (
	"net/http"
	"strconv"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// listPage is a list of what is registered, as it was asked for.
type listPage struct {
	Title, About, Action string
	Q                    string
	// Filter is a choice that narrows the list down; nil where there is none.
	Filter  *kit.Field
	Columns []string
	Rows    [][]cell
	// Of is how many there are without the filter.
	Of   int
	Many string
	// Register is where a new one is registered; empty for whoever may not.
	Register, RegisterText string
	Links                  []kit.Link
	// Earlier and Later are the pages before and after this one.
	Earlier, Later string
	First, Last    int
	Found          int
	Export         kit.Exports
}

// cell is a cell of a list: a text, which may lead somewhere, or a mark.
type cell struct {
	Text, Href string
	Mark       *words.Mark
}

// plainCell makes cells of texts.
func plainCell(texts ...string) []cell {
	cells := make([]cell, len(texts))
	for i, t := range texts {
		cells[i].Text = t
	}
	return cells
}

// rowsShown is how many rows a list shows at once.
const rowsShown = 100

// listOf shows the list of a kind of thing.
func (s setUpPages) listOf(x *kit.Exchange, r registry) error {
	wants, err := x.WantsFile()
	if err != nil {
		return err
	}
	page := listPage{
		Title: capital(
			r.many,
		),
		About:  r.about,
		Many:   r.many,
		Action: s.URL("/set-up/" + r.path),
		Q:      strings.TrimSpace(x.R.URL.Query().Get("q")),
		Export: x.Exports(),
	}
	if x.Can(r.act) {
		page.Register, page.RegisterText = s.URL("/set-up/register/"+r.word), "Register a "+r.one
	}
	if err := s.View(x.R.Context(), func(v desk.View) error { return r.list(x, v, &page) }); err != nil {
		return err
	}
	if wants {
		return x.File(page.listing(r.many))
	}
	page.turn(x)
	return x.Show(http.StatusOK, "set-up-"+r.path, false, page)
}

// add puts a row onto the list when it mentions what is looked for.
func (p *listPage) add(row []cell) {
	p.Of++
	texts := make([]string, len(row))
	for i, c := range row {
		texts[i] = c.Text
	}
	if kit.Mentions(p.Q, texts...) {
		p.Rows = append(p.Rows, row)
	}
}

// turn cuts the list down to the page that was asked for.
func (p *listPage) turn(x *kit.Exchange) {
	q := x.R.URL.Query()
	n, err := strconv.Atoi(q.Get("page"))
	if err != nil || n < 1 || (n-1)*rowsShown >= max(1, len(p.Rows)) {
		n = 1
	}
	at := func(n int) string {
		q.Set("page", strconv.Itoa(n))
		return p.Action + "?" + q.Encode()
	}
	p.Found = len(p.Rows)
	if n > 1 {
		p.Earlier = at(n - 1)
	}
	if n*rowsShown < len(p.Rows) {
		p.Later = at(n + 1)
	}
	p.First = (n-1)*rowsShown + 1
	p.Rows = p.Rows[(n-1)*rowsShown : min(n*rowsShown, len(p.Rows))]
	p.Last = p.First + len(p.Rows) - 1
}

// listing is the list as a file.
func (p *listPage) listing(name string) kit.Listing {
	l := kit.Listing{Name: name}
	for _, c := range p.Columns {
		l.Columns = append(l.Columns, table.SheetColumn{Name: strings.ToLower(c)})
	}
	for _, row := range p.Rows {
		texts := make([]string, len(row))
		for i, c := range row {
			if texts[i] = c.Text; c.Mark != nil {
				texts[i] = strings.TrimSpace(c.Mark.Word + " " + c.Text)
			}
		}
		l.Rows = append(l.Rows, texts)
	}
	return l
}
