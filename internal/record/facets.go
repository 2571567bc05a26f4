package record

import (
	"encoding/json"
	"errors"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/turnaround"
)

// Facet is a way to look for records.
type Facet string

// The facets. A record may have several values of one: a round that is complete and below its levels is
// both "below" and "passed".
const (
	ByType    Facet = "type"
	ByScope   Facet = "scope"
	ByPerson  Facet = "person" // who wrote it, and everybody whose code it names
	ByLot     Facet = "lot"    // of a kit, of an agent, of a control material
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
	OutcomePassed     = "passed" // a complete round under its action level, a step that was passed
	OutcomeFailed     = "failed" // a round over the action level, a step that was failed
	OutcomeIncomplete = "incomplete"
)

// Outcomes lists the values of ByOutcome.
var Outcomes = []string{
	string(reading.Below), string(reading.Alert), string(reading.Action), string(reading.Void), string(reading.None),
	OutcomePassed, OutcomeFailed, OutcomeIncomplete,
	string(quality.Accepted), string(quality.Warning), string(quality.Rejected), string(quality.Unjudged),
}

// States lists the values of ByState.
var States = []string{StateChanged, StateVoided, StateCorrected, StateCompleted}

// names are the fields by which records of all types name the things that they are found by. A type of
// record that calls a scope "scope" is found by it without being listed anywhere.
type names struct {
	Scope    string   `json:"scope"`
	Scopes   []string `json:"scopes"`
	Tag      string   `json:"tag"`
	Code     string   `json:"code"`
	By       string   `json:"by"`
	Second   string   `json:"second"`
	Adopter  string   `json:"adopted_by"`
	Meter    string   `json:"meter"`
	Lot      string   `json:"lot"`
	AgentLot string   `json:"agent_lot"`
	Kit      string   `json:"kit"`
	With     struct {
		Kit string `json:"kit"`
	} `json:"with"`
	Stream struct {
		Scope string `json:"scope"`
		Kit   string `json:"kit"`
	} `json:"stream"`
	Old      quality.Setup `json:"old"`
	New      quality.Setup `json:"new"`
	Controls []struct {
		Person string `json:"person"`
		Lot    string `json:"lot"`
	} `json:"controls"`
	Picks []struct {
		Scope string `json:"scope"`
	} `json:"picks"`

	Result    turnaround.Result `json:"result"`
	MEC       turnaround.Result `json:"mec"`
	Judgement struct {
		Outcome string `json:"outcome"`
	} `json:"judgement"`
	Verdict struct {
		Outcome string `json:"outcome"`
	} `json:"verdict"`
	Round roundNamed `json:"round"`

	End      unit.Instant `json:"end"`
	Returned unit.Instant `json:"returned"`

	Finishes   string   `json:"finishes"`
	Supersedes string   `json:"supersedes"`
	Sample     string   `json:"sample"`
	Hold       string   `json:"hold"`
	Cause      string   `json:"cause"`
	Check      string   `json:"check"`
	About      string   `json:"about"`
	Reading    string   `json:"reading"`
	Record     string   `json:"record"`
	Readings   []string `json:"readings"`
}

// roundNamed is a round: in a decision as it was judged, in a lift the id of the decision.
type roundNamed struct {
	reading.Round
	id string
}

// UnmarshalJSON reads either.
func (r *roundNamed) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, &r.id)
	}
	var judged struct {
		Outcome  reading.Outcome `json:"outcome"`
		Complete bool            `json:"complete"`
	}
	err := json.Unmarshal(b, &judged)
	r.Outcome, r.Complete = judged.Outcome, judged.Complete
	return err
}

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

