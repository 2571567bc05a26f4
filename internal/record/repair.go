package record

import (
	"rinsate/internal/domain/scope"
)

// RepairBody is a repair as it is recorded: once when the scope goes, and finished when it is back.
type RepairBody struct {
	scope.Repair
	Finishes string `json:"finishes,omitempty"`
}

// Repair records a repair, from the day the scope goes until it is back.
const Repair Kind = "repair"

var repair = describe(kind[RepairBody]{
	kind: Repair, means: "a repair, from the day the scope goes until it is back",
	scope: "scope", time: "sent", until: "returned",
	fields: []Field{
		found("scope", "", ByScope), plain("sent", "sent"), plain("returned", "returned"), remark("fault", "what was wrong"),
		remark("work", "what was done"), ends("finishes", "finishes", "the beginning that it finishes"),
	},
	tables:  func(_ RepairBody, p *Placing) { p.Bears = true },
	words:   func(r RepairBody) string { return listed(r.Fault, r.Work) },
	file:    "repairs",
	undone:  wholeOfIt,
	example: RepairBody{Repair: scope.Repair{Scope: "D-01", Sent: exampleAt, Fault: "leak at the bending section"}},
})
