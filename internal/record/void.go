package record

// VoidBody is the body of a record that voids another; the envelope names it and says why.
type VoidBody struct {
	Scope string `json:"scope,omitempty"`
}

// Void records that another record should not have been written; the envelope names it and says why.
const Void Kind = "void"

var void = describe(kind[VoidBody]{
	kind: Void, means: "that another record should not have been written; the envelope names it and says why",
	scope:  "scope",
	fields: []Field{found("scope", "", ByScope)},
	tables: func(_ VoidBody, p *Placing) { p.Final = true },
	kept:   fromOthers,

	followed: "A hold that followed from it is taken back",
	example:  VoidBody{Scope: "D-01"},
})
