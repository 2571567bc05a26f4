package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// levelRegistry are levels that are typed and not derived: what a facility begins with, before it has
// readings of its own. Adopting one is a signature, since rounds are decided by it.
func levelRegistry() registry {
	return registry{
		path: "levels", wild: "key", word: "level", one: "level", many: "first levels",
		about: "What a facility begins with, from the instructions of the kit or a published limit for exactly this meter system, kit and way of sampling. A level never carries over from another system. Once there are readings of your own, derive and judge levels in the workshop.",
		typ:   record.Level, act: desk.ToAdoptLevel, body: decoded[reading.Level],
		key: func(b any) string { return b.(reading.Level).Key() },
		title: func(b any) string {
			l := b.(reading.Level)
			return fmt.Sprintf("Level of the %s, %s with %s", spaced(string(l.Point)), l.System, l.Kit)
		},
		list: func(x *exchange, v desk.View, p *listPage) error {
			p.Columns = []string{"Sampling point", "Meter system", "Kit", "Kind of scope", "Alert", "Action", "Unit", "Source", "Adopted", "By"}
			targets, err := v.LevelTargets()
			for _, t := range targets {
				if t.InForce != nil {
					p.add(levelRow(x, t.InForce.Level, v.Zone()))
				}
			}
			return err
		},
		fields: levelFields, values: levelValues, read: readLevel,
		blank: func(unit.Instant, *time.Location) map[string]string {
			return map[string]string{"edition": "1", "analyte": string(reading.ATP), "unit": string(reading.RLU), "comparison": string(reading.Over)}
		},
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			l := b.(reading.Level)
			l.Adopted = at
			return w.AdoptLevel(e, l)
		},
	}
}

func levelRow(x *exchange, l reading.Level, zone *time.Location) []cell {
	kind, alert := "every", "none"
	if l.Kind != "" {
		kind = string(l.Kind)
	}
	if l.Alert > 0 {
		alert = l.Alert.String()
	}
	row := plainCell(spaced(string(l.Point)), l.System, l.Kit, kind, alert, l.Action.String(), string(l.Unit), l.Source+", edition "+l.Edition, dayText(l.Adopted, zone), l.Adopter)
	row[0].Href = levelRegistry().href(x.s, l.Key())
	return row
}

func levelFields(s *sheet, v desk.View, old any) error {
	meters, err := v.Meters()
	if err != nil {
		return err
	}
	if old == nil {
		s.part("What it is for", "")
		s.text("system", "Meter system", "One of: "+systems(inService(meters, v.Now()))+".", true)
		s.text("kit", "Kit", "As its lots name it.", true)
		s.choose("point", "Sampling point", "", choices(scope.PointKinds)...)
		s.choose("kind", "Kind of scope", "", append([]option{{Value: "", Text: "every kind"}}, choices(scope.Kinds)...)...)
		s.choose("analyte", "Residue test", "", choices(reading.Analytes)...)
	}
	s.part("Level", "")
	s.choose("unit", "Unit", "Readings of ATP meters are in RLU.", unitChoices()...)
	s.add(field{Name: "alert", Label: "Alert level", Type: "number", Hint: "From it on the cause is looked for; empty where there is none."})
	s.add(field{Name: "action", Label: "Action level", Type: "number", Hint: "Beyond it the scope is cleaned again. A strip has none."})
	s.choose("comparison", "The action level is exceeded by", "", option{Value: string(reading.Over), Text: "a value over it"}, option{Value: string(reading.AtOrOver), Text: "a value at or over it"})
	s.text("dirty", "Words of a strip that count as dirty", "With commas between them; only for strips.", false)
	s.text("clean", "Words of a strip that count as clean", "With commas between them; only for strips.", false)
	s.text("source", "Source", "Where the level comes from, such as the instructions of the kit.", true)
	s.text("edition", "Edition", "The facility's name of this edition, such as 2026-1.", true)
	return nil
}

// unitChoices are the units of all residue tests, each once.
func unitChoices() []option {
	var units []reading.Unit
	for _, a := range reading.Analytes {
		for _, u := range reading.UnitsOf(a) {
			if !slices.Contains(units, u) {
				units = append(units, u)
			}
		}
	}
	all := choices(units)
	for i, u := range units {
		all[i].Text = string(u)
	}
	return all
}

func levelValues(b any, _ *time.Location) map[string]string {
	l := b.(reading.Level)
	values := map[string]string{
		"system": l.System, "kit": l.Kit, "point": string(l.Point), "kind": string(l.Kind), "analyte": string(l.Analyte), "unit": string(l.Unit), "alert": "", "action": "",
		"comparison": string(l.Comparison), "dirty": strings.Join(l.Dirty, ", "), "clean": strings.Join(l.Clean, ", "), "source": l.Source, "edition": l.Edition,
	}
	if l.Alert > 0 {
		values["alert"] = l.Alert.String()
	}
	if l.Action > 0 {
		values["action"] = l.Action.String()
	}
	return values
}

func readLevel(a *reply, old any, by string, now unit.Instant) any {
	l := reading.Level{
		System: a.text("system"), Kit: a.text("kit"), Point: scope.PointKind(a.text("point")), Kind: scope.Kind(a.text("kind")), Analyte: reading.Analyte(a.text("analyte")),
		Unit: reading.Unit(a.text("unit")), Alert: a.number("alert"), Action: a.number("action"), Comparison: reading.Comparison(a.text("comparison")),
		Dirty: listed(a.text("dirty")), Clean: listed(a.text("clean")), Source: a.text("source"), Edition: a.text("edition"), Adopter: by, Adopted: now,
	}
	if l.Analyte == reading.Strip { // a strip has words and no numbers
		l.Comparison = ""
	}
	if before, ok := old.(reading.Level); ok {
		l.System, l.Kit, l.Point, l.Kind, l.Analyte, l.CV = before.System, before.Kit, before.Point, before.Kind, before.Analyte, before.CV
	}
	return l
}

// listed reads words that are separated by commas.
func listed(text string) (words []string) {
	for w := range strings.SplitSeq(text, ",") {
		if w = strings.TrimSpace(w); w != "" {
			words = append(words, w)
		}
	}
	return words
}
