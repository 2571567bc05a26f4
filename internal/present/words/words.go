// Package words says once what people read: marks, states, outcomes and dates. Pages, commands and reports
// take theirs from here; nothing is decided here and nothing is stored by it. What a record holds is said by
// its kind, in record.
//
// Read table.go: it is the one table, with the terms of the United States and of the United Kingdom. Whoever
// asks passes the Terms that a site reads.
package words

import (
	"strings"

	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
)

// Terms is whose terms of the trade people read.
type Terms int

// The terms that there are.
const (
	US Terms = iota
	UK
)

// Mark is a state for the eye: a word, a shape and a class for the colour. None of the three stands
// alone.
type Mark struct{ Word, Shape, Class string }

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

// StateKey is the key of an answer of the gate, Unknown for what is none.
func StateKey(s turnaround.State) Key { return keyOf("state ", string(s), Unknown) }

// OutcomeKey is the key of an outcome, None for what is none.
func OutcomeKey(o reading.Outcome) Key { return keyOf("outcome ", string(o), None) }

// State marks an answer of the gate.
func (t Terms) State(s turnaround.State) Mark { return t.Mark(StateKey(s)) }

// Outcome marks what a value or a round was judged to be.
func (t Terms) Outcome(o reading.Outcome) Mark { return t.Mark(OutcomeKey(o)) }

// Life marks how far people are with an alarm.
func (t Terms) Life(s trend.LifeState) Mark { return t.Mark(keyOf("life ", string(s), Closed)) }

// Direction marks which way readings went.
func (t Terms) Direction(d trend.Direction) Mark {
	return t.Mark(keyOf("direction ", string(d), Spread))
}

// Verdict marks the outcome of a meter's check.
func (t Terms) Verdict(o quality.Outcome) Mark { return t.Mark(keyOf("verdict ", string(o), Unjudged)) }

// Account says what was done to an account.
func (t Terms) Account(c record.AccessChange) string {
	k := Key("account " + string(c))
	if _, ok := table[k]; ok {
		return t.entry(k).word
	}
	return Spaced(string(c))
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

// Spaced writes a name such as outer-distal-end in words.
func Spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
