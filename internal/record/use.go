package record

import (
	"math"

	"rinsate/internal/domain/reprocessing"
)

// Use records a procedure on a patient.
const Use Kind = "use"

// UsedInEmergency is the word by which an emergency use is found among the uses.
const UsedInEmergency = "emergency"

var use = describe(kind[reprocessing.Use]{
	kind: Use, means: "a procedure on a patient",
	scope: "scope", time: "start", until: "end",
	fields: []Field{
		found("scope", "", ByScope), plain("start", "begun"), plain("end", "ended"), remark("procedure", "procedure"), remark("room", "room"),
		plain("patient", "commitment to the patient's number"), ends("finishes", "finishes", "the beginning that it finishes"),
		plain("emergency", "emergency"), plain("emergency.why", "why the patient could not wait"), remark("emergency.words", "in words"),
		remark("emergency.decided", "decided by"),
		plain("emergency.unsigned", "nobody had signed in"), plain("emergency.state", "the release check said"), plain("emergency.short", "short of ready"),
		names("emergency.first", "first recorded", "the record that first said that it was an emergency"),
	},
	words: func(u reprocessing.Use) string {
		emergency := ""
		if u.Emergency.Known() {
			emergency = UsedInEmergency
		}
		return listed(orElse(u.Procedure, "used"), emergency, goesOn(u.End.Known()), u.Room)
	},
	about: func(u reprocessing.Use) string {
		if u.Emergency.Known() {
			return UsedInEmergency
		}
		return ""
	},
	tables: func(u reprocessing.Use, p *Placing) {
		if u.Emergency.Known() {
			p.Word = UsedInEmergency
		}
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
