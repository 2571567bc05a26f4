package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"

	"rinsate/internal/desk"
	"rinsate/internal/figure"
	"rinsate/internal/ledger"
	"rinsate/internal/reading"
	"rinsate/internal/scope"
	"rinsate/internal/store"
	"rinsate/internal/unit"
)

// scopesPage lists the fleet.
type scopesPage struct{ Tiles []fleetLine }

type fleetLine struct {
	Tag, Href, Model, Kind, Owner, Place string
	Mark                                 mark
	Until, Why                           string
}

func (s *Server) scopes(x *exchange) error {
	var page scopesPage
	now := s.now()
	err := s.view(x.r.Context(), func(v desk.View) error {
		fleet, err := v.Instruments()
		if err != nil {
			return err
		}
		for _, i := range fleet {
			a, err := v.Gate(i.Tag, now, store.Forever)
			if err != nil {
				return err
			}
			m, err := v.Model(i.Tag, now)
			if err != nil {
				return err
			}
			line := fleetLine{
				Tag: i.Tag, Href: s.scopeHref(i.Tag), Model: i.Model, Kind: string(m.Kind), Owner: string(i.Owner), Place: i.Location,
				Mark: markOf(a.State), Until: clockTime(a.Until, now, v.Zone()),
			}
			for _, r := range a.Reasons {
				if r.Blocks {
					line.Why = r.Text
					break
				}
			}
			page.Tiles = append(page.Tiles, line)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.show(http.StatusOK, "scopes", false, page)
}

// scopePage is one scope: what the gate says, how far its turnaround is, and what is on record.
type scopePage struct {
	Tag, Serial, Model, Kind, Risk, Owner, Place string
	Mark                                         mark
	Until, Left                                  string
	Reasons                                      []reasonLine
	Next                                         []string
	Steps                                        []stepLine
	Since                                        string
	// Strip is the turnaround, Drawing the scope with its points, each for a wide and a narrow window.
	Strip, Drawing picture
	History        []historyLine
}

type reasonLine struct {
	Text, By, Href, Citation string
	Blocks, Unverified       bool
}

type stepLine struct{ Step, Status, Shape, Start, End, Deadline, Href string }

type historyLine struct{ At, Type, By, Href, Short, Remarks string }

// historyLength is how many records a scope's page shows.
const historyLength = 40

func (s *Server) scope(x *exchange) error {
	tag := x.r.PathValue("tag")
	var page scopePage
	now := s.now()
	err := s.view(x.r.Context(), func(v desk.View) error {
		fleet, err := v.Instruments()
		if err != nil {
			return err
		}
		i := findScope(fleet, tag)
		if i < 0 {
			return notHere("No scope has the tag %q.", tag)
		}
		return s.fillScope(&page, v, fleet[i], now)
	})
	if err != nil {
		return err
	}
	return x.show(http.StatusOK, "scope", false, page)
}

func (s *Server) fillScope(page *scopePage, v desk.View, i scope.Instrument, now unit.Instant) error {
	a, err := v.Gate(i.Tag, now, store.Forever)
	if err != nil {
		return err
	}
	m, err := v.Model(i.Tag, now)
	if err != nil {
		return err
	}
	zone := v.Zone()
	*page = scopePage{
		Tag: i.Tag, Serial: i.Serial, Model: i.Model, Kind: string(m.Kind), Risk: string(m.Risk), Owner: string(i.Owner), Place: i.Location,
		Mark: markOf(a.State), Until: clockTime(a.Until, now, zone), Next: a.Next, Since: clockTime(a.Turnaround, now, zone),
	}
	if a.Until.Known() {
		page.Left = age(a.Until.Sub(now))
	}
	for _, r := range a.Reasons {
		page.Reasons = append(page.Reasons, reasonLine{
			Text: r.Text, By: r.By, Href: s.recordHref(r.Record), Citation: r.Citation, Blocks: r.Blocks, Unverified: r.Unverified,
		})
	}
	for _, p := range a.Steps {
		line := stepLine{Step: string(p.Step), Status: string(p.Status), Start: clockTime(p.Start, now, zone), End: clockTime(p.End, now, zone), Href: s.recordHref(p.Record)}
		if p.Deadline.Known() {
			line.Deadline = clockTime(p.Deadline, now, zone)
		}
		page.Steps = append(page.Steps, line)
	}
	page.Strip = pictured("strip", figure.Strip(a, now, zone, figure.Places{Record: func(id ledger.ID) string { return s.recordHref(string(id)) }}))
	states, err := s.pointStates(v, i.Tag, m, now)
	if err != nil {
		return err
	}
	page.Drawing = pictured("scope", figure.Schematic(m, states, zone))
	lines, err := v.Chronicle(i.Tag, 0, now, historyLength)
	if err != nil {
		return err
	}
	for _, l := range lines {
		h := historyLine{At: clockTime(l.At, now, zone), Type: l.Type, By: l.By, Href: s.recordHref(l.ID), Short: l.ID[:8]}
		switch {
		case l.Replaced.Known():
			h.Remarks = "replaced"
		case l.Corrects != "":
			h.Remarks = "corrects another: " + l.Reason
		case l.Late:
			h.Remarks = "entered late"
		}
		page.History = append(page.History, h)
	}
	return nil
}

// recentReadings is how many readings the small chart of a point shows.
const recentReadings = 20

// pointStates tells of each sampling point of a scope the latest reading, with those before it on the same
// scale.
func (s *Server) pointStates(v desk.View, tag string, m scope.Model, now unit.Instant) ([]figure.PointState, error) {
	var states []figure.PointState
	for _, p := range m.Points() {
		past, err := v.Lately(tag, p.Kind, now, recentReadings)
		if err != nil {
			return nil, err
		}
		state := figure.PointState{Kind: p.Kind}
		for _, x := range past {
			state.Recent = append(state.Recent, math.Log10(math.Max(1, x.Value)))
		}
		if len(past) > 0 {
			last := past[len(past)-1]
			r, err := v.ReadingOf(last.ID)
			if err != nil {
				return nil, err
			}
			state.Outcome, state.Value, state.When, state.Href = last.Outcome, r.Value.String(), last.At, s.recordHref(string(last.ID))
			if l := r.Judgement.Level; l != nil {
				state.Level = levelWords(*l)
				state.Limit = math.Log10(math.Max(1, float64(l.Action)))
			}
		}
		states = append(states, state)
	}
	return states, nil
}

// levelWords says what a value was judged by.
func levelWords(l reading.Level) string {
	if l.Alert > 0 {
		return fmt.Sprintf("alert %s, action %s %s", l.Alert, l.Action, l.Unit)
	}
	return fmt.Sprintf("action %s %s", l.Action, l.Unit)
}

// scopeHref is the address of a scope's page; tags may hold what addresses may not.
func (s *Server) scopeHref(tag string) string { return s.url("/scopes/" + url.PathEscape(tag)) }

func (s *Server) recordHref(id string) string {
	if id == "" {
		return ""
	}
	return s.url("/records/" + id)
}

// recordPage is one record as it is stored.
type recordPage struct {
	ID, Type, At, Recorded, By, Reason string
	Seq                                int64
	Late, Replaced                     bool
	Corrects, CorrectsHref             string
	Body                               string
}

func (s *Server) record(x *exchange) error {
	var page recordPage
	err := s.view(x.r.Context(), func(v desk.View) error {
		l, err := v.Show(x.r.PathValue("id"))
		if err != nil {
			return err
		}
		body, err := json.MarshalIndent(l.Body, "", "  ")
		if err != nil {
			return err
		}
		page = recordPage{
			ID: l.ID, Type: l.Type, At: l.At.In(v.Zone()), Recorded: l.Recorded.In(v.Zone()), By: l.By, Reason: l.Reason, Seq: l.Seq,
			Late: l.Late, Replaced: l.Replaced.Known(), Corrects: l.Corrects, CorrectsHref: s.recordHref(l.Corrects), Body: string(body),
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.show(http.StatusOK, "record", false, page)
}
