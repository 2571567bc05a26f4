package scope_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/domain/scope"
)

func laxerModel() scope.Model {
	return scope.Model{
		Name: "D1", Kind: scope.Duodenoscope, Risk: scope.StandardRisk, Elevator: true, OuterDiameter: 13.5, SampledLength: 100,
		Channels: []scope.Channel{
			{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350}, {Kind: scope.AirChannel, Diameter: 1, Length: 2800},
		},
	}
}

func TestLaxer(t *testing.T) {
	for _, test := range []struct {
		name   string
		change func(*scope.Model)
		want   string
	}{
		{"the same", func(*scope.Model) {}, ""},
		{"another risk, which is more", func(m *scope.Model) { m.Risk = scope.HighRisk }, ""},
		{"a smaller distal end", func(m *scope.Model) { m.SampledLength = 90 }, ""},
		{"other instructions", func(m *scope.Model) { m.Instructions = "edition 2" }, ""},
		{"what cleans a channel", func(m *scope.Model) { m.Channels[0].Cleaning = "brush" }, ""},
		{"one channel more", func(m *scope.Model) {
			m.Channels = append(m.Channels, scope.Channel{Kind: scope.WaterChannel, Diameter: 1, Length: 2800})
		}, ""},
		{"no elevator", func(m *scope.Model) { m.Elevator = false }, "no elevator any more"},
		{"another kind", func(m *scope.Model) { m.Kind = scope.Gastroscope }, "it is a gastroscope instead of a duodenoscope"},
		{"a larger distal end", func(m *scope.Model) { m.OuterDiameter = 14 }, "the distal end is larger"},
		{"no air channel", func(m *scope.Model) { m.Channels = m.Channels[:1] }, "no air channel any more"},
		{"sealed", func(m *scope.Model) { m.Channels[0].Sealed = true }, "the instrument channel is sealed, so that it is not sampled"},
		{"narrower", func(m *scope.Model) { m.Channels[1].Diameter = 0.9 }, "the air channel has another bore or length"},
		{"a point on demand", func(m *scope.Model) {
			m.Chosen = []scope.Choice{
				{Kind: scope.OuterDistalEnd, Routine: true}, {Kind: scope.ElevatorRecess, Routine: true}, {Kind: scope.InstrumentLumen}, {Kind: scope.AirLumen},
			}
		}, "instrument channel: in no cleaning verification any more"},
		{"no point", func(m *scope.Model) {
			m.Chosen = []scope.Choice{
				{Kind: scope.OuterDistalEnd, Routine: true}, {Kind: scope.ElevatorRecess, Routine: true}, {Kind: scope.InstrumentLumen, Routine: true},
			}
		}, "air channel: no sampling point any more"},
		{"a suction channel that the instrument channel stands for", func(m *scope.Model) {
			m.Channels[0].Kind = scope.SuctionChannel
		}, "no instrument channel any more"},
	} {
		after := laxerModel()
		after.Channels = slices.Clone(after.Channels)
		test.change(&after)
		less := scope.Laxer(laxerModel(), after)
		if test.want == "" && len(less) > 0 || test.want != "" && !slices.Contains(less, test.want) {
			t.Errorf("%s: %q, want %q", test.name, less, test.want)
		}
	}
	high, standard := laxerModel(), laxerModel()
	high.Risk = scope.HighRisk
	if less := scope.Laxer(high, standard); !slices.Contains(less, "the risk is standard instead of high") {
		t.Errorf("%q", less)
	}
}

func TestLaxerInstrument(t *testing.T) {
	i := scope.Instrument{Tag: "D-01", Model: "D1", Owner: scope.Loan, InService: 100, Retired: 200}
	later, earlier, back, called, own := i, i, i, i, i
	later.InService, later.Retired, earlier.InService, back.Retired = 150, 180, 50, 0
	called.Serial, called.Barcode, called.Location, called.Owner = "s", "b", "room 2", scope.Trial
	own.Owner = scope.Own
	for name, test := range map[string]struct {
		after scope.Instrument
		want  string
	}{
		"the same": {i, ""}, "later": {later, ""}, "what it is called": {called, ""},
		"earlier": {earlier, "it came into service earlier"}, "back": {back, "it is not out of service any more"},
		"our own": {own, "it is an own scope instead of a loaner"},
	} {
		less := strings.Join(scope.LaxerInstrument(i, test.after), "; ")
		if (less == "") != (test.want == "") || !strings.Contains(less, test.want) {
			t.Errorf("%s: %q, want %q", name, less, test.want)
		}
	}
}

// genModel draws a model that may have any channels and choices.
func genModel(t *rapid.T) scope.Model {
	m := scope.Model{
		Name: "M", Kind: rapid.SampledFrom(scope.Kinds).Draw(t, "kind"), Risk: rapid.SampledFrom([]scope.Risk{scope.HighRisk, scope.StandardRisk}).Draw(t, "risk"),
		Elevator: rapid.Bool().Draw(t, "elevator"), OuterDiameter: 10, SampledLength: 100,
	}
	for _, k := range scope.ChannelKinds {
		if rapid.Bool().Draw(t, string(k)) {
			m.Channels = append(m.Channels, scope.Channel{Kind: k, Diameter: 1, Length: 1000, Sealed: rapid.Bool().Draw(t, "sealed "+string(k))})
		}
	}
	if rapid.Bool().Draw(t, "chosen") {
		for _, p := range m.Points() {
			if rapid.Bool().Draw(t, "with "+string(p.Kind)) {
				m.Chosen = append(m.Chosen, scope.Choice{Kind: p.Kind, Routine: rapid.Bool().Draw(t, "routine "+string(p.Kind))})
			}
		}
	}
	return m
}

// The same is never less, nor is one point more that has to be sampled; one that is taken away always is.
func TestLaxerProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := genModel(t)
		if less := scope.Laxer(m, m); len(less) > 0 {
			t.Fatalf("the same: %q", less)
		}
		all := m
		all.Chosen = nil
		for _, p := range all.Points() {
			more := m
			more.Chosen = nil
			for _, q := range m.Points() {
				more.Chosen = append(more.Chosen, scope.Choice{Kind: q.Kind, Routine: q.Routine})
			}
			if i := slices.IndexFunc(more.Chosen, func(c scope.Choice) bool { return c.Kind == p.Kind }); i >= 0 {
				more.Chosen[i].Routine = true
			} else {
				more.Chosen = append(more.Chosen, scope.Choice{Kind: p.Kind, Routine: true})
			}
			if less := scope.Laxer(m, more); len(less) > 0 {
				t.Fatalf("%s as well: %q", p.Kind, less)
			}
			was, is := m.Routine(), more.Routine()
			if less := scope.Laxer(more, m); len(is) > len(was) && len(less) == 0 {
				t.Fatalf("without %s: not less", p.Kind)
			}
		}
	})
}
