package reprocessing

import (
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
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
	// Edited says that it took the place of another version which had stood for longer than a slip does: it proves nothing
	// by itself.
	Edited bool `json:"-"`
	// Stranger is why nothing shows that whoever did it may do that, as the end of a sentence that begins with the act;
	// empty where something does.
	Stranger string `json:"-"`
}

// knownAt says whether somebody asking at k would have been shown the entry.
func (s Stamp) knownAt(k unit.Instant) bool {
	return s.Recorded <= k && (!s.Replaced.Known() || s.Replaced > k)
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
	// DisinfectantFilled is when the solution was activated, or filled into the reprocessor or basin; its reuse life runs
	// from then.
	DisinfectantFilled unit.Instant `json:"disinfectant_filled,omitzero"`
	// MEC is the result of the check of the minimum effective concentration.
	MEC Result `json:"mec,omitempty"`
	// Coldest is the lowest temperature over the contact time; absent when HasTemperature is false.
	Coldest        unit.Celsius `json:"coldest_cel,omitzero"`
	HasTemperature bool         `json:"has_temperature,omitempty"`
	// Warmest is the highest temperature over the contact time; zero when it is not on record.
	Warmest     unit.Celsius `json:"warmest_cel,omitzero"`
	Contact     unit.Span    `json:"contact,omitzero"`
	Reprocessor string       `json:"reprocessor,omitempty"`
	CycleNumber string       `json:"cycle_number,omitempty"`
	// Cabinet is where a stored scope hangs.
	Cabinet string `json:"cabinet,omitempty"`
	// Procedure is what an issued scope is meant for.
	Procedure string `json:"procedure,omitempty"`
}

// wholeMinutes is how much longer than the step its contact time may be where both instants were
// recorded as whole minutes.
const wholeMinutes = time.Minute

// Liquids disinfect between these, and steam sterilizes at up to 138 °C (EN 285): what lies outside is no temperature of a
// disinfection or a sterilization.
const (
	coldest unit.Celsius = 0
	hottest unit.Celsius = 150
)

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
	return s.checkSolution()
}

// checkSolution refuses facts of a disinfection that cannot be.
func (s Step) checkSolution() error {
	for _, t := range []struct {
		what    string
		degrees unit.Celsius
	}{{"coldest", s.Coldest}, {"warmest", s.Warmest}} {
		if t.degrees != 0 && (t.degrees < coldest || t.degrees > hottest) {
			return fmt.Errorf("%s of %s: %s °C as the %s temperature cannot be; between %s and %s °C", s.Kind.Words(), s.Scope, t.degrees, t.what, coldest, hottest)
		}
	}
	switch {
	case s.Warmest != 0 && s.HasTemperature && s.Warmest < s.Coldest:
		return fmt.Errorf("%s of %s: the warmest temperature, %s °C, is below the coldest, %s °C", s.Kind.Words(), s.Scope, s.Warmest, s.Coldest)
	case s.DisinfectantFilled > s.last():
		return fmt.Errorf("%s of %s: its solution would have been filled at %s, after it", s.Kind.Words(), s.Scope, s.DisinfectantFilled)
	case s.DisinfectantFilled.Known() && s.DisinfectantExpires.Known() && s.DisinfectantExpires <= s.DisinfectantFilled:
		return fmt.Errorf("%s of %s: its solution would have been filled at %s, when it had expired", s.Kind.Words(), s.Scope, s.DisinfectantFilled)
	}
	return nil
}

// last returns the last instant of the step that is on record.
func (s Step) last() unit.Instant { return max(s.Start, s.End) }

// FailedReason is the reason of the hold that a failed step places.
func (s Step) FailedReason(zone *time.Location) string {
	if s.Result != Fail {
		return "the concentration was below the minimum effective one at " + s.Start.In(zone)
	}
	return s.Kind.Words() + " at " + s.Start.In(zone) + " failed"
}

// wets says which steps a scope is wet after, so that it has to be dried and is no longer where it waited.
func (k StepKind) wets() bool {
	return k == LeakTest || k == Soak || k == ManualCleaning || k == Disinfection || k == FinalRinse
}

// takesTime says which steps nobody does in no time.
func takesTime(kind StepKind) bool {
	return kind == Soak || kind == ManualCleaning || kind == Disinfection || kind == Drying
}

// needsResult says which steps are checks: without a stated result they show nothing.
func needsResult(kind StepKind) bool {
	return kind == LeakTest || kind == Inspection || kind == Disinfection
}

// HasResult says whether the step is a check: without a stated result it shows nothing.
func (k StepKind) HasResult() bool { return needsResult(k) }
