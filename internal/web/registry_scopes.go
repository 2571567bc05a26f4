package web

import (
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// scopeRegistry are the scopes of the fleet.
func scopeRegistry() registry {
	return registry{
		path: "fleet",
		wild: "tag",
		word: "scope",
		one:  "scope",
		many: "scopes",
		about: "Every scope that is, or was, in the facility's hands: its own, on loan and on trial. A scope that only needs work is put on hold or sent " +
			"for repair on its own page and stays in service.",
		typ:    record.Instrument,
		act:    desk.ToRegisterInstrument,
		second: lessBySecond,
		body:   decoded[scope.Instrument],
		key:    func(b any) string { return b.(scope.Instrument).Tag },
		title:  func(b any) string { return b.(scope.Instrument).Tag },
		list:   listScopes,
		fields: scopeFields,
		values: scopeValues,
		read:   readScope,
		blank: func(now unit.Instant, zone *time.Location) map[string]string {
			return map[string]string{"owner": string(scope.Own), "in-service": kit.MomentText(now, zone)}
		},
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(e, at, b.(scope.Instrument))
		},
		more: func(x *kit.Exchange, _ desk.View, p *thingPage, b any) error {
			i := b.(scope.Instrument)
			now := x.Shell.Now()
			m := serviceMark(x.Shell.Terms, i.InService, i.Retired, now)
			p.Mark = m
			if x.May(access.SeeScope) {
				p.Links = append(p.Links, kit.Link{Href: x.Shell.ScopeHref(i.Tag), Text: "State, holds and repairs of " + i.Tag})
			}
			p.Links = append(p.Links, kit.Link{Href: modelRegistry().href(x.Shell, i.Model), Text: "Model " + i.Model})
			if act, form := scopeAct(i, kit.MomentText(now, x.Shell.Desk.DB.Zone())); x.Can(act) {
				p.Acts = append(p.Acts, form)
			}
			return nil
		},
	}
}

// scopeAct is what can be done with a scope as it stands: take it out of service, or back.
func scopeAct(i scope.Instrument, now string) (access.Act, actForm) {
	why := kit.Field{Name: "reason", Label: "Why", Type: "text", Required: true}
	if i.Retired.Known() {
		text := "Take it back into service"
		if i.Owner != scope.Own {
			text = "It arrives again"
		}
		why.Hint = "What is not the facility's own counts as not proven until a cleaning verification has passed."
		return desk.ToReinstate, actForm{
			Name:    "return",
			Summary: text,
			Button:  text,
			Fields:  []kit.Field{{Name: "at", Label: "In service from", Type: "datetime-local", Value: now, Required: true}, why},
		}
	}
	text := "Take it out of service for good"
	if i.Owner != scope.Own {
		text = "It goes back to its owner"
	}
	return desk.ToRetire, actForm{
		Name:    "leave",
		Summary: text,
		Button:  text,
		Fields:  []kit.Field{{Name: "at", Label: "Out of service from", Type: "datetime-local", Value: now, Required: true}, why},
	}
}

// serviceMark says whether something is in service.
func serviceMark(t words.Terms, from, retired, now unit.Instant) *words.Mark {
	switch {
	case retired.Known() && retired <= now:
		return marked(t, words.LeftService)
	case from > now:
		return marked(t, words.NotYet)
	}
	return marked(t, words.InService)
}

func listScopes(x *kit.Exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Scope", "Standing", "Model", "Owner", "Place", "Serial", "In service since"}
	state := x.R.URL.Query().Get("state")
	p.Filter = &kit.Field{
		Name:    "state",
		Label:   "Standing",
		Value:   state,
		Options: kit.Choose(state, "", "every", "in", "in service", "out", "out of service", "loan", "on loan or trial"),
	}
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	now := x.Shell.Now()
	for _, i := range fleet {
		out := i.Retired.Known() && i.Retired <= now
		if state == "in" && out || state == "out" && !out || state == "loan" && i.Owner == scope.Own {
			p.Of++
			continue
		}
		row := plainCell(i.Tag, "", i.Model, x.Shell.Terms.Owner(i.Owner), i.Location, i.Serial, kit.DayText(i.InService, v.Zone()))
		row[0].Href, row[1].Mark, row[2].Href = scopeRegistry().href(x.Shell, i.Tag),
			serviceMark(
				x.Shell.Terms,
				i.InService,
				i.Retired,
				now,
			), modelRegistry().href(x.Shell, i.Model)
		p.add(row)
	}
	return nil
}

func scopeFields(s *kit.Sheet, v desk.View, old any) error {
	models, err := v.Registry().Models()
	if err != nil {
		return err
	}
	names := make([]kit.Option, 1, len(models)+1)
	names[0].Text = "choose a model"
	for _, m := range models {
		names = append(names, kit.Option{Value: m.Name, Text: m.Name + " (" + m.Kind.Words() + ")"})
	}
	s.Part("Scope", "")
	if old == nil {
		s.Text("tag", "Tag", "The facility's own name for it, as on its label. It never changes.", true)
	}
	s.Choose("model", "Model", "", names...)
	s.Text("serial", "Serial number", "", false)
	s.Text("barcode", "Barcode", "Scan the device's own code; the bench and the release check then know the scope by it.", false)
	s.Choose("owner", "Owner", "A scope on loan or trial is not proven until a cleaning verification has passed.", kit.Choices(scope.Owners)...)
	s.Text("location", "Place", "", false)
	s.Moment("in-service", "In service since", "When it came into the facility's hands.", true)
	return nil
}

func scopeValues(b any, zone *time.Location) map[string]string {
	i := b.(scope.Instrument)
	return map[string]string{
		"tag": i.Tag, "model": i.Model, "serial": i.Serial, "barcode": i.Barcode, "owner": string(i.Owner), "location": i.Location,
		"in-service": kit.MomentText(i.InService, zone),
	}
}

func readScope(a *kit.Reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(scope.Instrument)
	i := scope.Instrument{
		Tag: a.Text("tag"), Serial: a.Text("serial"), Barcode: a.Text("barcode"), Model: a.Text("model"), Owner: scope.Owner(a.Text("owner")),
		Location: a.Text("location"), InService: a.Moment("in-service", before.InService), Retired: before.Retired,
	}
	if old != nil {
		i.Tag = before.Tag
	}
	return i
}

// leaveScope takes a scope out of service.
func (s setUpPages) leaveScope(x *kit.Exchange) error {
	return s.actAt(x, scopeRegistry(), "leave", "left", func(w *desk.Work, e desk.Entry, tag string, base ledger.ID, at unit.Instant) error {
		_, err := w.SettingUp().Retire(e, tag, base, at)
		return err
	})
}

// returnScope takes a scope into service again.
func (s setUpPages) returnScope(x *kit.Exchange) error {
	return s.actAt(x, scopeRegistry(), "return", "back", func(w *desk.Work, e desk.Entry, tag string, base ledger.ID, at unit.Instant) error {
		_, err := w.SettingUp().Reinstate(e, tag, base, at)
		return err
	})
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
