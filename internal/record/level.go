package record

import (
	"encoding/json"

	"rinsate/internal/base/text"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// LevelBody is a level as it was adopted, with what it was derived from where it was derived here.
type LevelBody struct {
	reading.Level
	Derivation json.RawMessage `json:"derivation,omitempty"`
}

// Level records a level as it was adopted, for one meter system, kit, point and residue test.
const Level Kind = "level"

var level = describe(kind[LevelBody]{
	kind: Level, means: "a level as it was adopted, for one meter system, kit, point and residue test",
	key: "system kit point kind analyte",
	fields: []Field{
		plain("system", ""), found("kit", "", ByKit), plain("point", ""), plain("kind", ""), plain("analyte", ""), plain("unit", ""),
		plain("alert", ""), plain("action", ""), plain("comparison", ""), plain("cv", ""), plain("dirty", ""), plain("clean", ""),
		plain("source", ""), plain("edition", ""), found("adopted_by", "", ByPerson), plain("adopted", ""),
		found("second", "second person", ByPerson),
		plain("derivation", "derivation"), note("derivation.note", "why this level"),
	},
	words: func(x LevelBody) string {
		alert := ""
		if x.Alert > 0 {
			alert = "alert " + x.Alert.String()
		}
		return listed(text.Spaced(x.Point), named("system", x.System), named("kit", x.Kit), alert, "action "+x.Action.String()+" "+string(x.Unit))
	},
	file:   "levels",
	undone: keepsOutcomes,
	example: LevelBody{Level: reading.Level{
		System: "example-system", Kit: "example-kit", Point: scope.OuterDistalEnd, Analyte: reading.ATP, Unit: reading.RLU, Alert: 100, Action: 200,
		Comparison: reading.Over, Source: "facility baseline", Edition: "1", Adopter: "L-01", Adopted: exampleAt,
	}},
})
