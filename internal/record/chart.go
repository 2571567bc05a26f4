package record

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
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

var chart = describe(kind[ChartBody]{
	kind: Chart, means: "the baseline and limits of one series, as somebody adopted them",
	key: "stream.scope stream.point stream.system stream.kit", of: "stream.scope",
	fields: []Field{
		plain("stream", "series"), found("stream.scope", "", ByScope), found("stream.kit", "", ByKit), plain("baseline", "baseline"), plain("design", "limits"),
		found("adopted_by", "", ByPerson), plain("adopted", ""),
	},
	words: func(c ChartBody) string {
		return listed(spaced(string(c.Stream.Point)), named("system", c.Stream.System), named("kit", c.Stream.Kit))
	},
	example: ChartBody{
		Stream:  trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "example-system", Kit: "example-kit"},
		Adopter: "L-01", Adopted: exampleAt,
	},
})
