package record

import (
	"rinsate/internal/domain/scope"
)

// Instrument records an endoscope of the fleet.
const Instrument Kind = "instrument"

var instrument = describe(kind[scope.Instrument]{
	kind: Instrument, means: "an endoscope of the fleet",
	key: "tag", of: "tag",
	fields: []Field{
		found("tag", "", ByScope), plain("serial", ""), plain("barcode", ""), plain("model", ""), plain("owner", ""),
		plain("location", ""), plain("in_service", ""), plain("retired", ""),
		found("second", "second person", ByPerson),
	},
	words:   func(i scope.Instrument) string { return listed(i.Model, i.Location) },
	file:    "fleet",
	example: scope.Instrument{Tag: "D-01", Serial: "X1001", Model: "Example D", Owner: scope.Own, Location: "room 1", InService: exampleAt},
})
