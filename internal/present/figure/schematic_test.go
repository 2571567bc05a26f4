package figure_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
)

// fleet is one model of each build that the invented hospital has.
func fleet() []scope.Model {
	channel := func(kind scope.ChannelKind, diameter, length unit.Millimetres, port string) scope.Channel {
		return scope.Channel{Kind: kind, Diameter: diameter, Length: length, Port: port, Flushable: true, Cleaning: "flush"}
	}
	instrument := func(diameter, length unit.Millimetres) scope.Channel {
		return channel(scope.InstrumentChannel, diameter, length, "instrument port")
	}
	air, water := channel(scope.AirChannel, 1, 2800, "air pipe"), channel(scope.WaterChannel, 1, 2800, "water pipe")
	wire := channel(scope.ElevatorWireChannel, 0.85, 1500, "elevator-wire port")
	sealed := scope.Channel{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true}
	model := func(name string, kind scope.Kind, outer unit.Millimetres, elevator bool, channels ...scope.Channel) scope.Model {
		return scope.Model{
			Name:          name,
			Kind:          kind,
			Risk:          scope.UsualRisk(kind),
			Elevator:      elevator,
			OuterDiameter: outer,
			SampledLength: 100,
			Channels:      channels,
		}
	}
	return []scope.Model{
		model("Marrow D2", scope.Duodenoscope, 13.5, true, instrument(4.2, 1350), wire, air, water),
		model("Marrow D4", scope.Duodenoscope, 13.7, true, instrument(4.2, 1350), sealed, air, water),
		model(
			"Marrow L3",
			scope.LinearEchoscope,
			14.2,
			true,
			instrument(3.7, 1350),
			sealed,
			air,
			water,
			channel(scope.BalloonChannel, 1, 2800, "balloon port"),
		),
		model("Quillet G1", scope.Gastroscope, 9.8, false, instrument(2.8, 1100), air, water),
		model("Quillet C1", scope.Colonoscope, 12.8, false, instrument(3.7, 1750), air, water, channel(scope.AuxiliaryChannel, 1, 3700, "auxiliary port")),
		model("Wherrit B2", scope.Bronchoscope, 5.9, false, instrument(2.8, 650)),
		model("Wherrit N1", scope.EBUS, 6.7, false, instrument(2.2, 700)),
		model("Pottle Y1", scope.Cystoscope, 5.4, false, instrument(2.2, 450)),
	}
}

// extremes are models that nobody has.
func extremes() []scope.Model {
	all := scope.Model{Name: "all of them", Kind: scope.Duodenoscope, Elevator: true, OuterDiameter: 5, SampledLength: 100}
	for i, k := range scope.ChannelKinds {
		all.Channels = append(all.Channels, scope.Channel{Kind: k, Diameter: 6, Length: unit.Millimetres(1000 + 150*i), Port: "p"})
	}
	all.Channels = append(all.Channels, scope.Channel{Kind: scope.AirChannel, Diameter: 0.1, Length: 4500})
	return []scope.Model{
		all,
		{Name: "bare", Kind: scope.Rhinolaryngoscope, OuterDiameter: 3.2, SampledLength: 100},
		{
			Name:          "short",
			Kind:          scope.Gastroscope,
			OuterDiameter: 10,
			SampledLength: 900,
			Channels:      []scope.Channel{{Kind: scope.SuctionChannel, Diameter: 3, Length: 20}},
		},
		{
			Name:          "long",
			Kind:          scope.Gastroscope,
			OuterDiameter: 10,
			SampledLength: 1,
			Channels:      []scope.Channel{{Kind: scope.SuctionChannel, Diameter: 3, Length: 90000}, {Kind: scope.AirChannel, Diameter: 1, Length: 300}},
		},
		{},
	}
}

