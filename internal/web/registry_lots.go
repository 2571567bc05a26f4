package web

import (
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
)

// lotRegistry are the lots of the kits.
func lotRegistry() registry {
	return registry{
		path: "kits", wild: "lot", word: "lot", one: "lot", many: "kits and lots",
		about: "Every lot of a kit that was received. The bench takes samples only with lots that are in date and not recalled.",
		typ:   record.Lot, act: desk.ToRegisterLot, body: decoded[quality.Lot],
		key: lotKey,
		title: func(b any) string {
			l := b.(quality.Lot)
			return "Lot " + l.Lot + " of kit " + l.Kit
		},
		list: listLots, fields: lotFields, values: lotValues, read: readLot,
		blank: func(now unit.Instant, zone *time.Location) map[string]string {
			return map[string]string{"received": momentText(now, zone)}
		},
		since: func(a *reply) unit.Instant { return a.moment("received", 0) },
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.RegisterLot(e, at, b.(quality.Lot))
		},
		more: func(x *exchange, _ desk.View, p *thingPage, b any) error {
			l := b.(quality.Lot)
			p.Mark = lotMark(l, x.s.now())
			if x.can(desk.ToRecall) && !l.Recalled.Known() {
				p.Acts = append(p.Acts, actForm{Name: "recall", Summary: "Recall this lot", Button: "Recall the lot", Fields: []field{
					{Name: "at", Label: "Not to be used from", Type: "datetime-local", Value: momentText(x.s.now(), x.s.desk.DB.Zone()), Required: true},
					{Name: "reason", Label: "Why", Type: "text", Hint: "Readings that were taken with it stay, and baselines leave them out.", Required: true},
				}})
			}
			return nil
		},
	}
}

func lotKey(b any) string {
	l := b.(quality.Lot)
	return l.Kit + "|" + l.Lot
}

// lotMark says whether a lot may be used.
func lotMark(l quality.Lot, now unit.Instant) *mark {
	switch {
	case l.Recalled.Known() && l.Recalled <= now:
		return &mark{"recalled", "■", "held"}
	case l.Expires <= now:
		return &mark{"expired", "−", "out"}
	}
	return &mark{"in date", "✓", "ready"}
}

func listLots(x *exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Lot", "Kit", "Standing", "Not to be used from", "Recalled since"}
	state := x.r.URL.Query().Get("state")
	p.Filter = &field{Name: "state", Label: "Standing", Value: state, Options: []option{{"", "every", state == ""}, {"in date", "in date", state == "in date"}, {"expired", "expired", state == "expired"}, {"recalled", "recalled", state == "recalled"}}}
	lots, err := v.Lots()
	if err != nil {
		return err
	}
	now := x.s.now()
	clock := x.s.clockOf(v)
	for _, l := range lots {
		m := lotMark(l, now)
		if state != "" && m.Word != state {
			p.Of++
			continue
		}
		row := plainCell(l.Lot, l.Kit, "", dayOrTime(l.Expires, v.Zone()), clock(l.Recalled))
		row[0].Href, row[2].Mark = lotRegistry().href(x.s, lotKey(l)), m
		p.add(row)
	}
	return nil
}

// dayOrTime writes an instant as a day where a day begins.
func dayOrTime(i unit.Instant, zone *time.Location) string {
	if t := i.Time().In(zone); i.Known() && t.Hour() == 0 && t.Minute() == 0 {
		return t.Format(time.DateOnly)
	}
	return clockTime(i, 0, zone)
}

func lotFields(s *sheet, v desk.View, old any) error {
	s.part("Lot", "")
	if old == nil {
		lots, err := v.Lots()
		if err != nil {
			return err
		}
		hint := "The name of the kit as samples name it."
		if names := kitNames(lots); names != "" {
			hint += " There are: " + names + "."
		}
		s.text("kit", "Kit", hint, true)
		s.text("lot", "Lot", "As printed on the package; a scanner reads it at the bench.", true)
		s.moment("received", "Received", "", true)
	}
	s.moment("expires", "Not to be used from", "The first instant at which it must not be used any more: of a lot that may be used until 31 March, the first minute of 1 April.", true)
	if l, ok := old.(quality.Lot); ok && l.Recalled.Known() {
		s.moment("recalled", "Recalled since", "Empty it to take a mistaken recall back.", false)
	}
	return nil
}

func kitNames(lots []quality.Lot) (names string) {
	last := ""
	for _, l := range lots {
		if l.Kit == last {
			continue
		}
		if last = l.Kit; names != "" {
			names += ", "
		}
		names += l.Kit
	}
	return names
}

func lotValues(b any, zone *time.Location) map[string]string {
	l := b.(quality.Lot)
	return map[string]string{"kit": l.Kit, "lot": l.Lot, "expires": momentText(l.Expires, zone), "recalled": momentText(l.Recalled, zone)}
}

func readLot(a *reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(quality.Lot)
	l := quality.Lot{Kit: a.text("kit"), Lot: a.text("lot"), Expires: a.moment("expires", before.Expires), Recalled: a.moment("recalled", before.Recalled)}
	if old != nil {
		l.Kit, l.Lot = before.Kit, before.Lot
	}
	return l
}

// lotActs are the routes of what can be done with a lot.
func (s *Server) lotActs() []route {
	r := lotRegistry()
	return []route{post(r.pathOf()+"/recall", desk.ToRecall, func(x *exchange) error {
		return s.actOn(x, r, "recall", "recalled", []string{"at"}, func(w *desk.Work, e desk.Entry, f form) error {
			at, err := s.instant(f.Typed["at"])
			if err == nil {
				_, err = w.Recall(e, x.r.PathValue(r.wild), baseOf(f), at)
			}
			return err
		})
	})}
}
