package scope_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// channel is one that can be brushed and flushed and is cleaned.
func channel(kind scope.ChannelKind, diameter, length unit.Millimetres) scope.Channel {
	return scope.Channel{Kind: kind, Diameter: diameter, Length: length, Brushable: true, Flushable: true, Cleaning: "brush and flush"}
}

// duodenoscope has every channel that its kind may have, all open.
func duodenoscope() scope.Model {
	return scope.Model{
		Name: "duodenoscope A", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true,
		OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{
			channel(scope.InstrumentChannel, 4.2, 1350), channel(scope.SuctionChannel, 4.2, 2800),
			channel(scope.AirChannel, 1, 2800), channel(scope.WaterChannel, 1, 2800),
			channel(scope.ElevatorWireChannel, 0.85, 1500),
		},
		Instructions: "reprocessing manual, edition 3",
	}
}

// The published default geometry of endoscope channels with A = π·d·L and V = π/4·d²·L worked out
// by hand to the digits shown. The geometry itself is from memory and only a default.
func TestAreaAndDeadVolume(t *testing.T) {
	tests := []struct {
		name             string
		diameter, length unit.Millimetres
		area, volume     string // to the printed digit
	}{
		{"gastroscope, port to tip", 2.8, 1100, "96.8", "6.8"},
		{"therapeutic gastroscope", 3.7, 1100, "127.9", "11.8"},
		{"gastroscope, full suction path", 2.8, 2800, "246.3", "17.2"},
		{"colonoscope, port to tip", 3.7, 1750, "203.4", "18.8"},
		{"colonoscope, full suction path", 3.7, 3700, "430.1", "39.8"},
		{"duodenoscope, instrument", 4.2, 1350, "178.1", "18.7"},
		{"linear echoendoscope, instrument", 3.7, 1350, "156.9", "14.5"},
		{"bronchoscope, standard", 2.0, 650, "40.8", "2.0"},
		{"bronchoscope, therapeutic", 2.8, 650, "57.2", "4.0"},
		{"ebus bronchoscope", 2.2, 700, "48.4", "2.7"},
		{"cystoscope", 2.2, 450, "31.1", "1.7"},
		{"ureteroscope", 1.2, 850, "32.0", "1.0"},
		{"enteroscope", 2.8, 2100, "184.7", "12.9"},
		{"air or water channel", 1.0, 2800, "88.0", "2.2"},
		{"auxiliary water, colonoscope", 1.0, 3700, "116.2", "2.9"},
		{"elevator-wire channel, bare lumen", 0.85, 1500, "40.1", "0.85"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := channel(scope.InstrumentChannel, tt.diameter, tt.length)
			if got := printed(float64(c.Area()), tt.area); got != tt.area {
				t.Errorf("area %s cm², want %s", got, tt.area)
			}
			if got := printed(float64(c.DeadVolume()), tt.volume); got != tt.volume {
				t.Errorf("dead volume %s mL, want %s", got, tt.volume)
			}
		})
	}
}

// printed verifications v to as many decimals as the text has.
func printed(v float64, like string) string {
	_, decimals, _ := strings.Cut(like, ".")
	return strconv.FormatFloat(v, 'f', len(decimals), 64)
}

// Twice the length doubles area and volume; twice the bore doubles the area and quadruples the
// volume. Halves and doubles are exact in binary, so no tolerance is needed.
func TestGeometryScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := unit.Millimetres(rapid.Float64Range(0.5, 6).Draw(t, "diameter"))
		l := unit.Millimetres(rapid.Float64Range(200, 4500).Draw(t, "length"))
		c := channel(scope.AirChannel, d, l)
		longer, wider := channel(scope.AirChannel, d, 2*l), channel(scope.AirChannel, 2*d, l)
		if longer.Area() != 2*c.Area() || longer.DeadVolume() != 2*c.DeadVolume() {
			t.Fatalf("twice the length: %v %v, once: %v %v", longer.Area(), longer.DeadVolume(), c.Area(), c.DeadVolume())
		}
		if wider.Area() != 2*c.Area() || wider.DeadVolume() != 4*c.DeadVolume() {
			t.Fatalf("twice the bore: %v %v, once: %v %v", wider.Area(), wider.DeadVolume(), c.Area(), c.DeadVolume())
		}
	})
}