// Index reads from a record what it is found by.
func Index(r ledger.Record) (Found, error) {
	var n names
	if err := json.Unmarshal(r.Body, &n); lenient(err) != nil {
		return Found{}, err
	}
	f := Found{Seq: r.Seq, ID: r.ID, At: r.At, Terms: []string{ByType.term(r.Type), DayTerm(r.At)}}
	f.Replaces, f.Did = n.replaced(r)
	f.add(ByScope, n.Scope, n.Stream.Scope, n.Tag)
	f.add(ByScope, n.Scopes...)
	for _, p := range n.Picks {
		f.add(ByScope, p.Scope)
	}
	f.add(ByPerson, r.By, n.By, n.Second, n.Adopter)
	f.add(ByMeter, n.Meter, n.Old.Meter.Code, n.New.Meter.Code)
	f.add(ByLot, n.Lot, n.AgentLot, n.Old.Lot, n.New.Lot)
	f.add(ByKit, n.Kit, n.With.Kit, n.Stream.Kit, n.Old.Kit, n.New.Kit)
	for _, c := range n.Controls {
		f.add(ByPerson, c.Person)
		f.add(ByLot, c.Lot)
	}
	switch KindOf(r) {
	case Meter:
		f.add(ByMeter, n.Code)
	case Person, Access:
		f.add(ByPerson, n.Code)
	}
	for _, id := range r.Because {
		f.add(ByReference, string(id))
	}
	f.add(ByReference, string(r.Corrects), n.Finishes, n.Supersedes, n.Sample, n.Hold, n.Cause, n.Check, n.About, n.Reading, n.Record, n.Round.id)
	f.add(ByReference, n.Readings...)
	f.outcomes(n, KindOf(r))
	if Late(max(r.At, n.End, n.Returned), r.Recorded) {
		f.add(ByLate, LateEntry)
	}
	return f, nil
}

// lenient lets a field pass that another type of record uses for something else.
func lenient(err error) error {
	if _, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		return nil
	}
	return err
}

// Replaces returns the record that r takes the place of, and what that makes of it, a value of ByState;
// both are empty when it takes the place of none.
func Replaces(r ledger.Record) (id ledger.ID, did string, err error) {
	var n names
	if err := json.Unmarshal(r.Body, &n); lenient(err) != nil {
		return "", "", err
	}
	id, did = n.replaced(r)
	return id, did, nil
}

// replaced is Replaces for a record whose names were read.
func (n names) replaced(r ledger.Record) (id ledger.ID, did string) {
	switch {
	case KindOf(r) == Void:
		return r.Corrects, StateVoided
	case r.Corrects != "":
		return r.Corrects, StateCorrected
	case n.Finishes != "":
		return ledger.ID(n.Finishes), StateCompleted
	case KindOf(r) == Round && n.Supersedes != "":
		return ledger.ID(n.Supersedes), StateCompleted
	}
	return "", ""
}

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

func (f *Found) outcomes(n names, kind Kind) {
	f.add(ByOutcome, n.Judgement.Outcome, n.Verdict.Outcome)
	for _, result := range []turnaround.Result{n.Result, n.MEC} {
		switch result {
		case turnaround.Pass:
			f.add(ByOutcome, OutcomePassed)
		case turnaround.Fail:
			f.add(ByOutcome, OutcomeFailed)
		case turnaround.NotStated:
		}
	}
	if kind != Round {
		return
	}
	f.add(ByOutcome, string(n.Round.Outcome))
	switch {
	case n.Round.Outcome == reading.Action:
		f.add(ByOutcome, OutcomeFailed)
	case n.Round.Complete && n.Round.Outcome.Passed():
		f.add(ByOutcome, OutcomePassed)
	case !n.Round.Complete:
		f.add(ByOutcome, OutcomeIncomplete)
	}
}

// StateTerms are the terms that a record has after another one did something to it.
func StateTerms(did string) []string {
	if did == StateVoided || did == StateCorrected {
		return []string{ByState.term(did), ByState.term(StateChanged)}
	}
	return []string{ByState.term(did)}
}

// ScopeOf returns the scope that a record is of, empty when it is of none.
func ScopeOf(r ledger.Record) (string, error) {
	p, err := Place(r)
	if KindOf(r) == Instrument {
		return p.Entity, err
	}
	return p.Scope, err
}
