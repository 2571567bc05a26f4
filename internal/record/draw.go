package record

import (
	"fmt"

	"rinsate/internal/domain/sampling"
)

// DrawBody is a periodic draw with all that is needed to repeat it.
type DrawBody struct {
	Seed       string               `json:"seed"`
	Rule       sampling.Drawing     `json:"rule"`
	Candidates []sampling.Candidate `json:"candidates"`
	Picks      []sampling.Pick      `json:"picks"`
}

var draw = describe(kind[DrawBody]{
	kind: Draw, means: "a random selection of scopes, with all that repeats it",
	key: ownID,
	fields: []Field{
		plain("seed", "seed"), plain("rule", "rule"), plain("candidates", "candidates"), plain("picks", "selected"), found("picks[].scope", "", ByScope),
	},
	words: func(d DrawBody) string { return fmt.Sprintf("%d of %d scopes", len(d.Picks), len(d.Candidates)) },
	example: DrawBody{
		Seed: "example", Rule: sampling.Drawing{Size: 1}, Candidates: []sampling.Candidate{}, Picks: []sampling.Pick{{Scope: "D-01", Why: "by lot"}},
	},
})