func TestRoutinePoints(t *testing.T) {
	sealed := duodenoscope()
	sealed.Channels[4].Sealed = true
	sealedInstrument := duodenoscope()
	sealedInstrument.Channels[0].Sealed = true
	chosen := duodenoscope()
	chosen.Chosen = []scope.Choice{{Kind: scope.InstrumentLumen, Routine: true}, {Kind: scope.AirLumen}, {Kind: scope.OuterDistalEnd, Routine: true}}
	chosenSealed := sealed
	chosenSealed.Chosen = []scope.Choice{{Kind: scope.OuterDistalEnd, Routine: true}, {Kind: scope.ElevatorWire, Routine: true}}
	tests := []struct {
		name, reason string
		model        scope.Model
		routine, all []scope.PointKind
	}{
		{
			"duodenoscope", "common practice: outer distal end, elevator recess, instrument channel and open elevator-wire channel",
			duodenoscope(),
			[]scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.ElevatorWire},
			[]scope.PointKind{
				scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.SuctionLumen, scope.ElevatorWire, scope.AirLumen,
				scope.WaterLumen,
			},
		},
		{
			"sealed elevator-wire channel", "it cannot be flushed by the user: offered as not applicable, never routine",
			sealed,
			[]scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen},
			[]scope.PointKind{
				scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.SuctionLumen, scope.ElevatorWire, scope.AirLumen,
				scope.WaterLumen,
			},
		},
		{
			"sealed instrument channel", "a sealed channel cannot stand for the suction path",
			sealedInstrument,
			[]scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.SuctionLumen, scope.ElevatorWire},
			[]scope.PointKind{
				scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.SuctionLumen, scope.ElevatorWire, scope.AirLumen,
				scope.WaterLumen,
			},
		},
		{
			"suction channel alone", "where there is no instrument channel the suction channel is routine (common practice)",
			scope.Model{
				Name: "bronchoscope B", Kind: scope.Bronchoscope, Risk: scope.HighRisk, OuterDiameter: 5, SampledLength: 100,
				Channels: []scope.Channel{channel(scope.SuctionChannel, 2, 650)},
			},
			[]scope.PointKind{scope.OuterDistalEnd, scope.SuctionLumen},
			[]scope.PointKind{scope.OuterDistalEnd, scope.SuctionLumen},
		},
		{
			"no channel at all", "the outer distal end is always there",
			scope.Model{Name: "rhinolaryngoscope C", Kind: scope.Rhinolaryngoscope, Risk: scope.StandardRisk, OuterDiameter: 4, SampledLength: 100},
			[]scope.PointKind{scope.OuterDistalEnd},
			[]scope.PointKind{scope.OuterDistalEnd},
		},
		{
			"edited by the facility", "the choice replaces the derived list; the order stays that of the protocol",
			chosen,
			[]scope.PointKind{scope.OuterDistalEnd, scope.InstrumentLumen},
			[]scope.PointKind{scope.OuterDistalEnd, scope.InstrumentLumen, scope.AirLumen},
		},
		{
			"a sealed channel chosen as routine", "no choice opens a sealed channel",
			chosenSealed,
			[]scope.PointKind{scope.OuterDistalEnd},
			[]scope.PointKind{scope.OuterDistalEnd, scope.ElevatorWire},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.model.Check(); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.routine, tt.model.Routine()); diff != "" {
				t.Errorf("%s: routine points (-want +got):\n%s", tt.reason, diff)
			}
			var all []scope.PointKind
			for _, p := range tt.model.Points() {
				all = append(all, p.Kind)
			}
			if diff := cmp.Diff(tt.all, all); diff != "" {
				t.Errorf("%s: all points (-want +got):\n%s", tt.reason, diff)
			}
		})
	}
}

