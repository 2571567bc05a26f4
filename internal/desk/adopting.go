package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Adoption is how a rule set is adopted.
type Adoption struct {
	// At is the time that the record names, none ahead: it acts from its signature at the earliest, and what begins later
	// says so in the text (starts).
	At unit.Instant
	// Name is that of its file, Text what it says.
	Name string
	Text []byte
	// Second is the code of whoever else agrees, where it asks for less; Entry.Second shows that it is this person.
	Second string
	// Slip says that the edition in force was a slip: it does not count for what is under way either. It takes two.
	Slip bool
}

// mayBeRules returns what is stored of a rule set, or refuses one that asks for less than an edition that is in force, or
// will be, and that nobody else has signed.
func mayBeRules(w SettingUp, e Entry, rules policy.RuleSet, a Adoption) (body record.RulesBody, err error) {
	body = record.RulesBody{Name: rules.Name, Edition: rules.Edition, Digest: rules.Digest, Text: string(a.Text), Second: a.Second}
	var alone *fault.Error
	if a.Slip {
		if body.Slip, err = slipOf(w, e); err != nil {
			return body, err
		}
		alone = &fault.Error{
			Code: fault.Invalid, Message: "that the edition in force was a slip takes two people",
			Hint: "somebody else who may adopt rule sets signs it too: on the page of the rules, or with --second",
		}
	} else {
		less, err := w.Registry().AsksLess(rules)
		if err != nil {
			return body, err
		}
		alone = lessThanBefore(ToAdoptRules, "rule set "+rules.Cite(), less)
	}
	return body, byTwoOf(w.Work).agreed(ToAdoptRules, e, &body.Second, alone)
}

// slipOf returns the edition that an adoption calls a slip: the one in force, or what was said when it was sent before.
func slipOf(w SettingUp, e Entry) (string, error) {
	sent, err := w.tx.Record(e.ID)
	if err == nil {
		before, err := record.Body[record.RulesBody](sent.Record)
		return before.Slip, err
	}
	if e.ID != "" && fault.CodeOf(err) != fault.NotFound {
		return "", err
	}
	kept, err := w.Registry().rulesRecord(w.tx.Now, store.Forever)
	return string(kept.ID), err
}

// AsksLess lists what a rule set asks less of than the editions that are in force, or will be; none where it can be shown
// to ask for as much.
func (v RegistryView) AsksLess(rules policy.RuleSet) (less []string, err error) {
	editions, err := v.RulesEditions()
	if err != nil {
		return nil, err
	}
	var standing []policy.RuleSet
	for _, x := range editions {
		if x.Gone || x.Until <= v.Now() {
			continue
		}
		before, err := x.Parsed()
		if err != nil {
			return nil, err
		}
		standing = append(standing, before)
	}
	return lessOfAny(standing, func(before policy.RuleSet) []string { return policy.Laxer(before, rules) }), nil
}

// keepsStrict refuses to take a rule set back where what would be in force then asks for less: two adopt that instead.
func keepsStrict(v RegistryView, old store.Kept) error {
	if old.Kind() != record.Rules {
		return nil
	}
	body, err := record.Body[record.RulesBody](old.Record)
	if err != nil {
		return err
	}
	gone, err := body.Rules()
	if err != nil {
		return err
	}
	editions, err := v.RulesEditions()
	if err != nil {
		return err
	}
	var next RulesEdition // that would be in force without it
	for _, x := range editions {
		if !x.Gone && x.ID != string(old.ID) && x.From <= v.Now() {
			next = x
		}
	}
	if next.ID == "" {
		return nil
	}
	left, err := next.Parsed()
	if err != nil {
		return err
	}
	if less := policy.Laxer(gone, left); len(less) > 0 {
		return &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("without %s, %s would be asked for, which asks for less: %s", gone.Cite(), left.Cite(), few(less)),
			Hint:    "adopt the rules that are meant: two people sign that, and say whether this edition was a slip",
		}
	}
	return nil
}

// mayBeLevel refuses a level that could not be defended, and one that asks for less than before, or lies far over what is
// published, that nobody else has looked at: that is far more often a slip of the keyboard, and it would pass nearly everything.
func mayBeLevel(w *Work, act access.Act, e Entry, l *reading.Level) error {
	if err := w.inName(&l.Adopter); err != nil {
		return err
	}
	if err := l.Check(); err != nil {
		return refuse(err)
	}
	var less []string
	if !w.sentBefore(e) {
		var err error
		if less, err = byTwoOf(w).lessThanLevels(*l); err != nil {
			return err
		}
	}
	if e.By == "" {
		e.By = l.Adopter
	}
	alone := lessThanBefore(act, fmt.Sprintf("level for %s at %s", l.Scale(), text.Spaced(l.Point)), less)
	if most, published, ok := policy.Usual(l.Analyte, l.Unit); ok && l.Action > most {
		alone = &fault.Error{
			Code: fault.Invalid,
			Message: fmt.Sprintf("level for %s: the action level %s lies far over the largest published one, %s %s (%s); allowed for one person: at most %s %s",
				l.Scale(), l.Action, published.Action, l.Unit, published.Citation, most, l.Unit),
			Hint:  "if it is meant, somebody else who may adopt levels signs it too: on the page of the level, or with --second",
			Cause: errLess,
		}
	}
	return byTwoOf(w).agreed(act, e, &l.Second, alone)
}

// levelWarnings lists what a person should look at before a level is adopted.
func levelWarnings(l reading.Level) []string {
	if _, _, ok := policy.Usual(l.Analyte, l.Unit); ok || l.Analyte == reading.Strip {
		return nil
	}
	const why = "no limit is published for %s in %s, so that nobody can say whether %s is a usual one: look at it twice"
	return []string{fmt.Sprintf(why, l.Analyte, l.Unit, l.Action)}
}
