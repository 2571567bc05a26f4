package record

import (
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
)

// Facet is a way to look for records.
type Facet string

// The facets. A record may have several values of one: a verification that is complete and below its levels is
// both "ok" and "passed".
const (
	ByType    Facet = "type"
	ByScope   Facet = "scope"
	ByPerson  Facet = "person" // who wrote it, and everybody whose code it names
	ByLot     Facet = "lot"    // of a kit, of a disinfectant, of a control material
	ByKit     Facet = "kit"
	ByMeter   Facet = "meter"
	ByOutcome Facet = "outcome"
	ByState   Facet = "state"
	ByLate    Facet = "late" // its only value is "late"
	// ByReference finds the records that name another one by its id.
	ByReference Facet = "refers"
	byDay       Facet = "day"
)

// Facets lists every facet that can be asked for.
var Facets = []Facet{ByType, ByScope, ByPerson, ByLot, ByKit, ByMeter, ByOutcome, ByState, ByLate, ByReference}

// The values of ByState: what a later record did to a record. A completed one is the beginning of what a
// later one finished, or a decision that a later one supersedes.
const (
	StateChanged   = "changed" // voided or corrected
	StateVoided    = "voided"
	StateCorrected = "corrected"
	StateCompleted = "completed"
)

// LateEntry is the value of ByLate.
const LateEntry = "late"

// The values of ByOutcome beside those of readings and of checks of meters.
const (
	OutcomePassed     = "passed" // a complete verification under its action level, a step that was passed
	OutcomeFailed     = "failed" // a verification over the action level, a step that was failed
	OutcomeIncomplete = "incomplete"
)

// Outcomes lists the values of ByOutcome.
var Outcomes = []string{
	string(reading.OK), string(reading.Alert), string(reading.Action), string(reading.Void), string(reading.None),
	OutcomePassed, OutcomeFailed, OutcomeIncomplete,
	string(quality.Accepted), string(quality.Warning), string(quality.Rejected), string(quality.Unjudged),
}

// States lists the values of ByState.
var States = []string{StateChanged, StateVoided, StateCorrected, StateCompleted}

// Found is a record as the index has it.
type Found struct {
	Seq      int64
	ID       ledger.ID
	At       unit.Instant
	Terms    []string
	Replaces ledger.ID
	// Did is the value of ByState that the record gives to the one that it replaces.
	Did string
}

// Term is a value of a facet.
type Term struct {
	Facet Facet
	Value string
}

// Is returns the term that a record has when it is found by a value of a facet.
func (f Facet) Is(value string) Term { return Term{f, value} }

// String names the term as the index does.
func (t Term) String() string { return t.Facet.term(t.Value) }

// term is a facet with a value, as the index names it.
func (f Facet) term(value string) string { return string(f) + "=" + value }

// LastDay comes behind the term of every day.
const LastDay = string(byDay) + "=~" // behind every digit

// DayTerm names the day of an instant, in the order of time. Days are those of UTC: they narrow a search
// down, and the instants themselves decide.
func DayTerm(at unit.Instant) string { return byDay.term(at.Time().UTC().Format("2006-01-02")) }

// add adds the values of a facet, each once and none that is empty.
func (f *Found) add(facet Facet, values ...string) {
	for _, v := range values {
		if v == "" {
			continue
		}
		if t := facet.term(v); !slices.Contains(f.Terms, t) {
			f.Terms = append(f.Terms, t)
		}
	}
}

// StateTerms are the terms that a record has after another one did something to it.
func StateTerms(did string) []string {
	if did == StateVoided || did == StateCorrected {
		return []string{ByState.term(did), ByState.term(StateChanged)}
	}
	return []string{ByState.term(did)}
}
