package record

import (
	"rinsate/internal/domain/sampling"
)

// Moment records an instant in the life of a sample: capped, dipped, activated, shaken.
const Moment Kind = "moment"

var moment = describe(kind[sampling.Moment]{
	kind: Moment, means: "an instant in the life of a sample: capped, dipped, activated, shaken",
	scope: "scope", time: "at", word: "mark",
	fields: []Field{
		names("sample", "sample", "its sample"), found("scope", "", ByScope), plain("mark", "mark"), plain("at", ""), plain("shaken", "shaken for"),
		found("by", "", ByPerson),
	},
	words:   func(m sampling.Moment) string { return string(m.Mark) },
	about:   func(m sampling.Moment) string { return string(m.Mark) },
	example: sampling.Moment{Sample: exampleID("sample"), Scope: "D-01", Mark: sampling.Activated, At: exampleAt, By: "T-01"},
})
