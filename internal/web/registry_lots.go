package web

import (
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
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
			return map[string]string{"received": kit.MomentText(now, zone)}
		},
		since: func(a *kit.Reply) unit.Instant { return a.Moment("received", 0) },
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			return w.SettingUp().RegisterLot(e, at, b.(quality.Lot))
		},
		more: func(x *kit.Exchange, _ desk.View, p *thingPage, b any) error {
			l := b.(quality.Lot)
			p.Mark = lotMark(x.Shell.Terms, l, x.Shell.Now())
			if x.Can(desk.ToRecall) && !l.Recalled.Known() {
				p.Acts = append(p.Acts, actForm{Name: "recall", Summary: "Recall this lot", Button: "Recall the lot", Fields: []kit.Field{
					{
						Name:     "at",
						Label:    "Not to be used from",
						Type:     "datetime-local",
						Value:    kit.MomentText(x.Shell.Now(), x.Shell.Desk.DB.Zone()),
						Required: true,
					},
					{Name: "reason", Label: "Why", Type: "text", Hint: "Readings that were taken with it stay, and baselines leave them out.", Required: true},
				}})
			}
			if x.Can(desk.ToTakeBackRecall) && l.Recalled.Known() {
				p.Acts = append(p.Acts, takeBackForm(x))
			}
			return nil
		},
	}
}

func lotKey(b any) string {
	l := b.(quality.Lot)
	return l.Key()
}

// lotMark says whether a lot may be used.
func lotMark(t words.Terms, l quality.Lot, now unit.Instant) *words.Mark {
	switch {
	case l.Recalled.Known() && l.Recalled <= now:
		return marked(t, words.Recalled)
	case l.Expires <= now:
		return marked(t, words.Expired)
	}
	return marked(t, words.InDate)
}

func listLots(x *kit.Exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Lot", "Kit", "Standing", "Not to be used from", "Recalled since"}
	state := x.R.URL.Query().Get("state")
	p.Filter = &kit.Field{
		Name:    "state",
		Label:   "Standing",
		Value:   state,
		Options: kit.Choose(state, "", "every", "in date", "in date", "expired", "expired", "recalled", "recalled"),
	}
	lots, err := v.Day().Lots()
	if err != nil {
		return err
	}
	now := x.Shell.Now()
	clock := x.Shell.ClockOf(v)
	for _, l := range lots {
		m := lotMark(x.Shell.Terms, l, now)
		if state != "" && m.Word != state {
			p.Of++
			continue
		}
		row := plainCell(l.Lot, l.Kit, "", dayOrTime(l.Expires, v.Zone()), clock(l.Recalled))
		row[0].Href, row[2].Mark = lotRegistry().href(x.Shell, lotKey(l)), m
		p.add(row)
	}
	return nil
}

// dayOrTime writes an instant as a day where a day begins.
func dayOrTime(i unit.Instant, zone *time.Location) string {
	if t := i.Time().In(zone); i.Known() && t.Hour() == 0 && t.Minute() == 0 {
		return t.Format(time.DateOnly)
	}
	return words.Short(i, 0, zone)
}

func lotFields(s *kit.Sheet, v desk.View, old any) error {
	s.Part("Lot", "")
	if old == nil {
		lots, err := v.Day().Lots()
		if err != nil {
			return err
		}
		hint := "The name of the kit as samples name it."
		if names := kitNames(lots); names != "" {
			hint += " There are: " + names + "."
		}
		s.Text("kit", "Kit", hint, true)
		s.Text("lot", "Lot", "As printed on the package; a scanner reads it at the bench.", true)
		s.Moment("received", "Received", "", true)
	}
	s.Moment(
		"expires",
		"Not to be used from",
		"The first instant at which it must not be used any more: of a lot that may be used until 31 March, the first minute of 1 April.",
		true,
	)
	if l, ok := old.(quality.Lot); ok && l.Recalled.Known() {
		s.Moment("recalled", "Recalled since", "It can begin earlier. Two people take a mistaken recall back, on the page of the lot.", true)
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
	return map[string]string{"kit": l.Kit, "lot": l.Lot, "expires": kit.MomentText(l.Expires, zone), "recalled": kit.MomentText(l.Recalled, zone)}
}

func readLot(a *kit.Reply, old any, _ string, _ unit.Instant) any {
	before, _ := old.(quality.Lot)
	l := quality.Lot{Kit: a.Text("kit"), Lot: a.Text("lot"), Expires: a.Moment("expires", before.Expires), Recalled: a.Moment("recalled", before.Recalled)}
	if old != nil {
		l.Kit, l.Lot, l.Cleared = before.Kit, before.Lot, before.Cleared
	}
	return l
}

// recallLot keeps a lot from being used, from an instant on.
func (s setUpPages) recallLot(x *kit.Exchange) error {
	return s.actAt(x, lotRegistry(), "recall", "recalled", func(w *desk.Work, e desk.Entry, key string, base ledger.ID, at unit.Instant) error {
		_, err := w.SettingUp().Recall(e, key, base, at)
		return err
	})
}

// takeBackForm asks for what it takes to let a recalled lot be used again.
func takeBackForm(x *kit.Exchange) actForm {
	fields := []kit.Field{{
		Name: "reason", Label: "Why it was a mistake", Type: "text", Required: true,
		Hint: "Readings that were taken with it since count again.",
	}}
	if x.Unsigned() {
		fields = append(fields, kit.Field{Name: "secret", Label: "Your password or PIN, as your signature", Type: "password", Required: true})
	}
	fields = append(
		fields,
		kit.Field{Name: "second", Label: "Second person, code", Type: "text", Required: true, Hint: "One who may lift holds and took no part in the recall."},
		kit.Field{Name: "second-password", Label: "Second person, password", Type: "password", Required: true},
	)
	return actForm{Name: "take-back", Summary: "Take the recall back", Button: "Take the recall back", Fields: fields}
}

// takeBackRecall lets a recalled lot be used again. It is a signature of two.
func (s setUpPages) takeBackRecall(x *kit.Exchange) error {
	sign := func(f kit.Form, e *desk.Entry) error {
		if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
			return err
		}
		return vouched(x, f.Typed["second"], e)
	}
	return s.actOn(x, lotRegistry(), "take-back", "cleared", []string{"second"}, sign, func(w *desk.Work, e desk.Entry, f kit.Form) error {
		_, err := w.SettingUp().TakeBackRecall(e, x.R.PathValue("lot"), baseOf(f), "")
		return err
	})
}
