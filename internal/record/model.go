package record

import (
	"rinsate/internal/domain/scope"
)

// Model records a model of endoscope with its channels and sampling points.
const Model Kind = "model"

var model = describe(kind[scope.Model]{
	kind: Model, means: "a model of endoscope with its channels and sampling points",
	key: "name",
	fields: []Field{
		plain("name", ""), plain("kind", ""), plain("risk", ""), plain("elevator", ""), plain("outer_diameter_mm", ""),
		plain("sampled_length_mm", ""), plain("channels", ""), plain("points", ""), plain("instructions", ""),
		found("second", "second person", ByPerson),
	},
	words: func(m scope.Model) string { return listed(m.Name, string(m.Kind)) },
	file:  "models",
	example: scope.Model{
		Name: "Example D", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13.5, SampledLength: 100,
		Channels: []scope.Channel{{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350, Brushable: true, Flushable: true}},
	},
})
