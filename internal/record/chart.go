package record

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/trend"
)

// ChartBody is the baseline and the limits of one stream as somebody adopted them: from then on new
// readings are held against them.
type ChartBody struct {
	Stream   trend.Key      `json:"stream"`
	Baseline trend.Baseline `json:"baseline"`
	Design   trend.Design   `json:"design"`
	Adopter  string         `json:"adopted_by"`
	Adopted  unit.Instant   `json:"adopted"`
}

// Key tells the stream from others.
func (c ChartBody) Key() string {
	return c.Stream.Scope + "|" + string(c.Stream.Point) + "|" + c.Stream.System + "|" + c.Stream.Kit
}
