package desk

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// RulesEdition is one edition of the rule set with the time in which it is in force.
type RulesEdition struct {
	Edition
	Name  string `json:"name"`
	Cite  string `json:"cite"`
	Label string `json:"label"`
	// From and Until bound the time in which events are judged by it; Until is Forever for the last one.
	From  unit.Instant `json:"from"`
	Until unit.Instant `json:"until"`
	Text  string       `json:"-"`
}

// RulesEditions returns every edition of the rule set, the first one first. An edition that a later one
// with an earlier beginning has pushed aside has no time at all.
func (v RegistryView) RulesEditions() ([]RulesEdition, error) {
	all, err := v.Records().Editions(record.Rules, "rules")
	if err != nil {
		return nil, err
	}
	clock, err := clockNotes(v.View, store.Forever)
	if err != nil {
		return nil, err
	}
	list := make([]RulesEdition, len(all))
	first := true
	for i, e := range all {
		text, err := BodyOf[record.RulesBody](e)
		if err != nil {
			return nil, err
		}
		list[i] = RulesEdition{
			Edition: e,
			Name:    text.Name,
			Label:   text.Edition,
			Cite:    text.Name + ", edition " + text.Edition,
			Text:    text.Text,
			From:    actsFrom(clock, e.Seq, e.At, e.Recorded),
			Until:   store.Forever,
		}
		if e.Gone {
			list[i].Until = list[i].From
			continue
		}
		if first { // it also judges what was before
			list[i].From, first = 0, false
		}
		for j := range list[:i] {
			list[j].Until = max(list[j].From, min(list[j].Until, list[i].From))
		}
	}
	return list, nil
}

// Parsed reads the rules of an edition.
func (e RulesEdition) Parsed() (policy.RuleSet, error) { return policy.Parse(e.Name, []byte(e.Text)) }

// Decided returns how many verifications that stand were decided by each edition of the rule set, by the name with
// which decisions cite it (RulesEdition.Cite).
func (v RegistryView) Decided() (map[string]int, error) { return v.tx.Decided() }
