package record

import (
	"fmt"

	"rinsate/internal/domain/sampling"
)

// SelectionBody is a random selection with all that is needed to repeat it.
type SelectionBody struct {
	Seed       string               `json:"seed"`
	Rule       sampling.Selection   `json:"rule"`
	Candidates []sampling.Candidate `json:"candidates"`
	Picks      []sampling.Pick      `json:"picks"`
}

// Selection records a random selection of scopes, with all that repeats it.
const Selection Kind = "selection"

var selection = describe(kind[SelectionBody]{
	kind: Selection, means: "a random selection of scopes, with all that repeats it",
	key: ownID,
	fields: []Field{
		plain("seed", "seed"), plain("rule", "rule"), plain("candidates", "candidates"), plain("picks", "selected"), found("picks[].scope", "", ByScope),
	},
	words: func(d SelectionBody) string { return fmt.Sprintf("%d of %d scopes", len(d.Picks), len(d.Candidates)) },
	example: SelectionBody{
		Seed: "example", Rule: sampling.Selection{Size: 1}, Candidates: []sampling.Candidate{}, Picks: []sampling.Pick{{Scope: "D-01", Why: "by lot"}},
	},
})
