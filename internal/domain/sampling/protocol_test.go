package sampling_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Surfaces are swabbed, channels are rinsed (common practice).
func TestMethodOf(t *testing.T) {
	surfaces := []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess}
	for _, kind := range scope.PointKinds {
		want := sampling.Rinsate
		if slices.Contains(surfaces, kind) {
			want = sampling.Surface
		}
		if got := sampling.MethodOf(kind); got != want {
			t.Errorf("%s: %s, want %s", kind, got, want)
		}
	}
}

func TestProtocolCheck(t *testing.T) {
	good := func() sampling.Protocol {
		return sampling.Protocol{
			Points: []scope.PointKind{scope.InstrumentLumen}, Method: sampling.Rinsate,
			Acts: []sampling.Act{
				{Do: "push air", Medium: sampling.Air, Volume: 60, Discard: true},
				{Do: "push water", Medium: sampling.SterileWater, Volume: 40},
			},
			Source: sampling.Source{Citation: "common practice"},
		}
	}
	tests := []struct {
		name   string
		change func(*sampling.Protocol)
		want   string
	}{
		{"good", func(*sampling.Protocol) {}, ""},
		{"no point", func(p *sampling.Protocol) { p.Points = nil }, "needs points and acts"},
		{"no act", func(p *sampling.Protocol) { p.Acts = nil }, "needs points and acts"},
		{"unknown point", func(p *sampling.Protocol) { p.Points = []scope.PointKind{"handle"} }, `point "handle" is not known; allowed: outer-distal-end`},
		{
			"a channel swabbed", func(p *sampling.Protocol) { p.Method = sampling.Surface },
			`method "surface" does not fit point instrument-channel, which is sampled by rinsate`,
		},
		{"a surface among channels", func(p *sampling.Protocol) { p.Points = append(p.Points, scope.ElevatorRecess) }, `does not fit point elevator-recess`},
		{"an act without words", func(p *sampling.Protocol) { p.Acts[1].Do = "" }, "act 2 says nothing to do"},
		{"volume below zero", func(p *sampling.Protocol) { p.Acts[0].Volume = -1 }, "act 1 has a quantity below zero"},
		{"length below zero", func(p *sampling.Protocol) { p.Acts[0].Length = -1 }, "act 1 has a quantity below zero"},
		{"tube below zero", func(p *sampling.Protocol) { p.Acts[0].AtMost = -1 }, "act 1 has a quantity below zero"},
		{"time below zero", func(p *sampling.Protocol) { p.Acts[0].Lasts = -1 }, "act 1 has a quantity below zero"},
		{"unknown medium", func(p *sampling.Protocol) { p.Acts[0].Medium = "saline" }, `medium "saline" is not known; allowed: air, sterile-water, swab`},
		{"nothing to collect", func(p *sampling.Protocol) { p.Acts[1].Discard = true }, "no act sends sterile water through the channel to be collected"},
		{"no citation", func(p *sampling.Protocol) { p.Citation = "" }, "the citation is missing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := good()
			tt.change(&p)
			wantError(t, p.Check(), tt.want)
		})
	}
}

// The collected flush is the sterile water alone: neither air nor what is thrown away counts.
func TestFlush(t *testing.T) {
	p := sampling.Protocol{Acts: []sampling.Act{
		{Medium: sampling.SterileWater, Volume: 7, Discard: true},
		{Medium: sampling.SterileWater, Volume: 30},
		{Medium: sampling.Air, Volume: 20},
		{Medium: sampling.SterileWater, Volume: 10},
		{Medium: sampling.Swab, Volume: 1},
	}}
	if got := p.Flush(); got != 40 {
		t.Errorf("flush %s mL, want 40", got)
	}
}

// Volumes of the preset (common practice; 20 mL: published culture protocols).
func TestFlushes(t *testing.T) {
	want := map[scope.PointKind]unit.Millilitres{
		scope.InstrumentLumen: 40, scope.SuctionLumen: 40, scope.ElevatorWire: 5,
		scope.AirLumen: 20, scope.WaterLumen: 20, scope.AuxiliaryLumen: 20, scope.BalloonLumen: 20,
	}
	got := sampling.Flushes(preset(t).Protocols)
	if diff := cmp.Diff(want, maps.Clone(got)); diff != "" {
		t.Errorf("flushes (-want +got):\n%s", diff)
	}
}

func TestFor(t *testing.T) {
	protocols := preset(t).Protocols
	for _, kind := range scope.PointKinds {
		p, ok := sampling.For(protocols, kind)
		if !ok || !slices.Contains(p.Points, kind) {
			t.Errorf("%s: found %v, protocol for %v", kind, ok, p.Points)
		}
	}
	if _, ok := sampling.For(protocols, "handle"); ok {
		t.Error("a protocol for a point that does not exist")
	}
	own := sampling.Protocol{Points: []scope.PointKind{scope.AirLumen}, Method: sampling.Rinsate, AtHand: []string{"own"}}
	if p, _ := sampling.For(append([]sampling.Protocol{own}, protocols...), scope.AirLumen); !slices.Equal(p.AtHand, []string{"own"}) {
		t.Errorf("the first protocol for a point counts, got %v", p.AtHand)
	}
}
