package web

import (
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// scopeRegistry are the scopes of the fleet.
func scopeRegistry() registry {
	return registry{
		path: "fleet", wild: "tag", word: "scope", one: "scope", many: "scopes",
		about: "Every scope that is, or was, in the facility's hands: its own, on loan and on trial. A scope that only needs work is held or sent for repair on its own page and stays in service.",
		typ:   record.Instrument, act: desk.ToRegisterInstrument, body: decoded[scope.Instrument],
		key:   func(b any) string { return b.(scope.Instrument).Tag },
		title: func(b any) string { return b.(scope.Instrument).Tag },
		list:  listScopes, fields: scopeFields, values: scopeValues, read: readScope,
		blank: func(now unit.Instant, zone *time.Location) map[string]string {
			return map[string]string{"owner": string(scope.Own), "in-service": momentText(now, zone)}
		},
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.RegisterInstrument(e, at, b.(scope.Instrument))
		},
		more: func(x *exchange, _ desk.View, p *thingPage, b any) error {
			i := b.(scope.Instrument)
			now := x.s.now()
			m := serviceMark(i.InService, i.Retired, now)
			p.Mark = m
			if x.may(access.SeeScope) {
				p.Links = append(p.Links, link{Href: x.s.scopeHref(i.Tag), Text: "State, holds and repairs of " + i.Tag})
			}
			p.Links = append(p.Links, link{Href: modelRegistry().href(x.s, i.Model), Text: "Model " + i.Model})
			if act, form := scopeAct(i, momentText(now, x.s.desk.DB.Zone())); x.can(act) {
				p.Acts = append(p.Acts, form)
			}
			return nil
		},
	}
}

// scopeAct is what can be done with a scope as it stands: take it out of service, or back.
func scopeAct(i scope.Instrument, now string) (access.Act, actForm) {
	why := field{Name: "reason", Label: "Why", Type: "text", Required: true}
	if i.Retired.Known() {
		text := "Take it back into service"
		if i.Owner != scope.Own {
			text = "It arrives again"
		}
		why.Hint = "What is not the facility's own counts as not proven until a round has passed."
		return desk.ToReinstate, actForm{Name: "return", Summary: text, Button: text, Fields: []field{{Name: "at", Label: "In service from", Type: "datetime-local", Value: now, Required: true}, why}}
	}
	text := "Take it out of service for good"
	if i.Owner != scope.Own {
		text = "It goes back to its owner"
	}
	return desk.ToRetire, actForm{Name: "leave", Summary: text, Button: text, Fields: []field{{Name: "at", Label: "Out of service from", Type: "datetime-local", Value: now, Required: true}, why}}
}

// serviceMark says whether something is in service.
func serviceMark(from, retired, now unit.Instant) *mark {
	switch {
	case retired.Known() && retired <= now:
		return &mark{"out of service", "−", "out"}
	case from > now:
		return &mark{"not yet in service", "○", "unknown"}
	}
	return &mark{"in service", "✓", "ready"}
}

func listScopes(x *exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Scope", "Standing", "Model", "Owner", "Place", "Serial", "In service since"}
	state := x.r.URL.Query().Get("state")
	p.Filter = &field{Name: "state", Label: "Standing", Value: state, Options: []option{{"", "every", state == ""}, {"in", "in service", state == "in"}, {"out", "out of service", state == "out"}, {"loan", "on loan or trial", state == "loan"}}}
	fleet, err := v.Instruments()
	if err != nil {
		return err
	}
	now := x.s.now()
	for _, i := range fleet {
		out := i.Retired.Known() && i.Retired <= now
		if state == "in" && out || state == "out" && !out || state == "loan" && i.Owner == scope.Own {
			p.Of++
			continue
		}
		row := plainCell(i.Tag, "", i.Model, string(i.Owner), i.Location, i.Serial, dayText(i.InService, v.Zone()))
		row[0].Href, row[1].Mark, row[2].Href = scopeRegistry().href(x.s, i.Tag), serviceMark(i.InService, i.Retired, now), modelRegistry().href(x.s, i.Model)
		p.add(row)
	}
	return nil
}

func scopeFields(s *sheet, v desk.View, old any) error {
	models, err := v.Models()
	if err != nil {
		return err
	}
	names := make([]option, 1, len(models)+1)
	names[0].Text = "choose a model"
	for _, m := range models {
		names = append(names, option{Value: m.Name, Text: m.Name + " (" + string(m.Kind) + ")"})
	}
	s.part("Scope", "")
	if old == nil {
		s.text("tag", "Tag", "The facility's own name for it, as on its label. It never changes.", true)
	}
	s.choose("model", "Model", "", names...)
	s.text("serial", "Serial number", "", false)
	s.text("barcode", "Barcode", "Scan the device's own code; the bench and the gate then know the scope by it.", false)
	s.choose("owner", "Owner", "A scope on loan or trial is not proven until a round has passed.", choices(scope.Owners)...)
	s.text("location", "Place", "", false)
	s.moment("in-service", "In service since", "When it came into the facility's hands.", true)
	return nil
}

func scopeValues(b any, zone *time.Location) map[string]string {
	i := b.(scope.Instrument)
	return map[string]string{
		"tag": i.Tag, "model": i.Model, "serial": i.Serial, "barcode": i.Barcode, "owner": string(i.Owner), "location": i.Location,
		"in-service": momentText(i.InService, zone),
	}
}

func readScope(a *reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(scope.Instrument)
	i := scope.Instrument{
		Tag: a.text("tag"), Serial: a.text("serial"), Barcode: a.text("barcode"), Model: a.text("model"), Owner: scope.Owner(a.text("owner")),
		Location: a.text("location"), InService: a.moment("in-service", before.InService), Retired: before.Retired,
	}
	if old != nil {
		i.Tag = before.Tag
	}
	return i
}

// scopeActs are the routes of what can be done with a scope.
func (s *Server) scopeActs() []route {
	r := scopeRegistry()
	act := func(name string, act access.Act, done string, do func(*desk.Work, desk.Entry, string, form, unit.Instant) error) route {
		return post(r.pathOf()+"/"+name, act, func(x *exchange) error {
			return s.actOn(x, r, name, done, []string{"at"}, func(w *desk.Work, e desk.Entry, f form) error {
				at, err := s.instant(f.Typed["at"])
				if err != nil {
					return err
				}
				return do(w, e, x.r.PathValue(r.wild), f, at)
			})
		})
	}
	return []route{
		act("leave", desk.ToRetire, "left", func(w *desk.Work, e desk.Entry, tag string, f form, at unit.Instant) error {
			_, err := w.Retire(e, tag, baseOf(f), at)
			return err
		}),
		act("return", desk.ToReinstate, "back", func(w *desk.Work, e desk.Entry, tag string, f form, at unit.Instant) error {
			_, err := w.Reinstate(e, tag, baseOf(f), at)
			return err
		}),
	}
}

// pathOf is the path of the page of a thing with the name of its key.
func (r registry) pathOf() string { return "/set-up/" + r.path + "/{" + r.wild + "}" }

// inService are the meters that are in service.
func inService(meters []quality.Meter, now unit.Instant) (all []quality.Meter) {
	for _, m := range meters {
		if !m.Retired.Known() || m.Retired > now {
			all = append(all, m)
		}
	}
	return all
}