func TestPointCarriesGeometry(t *testing.T) {
	m := duodenoscope()
	m.Channels[4].Sealed = true
	tests := []struct {
		name          string
		kind          scope.PointKind
		area, volume  string
		notApplicable string
	}{
		{"outer distal end", scope.OuterDistalEnd, "40.8", "0.0", ""}, // π·13·100/100 = 40.84 cm², by hand
		{"elevator recess", scope.ElevatorRecess, "0.0", "0.0", ""},
		{"instrument channel", scope.InstrumentLumen, "178.1", "18.7", ""},
		{"sealed elevator-wire channel", scope.ElevatorWire, "40.1", "0.9", "the channel is sealed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, ok := m.Point(tt.kind)
			if !ok {
				t.Fatal("the model has no such point")
			}
			if got := printed(float64(p.Area), tt.area); got != tt.area {
				t.Errorf("area %s, want %s", got, tt.area)
			}
			if got := printed(float64(p.DeadVolume), tt.volume); got != tt.volume {
				t.Errorf("dead volume %s, want %s", got, tt.volume)
			}
			if p.NotApplicable != tt.notApplicable || p.NotApplicable != "" && p.Routine {
				t.Errorf("not applicable %q (routine %v), want %q", p.NotApplicable, p.Routine, tt.notApplicable)
			}
		})
	}
	if _, ok := m.Point(scope.BalloonLumen); ok {
		t.Error("a duodenoscope without a balloon channel has a balloon point")
	}
}

