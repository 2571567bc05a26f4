// Package words says once what people read: marks, states, outcomes and dates. Pages, commands and reports
// take theirs from here; nothing is decided here and nothing is stored by it. What a record holds is said by
// its kind, in record.
//
// Read table.go: it is the one table, with the terms of the United States and of the United Kingdom. Whoever
// asks passes the Terms that a site reads.
package words

import (
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// Terms is whose terms of the trade people read.
type Terms int

// The terms that there are.
const (
	US Terms = iota
	UK
)

// Of returns the terms that a site reads.
func Of(site record.SiteBody) Terms {
	if site.Terms == record.TermsUK {
		return UK
	}
	return US
}

// Mark is a state for the eye: a word, a shape and a class for the colour. None of the three stands
// alone.
type Mark struct {
	Word  string `json:"word"`
	Shape string `json:"shape"`
	Class string `json:"class"`
}

// Marks are those of all answers of the release check and of all outcomes, by their values.
func (t Terms) Marks() map[string]Mark {
	all := map[string]Mark{}
	for _, s := range reprocessing.States {
		all[string(s)] = t.State(s)
	}
	for _, o := range reading.Outcomes {
		all[string(o)] = t.Outcome(o)
	}
	return all
}

// Steps names all steps of reprocessing.
func (t Terms) Steps() map[reprocessing.StepKind]string {
	all := make(map[reprocessing.StepKind]string, len(reprocessing.StepKinds))
	for _, k := range reprocessing.StepKinds {
		all[k] = t.Step(k)
	}
	return all
}

// Mark returns the mark of a key; a key that is not in the table is shown as it is.
func (t Terms) Mark(k Key) Mark {
	e := t.entry(k)
	return Mark{Word: e.word, Shape: e.shape, Class: e.class}
}

// Brief returns the mark of a key where there is no colour and little space, as on a terminal: a shape and
// a word.
func (t Terms) Brief(k Key) string {
	e := t.entry(k)
	return e.plain + " " + e.brief
}

// StateKey is the key of an answer of the release check, Unknown for what is none.
func StateKey(s reprocessing.State) Key { return keyOf("state ", string(s), NotKnown) }

// OutcomeKey is the key of an outcome, None for what is none.
func OutcomeKey(o reading.Outcome) Key { return keyOf("outcome ", string(o), None) }

// State marks an answer of the release check.
func (t Terms) State(s reprocessing.State) Mark { return t.Mark(StateKey(s)) }

// Outcome marks what a value or a verification was judged to be.
func (t Terms) Outcome(o reading.Outcome) Mark { return t.Mark(OutcomeKey(o)) }

// Life marks how far people are with a signal.
func (t Terms) Life(s trend.LifeState) Mark { return t.Mark(keyOf("life ", string(s), Closed)) }

// Direction marks which way readings went.
func (t Terms) Direction(d trend.Direction) Mark {
	return t.Mark(keyOf("direction ", string(d), Spread))
}

// Verdict marks the outcome of a meter's check.
func (t Terms) Verdict(o quality.Outcome) Mark { return t.Mark(keyOf("verdict ", string(o), Unjudged)) }

// Account says what was done to an account.
func (t Terms) Account(c record.AccessChange) string {
	return t.named(Key("account "+c), string(c)).word
}

// Word is the word of a key.
func (t Terms) Word(k Key) string { return t.entry(k).word }

// Short is the word of a key where space is short.
func (t Terms) Short(k Key) string { return t.entry(k).brief }

// Step names a step of reprocessing.
func (t Terms) Step(k reprocessing.StepKind) string { return t.named(stepKey(k), string(k)).word }

// Owner says whose a scope is, in a list of scopes.
func (t Terms) Owner(o scope.Owner) string { return t.named(ownerKey(o), string(o)).brief }

// Role names a kind of work.
func (t Terms) Role(r access.Role) string { return t.named(roleKey(r), string(r)).word }

// Roles names kinds of work in a line.
func (t Terms) Roles(all []access.Role) string {
	names := make([]string, len(all))
	for i, r := range all {
		names[i] = t.Role(r)
	}
	return strings.Join(names, ", ")
}

// Kind names a kind of record.
func (t Terms) Kind(k record.Kind) string { return t.named(kindKey(k), string(k)).word }

// BriefKind names a kind of record where space is short.
func (t Terms) BriefKind(k record.Kind) string { return t.named(kindKey(k), string(k)).brief }

// named is the entry of a key, or the name of the value where the table has none.
func (t Terms) named(k Key, name string) chosen {
	if _, ok := table[k]; ok {
		return t.entry(k)
	}
	return chosen{word: text.Spaced(name), brief: text.Spaced(name)}
}

// keyOf is the key of a value of a kind, and otherwise when the table has none.
func keyOf(kind, value string, otherwise Key) Key {
	k := Key(kind + value)
	if _, ok := table[k]; ok {
		return k
	}
	return otherwise
}

// chosen is what is shown of an entry in one of the terms.
type chosen struct{ word, brief, shape, plain, class string }

// entry chooses among the terms of an entry. What has no term of its own in the United Kingdom has the other
// one, and what has no shorter one the whole one.
func (t Terms) entry(k Key) chosen {
	e, ok := table[k]
	if !ok {
		return chosen{word: string(k), brief: string(k)}
	}
	word, brief := e.us, e.usBrief
	if t == UK && e.uk != "" {
		word, brief = e.uk, e.ukBrief
	}
	c := chosen{word: word, brief: brief, shape: e.shape, plain: e.plain, class: e.class}
	if c.brief == "" {
		c.brief = word
	}
	if c.plain == "" {
		c.plain = e.shape
	}
	return c
}
