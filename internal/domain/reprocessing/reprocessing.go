// Package reprocessing answers the question at the end of the chain: may this scope be used on a
// patient now, and until when, and if not, why not and what comes next?
//
// A cycle is one trip of a scope from the end of a patient use to the next. Its steps, their
// order and their limits are data of the rule set. [Release] is the one answer; History is all it is
// given. The package reads nothing, writes nothing and knows no clock: the instant asked about is
// an argument, past or present, and History.AsKnown gives the history as somebody could have known
// it then. A step that is not on record was not done: missing is never taken for good.
package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Use is a procedure on a patient. The patient is present only as a commitment, which shows nothing
// without its salt.
type Use struct {
	Stamp     `json:"-"`
	Scope     string       `json:"scope"`
	Start     unit.Instant `json:"start"`
	End       unit.Instant `json:"end,omitzero"` // zero while it goes on
	Procedure string       `json:"procedure,omitempty"`
	Room      string       `json:"room,omitempty"`
	Patient   string       `json:"patient,omitempty"`
	// EndNotKnown and PatientNotKnown are somebody's word that nobody can say it any more: what is forced is invented.
	EndNotKnown     bool `json:"end_not_known,omitempty"`
	PatientNotKnown bool `json:"patient_not_known,omitempty"`
	// Finishes names the record of the same use that was written at its start.
	Finishes string `json:"finishes,omitempty"`
	// Emergency says that somebody decided for it whatever the release check said.
	Emergency Emergency `json:"emergency,omitzero"`
}

// Check refuses a use that contradicts itself.
func (u Use) Check() error {
	switch {
	case u.Scope == "":
		return fmt.Errorf("use: the scope is missing")
	case !u.Start.Known():
		return fmt.Errorf("use of %s: when did it start?", u.Scope)
	case u.End.Known() && u.End < u.Start:
		return fmt.Errorf("use of %s: it would end before it started", u.Scope)
	case u.End.Known() && u.EndNotKnown:
		return fmt.Errorf("use of %s: it has an end, and its end is said not to be known", u.Scope)
	case u.Patient != "" && u.PatientNotKnown:
		return fmt.Errorf("use of %s: it has a patient's number, and that is said not to be known", u.Scope)
	}
	return u.Emergency.check(u.Scope)
}

// Over says whether the use has ended by what is on record, at a time or at one that nobody knows.
func (u Use) Over() bool { return u.End.Known() || u.EndNotKnown }

// PatientLacks is how Lacking says that the patient's number is not on record.
const PatientLacks = "the patient's number"

// Lacking says what is not on record yet of a use: "its end", "the patient's number", "the procedure". What is said not to
// be known does not lack.
func (u Use) Lacking() (all []string) {
	if !u.Over() {
		all = append(all, "its end")
	}
	if u.Patient == "" && !u.PatientNotKnown {
		all = append(all, PatientLacks)
	}
	if strings.TrimSpace(u.Procedure) == "" {
		all = append(all, "the procedure")
	}
	return all
}

// Decision is the recorded result of a verification of samples.
type Decision struct {
	Stamp `json:"-"`
	Scope string `json:"scope"`
	// Cycle is the start of the cycle that the verification belongs to.
	Cycle        unit.Instant         `json:"cycle"`
	Verification reading.Verification `json:"verification"`
	// First and Last are the collection of the first and the reading of the last sample.
	First unit.Instant `json:"first"`
	Last  unit.Instant `json:"last"`
	// Rules names the rule set and edition that decided.
	Rules string `json:"rules"`
	// Supersedes is the earlier decision on the same cleaning, which another reading changed.
	Supersedes string `json:"supersedes,omitempty"`
}

// In says whether the verification belongs to the cycle that begins at start. It goes by the verification's
// own instants: the start that was recorded with it is moved when the times of a use are corrected.
func (d Decision) In(start unit.Instant) bool { return d.last() >= start }

// Passed says whether the verification lets the scope go on.
func (d Decision) Passed() bool { return d.Verification.Complete && d.Verification.Outcome.Passed() }

// last returns the last instant of the verification that is on record; an unfinished verification may lack Last.
func (d Decision) last() unit.Instant { return max(d.Cycle, d.First, d.Last) }

// begun returns the first instant of the verification that is on record.
func (d Decision) begun() unit.Instant { return max(d.Cycle, d.First) }

// covers says whether the sample needs no further decision: the decision took it into account, or
// it came after its cleaning was decided and a later cleaning was decided since.
func (d Decision) covers(t Taken, verifications []Decision) bool {
	return d.Verification.Cleaning == t.Cleaning && (t.Collected <= d.last() ||
		slices.ContainsFunc(verifications, func(e Decision) bool { return e.Verification.Cleaning > t.Cleaning && e.last() >= t.Collected }))
}

// Repair is a repair with its record.
type Repair struct {
	Stamp
	scope.Repair
}

// Filed is a photograph or a document that is filed with the scope.
type Filed struct {
	Stamp
	// About is the record that it belongs to, empty where it belongs to the scope as such.
	About string
	// Photograph and Report say what it is, a report being that of a laboratory or a workshop, or of what was done.
	Photograph, Report bool
}

// Request is a request for a verification with its record.
type Request struct {
	Stamp
	sampling.Request
}

