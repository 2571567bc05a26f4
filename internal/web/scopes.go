package web

import (
	"bytes"
	"encoding/csv"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/access"
	"rinsate/internal/desk"
	"rinsate/internal/scope"
	"rinsate/internal/store"
	"rinsate/internal/turnaround"
)

// scopesPage lists the fleet, or those of it that were asked for.
type scopesPage struct {
	Lines []fleetLine
	// Of is how many scopes there are.
	Of             int
	State, Kind, Q string
	States         []stateChoice
	Kinds          []scope.Kind
	// Export is where the same rows are had as a file; empty for whoever may not take them.
	Export string
}

type stateChoice struct {
	State turnaround.State
	Word  string
}

type fleetLine struct {
	Tag, Href, Model, Kind, Owner, Place, Serial string
	Mark                                         mark
	Until, Why                                   string
}

func (s *Server) scopes(x *exchange) error {
	q := x.r.URL.Query()
	page := scopesPage{State: q.Get("state"), Kind: q.Get("kind"), Q: strings.TrimSpace(q.Get("q")), Kinds: scope.Kinds}
	for _, state := range turnaround.States {
		page.States = append(page.States, stateChoice{state, markOf(state).Word})
	}
	if q.Has("csv") && !x.may(access.Export) {
		return forbidden()
	}
	o, err := s.overview(x.r.Context())
	if err != nil {
		return err
	}
	if err := s.view(x.r.Context(), func(v desk.View) error { return s.fleet(&page, o.board, v) }); err != nil {
		return err
	}
	if q.Has("csv") {
		return x.csv("scopes.csv", page.rows())
	}
	if x.may(access.Export) {
		page.Export = s.url("/scopes?" + url.Values{"state": {page.State}, "kind": {page.Kind}, "q": {page.Q}, "csv": {""}}.Encode())
	}
	return x.show(http.StatusOK, "scopes", false, page)
}

// fleet fills in the scopes that were asked for; board holds the answers about those that are in service.
func (s *Server) fleet(page *scopesPage, board []turnaround.Answer, v desk.View) error {
	now := s.now()
	answers := map[string]turnaround.Answer{}
	for _, a := range board {
		answers[a.Scope] = a
	}
	fleet, err := v.Instruments()
	if err != nil {
		return err
	}
	page.Of = len(fleet)
	for _, i := range fleet {
		m, err := v.Model(i.Tag, now)
		if err != nil {
			return err
		}
		if page.Kind != "" && page.Kind != string(m.Kind) || !mentions(page.Q, i.Tag, i.Serial, i.Barcode, i.Model, i.Location) {
			continue
		}
		a, known := answers[i.Tag]
		if !known {
			if a, err = v.Gate(i.Tag, now, store.Forever); err != nil {
				return err
			}
		}
		if page.State != "" && page.State != string(a.State) {
			continue
		}
		line := fleetLine{
			Tag: i.Tag, Href: s.scopeHref(i.Tag), Model: i.Model, Kind: string(m.Kind), Owner: string(i.Owner), Place: i.Location, Serial: i.Serial,
			Mark: markOf(a.State), Until: clockTime(a.Until, now, v.Zone()),
		}
		for _, r := range a.Reasons {
			if r.Blocks {
				line.Why = r.Text
				break
			}
		}
		page.Lines = append(page.Lines, line)
	}
	return nil
}

// mentions says whether one of the texts holds what is looked for, in any case of letters.
func mentions(wanted string, texts ...string) bool {
	for _, t := range texts {
		if strings.Contains(strings.ToLower(t), strings.ToLower(wanted)) {
			return true
		}
	}
	return false
}

func (p scopesPage) rows() [][]string {
	rows := [][]string{{"scope", "state", "until", "model", "kind", "owner", "place", "serial", "because"}}
	for _, l := range p.Lines {
		rows = append(rows, []string{l.Tag, l.Mark.Word, l.Until, l.Model, l.Kind, l.Owner, l.Place, l.Serial, l.Why})
	}
	return rows
}

// csv answers with a table as a file (RFC 4180).
func (x *exchange) csv(name string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	for _, row := range rows {
		safe := make([]string, len(row))
		for i, cell := range row {
			safe[i] = inert(cell)
		}
		if err := w.Write(safe); err != nil {
			return err
		}
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	x.w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	x.answer(http.StatusOK, "text/csv; charset=utf-8; header=present", b.Bytes())
	return nil
}

// inert keeps a spreadsheet from taking a cell for a formula: an apostrophe goes before it (OWASP, CSV
// Injection).
func inert(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}
