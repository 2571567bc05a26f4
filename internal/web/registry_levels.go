package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// levelRegistry are levels that are typed and not derived: what a facility begins with, before it has
// readings of its own. Adopting one is a signature, since verifications are decided by it.
func levelRegistry() registry {
	return registry{
		path: "levels",
		wild: "key",
		word: "level",
		one:  "level",
		many: "first levels",
		about: "What a facility begins with, from the instructions of the kit or a published limit for exactly this meter system, kit and way of sampling. " +
			"A level never carries over from another system. Once there are readings of your own, derive and judge levels in the workshop.",
		typ:    record.Level,
		act:    desk.ToAdoptLevel,
		second: "Only where the level asks for less than before, or lies far over what is published: one who may adopt levels too.",
		body:   decoded[reading.Level],
		key:    func(b any) string { return b.(reading.Level).Key() },
		title: func(b any) string {
			l := b.(reading.Level)
			return fmt.Sprintf("Level of the %s, %s with %s", text.Spaced(l.Point), l.System, l.Kit)
		},
		list: func(x *kit.Exchange, v desk.View, p *listPage) error {
			p.Columns = []string{"Sampling point", "Meter system", "Kit", "Kind of scope", "Alert", "Action", "Unit", "Source", "Adopted", "By"}
			targets, err := v.Studies().LevelTargets()
			for _, t := range targets {
				if t.InForce != nil {
					p.add(levelRow(x, t.InForce.Level, v.Zone()))
				}
			}
			return err
		},
		fields: levelFields,
		values: levelValues,
		read:   readLevel,
		blank: func(unit.Instant, *time.Location) map[string]string {
			return map[string]string{"edition": "1", "analyte": string(reading.ATP), "unit": string(reading.RLU), "comparison": string(reading.AtOrOver)}
		},
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			l := b.(reading.Level)
			l.Adopted = at
			return w.SettingUp().AdoptLevel(e, l)
		},
	}
}

func levelRow(x *kit.Exchange, l reading.Level, zone *time.Location) []cell {
	kind, alert := "every", "none"
	if l.Kind != "" {
		kind = string(l.Kind)
	}
	if l.Alert > 0 {
		alert = l.Alert.String()
	}
	row := plainCell(
		text.Spaced(l.Point),
		l.System,
		l.Kit,
		kind,
		alert,
		l.Action.String(),
		string(l.Unit),
		l.Source+", edition "+l.Edition,
		kit.DayText(l.Adopted, zone),
		l.Adopter,
	)
	row[0].Href = levelRegistry().href(x.Shell, l.Key())
	return row
}

func levelFields(s *kit.Sheet, v desk.View, old any) error {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return err
	}
	if old == nil {
		s.Part("What it is for", "")
		s.Text("system", "Meter system", "One of: "+systems(inService(meters, v.Now()))+".", true)
		s.Text("kit", "Kit", "As its lots name it.", true)
		s.Choose("point", "Sampling point", "", kit.Choices(scope.PointKinds)...)
		s.Choose("kind", "Kind of scope", "", append([]kit.Option{{Value: "", Text: "every kind"}}, kit.Choices(scope.Kinds)...)...)
		s.Choose("analyte", "Residue test", "", kit.Choices(reading.Analytes)...)
	}
	s.Part("Level", "")
	s.Choose("unit", "Unit", "Readings of ATP meters are in RLU. For µg/mL no limit is published: look twice at a level in it.", unitChoices()...)
	s.Add(kit.Field{Name: "alert", Label: "Alert level", Type: "number", Hint: "From it on the cause is looked for; empty where there is none."})
	s.Add(kit.Field{
		Name: "action", Label: "Action level", Type: "number",
		Hint: "Beyond it the scope is cleaned again. A strip has none. One more than ten times as high as the largest published takes a second person, below.",
	})
	s.Choose(
		"comparison",
		"The action level is exceeded by",
		"",
		kit.Option{Value: string(reading.AtOrOver), Text: "a value at or over it"},
		kit.Option{Value: string(reading.Over), Text: "a value over it"},
	)
	s.Text("dirty", "Words of a strip that count as dirty", "With commas between them; only for strips.", false)
	s.Text("clean", "Words of a strip that count as clean", "With commas between them; only for strips.", false)
	s.Text("source", "Source", "Where the level comes from, such as the instructions of the kit.", true)
	s.Text("edition", "Edition", "The facility's name of this edition, such as 2026-1.", true)
	return nil
}

// unitChoices are the units of all residue tests, each once.
func unitChoices() []kit.Option {
	var units []reading.Unit
	for _, a := range reading.Analytes {
		for _, u := range reading.UnitsOf(a) {
			if !slices.Contains(units, u) {
				units = append(units, u)
			}
		}
	}
	all := kit.Choices(units)
	for i, u := range units {
		all[i].Text = string(u)
	}
	return all
}

func levelValues(b any, _ *time.Location) map[string]string {
	l := b.(reading.Level)
	values := map[string]string{
		"system":  l.System,
		"kit":     l.Kit,
		"point":   string(l.Point),
		"kind":    string(l.Kind),
		"analyte": string(l.Analyte),
		"unit":    string(l.Unit),
		"alert":   "",
		"action":  "",
		"comparison": string(
			l.Comparison,
		),
		"dirty":   strings.Join(l.Dirty, ", "),
		"clean":   strings.Join(l.Clean, ", "),
		"source":  l.Source,
		"edition": l.Edition,
	}
	if l.Alert > 0 {
		values["alert"] = l.Alert.String()
	}
	if l.Action > 0 {
		values["action"] = l.Action.String()
	}
	return values
}

func readLevel(a *kit.Reply, old any, by string, now unit.Instant) any {
	l := reading.Level{
		System: a.Text(
			"system",
		),
		Kit:        a.Text("kit"),
		Point:      scope.PointKind(a.Text("point")),
		Kind:       scope.Kind(a.Text("kind")),
		Analyte:    reading.Analyte(a.Text("analyte")),
		Unit:       reading.Unit(a.Text("unit")),
		Alert:      a.Number("alert"),
		Action:     a.Number("action"),
		Comparison: reading.Comparison(a.Text("comparison")),
		Dirty:      listed(a.Text("dirty")),
		Clean:      listed(a.Text("clean")),
		Source:     a.Text("source"),
		Edition:    a.Text("edition"),
		Adopter:    by,
		Adopted:    now,
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
