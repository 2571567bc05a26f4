package record

import (
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// ChartBody is the baseline and the limits of one series as somebody adopted them: from then on new
// readings are held against them.
type ChartBody struct {
	Series   trend.Key      `json:"series"`
	Baseline trend.Baseline `json:"baseline"`
	Design   trend.Design   `json:"design"`
	Adopter  string         `json:"adopted_by"`
	Adopted  unit.Instant   `json:"adopted"`
}

// Key tells the series from others.
func (c ChartBody) Key() string {
	return c.Series.Scope + "|" + string(c.Series.Point) + "|" + c.Series.System + "|" + c.Series.Kit
}

// Chart records the baseline and limits of one series, as somebody adopted them.
const Chart Kind = "chart"

var chart = describe(kind[ChartBody]{
	kind: Chart, means: "the baseline and limits of one series, as somebody adopted them",
	key: "series.scope series.point series.system series.kit", of: "series.scope",
	fields: []Field{
		plain("series", "series"), found("series.scope", "", ByScope), found("series.kit", "", ByKit), plain("baseline", "baseline"), plain("design", "limits"),
		found("adopted_by", "", ByPerson), plain("adopted", ""),
	},
	words: func(c ChartBody) string {
		return listed(text.Spaced(c.Series.Point), named("system", c.Series.System), named("kit", c.Series.Kit))
	},
	example: ChartBody{
		Series:  trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "example-system", Kit: "example-kit"},
		Adopter: "L-01", Adopted: exampleAt,
	},
})
