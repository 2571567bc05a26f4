package web

import (
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
)

// meterRegistry are the meters that read samples.
func meterRegistry() registry {
	return registry{
		path: "meters", wild: "code", word: "meter", one: "meter", many: "meters",
		about: "A meter counts on the scale of its system: readings of two systems are never compared. What its controls should show are the targets.",
		typ:   record.Meter, act: desk.ToRegisterMeter, body: decoded[quality.Meter],
		key:   func(b any) string { return b.(quality.Meter).Code },
		title: func(b any) string { return "Meter " + b.(quality.Meter).Code },
		list:  listMeters, fields: meterFields, values: meterValues, read: readMeter,
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.RegisterMeter(e, at, b.(quality.Meter))
		},
		more: func(x *exchange, v desk.View, p *thingPage, b any) error {
			m := b.(quality.Meter)
			p.Mark = serviceMark(0, m.Retired, x.s.now())
			p.Links = meterLinks(x)
			targets, err := v.Targets()
			if err != nil {
				return err
			}
			t := listPage{Title: "Targets of its controls", Columns: targetColumns}
			for _, target := range latestTargets(targets) {
				if target.System == m.System && (target.Meter == "" || target.Meter == m.Code) {
					t.add(registryTargetRow(x, target, v.Zone()))
				}
			}
			p.Tables = append(p.Tables, t)
			return nil
		},
	}
}

// meterLinks lead to what belongs to meters and is done elsewhere.
func meterLinks(x *exchange) (links []link) {
	links = append(links, link{Href: x.s.url("/set-up/targets"), Text: "Targets of controls"})
	if href := x.linkTo("/meters"); href != "" {
		links = append(links, link{Href: href, Text: "State, checks and charts of meters"})
	}
	return links
}

func listMeters(x *exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Meter", "System", "Serial", "Standing", "Check"}
	p.Links = meterLinks(x)
	meters, err := v.Meters()
	if err != nil {
		return err
	}
	now := x.s.now()
	for _, m := range meters {
		row := plainCell(m.Code, m.System, m.Serial, "", "")
		row[0].Href, row[3].Mark = meterRegistry().href(x.s, m.Code), serviceMark(0, m.Retired, now)
		if state, err := v.MeterState(m.Code, now); err == nil {
			row[4].Text = state.Why
		} else if fault.CodeOf(err) != fault.NotFound { // before a rule set is adopted nobody can say
			return err
		}
		p.add(row)
	}
	return nil
}

func meterFields(s *sheet, v desk.View, old any) error {
	meters, err := v.Meters()
	if err != nil {
		return err
	}
	s.part("Meter", "")
	if old == nil {
		s.text("code", "Code", "The facility's own name for it, as on its label. It never changes.", true)
	}
	hint := "Meters of one system count on the same scale."
	if names := systems(meters); names != "" {
		hint += " There are: " + names + "."
	}
	s.text("system", "Meter system", hint, true)
	s.text("serial", "Serial number", "", false)
	if old != nil {
		s.moment("retired", "Out of service since", "Leave it empty while it is in service.", false)
	}
	return nil
}

// systems are the names of the meter systems that there are.
func systems(meters []quality.Meter) (names string) {
	seen := map[string]bool{}
	for _, m := range meters {
		if seen[m.System] {
			continue
		}
		if seen[m.System] = true; names != "" {
			names += ", "
		}
		names += m.System
	}
	return names
}

func meterValues(b any, zone *time.Location) map[string]string {
	m := b.(quality.Meter)
	return map[string]string{"code": m.Code, "system": m.System, "serial": m.Serial, "retired": momentText(m.Retired, zone)}
}

func readMeter(a *reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(quality.Meter)
	m := quality.Meter{Code: a.text("code"), System: a.text("system"), Serial: a.text("serial"), Retired: a.moment("retired", before.Retired)}
	if old != nil {
		m.Code = before.Code
	}
	return m
}
