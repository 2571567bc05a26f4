package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// SeenBody says that infection prevention has seen an emergency use.
type SeenBody struct {
	Scope string `json:"scope"`
	// Use is the record that first said of the use that it was an emergency.
	Use  ledger.ID    `json:"use"`
	At   unit.Instant `json:"at"`
	By   string       `json:"by"`
	Note string       `json:"note,omitempty"`
}

// Seen records that infection prevention has seen an emergency use.
const Seen Kind = "seen"

var seen = describe(kind[SeenBody]{
	kind: Seen, means: "that infection prevention has seen an emergency use",
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), names("use", "emergency use", "the emergency use that was seen"), plain("at", ""), found("by", "", ByPerson),
		note("note", "note"),
	},
	words:   func(b SeenBody) string { return listed("seen by infection prevention", b.Note) },
	kept:    "that somebody has seen a use has happened, and it changes nothing else",
	example: SeenBody{Scope: "D-01", Use: ledger.ID(exampleID("use")), At: exampleAt, By: "I-01"},
})
