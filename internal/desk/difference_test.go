package desk_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
)

var differed = scope.Model{
	Name: "D1", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
	Channels: []scope.Channel{
		{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350, Brushable: true, Cleaning: "brush"},
		{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true},
	},
}

func TestDifferences(t *testing.T) {
	t.Parallel()
	edit := func(change func(*scope.Model)) scope.Model {
		m := differed
		m.Channels = append([]scope.Channel(nil), differed.Channels...)
		change(&m)
		return m
	}
	one := func(of, field string, mark desk.Mark, old, now string) desk.Difference {
		value := now
		if field == "" || mark == desk.Removed || field == "order" {
			value = ""
		}
		if mark == desk.Removed && field != "" {
			value = old
		}
		return desk.Difference{Fact: desk.Fact{Of: of, Field: field, Value: value}, Mark: mark, Old: old, New: now}
	}
	at := unit.At(time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC))
	tests := []struct {
		name     string
		old, new any
		want     []desk.Difference
	}{
		{"the same", differed, differed, nil},
		{
			"a value with its unit",
			differed,
			edit(func(m *scope.Model) { m.OuterDiameter = 13.5 }),
			[]desk.Difference{one("", "outer diameter", desk.Altered, "13 mm", "13.5 mm")},
		},
		{"a yes", differed, edit(func(m *scope.Model) { m.Elevator = false }), []desk.Difference{one("", "elevator", desk.Altered, "yes", "no")}},
		{
			"a text that comes",
			differed,
			edit(func(m *scope.Model) { m.Instructions = "IFU 3" }),
			[]desk.Difference{one("", "instructions", desk.Added, "", "IFU 3")},
		},
		{
			"a text that goes",
			edit(func(m *scope.Model) { m.Instructions = "IFU 3" }),
			differed,
			[]desk.Difference{one("", "instructions", desk.Removed, "IFU 3", "")},
		},
		{
			"in a part",
			differed,
			edit(func(m *scope.Model) { m.Channels[1].Sealed = false }),
			[]desk.Difference{one("elevator wire channel", "sealed", desk.Altered, "yes", "no")},
		},
		{
			"a part that comes, before others", differed, edit(func(m *scope.Model) {
				m.Channels = append([]scope.Channel{{Kind: scope.AirChannel, Diameter: 1, Length: 3000}}, m.Channels...)
			}),
			[]desk.Difference{one("air channel", "", desk.Added, "", "inner diameter 1 mm; length 3000 mm; can be brushed no; can be flushed no; sealed no")},
		},
		{
			"a part that goes",
			differed,
			edit(func(m *scope.Model) { m.Channels = m.Channels[:1] }),
			[]desk.Difference{
				one("elevator wire channel", "", desk.Removed, "inner diameter 0.85 mm; length 1500 mm; can be brushed no; can be flushed no; sealed yes", ""),
			},
		},
		{
			"another order", differed, edit(func(m *scope.Model) { m.Channels[0], m.Channels[1] = m.Channels[1], m.Channels[0] }),
			[]desk.Difference{one("channels", "order", desk.Altered, "instrument channel, elevator wire channel", "elevator wire channel, instrument channel")},
		},
		{
			"an instant, in the zone",
			quality.Meter{Code: "M"},
			quality.Meter{Code: "M", Retired: at},
			[]desk.Difference{one("", "out of service since", desk.Added, "", at.In(berlin(t)))},
		},
		{
			"a day",
			quality.Lot{Expires: unit.At(time.Date(2026, 3, 1, 23, 0, 0, 0, time.UTC))},
			quality.Lot{},
			[]desk.Difference{one("", "must not be used from", desk.Removed, "2026-03-02", "")},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(tt.want, desk.Differences(tt.old, tt.new, berlin(t))); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func berlin(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// Rule by rule: what a facility changes is told under the name of the rule.
func TestRuleDifferences(t *testing.T) {
	t.Parallel()
	parse := func(from, to string) policy.RuleSet {
		t.Helper()
		text := string(policy.Preset())
		if strings.Count(text, from) != 1 {
			t.Fatalf("%q is not there once", from)
		}
		r, err := policy.Parse("rules", []byte(strings.Replace(text, from, to, 1)))
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	preset := parse("cleanings: 3 ", "cleanings: 3 ")
	tests := []struct{ name, from, to, of, field, old, new string }{
		{"the limit of a step", "within: 60min, from: point-of-use", "within: 45min, from: point-of-use", "step manual cleaning", "within", "1h", "45min"},
		{"cleanings", "cleanings: 3 ", "cleanings: 2 ", "cleaning verifications", "cleanings and tests in a cycle", "3", "2"},
		{
			"a volume",
			"Push 60 mL of air through the channel into the container, medium: air, volume_ml: 60",
			"Push 60 mL of air through the channel into the container, medium: air, volume_ml: 55",
			"protocol for instrument channel, suction channel, act 7",
			"volume",
			"60 mL",
			"55 mL",
		},
		{"a sampling plan", "uses: 30, days: 30", "uses: 20, days: 30", "cleaning verification periodic standard", "every so many uses", "30", "20"},
		{"a contact time", "{name: opa-0.55, contact: 12min", "{name: opa-0.55, contact: 13min", "disinfectant opa-0.55", "contact time", "12min", "13min"},
		{"outside a cabinet", "unstored: 3h", "unstored: 2h", "", "outside a cabinet for", "3h", "2h"},
		{"checks of meters", "same_day: true", "every: 8h", "checks of meters", "a check holds for", "", "8h"},
		{"the random selection", "per_process: 2", "per_process: 3", "random selection", "of each process", "2", "3"},
		{"shaking", "    shake: 5s", "    shake: 6s", "", "shortest shaking", "5s", "6s"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := desk.Differences(preset, parse(tt.from, tt.to), time.UTC)
			if len(got) == 0 || got[0].Of != tt.of || got[0].Field != tt.field || got[0].Old != tt.old || got[0].New != tt.new {
				t.Errorf("got %+v, want %s of %q from %q to %q", got, tt.field, tt.of, tt.old, tt.new)
			}
		})
	}
	t.Run("a rule that goes", func(t *testing.T) {
		t.Parallel()
		got := desk.Differences(preset, parse("    - {when: on-request, blocks: no, citation: common practice, verified: no}\n", ""), time.UTC)
		if len(got) != 1 || got[0].Of != "cleaning verification on request" || got[0].Mark != desk.Removed || !strings.Contains(got[0].Old, "common practice") {
			t.Errorf("got %+v", got)
		}
	})
}

// Whatever is changed in a model, both directions tell the same fields, with old and new swapped, and
// nothing is told where nothing differs.
func TestDifferencesMirror(t *testing.T) {
	t.Parallel()
	model := func(t *rapid.T, name string) scope.Model {
		m := scope.Model{
			Name:          rapid.SampledFrom([]string{"A", "B"}).Draw(t, name),
			Elevator:      rapid.Bool().Draw(t, name),
			OuterDiameter: unit.Millimetres(rapid.IntRange(1, 3).Draw(t, name)),
		}
		for _, k := range scope.ChannelKinds {
			if rapid.Bool().Draw(t, name) {
				m.Channels = append(
					m.Channels,
					scope.Channel{Kind: k, Diameter: unit.Millimetres(rapid.IntRange(1, 2).Draw(t, name)), Sealed: rapid.Bool().Draw(t, name)},
				)
			}
		}
		return m
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := model(t, "old"), model(t, "new")
		there, back := desk.Differences(a, b, time.UTC), desk.Differences(b, a, time.UTC)
		if (len(there) == 0) != reflect.DeepEqual(a, b) {
			t.Fatalf("%+v and %+v: %+v", a, b, there)
		}
		told := map[string][2]string{}
		for _, d := range there {
			told[d.Of+"|"+d.Field] = [2]string{d.Old, d.New}
		}
		for _, d := range back {
			if told[d.Of+"|"+d.Field] != [2]string{d.New, d.Old} {
				t.Fatalf("%s of %s: %q to %q, and back %+v", d.Field, d.Of, d.Old, d.New, told)
			}
		}
		if len(told) != len(back) || len(there) != len(back) {
			t.Fatalf("%d differences, and back %d", len(there), len(back))
		}
	})
}

func TestFacts(t *testing.T) {
	t.Parallel()
	want := []desk.Fact{{"", "code", "M-1"}, {"", "meter system", "A"}, {"", "serial number", "7"}}
	if diff := cmp.Diff(want, desk.Facts(quality.Meter{Code: "M-1", System: "A", Serial: "7"}, time.UTC)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
