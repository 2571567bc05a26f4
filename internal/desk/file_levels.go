package desk

import (
	"fmt"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/wire/table"
)

// Levels is a file of levels.
const Levels Kind = "levels"

var fileOfLevels = fileKind{
	kind: Levels, about: "a level, for one meter system, kit, point and analyte",
	needs: needs(access.Adopt), signed: true,
	columns: []table.Field{
		required(textColumn("system", "meter system")),
		required(textColumn("kit", "name of the kit")),
		required(wordColumn("point", words(scope.PointKinds), "sampling point")),
		wordColumn("kind", words(scope.Kinds), "kind of scope; without it all"),
		wordColumn(
			"analyte",
			words(reading.Analytes),
			"what is measured; without it atp",
		),
		wordColumn("unit", words(reading.Units), "unit; without it the analyte's usual one"),
		numberColumn("alert", "alert level, reached by a value at or over it"),
		numberColumn("action", "action level"),
		wordColumn("comparison", []string{string(reading.Over), string(reading.AtOrOver)},
			"when a value exceeds the action level; without it at-or-over, but for strips"),
		numberColumn("cv", "coefficient of variation of single readings, as a fraction"),
		textColumn("clean", "a strip's words for clean, separated by |"),
		textColumn("dirty", "a strip's words for dirty, separated by |"),
		required(textColumn("source", "where the level comes from")),
		required(textColumn("edition", "edition of the source")),
		required(textColumn("adopted_by", "who adopted it")),
		required(timeColumn("adopted", "since when it judges, but nothing that was read before the file was read in")),
	},
	example: `system,kit,point,kind,analyte,unit,alert,action,comparison,cv,clean,dirty,source,edition,adopted_by,adopted
example-system,example-kit,outer-distal-end,,atp,RLU,100,200,over,,,,facility baseline,1,L-01,2026-01-05T07:00:00+01:00
`,
	anchor: "system",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.level()
		return fmt.Sprintf("level for %s at %s", x.Scale(), x.Point), func() (bool, error) {
			if err := x.Check(); err != nil {
				return false, err
			}
			return in.adopt(r.t.Line(), x)
		}
	},
}

func (r row) level() reading.Level {
	l := reading.Level{
		System: r.col["system"].Text(), Kit: r.col["kit"].Text(), Point: scope.PointKind(r.col["point"].Word()), Kind: scope.Kind(r.col["kind"].Word()),
		Alert: r.col["alert"].Number(), Action: r.col["action"].Number(), Comparison: reading.Comparison(r.col["comparison"].Word()), CV: r.col["cv"].Number(),
		Clean: list(r.col["clean"].Text()), Dirty: list(r.col["dirty"].Text()),
		Source: r.col["source"].Text(), Edition: r.col["edition"].Text(), Adopter: r.col["adopted_by"].Text(), Adopted: r.col["adopted"].Time(),
	}
	l.Analyte, l.Unit = r.analyte()
	if l.Comparison == "" && l.Analyte != reading.Strip {
		l.Comparison = reading.AtOrOver // the stricter one: what a file leaves unsaid is never good
	}
	return l
}

func list(text string) []string {
	var parts []string
	for p := range strings.SplitSeq(text, "|") {
		if p = strings.ToLower(strings.TrimSpace(p)); p != "" {
			parts = append(parts, p)
		}
	}
	return parts
}

func (r row) analyte() (reading.Analyte, reading.Unit) {
	return usual(r.col["analyte"].Word(), r.col["unit"].Word())
}

// LevelTemplate returns rows of a file of levels for every kind of sampling point, to be filled in: one
// scale is given, the levels themselves are not.
func LevelTemplate(system, kit, analyte, inUnit string) [][]string {
	rows := make([][]string, len(scope.PointKinds))
	for i, point := range scope.PointKinds {
		for _, f := range Columns(Levels) {
			cell := map[string]string{"system": system, "kit": kit, "point": string(point), "analyte": analyte, "unit": inUnit}[f.Name]
			rows[i] = append(rows[i], cell)
		}
	}
	return rows
}
