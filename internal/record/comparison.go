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