func TestWarnings(t *testing.T) {
	flush := map[scope.PointKind]unit.Millilitres{scope.InstrumentLumen: 40, scope.SuctionLumen: 40, scope.ElevatorWire: 5}
	edit := func(change func(*scope.Model)) scope.Model {
		m := duodenoscope()
		change(&m)
		return m
	}
	tests := []struct {
		name, reason string
		model        scope.Model
		flush        map[scope.PointKind]unit.Millilitres
		want         []string // a part of each warning, in order
	}{
		{"plausible", "nothing to look at", duodenoscope(), flush, nil},
		{"bounds themselves", "0.5–6 mm and 200–4500 mm are plausible, bounds included", edit(func(m *scope.Model) {
			m.Channels[2].Diameter, m.Channels[2].Length = 0.5, 4500
			m.Channels[3].Diameter, m.Channels[3].Length = 6, 200
		}), flush, nil},
		{
			"too narrow", "a bore below 0.5 mm is a slip of the unit", edit(func(m *scope.Model) { m.Channels[2].Diameter = 0.49 }),
			flush,
			[]string{"air channel: inner diameter 0.49 mm is outside 0.5–6 mm"},
		},
		{
			"too wide", "28 mm is 2.8 mm with a digit lost", edit(func(m *scope.Model) { m.Channels[2].Diameter = 28 }), flush,
			[]string{"air channel: inner diameter 28 mm is outside 0.5–6 mm"},
		},
		{
			"too short", "135 for 1350", edit(func(m *scope.Model) { m.Channels[0].Length = 135 }), flush,
			[]string{"instrument channel: length 135 mm is outside 200–4500 mm"},
		},
		{
			"too long", "13500 for 1350", edit(func(m *scope.Model) { m.Channels[2].Length = 13500 }), flush,
			[]string{"air channel: length 13500 mm is outside 200–4500 mm"},
		},
		{"a channel nobody cleans", "an auxiliary water channel that no step reached exposed 277 patients in Kansas in 2013", edit(func(m *scope.Model) {
			m.Channels = append(m.Channels, scope.Channel{Kind: scope.AuxiliaryChannel, Diameter: 1, Length: 3700, Flushable: true})
		}), flush, []string{"auxiliary-water channel: no cleaning step reaches it: a channel nobody cleans"}},
		{
			"cleaning that cannot be", "a step is named but there is no way in",
			edit(func(m *scope.Model) { m.Channels[3].Brushable, m.Channels[3].Flushable = false, false }), flush,
			[]string{"water channel: it can be neither brushed nor flushed"},
		},
		{"no sampling point after an edit", "the facility's choice left a channel out", edit(func(m *scope.Model) {
			m.Chosen = []scope.Choice{
				{Kind: scope.OuterDistalEnd, Routine: true},
				{Kind: scope.ElevatorRecess, Routine: true},
				{Kind: scope.InstrumentLumen, Routine: true},
				{Kind: scope.SuctionLumen},
				{Kind: scope.AirLumen},
				{Kind: scope.WaterLumen},
			}
		}), flush, []string{"elevator-wire channel: it has no sampling point"}},
		{
			"flush below the dead volume", "18.7 mL of channel are not filled by 18 mL", duodenoscope(),
			map[scope.PointKind]unit.Millilitres{scope.InstrumentLumen: 18},
			[]string{"instrument channel: a flush of 18 mL does not fill its 18.7 mL"},
		},
		{"flush above the dead volume", "19 mL fill 18.7 mL", duodenoscope(), map[scope.PointKind]unit.Millilitres{scope.InstrumentLumen: 19}, nil},
		{"sealed channels", "what the user cannot reach is neither cleaned nor sampled by the user", edit(func(m *scope.Model) {
			m.Channels[4] = scope.Channel{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true}
		}), map[scope.PointKind]unit.Millilitres{scope.ElevatorWire: 0.1}, nil},
		{
			"incomplete list", "every flexible endoscope with channels has one for instruments or suction",
			edit(func(m *scope.Model) { m.Channels = m.Channels[2:] }), flush,
			[]string{"neither an instrument nor a suction channel"},
		},
		{
			"no elevator", "a duodenoscope has one, and so does what has an elevator-wire channel",
			edit(func(m *scope.Model) { m.Elevator = false }), flush,
			[]string{"a duodenoscope without an elevator", "an elevator-wire channel without an elevator"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.model.Warnings(tt.flush)
			if len(got) != len(tt.want) {
				t.Fatalf("%s: got %q, want %q", tt.reason, got, tt.want)
			}
			for i, part := range tt.want {
				if !strings.Contains(got[i], part) {
					t.Errorf("%s: got %q, want %q in it", tt.reason, got[i], part)
				}
			}
		})
	}
}

func TestModelCheck(t *testing.T) {
	tests := []struct {
		name   string
		change func(*scope.Model)
		want   string // a part of the error; empty: none
	}{
		{"good", func(*scope.Model) {}, ""},
		{"implausible is not impossible", func(m *scope.Model) { m.Channels[0].Diameter = 28 }, ""},
		{"no name", func(m *scope.Model) { m.Name = "" }, "needs a name"},
		{"unknown kind", func(m *scope.Model) { m.Kind = "laparoscope" }, `kind "laparoscope" is not known; allowed: duodenoscope, linear-echoendoscope`},
		{"unknown risk", func(m *scope.Model) { m.Risk = "low" }, `risk "low" is not known; allowed: high, standard`},
		{"no outer diameter", func(m *scope.Model) { m.OuterDiameter = 0 }, "must be over 0 mm"},
		{"no sampled length", func(m *scope.Model) { m.SampledLength = -1 }, "must be over 0 mm"},
		{"unknown channel", func(m *scope.Model) { m.Channels[0].Kind = "biopsy" }, `channel "biopsy" is not known; allowed: instrument, suction`},
		{"a channel twice", func(m *scope.Model) { m.Channels[1].Kind = scope.InstrumentChannel }, `channel "instrument" is given twice`},
		{"no bore", func(m *scope.Model) { m.Channels[0].Diameter = 0 }, `channel "instrument": diameter and length must be over 0 mm`},
		{"a choice of nothing", func(m *scope.Model) {
			m.Chosen = []scope.Choice{{Kind: scope.BalloonLumen, Routine: true}}
		}, `sampling point "balloon-channel" does not exist on this model`},
		{"a choice twice", func(m *scope.Model) {
			m.Chosen = []scope.Choice{{Kind: scope.InstrumentLumen, Routine: true}, {Kind: scope.InstrumentLumen}}
		}, `sampling point "instrument-channel" is given twice`},
		{"no routine point", func(m *scope.Model) { m.Chosen = []scope.Choice{{Kind: scope.InstrumentLumen}} }, "no sampling point belongs to every " +
			"cleaning verification"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := duodenoscope()
			tt.change(&m)
			wantError(t, m.Check(), tt.want)
		})
	}
	t.Run("every problem is told at once", func(t *testing.T) {
		err := scope.Model{}.Check()
		for _, part := range []string{`model ""`, "needs a name", "kind", "risk", "over 0 mm"} {
			wantError(t, err, part)
		}
	})
}

