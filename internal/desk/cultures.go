package desk

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/wire/table"
)

// Culture is the result of a culture, or of another reference test, of one scope.
type Culture struct {
	Scope    string
	Taken    unit.Instant
	Positive bool
}

// CultureColumns are the columns of a file of cultures.
func CultureColumns() []table.Field {
	return []table.Field{
		{Name: "scope", Kind: table.KindText, Required: true, Help: "tag of the scope"},
		{Name: "taken", Kind: table.KindTime, Required: true, Help: "when the culture was taken"},
		{Name: "positive", Kind: table.KindBool, Required: true, Help: "whether it was positive by the facility's rule"},
	}
}

// ReadCultures reads a file of cultures.
func ReadCultures(t *table.Table) ([]Culture, error) {
	tag, taken, positive := t.Field("scope"), t.Field("taken"), t.Field("positive")
	var all []Culture
	for t.Next() {
		all = append(all, Culture{tag.Text(), taken.Time(), positive.Bool()})
	}
	return all, t.Err()
}