// Taken is a sample with its record and what its readings mean.
type Taken struct {
	Stamp
	sampling.Sample
	Judgements []reading.Judgement
	// Doubt says why a reading of it that passed does not count any more, DoubtRecord which record
	// says so; both are empty when there is no doubt.
	Doubt, DoubtRecord string
	// Lacks says why the readings of it that passed prove nothing by themselves; empty when one of them does.
	Lacks []Lack
}

// Doubt takes the trust from a reading: why, and the record that says so.
type Doubt struct {
	Why, Record string
}

// AddReading takes in a reading of the sample that was made at an instant, nil where nothing speaks against it.
func (t *Taken) AddReading(j reading.Judgement, at unit.Instant, d *Doubt) {
	if d != nil && j.Outcome.Passed() {
		j = j.Doubted(d.Why)
		t.Doubt, t.DoubtRecord = d.Why, d.Record
	}
	t.Judgements = append(t.Judgements, j)
	if !t.Read.Known() {
		t.Read = at
	}
}

// History is what is on record of one scope.
type History struct {
	Instrument scope.Instrument
	Model      scope.Model
	Uses       []Use
	Steps      []Step
	Samples    []Taken
	Decisions  []Decision
	Holds      []Hold
	Lifts      []Lift
	Repairs    []Repair
	Requests   []Request
	// Filed is what is filed with it, where somebody looks whether a hold can end.
	Filed []Filed
	// Restores are those of the records, with what people said of them.
	Restores []RestoreNote
	// Attestations stand for what the records do not show by themselves.
	Attestations []Attestation
	// StockTakes are the lists that two people signed of it.
	StockTakes []StockTake
	// Shared are disinfections, of other scopes or from before the steps, that were done with the means of one of the steps:
	// in the same run of a reprocessor, or with the same lot. What they say of these counts whenever they were done.
	Shared []Step
	// Earlier sums up what lies before the entries that were loaded.
	Earlier Earlier
}

// Earlier sums up the part of a history that was not loaded entry by entry.
type Earlier struct {
	// Passed and Failed are the last passed verification and the last over the action level.
	Passed, Failed unit.Instant
	// Uses counts the uses between Passed (or the start of service) and the first loaded use.
	Uses int
}

// AsKnown returns the history as it could have been known at k: without what was written later,
// and with what was replaced only later. Earlier must have been summed up as of k by the caller.
func (h History) AsKnown(k unit.Instant) History {
	h.Uses = keep(h.Uses, func(u Use) bool { return u.knownAt(k) })
	h.Steps = keep(h.Steps, func(s Step) bool { return s.knownAt(k) })
	h.Samples = keep(h.Samples, func(s Taken) bool { return s.knownAt(k) })
	h.Decisions = keep(h.Decisions, func(d Decision) bool { return d.knownAt(k) })
	h.Holds = keep(h.Holds, func(x Hold) bool { return x.knownAt(k) })
	h.Lifts = keep(h.Lifts, func(l Lift) bool { return l.knownAt(k) })
	h.Repairs = keep(h.Repairs, func(r Repair) bool { return r.knownAt(k) })
	h.Requests = keep(h.Requests, func(r Request) bool { return r.knownAt(k) })
	h.Filed = keep(h.Filed, func(f Filed) bool { return f.knownAt(k) })
	h.Restores = keep(h.Restores, func(r RestoreNote) bool { return r.knownAt(k) })
	h.Attestations = keep(h.Attestations, func(a Attestation) bool { return a.knownAt(k) })
	h.StockTakes = keep(h.StockTakes, func(t StockTake) bool { return t.knownAt(k) })
	h.Shared = keep(h.Shared, func(s Step) bool { return s.knownAt(k) })
	return h
}

// until returns the history up to an instant: what had happened by then.
func (h History) until(at unit.Instant) History {
	h.Uses = keep(h.Uses, func(u Use) bool { return u.Start <= at })
	for i, u := range h.Uses {
		if u.End > at {
			h.Uses[i].End = 0
		}
	}
	h.Steps = keep(h.Steps, func(s Step) bool { return s.Start <= at })
	for i, s := range h.Steps {
		if s.End > at {
			h.Steps[i].End, h.Steps[i].Result = 0, NotStated
		}
	}
	h.Samples = keep(h.Samples, func(s Taken) bool { return s.Collected <= at })
	h.Decisions = keep(h.Decisions, func(d Decision) bool { return d.last() <= at })
	h.Holds = keep(h.Holds, func(x Hold) bool { return x.From() <= at })
	h.Lifts = keep(h.Lifts, func(l Lift) bool { return l.At <= at })
	h.Repairs = keep(h.Repairs, func(r Repair) bool { return r.Sent <= at })
	for i, r := range h.Repairs {
		if r.Returned > at {
			h.Repairs[i].Returned = 0
		}
	}
	h.Requests = keep(h.Requests, func(r Request) bool { return r.At <= at })
	h.Filed = keep(h.Filed, func(f Filed) bool { return f.Recorded <= at })
	h.Restores = h.restoresBy(at)
	h.Attestations = keep(h.Attestations, func(a Attestation) bool { return a.At <= at })
	h.StockTakes = keep(h.StockTakes, func(t StockTake) bool { return t.At <= at })
	return h
}

// keep returns a new slice of the entries that satisfy the condition.
func keep[T any](entries []T, wanted func(T) bool) []T {
	var kept []T
	for _, e := range entries {
		if wanted(e) {
			kept = append(kept, e)
		}
	}
	return kept
}
