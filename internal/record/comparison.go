package record

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

// ComparisonBody is a comparison of a new lot or meter with the old one, as it was computed.
type ComparisonBody struct {
	Old    quality.Setup  `json:"old"`
	New    quality.Setup  `json:"new"`
	Plan   quality.Plan   `json:"plan"`
	Answer quality.Answer `json:"answer"`
	Why    string         `json:"why"`
	Pairs  []quality.Pair `json:"pairs"`
	// Ratio is that of the geometric means, new to old, with its interval and the limits of agreement:
	// evidence, never a factor to convert by.
	Ratio     unit.Number    `json:"ratio,omitzero"`
	RatioCI   [2]unit.Number `json:"ratio_interval,omitzero"`
	Agreement [2]unit.Number `json:"limits_of_agreement,omitzero"`
}

// Comparison records a comparison of a new lot or meter with the old one.
const Comparison Kind = "comparison"

var comparison = describe(kind[ComparisonBody]{
	kind: Comparison, means: "a comparison of a new lot or meter with the old one",
	key: ownID,
	fields: []Field{
		plain("old", "old"), plain("new", "new"), found("old.kit", "", ByKit), found("new.kit", "", ByKit), found("old.lot", "", ByLot), found("new.lot", "", ByLot),
		found("old.meter.code", "", ByMeter), found("new.meter.code", "", ByMeter), plain("plan", "plan"), plain("answer", "answer"), plain("why", "why"),
		plain("pairs", "pairs"), plain("ratio", "ratio"), plain("ratio_interval", "interval of the ratio"), plain("limits_of_agreement", "limits of agreement"),
	},
	words: func(c ComparisonBody) string { return listed(string(c.Answer), c.Why) },
	example: ComparisonBody{
		Old: quality.Setup{Meter: quality.Meter{Code: "M-1", System: "example-system"}, Kit: "example-kit", Lot: "A17"},
		New: quality.Setup{Meter: quality.Meter{Code: "M-1", System: "example-system"}, Kit: "example-kit", Lot: "A18"}, Answer: quality.SameLevel,
		Why: "the interval lies within the margin", Pairs: []quality.Pair{{Old: 100, New: 104}},
	},
})
