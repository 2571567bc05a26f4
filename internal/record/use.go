package record

import (
	"math"

	"rinsate/internal/domain/reprocessing"
)

// Use records a procedure on a patient.
const Use Kind = "use"

var use = describe(kind[reprocessing.Use]{
	kind: Use, means: "a procedure on a patient",
	scope: "scope", time: "start", until: "end",
	fields: []Field{
		found("scope", "", ByScope), plain("start", "begun"), plain("end", "ended"), remark("procedure", "procedure"), remark("room", "room"),
		plain("patient", "commitment to the patient's number"), ends("finishes", "finishes", "the beginning that it finishes"),
	},
	words: func(u reprocessing.Use) string {
		return listed(orElse(u.Procedure, "used"), goesOn(u.End.Known()), u.Room)
	},
	tables: func(u reprocessing.Use, p *Placing) {
		p.Over = u.End
		if !u.End.Known() {
			p.Over = math.MaxInt64
		}
	},
	file:    "uses",
	undone:  wholeOfIt,
	example: reprocessing.Use{Scope: "D-01", Start: exampleAt, End: exampleAt + 1, Procedure: "ERCP", Room: "1"},
})

// wholeOfIt is what it means that something with a beginning and an end is taken back.
const wholeOfIt = "The whole of it is taken back, its beginning as well. To change only a part, correct it at the bench."
