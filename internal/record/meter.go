package record

import (
	"rinsate/internal/domain/quality"
)

// Meter records a meter and its system.
const Meter Kind = "meter"

var meter = describe(kind[quality.Meter]{
	kind: Meter, means: "a meter and its system",
	key: "code",
	fields: []Field{
		found("code", "", ByMeter), plain("system", ""), plain("serial", ""), plain("retired", ""), found("second", "second person", ByPerson),
	},
	words:   func(m quality.Meter) string { return listed(m.Code, named("system", m.System)) },
	file:    "meters",
	example: quality.Meter{Code: "M-1", System: "example-system", Serial: "55-1"},
})
