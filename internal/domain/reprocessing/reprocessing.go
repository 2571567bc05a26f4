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
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Stamp is what every entry of a history carries: the record it comes from, when that was written,
// and when another record voided, corrected or finished it (zero while none has).
type Stamp struct {
	ID       string       `json:"-"`
	Recorded unit.Instant `json:"-"`
	Replaced unit.Instant `json:"-"`
	// Unsure says that it was written while the clock was in doubt (Clock.Unsure).
	Unsure unit.Instant `json:"-"`
}

// knownAt says whether somebody asking at k would have been shown the entry.
func (s Stamp) knownAt(k unit.Instant) bool {
	return s.Recorded <= k && (!s.Replaced.Known() || s.Replaced > k)
}

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
	// Finishes names the record of the same use that was written at its start.
	Finishes string `json:"finishes,omitempty"`
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
	}
	return nil
}

// StepKind is a kind of act in a cycle.
type StepKind string

// The steps.
const (
	PointOfUse StepKind = "point-of-use"
	Transport  StepKind = "transport"
	LeakTest   StepKind = "leak-test"
	// Soak is what delayed reprocessing adds where residue had time to dry.
	Soak           StepKind = "soak"
	ManualCleaning StepKind = "manual-cleaning"
	Inspection     StepKind = "inspection"
	// Verification stands for the verification of samples; it has no step record of its own.
	Verification StepKind = "verification"
	Disinfection StepKind = "disinfection" // high-level disinfection or sterilization
	FinalRinse   StepKind = "final-rinse"
	Drying       StepKind = "drying"
	Storage      StepKind = "storage"
	Issue        StepKind = "issue"
)

// StepKinds lists every step in the usual order.
var StepKinds = []StepKind{
	PointOfUse, Transport, LeakTest, Soak, ManualCleaning, Inspection, Verification,
	Disinfection, FinalRinse, Drying, Storage, Issue,
}

// Words names a step as people do.
func (k StepKind) Words() string {
	if k == PointOfUse {
		return "point-of-use treatment"
	}
	if k == Verification {
		return "cleaning verification"
	}
	return text.Spaced(k)
}

// Result is how a step or a check ended.
type Result string

// The results. NotStated is a state of its own and never counts as a pass where a check is needed.
const (
	NotStated Result = ""
	Pass      Result = "pass"
	Fail      Result = "fail"
)

// Step is one act on a scope.
type Step struct {
	Stamp `json:"-"`
	Scope string       `json:"scope"`
	Kind  StepKind     `json:"kind"`
	Start unit.Instant `json:"start"`
	End   unit.Instant `json:"end,omitzero"` // zero while it goes on
	// Finishes names the record of the same step that was written at its start.
	Finishes string `json:"finishes,omitempty"`
	By       string `json:"by,omitempty"`
	Result   Result `json:"result,omitempty"`
	Note     string `json:"note,omitempty"`
	// The facts of a disinfection or sterilization.
	Disinfectant        string       `json:"disinfectant,omitempty"`
	DisinfectantLot     string       `json:"disinfectant_lot,omitempty"`
	DisinfectantExpires unit.Instant `json:"disinfectant_expires,omitzero"`
	// MEC is the result of the check of the minimum effective concentration.
	MEC Result `json:"mec,omitempty"`
	// Coldest is the lowest temperature over the contact time; absent when HasTemperature is false.
	Coldest        unit.Celsius `json:"coldest_cel,omitzero"`
	HasTemperature bool         `json:"has_temperature,omitempty"`
	Contact        unit.Span    `json:"contact,omitzero"`
	Reprocessor    string       `json:"reprocessor,omitempty"`
	CycleNumber    string       `json:"cycle_number,omitempty"`
	// Cabinet is where a stored scope hangs.
	Cabinet string `json:"cabinet,omitempty"`
	// Procedure is what an issued scope is meant for.
	Procedure string `json:"procedure,omitempty"`
}

// wholeMinutes is how much longer than the step its contact time may be where both instants were
// recorded as whole minutes.
const wholeMinutes = time.Minute

// Check refuses a step that contradicts itself.
func (s Step) Check() error {
	switch {
	case s.Scope == "":
		return fmt.Errorf("step: the scope is missing")
	case !slices.Contains(StepKinds, s.Kind) || s.Kind == Verification:
		return fmt.Errorf("step of %s: %q is not a step that is recorded; allowed: %s", s.Scope, s.Kind,
			scope.Words(slices.DeleteFunc(slices.Clone(StepKinds), func(k StepKind) bool { return k == Verification })))
	case !s.Start.Known():
		return fmt.Errorf("%s of %s: when did it start?", s.Kind.Words(), s.Scope)
	case s.End.Known() && s.End < s.Start:
		return fmt.Errorf("%s of %s: it would end before it started", s.Kind.Words(), s.Scope)
	case s.Result != NotStated && s.Result != Pass && s.Result != Fail:
		return fmt.Errorf("%s of %s: result %q is not known; allowed: pass, fail", s.Kind.Words(), s.Scope, s.Result)
	case s.MEC != NotStated && s.MEC != Pass && s.MEC != Fail:
		return fmt.Errorf("%s of %s: MEC result %q is not known; allowed: pass, fail", s.Kind.Words(), s.Scope, s.MEC)
	case s.Contact < 0:
		return fmt.Errorf("%s of %s: the contact time is below zero", s.Kind.Words(), s.Scope)
	case s.End > s.Start && s.Contact.Duration() > s.End.Sub(s.Start)+wholeMinutes:
		return fmt.Errorf("%s of %s: a contact time of %s does not fit between its start at %s and its end at %s", s.Kind.Words(), s.Scope, s.Contact, s.Start, s.End)
	}
	return nil
}

// last returns the last instant of the step that is on record.
func (s Step) last() unit.Instant { return max(s.Start, s.End) }

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
	// Restores are those of the records, with what people said of them.
	Restores []RestoreNote
	// Attestations stand for what the records do not show by themselves.
	Attestations []Attestation
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
	h.Restores = keep(h.Restores, func(r RestoreNote) bool { return r.knownAt(k) })
	h.Attestations = keep(h.Attestations, func(a Attestation) bool { return a.knownAt(k) })
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
	h.Holds = keep(h.Holds, func(x Hold) bool { return x.At <= at })
	h.Lifts = keep(h.Lifts, func(l Lift) bool { return l.At <= at })
	h.Repairs = keep(h.Repairs, func(r Repair) bool { return r.Sent <= at })
	for i, r := range h.Repairs {
		if r.Returned > at {
			h.Repairs[i].Returned = 0
		}
	}
	h.Requests = keep(h.Requests, func(r Request) bool { return r.At <= at })
	h.Restores = h.restoresBy(at)
	h.Attestations = keep(h.Attestations, func(a Attestation) bool { return a.At <= at })
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
