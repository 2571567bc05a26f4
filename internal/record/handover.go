package record

import (
	"rinsate/internal/domain/dossier"
)

// Handover records the note of one shift for the next.
const Handover Kind = "handover"

var handover = describe(kind[dossier.Handover]{
	kind: Handover, means: "the note of one shift for the next",
	time: "at",
	fields: []Field{
		plain("at", ""), found("by", "", ByPerson), note("text", "note"), plain("scopes", "scopes"), found("scopes[]", "scope", ByScope),
	},
	tables:  func(_ dossier.Handover, p *Placing) { p.Note = true },
	words:   func(h dossier.Handover) string { return h.Text },
	example: dossier.Handover{At: exampleAt, By: "T-01", Text: "D-01 is drying", Scopes: []string{"D-01"}},
})
