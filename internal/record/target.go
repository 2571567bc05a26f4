package record

import (
	"rinsate/internal/domain/quality"
)

// Target records what a control of a meter should read.
const Target Kind = "target"

var target = describe(kind[quality.Target]{
	kind: Target, means: "what a control of a meter should read",
	key: "system kind material",
	fields: []Field{
		plain("system", ""), found("meter", "", ByMeter), plain("kind", "kind of control"), plain("material", ""), found("lot", "", ByLot), plain("low", ""),
		plain("high", ""), plain("mean_log10", ""), plain("sd_log10", ""), plain("runs", ""), plain("source", ""), plain("edition", ""),
		found("adopted_by", "", ByPerson), plain("adopted", ""), found("second", "second person", ByPerson),
	},
	words: func(t quality.Target) string {
		return listed(t.Material, string(t.Kind), named("system", t.System))
	},
	file: "targets",
	example: quality.Target{
		System: "example-system", Kind: quality.Positive, Material: "light cell", Low: 300, High: 3000, Source: "meter instructions", Edition: "1",
		Adopter: "L-01", Adopted: exampleAt,
	},
})
