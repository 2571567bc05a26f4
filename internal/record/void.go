package record

import (
	"encoding/json"

	"rinsate/internal/domain/access"
)

// VoidBody is the body of a record that voids another; the envelope names it and says why. What is adverse is voided by
// two, who were then what the roles say.
type VoidBody struct {
	Scope       string        `json:"scope,omitempty"`
	Second      string        `json:"second,omitempty"`
	ByRoles     []access.Role `json:"by_roles,omitempty"`
	SecondRoles []access.Role `json:"second_roles,omitempty"`
}

// Void records that another record should not have been written; the envelope names it and says why.
const Void Kind = "void"

var void = describe(kind[VoidBody]{
	kind: Void, means: "that another record should not have been written; the envelope names it and says why",
	version: 2, older: []Reader{voidOfOne},
	scope: "scope",
	fields: []Field{
		found("scope", "", ByScope), found("second", "second person", ByPerson), plain("by_roles", "roles"),
		plain("second_roles", "roles of the second person"),
	},
	tables: func(_ VoidBody, p *Placing) { p.Final = true },
	kept:   restores,

	words:    func(v VoidBody) string { return named("with", v.Second) },
	followed: "A hold that followed from it is taken back",
	example:  VoidBody{Scope: "D-01"},
})

// restores says how the void of a record is taken back.
const restores = "what it took back is recorded anew where it was adverse, and evidence is given anew"

// voidOfOne reads version 1, which named no second person.
func voidOfOne(body json.RawMessage) (json.RawMessage, error) { return body, nil }
