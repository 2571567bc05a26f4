package web

import (
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// meterRegistry are the meters that read samples.
func meterRegistry() registry {
	return registry{
		path: "meters", wild: "code", word: "meter", one: "meter", many: "meters",
		about:  "A meter counts on the scale of its system: readings of two systems are never compared. What its controls should show are the targets.",
		second: "Only where it is of another system than before: one who may register it too.",
		typ:    record.Meter, act: desk.ToRegisterMeter, body: decoded[quality.Meter],
		key:   func(b any) string { return b.(quality.Meter).Code },
		title: func(b any) string { return "Meter " + b.(quality.Meter).Code },
		list:  listMeters, fields: meterFields, values: meterValues, read: readMeter,
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.SettingUp().RegisterMeter(e, at, b.(quality.Meter))
		},
		more: func(x *kit.Exchange, v desk.View, p *thingPage, b any) error {
			m := b.(quality.Meter)
			p.Mark = serviceMark(x.Shell.Terms, 0, m.Retired, x.Shell.Now())
			p.Links = meterLinks(x)
			targets, err := v.Measuring().Targets()
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
func meterLinks(x *kit.Exchange) (links []kit.Link) {
	links = append(links, kit.Link{Href: x.Shell.URL("/set-up/targets"), Text: "Targets of controls"})
	if href := x.LinkTo("/meters"); href != "" {
		links = append(links, kit.Link{Href: href, Text: "State, checks and charts of meters"})
	}
	return links
}

func listMeters(x *kit.Exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Meter", "System", "Serial", "Standing", "Check"}
	p.Links = meterLinks(x)
	meters, err := v.Measuring().Meters()
	if err != nil {
		return err
	}
	now := x.Shell.Now()
	for _, m := range meters {
		row := plainCell(m.Code, m.System, m.Serial, "", "")
		row[0].Href, row[3].Mark = meterRegistry().href(x.Shell, m.Code), serviceMark(x.Shell.Terms, 0, m.Retired, now)
		if state, err := v.Measuring().MeterState(m.Code, now); err == nil {
			row[4].Text = x.Shell.ClockOf(v).Said(state.Why)
		} else if fault.CodeOf(err) != fault.NotFound { // before a rule set is adopted nobody can say
			return err
		}
		p.add(row)
	}
	return nil
}

func meterFields(s *kit.Sheet, v desk.View, old any) error {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return err
	}
	s.Part("Meter", "")
	if old == nil {
		s.Text("code", "Code", "The facility's own name for it, as on its label. It never changes.", true)
	}
	hint := "Meters of one system count on the same scale."
	if names := systems(meters); names != "" {
		hint += " There are: " + names + "."
	}
	s.Text("system", "Meter system", hint, true)
	s.Text("serial", "Serial number", "", false)
	if old != nil {
		s.Moment("retired", "Out of service since", "Leave it empty while it is in service.", false)
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
	return map[string]string{"code": m.Code, "system": m.System, "serial": m.Serial, "retired": kit.MomentText(m.Retired, zone)}
}

func readMeter(a *kit.Reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(quality.Meter)
	m := quality.Meter{Code: a.Text("code"), System: a.Text("system"), Serial: a.Text("serial"), Retired: a.Moment("retired", before.Retired)}
	if old != nil {
		m.Code = before.Code
	}
	return m
}