// wantError checks that err holds the part, or is nil where the part is empty.
func wantError(t *testing.T, err error, part string) {
	t.Helper()
	switch {
	case part == "" && err != nil:
		t.Errorf("unexpected error: %v", err)
	case part != "" && (err == nil || !strings.Contains(err.Error(), part)):
		t.Errorf("got error %v, want %q in it", err, part)
	}
}

// The list of ANSI/AAMI ST91:2021 as quoted in its study guides.
func TestUsualRisk(t *testing.T) {
	high := []scope.Kind{
		scope.Duodenoscope, scope.LinearEchoscope, scope.Bronchoscope, scope.EBUS,
		scope.Ureteroscope, scope.Cystoscope,
	}
	for _, k := range scope.Kinds {
		want := scope.StandardRisk
		if slices.Contains(high, k) {
			want = scope.HighRisk
		}
		if got := scope.UsualRisk(k); got != want {
			t.Errorf("%s: %s, want %s", k, got, want)
		}
	}
	if got := scope.UsualRisk("something new"); got != scope.HighRisk {
		t.Errorf("an unknown kind is %s, want the greater care", got)
	}
}

func TestInstrumentCheck(t *testing.T) {
	tests := []struct {
		name   string
		change func(*scope.Instrument)
		want   string
	}{
		{"good", func(*scope.Instrument) {}, ""},
		{"retired at once", func(i *scope.Instrument) { i.Retired = i.InService }, ""},
		{"no tag", func(i *scope.Instrument) { i.Tag = "" }, "asset tag must not be empty"},
		{"space at the end of the tag", func(i *scope.Instrument) { i.Tag = "D-01 " }, "asset tag must not be empty nor begin or end with a space"},
		{"no model", func(i *scope.Instrument) { i.Model = "" }, "the model is missing"},
		{"unknown owner", func(i *scope.Instrument) { i.Owner = "rented" }, `owner "rented" is not known; allowed: own, loan, trial`},
		{"not in service", func(i *scope.Instrument) { i.InService = 0 }, "since when is it in service?"},
		{"retired too early", func(i *scope.Instrument) { i.Retired = i.InService - 1 }, "retired before it came into service"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			i := scope.Instrument{Tag: "D-01", Model: "duodenoscope A", Owner: scope.Own, InService: 1_000_000}
			tt.change(&i)
			wantError(t, i.Check(), tt.want)
		})
	}
}

func TestRepairCheck(t *testing.T) {
	tests := []struct {
		name   string
		repair scope.Repair
		want   string
	}{
		{"away", scope.Repair{Scope: "D-01", Sent: 5}, ""},
		{"back", scope.Repair{Scope: "D-01", Sent: 5, Returned: 5}, ""},
		{"no scope", scope.Repair{Sent: 5}, "the scope is missing"},
		{"not sent", scope.Repair{Scope: "D-01"}, "when was it sent?"},
		{"back too early", scope.Repair{Scope: "D-01", Sent: 5, Returned: 4}, "back before it was sent"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { wantError(t, tt.repair.Check(), tt.want) })
	}
}
