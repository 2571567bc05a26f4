package record

import (
	"rinsate/internal/domain/policy"
)

// RulesBody is a rule set as it was adopted, word for word.
type RulesBody struct {
	Name    string `json:"name"`
	Edition string `json:"edition"`
	Digest  string `json:"sha256"`
	Text    string `json:"text"`
	// Second is who else agreed to an edition that asks for less, Slip the edition that the two take for a slip.
	Second string `json:"second,omitempty"`
	Slip   string `json:"slip,omitempty"`
}

// Rules reads the rule set of a record.
func (t RulesBody) Rules() (policy.RuleSet, error) {
	return policy.Parse(t.Name, []byte(t.Text))
}

// Rules records a rule set as it was adopted, word for word.
const Rules Kind = "rules"

var rules = describe(kind[RulesBody]{
	kind: Rules, means: "a rule set as it was adopted, word for word",
	key: fixed + "rules",
	fields: []Field{
		plain("name", ""), plain("edition", ""), plain("sha256", "SHA-256 of the text"),
		{Name: "text", Label: "text", Text: WholeFile},
		found("second", "second person, where it asks for less", ByPerson), plain("slip", "edition that was a slip"),
	},
	words:   func(r RulesBody) string { return listed(r.Name, named("edition", r.Edition)) },
	undone:  keepsOutcomes,
	example: RulesBody{Name: "example", Edition: "1", Digest: "00", Text: "name: example\nedition: \"1\"\n"},
})

// keepsOutcomes is what it means that something is taken back by which others were judged.
const keepsOutcomes = "What was judged by it keeps its outcome."
