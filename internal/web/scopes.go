package web

import (
	"net/http"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/words"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// scopesPage lists the fleet, or those of it that were asked for.
type scopesPage struct {
	Lines []fleetLine
	// Of is how many scopes there are.
	Of             int
	State, Kind, Q string
	States         []stateChoice
	Kinds          []scope.Kind
	// Exports are where the same rows are had as a file.
	Exports kit.Exports
}

type stateChoice struct {
	State reprocessing.State
	Word  string
}

type fleetLine struct {
	Tag, Href, Model, Kind, Owner, Place, Serial string
	Mark                                         words.Mark
	Until, Why                                   string
}

func (s dayPages) scopes(x *kit.Exchange) error {
	q := x.R.URL.Query()
	page := scopesPage{State: q.Get("state"), Kind: q.Get("kind"), Q: strings.TrimSpace(q.Get("q")), Kinds: scope.Kinds}
	for _, state := range reprocessing.States {
		page.States = append(page.States, stateChoice{state, s.Terms.State(state).Word})
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	o, err := s.overview(x.R.Context())
	if err != nil {
		return err
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		clock := s.ClockOf(v)
		if wanted {
			clock = words.Dated(v.Zone())
		}
		return s.fleet(&page, o.board, v, clock)
	})
	if err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	page.Exports = x.Exports()
	return x.Show(http.StatusOK, "scopes", false, page)
}

// fleet fills in the scopes that were asked for, by a clock; board holds the answers about those that are in service.
func (s dayPages) fleet(page *scopesPage, board []reprocessing.Answer, v desk.View, clock words.Clock) error {
	now := s.Now()
	answers := map[string]reprocessing.Answer{}
	for _, a := range board {
		answers[a.Scope] = a
	}
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	page.Of = len(fleet)
	for _, i := range fleet {
		m, err := v.Model(i.Tag, now)
		if err != nil {
			return err
		}
		if page.Kind != "" && page.Kind != string(m.Kind) || !kit.Mentions(page.Q, i.Tag, i.Serial, i.Barcode, i.Model, i.Location) {
			continue
		}
		a, known := answers[i.Tag]
		if !known {
			if a, err = v.ReleaseNow(i.Tag, now, store.Forever); err != nil {
				return err
			}
		}
		if page.State != "" && page.State != string(a.State) {
			continue
		}
		line := fleetLine{
			Tag: i.Tag, Href: s.ScopeHref(i.Tag), Model: i.Model, Kind: m.Kind.Words(), Owner: s.Terms.Owner(i.Owner), Place: i.Location, Serial: i.Serial,
			Mark: s.Terms.State(a.State), Until: clock(a.Until),
		}
		for _, r := range clock.Answer(s.Terms.Answer(a)).Reasons {
			if r.Blocks {
				line.Why = r.Whole()
				break
			}
		}
		if line.Why == "" {
			line.Why = a.NotChecked()
		}
		page.Lines = append(page.Lines, line)
	}
	return nil
}

func (p scopesPage) listing() kit.Listing {
	l := kit.Listing{Name: "scopes", Columns: kit.Columns("scope", "state", "until", "model", "kind", "owner", "place", "serial", "because")}
	for _, line := range p.Lines {
		l.Rows = append(l.Rows, []string{line.Tag, line.Mark.Word, line.Until, line.Model, line.Kind, line.Owner, line.Place, line.Serial, line.Why})
	}
	return l
}