// read gives the points of a model every kind of state in turn.
func read(m scope.Model) []figure.PointState {
	at := unit.At(time.Date(2026, 11, 24, 8, 12, 0, 0, time.UTC))
	var states []figure.PointState
	for i, p := range m.Points() {
		if p.NotApplicable != "" {
			continue
		}
		s := figure.PointState{
			Kind:  p.Kind,
			Level: "alert 100, action 200 RLU",
			When:  at.AddDays(-3*i, time.UTC),
			Limit: math.Log10(200),
			Href:  fmt.Sprintf("/records/%d", i),
		}
		switch i % 6 {
		case 0:
			s.Outcome, s.Value, s.Recent = reading.OK, "38 RLU", []float64{1.4, 1.7, 1.5, 2.1, 1.3, 1.6, 1.58}
		case 1:
			s.Outcome, s.Value, s.Recent = reading.Action, "1240 RLU", []float64{1.9, 2.1, 2.0, math.NaN(), 2.5, 3.09}
		case 2:
			s.Outcome, s.Value, s.Recent = reading.Alert, "131 RLU", []float64{1.7, 1.4, 1.9, 1.8, 2.0, 2.12}
		case 3:
			s.Outcome, s.Value = reading.Void, "17 RLU"
		case 4:
			s.Outcome, s.Value, s.Recent = reading.OK, "9 RLU", []float64{1.1, 0.9, 1.0, 0.95}
		case 5:
			continue // nothing is known
		}
		states = append(states, s)
	}
	return states
}

// Both pictures fit on a page of a report.
func TestPicturesAsPDF(t *testing.T) {
	t.Parallel()
	pictures := []chart.Picture{picture(fleet()[0]), picture(extremes()[0]), figure.Strip(words.US, strips()["late"], now, time.UTC, records)}
	for _, p := range pictures {
		title, _ := p.Words()
		first, err := chart.PDF(p, chart.PDFOptions{})
		if err != nil {
			t.Fatal(err)
		}
		again, err := chart.PDF(p, chart.PDFOptions{})
		if err != nil || !bytes.Equal(first, again) {
			t.Errorf("%s: not the same twice, %v", title, err)
		}
		if pages := bytes.Count(first, []byte("/Type /Page\n")); pages != 1 {
			t.Errorf("%s: %d pages", title, pages)
		}
	}
}

func picture(m scope.Model) chart.Picture {
	return figure.Schematic(words.US, m, read(m), time.UTC)
}

func TestGoldenSchematics(t *testing.T) {
	t.Parallel()
	for _, m := range append(fleet(), extremes()...) {
		for _, width := range []float64{320, 1000} {
			svg := chart.SVG(picture(m), chart.SVGOptions{Width: width, Standalone: true})
			golden(t, fmt.Sprintf("schematic-%s-%g.svg", slug(m.Name), width), svg)
		}
	}
}

func slug(name string) string {
	if name == "" {
		return "nothing"
	}
	return strings.ToLower(strings.ReplaceAll(name, " ", "-"))
}

func TestSchematicLayout(t *testing.T) {
	t.Parallel()
	for _, m := range append(fleet(), extremes()...) {
		for _, width := range []float64{240, 292, 320, 400, 619, 620, 720, 972, 1000, 1600} {
			t.Run(fmt.Sprintf("%s at %g", m.Name, width), func(t *testing.T) {
				r := inspect(t, picture(m), width)
				for _, text := range r.texts {
					if i := strings.IndexFunc(text.text, func(r rune) bool { return r > 0xff && r != '…' }); i >= 0 {
						t.Errorf("%q has a character that the embedded fonts may lack", text.text)
					}
					if width >= 292 && len(m.Channels) < 8 && strings.Contains(text.text, "…") {
						t.Errorf("%q is cut", text.text)
					}
				}
			})
		}
	}
}

