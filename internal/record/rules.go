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
}

// Rules reads the rule set of a record.
func (t RulesBody) Rules() (policy.RuleSet, error) {
	return policy.Parse(t.Name, []byte(t.Text))
}
