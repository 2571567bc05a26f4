package record

import (
	"rinsate/internal/domain/sampling"
)

// Request records somebody's wish to have a scope sampled.
const Request Kind = "request"

var request = describe(kind[sampling.Request]{
	kind: Request, means: "somebody's wish to have a scope sampled",
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), plain("points", "sampling points"), remark("reason", "reason"), found("by", "", ByPerson), plain("at", ""),
	},
	words:   func(q sampling.Request) string { return q.Reason },
	example: sampling.Request{Scope: "D-01", Reason: "culture positive", By: "L-01", At: exampleAt},
})