// Every sampling point and every channel without one is a row, has a card, and its marker and its
// card lead to its reading.
func TestSchematicShowsEveryPoint(t *testing.T) {
	t.Parallel()
	for _, m := range fleet() {
		p := picture(m)
		r := inspect(t, p, 1000)
		table := p.Table()
		if len(table.Rows) != len(m.Points()) {
			t.Errorf("%s: %d rows, %d points", m.Name, len(table.Rows), len(m.Points()))
		}
		if want := 2 * len(m.Points()); len(r.titles) != want {
			t.Errorf("%s: %d titles, want %d", m.Name, len(r.titles), want)
		}
		hrefs := 0
		for _, h := range r.hrefs {
			if h != "" {
				hrefs++
			}
		}
		if want := 2 * len(read(m)); hrefs != want {
			t.Errorf("%s: %d links, want %d", m.Name, hrefs, want)
		}
		for i, point := range m.Points() {
			row := table.Rows[i]
			if row[0] != text.Spaced(point.Kind) {
				t.Errorf("%s: row %d is %q", m.Name, i, row[0])
			}
			if point.NotApplicable != "" && row[1] != "not applicable: the channel is sealed" {
				t.Errorf("%s: %s is %q", m.Name, row[0], row[1])
			}
		}
	}
}

// What the model does not have is left out; a channel that nobody samples is shown as that.
func TestSchematicKeepsToTheModel(t *testing.T) {
	t.Parallel()
	m := fleet()[3]
	m.Chosen = []scope.Choice{{Kind: scope.OuterDistalEnd, Routine: true}}
	p := figure.Schematic(words.US, m, []figure.PointState{{Kind: scope.BalloonLumen, Outcome: reading.Action, Value: "999 RLU"}}, nil)
	r := inspect(t, p, 1000)
	unsampled := 0
	for _, row := range p.Table().Rows {
		if row[1] == "not a sampling point" {
			unsampled++
		}
	}
	if unsampled != len(m.Channels) || len(p.Table().Rows) != len(m.Channels)+1 {
		t.Errorf("%v", p.Table().Rows)
	}
	if r.says("999 RLU") {
		t.Error("a reading of a point that the model lacks")
	}
}

// The state is said by a shape and a word, never by colour alone: no two words share a shape that is
// painted alike.
func TestSchematicStates(t *testing.T) {
	t.Parallel()
	m := fleet()[3]
	tests := []struct {
		state figure.PointState
		word  string
		shape chart.Shape
	}{
		{figure.PointState{Outcome: reading.OK, Value: "5 RLU"}, "OK", chart.Circle},
		{figure.PointState{Outcome: reading.Alert, Value: "150 RLU"}, "alert", chart.TriangleUp},
		{figure.PointState{Outcome: reading.Action, Value: "500 RLU"}, "action", chart.Diamond},
		{figure.PointState{Outcome: reading.Void, Value: "5 RLU"}, "void", chart.TriangleDown},
		{figure.PointState{}, "no reading", chart.Circle},
		{figure.PointState{Outcome: reading.None, Value: "5 RLU"}, "no level", chart.Circle},
		{figure.PointState{NotApplicable: "blocked", Outcome: reading.OK}, "not applicable", chart.Cross},
	}
	for _, test := range tests {
		t.Run(test.word, func(t *testing.T) {
			test.state.Kind = scope.InstrumentLumen
			p := figure.Schematic(words.US, m, []figure.PointState{test.state}, nil)
			r := inspect(t, p, 1000)
			if got := p.Table().Rows[1][1]; !strings.HasPrefix(got, test.word) {
				t.Errorf("the table says %q", got)
			}
			found := false
			for _, text := range r.texts {
				found = found || strings.HasPrefix(text.text, test.word)
			}
			if !found {
				t.Errorf("no card says %q", test.word)
			}
			marks := 0
			for _, x := range r.shapes {
				if x == test.shape {
					marks++
				}
			}
			if marks < 2 {
				t.Errorf("%d marks of the shape, want one on the scope and one on the card", marks)
			}
		})
	}
}

