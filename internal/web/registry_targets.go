package web

import (
	"cmp"
	"fmt"
	"strconv"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// targetRegistry are the targets of controls: what a meter should show of a known material. Adopting one is
// a signature, since checks are judged by it.
func targetRegistry() registry {
	return registry{
		path: "targets",
		wild: "target",
		word: "target",
		one:  "target",
		many: "targets",
		about: "What a control should show with a meter system, from the maker of the material or from own runs. Checks of meters are judged by the target " +
			"in force when they were made.",
		typ:    record.Target,
		act:    desk.ToRegisterTarget,
		second: "Only where the target asks for less than before, such as a wider range: one who may adopt targets too.",
		body:   decoded[quality.Target],
		key:    targetKey,
		title: func(b any) string {
			t := b.(quality.Target)
			return fmt.Sprintf("Target of the %s control %s, system %s", t.Kind, t.Material, t.System)
		},
		list: func(x *kit.Exchange, v desk.View, p *listPage) error {
			p.Columns = targetColumns
			targets, err := v.Measuring().Targets()
			for _, t := range latestTargets(targets) {
				p.add(registryTargetRow(x, t, v.Zone()))
			}
			return err
		},
		fields: targetFields,
		values: targetValues,
		read:   readTarget,
		blank:  func(unit.Instant, *time.Location) map[string]string { return map[string]string{"edition": "1"} },
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			t := b.(quality.Target)
			t.Adopted = at
			return w.AtMeters().RegisterTarget(e, t)
		},
	}
}

func targetKey(b any) string {
	t := b.(quality.Target)
	return t.System + "|" + string(t.Kind) + "|" + t.Material
}

var targetColumns = []string{"Material", "Kind", "System", "Meter", "Lot", "Limits in RLU", "Own runs", "Source", "Adopted", "By"}

// latestTargets are the targets of which no later one is for the same control, meter and lot.
func latestTargets(all []quality.Target) []quality.Target {
	at := map[string]int{}
	var latest []quality.Target
	for _, t := range all {
		key := targetKey(t) + "|" + t.Meter + "|" + t.Lot
		if i, ok := at[key]; ok {
			latest[i] = t
			continue
		}
		at[key] = len(latest)
		latest = append(latest, t)
	}
	return latest
}

func registryTargetRow(x *kit.Exchange, t quality.Target, zone *time.Location) []cell {
	limits := "none"
	switch {
	case t.Kind != quality.Positive:
		limits = "at most " + t.High.String()
	case t.High > 0:
		limits = t.Low.String() + " to " + t.High.String()
	}
	row := plainCell(
		t.Material,
		string(t.Kind),
		t.System,
		cmp.Or(t.Meter, "every"),
		t.Lot,
		limits,
		strconv.Itoa(t.Runs),
		t.Source+", edition "+t.Edition,
		kit.DayText(t.Adopted, zone),
		t.Adopter,
	)
	row[0].Href = targetRegistry().href(x.Shell, targetKey(t))
	return row
}

func targetFields(s *kit.Sheet, v desk.View, old any) error {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return err
	}
	s.Part("Target", "")
	if old == nil {
		s.Text("system", "Meter system", "One of: "+systems(inService(meters, v.Now()))+".", true)
		s.Choose("kind", "Kind of control", "", kit.Choices(quality.ControlKinds)...)
		s.Text("material", "Material", "As checks name it.", true)
	}
	s.Text("meter", "For one meter alone", "Leave it empty for every meter of the system.", false)
	s.Text("lot", "Lot of the material", "", false)
	s.Number("low", "Lower limit", "RLU", false)
	s.Number("high", "Upper limit", "RLU", false)
	s.Text("source", "Source", "Where the limits come from, such as the sheet of the maker.", true)
	s.Text("edition", "Edition of the source", "", true)
	return nil
}

func targetValues(b any, _ *time.Location) map[string]string {
	t := b.(quality.Target)
	values := map[string]string{
		"system":   t.System,
		"kind":     string(t.Kind),
		"material": t.Material,
		"meter":    t.Meter,
		"lot":      t.Lot,
		"source":   t.Source,
		"edition":  t.Edition,
		"low":      "",
		"high":     t.High.String(),
	}
	if t.Low > 0 {
		values["low"] = t.Low.String()
	}
	return values
}

// readTarget makes a target of what was typed. The mean and standard deviation of own runs stay as they are
// while the lot of the material does.
func readTarget(a *kit.Reply, old any, by string, now unit.Instant) any {
	t := quality.Target{
		System: a.Text("system"), Kind: quality.ControlKind(a.Text("kind")), Material: a.Text("material"), Meter: a.Text("meter"), Lot: a.Text("lot"),
		Low: a.Number("low"), High: a.Number("high"), Source: a.Text("source"), Edition: a.Text("edition"), Adopter: by, Adopted: now,
	}
	if before, ok := old.(quality.Target); ok {
		t.System, t.Kind, t.Material = before.System, before.Kind, before.Material
		if t.Lot == before.Lot && t.Meter == before.Meter {
			t.Mean, t.SD, t.Runs = before.Mean, before.SD, before.Runs
		}
	}
	return t
}
