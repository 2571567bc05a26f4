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
		plain("end_not_known", "nobody knows when it ended"), plain("patient_not_known", "nobody knows the patient's number"),
		names("emergency.first", "first recorded", "the record that first said that it was an emergency"),
	},
	words: func(u reprocessing.Use) string {
		emergency := ""
		if u.Emergency.Known() {
			emergency = UsedInEmergency
		}
		return listed(orElse(u.Procedure, "used"), emergency, goesOn(u.Over()), endNotKnown(u), u.Room)
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
		switch {
		case u.End.Known():
			p.Over = u.End
		case u.EndNotKnown:
			p.Over = u.Start // for order: no act lies between its beginning and its end
		default:
			p.Over = math.MaxInt64
		}
	},
	file:    "uses",
	undone:  wholeOfIt,
	example: reprocessing.Use{Scope: "D-01", Start: exampleAt, End: exampleAt + 1, Procedure: "ERCP", Room: "1"},
})

func endNotKnown(u reprocessing.Use) string {
	if u.EndNotKnown {
		return "end not known"
	}
	return ""
}

// wholeOfIt is what it means that something with a beginning and an end is taken back.
const wholeOfIt = "The whole of it is taken back, its beginning as well. To change only a part, correct it at the bench."