// The port of a longer channel is farther from the tip, on the square-root scale: twice as far for
// four times the length.
func TestSchematicPortsFollowLength(t *testing.T) {
	t.Parallel()
	m := scope.Model{Name: "x", OuterDiameter: 10, SampledLength: 50, Channels: []scope.Channel{
		{
			Kind:     scope.WaterChannel,
			Diameter: 1,
			Length:   4000,
		},
		{Kind: scope.InstrumentChannel, Diameter: 3, Length: 1000},
		{Kind: scope.AuxiliaryChannel, Diameter: 1, Length: 2250},
	}}
	for _, width := range []float64{320, 1000} {
		r := inspect(t, figure.Schematic(words.US, m, nil, nil), width)
		// Points in protocol order: distal end, instrument, water, auxiliary; a marker and a card each.
		from := func(i int) float64 {
			if width < 620 {
				return r.linked[2*i].Y - 8 // where the tip is
			}
			return width - 16 - r.linked[2*i].X
		}
		instrument, water, auxiliary := from(1), from(2), from(3)
		if math.Abs(water/instrument-2) > 1e-9 || math.Abs(auxiliary/instrument-1.5) > 1e-9 {
			t.Errorf("at %g: %v, %v and %v from the tip", width, instrument, auxiliary, water)
		}
	}
}

func anyModel(t *rapid.T) scope.Model {
	length := rapid.OneOf(
		rapid.Float64Range(200, 4500),
		rapid.Float64Range(0, 1e5),
		rapid.SampledFrom([]float64{0, -1, math.NaN(), math.Inf(1), 1e300, 1e-300}),
	)
	width := rapid.OneOf(rapid.Float64Range(0.5, 15), rapid.Float64Range(0, 1000), rapid.SampledFrom([]float64{0, -1, math.NaN(), math.Inf(1), 1e300, 1e-300}))
	m := scope.Model{
		Name: rapid.String().Draw(t, "name"), Kind: rapid.SampledFrom(scope.Kinds).Draw(t, "kind"), Elevator: rapid.Bool().Draw(t, "elevator"),
		OuterDiameter: unit.Millimetres(width.Draw(t, "outer")), SampledLength: unit.Millimetres(length.Draw(t, "sampled")),
	}
	for range rapid.IntRange(0, 8).Draw(t, "channels") {
		m.Channels = append(m.Channels, scope.Channel{
			Kind:     rapid.SampledFrom(append([]scope.ChannelKind{"other"}, scope.ChannelKinds...)).Draw(t, "channel"),
			Diameter: unit.Millimetres(width.Draw(t, "diameter")), Length: unit.Millimetres(length.Draw(t, "length")),
			Sealed: rapid.Bool().Draw(t, "sealed"), Port: rapid.String().Draw(t, "port"),
		})
	}
	return m
}

func TestAnySchematicHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := anyModel(t)
		var states []figure.PointState
		for _, p := range m.Points() {
			states = append(states, figure.PointState{
				Kind: p.Kind, Outcome: rapid.SampledFrom(append([]reading.Outcome{"", "other"}, reading.Outcomes...)).Draw(t, "outcome"),
				Value: rapid.SampledFrom([]string{"", "9999999 RLU", "<b>&"}).Draw(t, "value"), Level: rapid.String().Draw(t, "level"),
				When:   unit.Instant(rapid.Int64Range(-1e15, 4e15).Draw(t, "when")),
				Recent: rapid.SliceOfN(rapid.Float64(), 0, 5).Draw(t, "recent"), Limit: rapid.Float64().Draw(t, "limit"),
				Href: rapid.SampledFrom([]string{"", "/a", "javascript:alert(1)"}).Draw(t, "href"),
			})
		}
		p := figure.Schematic(words.US, m, states, time.UTC)
		width := rapid.Float64Range(240, 1500).Draw(t, "width")
		inspect(t, p, width)
		wellFormed(t, chart.SVG(p, chart.SVGOptions{Width: width, Standalone: true}))
	})
}
