package reprocessing

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
)

// HoldKind says what a hold is for. What ends it, and who signs that, follows from it.
type HoldKind string

// The kinds. They are stored with holds.
const (
	RecordHold       HoldKind = "record"       // something has to be on record and is not
	MeansHold        HoldKind = "means"        // a meter, a lot or a strip is not trusted any more
	CleaningHold     HoldKind = "cleaning"     // a cleaning verification over the action level
	OtherHold        HoldKind = "other"        // what a person says in words
	RecallHold       HoldKind = "recall"       // a recall of a lot, a model or a part
	DisinfectionHold HoldKind = "disinfection" // a failed test, a failed cycle, a solution past its life
	LeakHold         HoldKind = "leak"         // a failed leak test
	DamageHold       HoldKind = "damage"       // a failed inspection, or what a person saw
	WaterHold        HoldKind = "water"        // a final-rinse result over its limit
	CultureHold      HoldKind = "culture"      // a culture result
	ExposureHold     HoldKind = "exposure"     // an index patient, or a use while cleaning or disinfection was lacking
)

// HoldKinds lists every kind, the mildest first.
var HoldKinds = []HoldKind{
	RecordHold, MeansHold, CleaningHold, OtherHold, RecallHold, DisinfectionHold, LeakHold, DamageHold, WaterHold, CultureHold, ExposureHold,
}

// PlacedKinds lists every kind in the order in which whoever places a hold looks for it: what one sees first, what has no
// name last.
var PlacedKinds = []HoldKind{
	DamageHold, LeakHold, CleaningHold, DisinfectionHold, RecordHold, MeansHold, RecallHold, ExposureHold, CultureHold, WaterHold, OtherHold,
}

// Words says what a hold is for, as people read it.
func (k HoldKind) Words() string {
	switch k {
	case RecordHold:
		return "something is missing on record"
	case MeansHold:
		return "a meter, lot or test strip is not trusted"
	case CleaningHold:
		return "not clean"
	case OtherHold:
		return "something else"
	case RecallHold:
		return "a recall"
	case DisinfectionHold:
		return "disinfection failed"
	case LeakHold:
		return "a leak"
	case DamageHold:
		return "damage"
	case WaterHold:
		return "final-rinse water"
	case CultureHold:
		return "a culture result"
	case ExposureHold:
		return "used while not ready, or an index patient"
	}
	return string(k)
}

// Stricter says whether the kind is stricter than another one. The kind of a hold changes only to a stricter one.
func (k HoldKind) Stricter(than HoldKind) bool {
	return slices.Index(HoldKinds, k) > slices.Index(HoldKinds, than)
}

// Of returns the kind of the hold. One that is not known here, or was never said, counts as other, whose end takes
// two people.
func (h Hold) Of() HoldKind {
	if slices.Contains(HoldKinds, h.Kind) {
		return h.Kind
	}
	return OtherHold
}

// For says in brackets what a hold is for where its reason alone does not.
func (h Hold) For() string {
	switch k := h.Of(); {
	case k == OtherHold, k == CleaningHold && h.Cause != "":
		return ""
	default:
		return " (" + string(k) + ")"
	}
}

// From is since when the hold counts: the earlier of its record and the time it speaks of.
func (h Hold) From() unit.Instant {
	if h.Recorded.Known() {
		return min(h.At, h.Recorded)
	}
	return h.At
}

// since says what a hold is for and since when.
func (h Hold) since(zone *time.Location) string {
	return "on hold" + h.For() + " since " + h.From().In(zone)
}

// passesOn says whether a use that begins under a hold of the kind may carry something to a patient, so that it is an
// exposure: all but those that say only that a proof is missing.
func (k HoldKind) passesOn() bool {
	switch k {
	case CleaningHold, OtherHold, DisinfectionHold, LeakHold, DamageHold, WaterHold, CultureHold, ExposureHold:
		return true
	case RecordHold, MeansHold, RecallHold:
	}
	return false
}

// overWholeRoute says whether the hold ends over nothing less than the scope cleaned anew and all that follows.
func (h Hold) overWholeRoute() bool {
	switch h.Of() {
	case CultureHold, WaterHold, DisinfectionHold, MeansHold, ExposureHold:
		return true
	case CleaningHold:
		return h.Escalated
	case RecordHold, OtherHold, RecallHold, LeakHold, DamageHold: // they have other ways out
	}
	return false
}

// Next says what has to happen before the hold ends.
func (h Hold) Next() string {
	switch h.Of() {
	case CleaningHold:
		if h.Escalated {
			return "the lead decides: inspect or repair, clean and sample again until it passes; then the lead and a second person lift the hold"
		}
		return "clean and sample again: the hold ends with a cleaning verification that passes"
	case CultureHold:
		return "reprocess, sample again for culture, wait for the result and file the laboratory's report with the scope; " +
			"then infection prevention lifts the hold and names the result"
	case LeakHold:
		return "send the scope to repair; after a leak test that passes a lead lifts the hold"
	case DamageHold:
		return "repair the scope, or inspect it until nothing is found and file a photograph with the inspection; then a lead lifts the hold and says what was found"
	case DisinfectionHold:
		return "reprocess the scope from the leak test to drying; then whoever did it lifts the hold"
	case WaterHold:
		return "reprocess with water whose latest result is good, and file the report of the water with the scope; " +
			"then infection prevention lifts the hold and names the result"
	case MeansHold:
		return "reprocess with a meter, kits and strips that are trusted; then whoever did it lifts the hold"
	case RecallHold:
		return "do what the notice of the recall asks for and file the report of it with the scope; then a lead lifts the hold and says what was done"
	case ExposureHold:
		return "reprocess the scope from the leak test to drying; then infection prevention and a second person lift the hold"
	case RecordHold:
		if h.Cause != "" {
			return "record what is missing, or, where it cannot be had, reprocess; then a lead lifts the hold"
		}
		return "reprocess the scope; then a lead lifts the hold and says what became of the record"
	case OtherHold:
	}
	return "settle what the hold is for; then a lead and a second person lift it"
}

// Hold keeps a scope from patients until somebody lifts it.
type Hold struct {
	Stamp  `json:"-"`
	Scope  string       `json:"scope"`
	Kind   HoldKind     `json:"kind"`
	At     unit.Instant `json:"at"`
	By     string       `json:"by"`
	Reason string       `json:"reason"`
	// Cause is the record that made the rules place the hold: the decision on a verification, a step that failed or a
	// use of a scope that was not ready; empty when a person did.
	Cause string `json:"cause,omitempty"`
	// Escalated holds for cleaning come after the last cleaning that the rules provide for.
	Escalated bool `json:"escalated,omitempty"`
}

// Check refuses a hold without a kind, a name or a reason.
func (h Hold) Check() error {
	switch {
	case h.Scope == "" || !h.At.Known():
		return fmt.Errorf("hold: the scope or the time is missing")
	case !slices.Contains(HoldKinds, h.Kind):
		return fmt.Errorf("hold of %s: kind %q is not known; allowed: %s", h.Scope, h.Kind, scope.Words(HoldKinds))
	case h.By == "":
		return fmt.Errorf("hold of %s: who places it?", h.Scope)
	case h.Reason == "":
		return fmt.Errorf("hold of %s: the reason is missing", h.Scope)
	}
	return nil
}

// EndsByVerification says whether a passed verification may end the hold by itself: only a hold for cleaning before
// the last cleaning. So does no hold that was placed while the clock was in doubt: nobody can say what came after it.
func (h Hold) EndsByVerification() bool {
	return h.Of() == CleaningHold && !h.Escalated && !h.Unsure.Known()
}

// ofUse says whether a use placed the hold, which began while the scope was not ready.
func (h Hold) ofUse() bool {
	return h.Cause != "" && (h.Of() == ExposureHold || h.Of() == RecordHold)
}

// AnsweredBy says whether a decision shows that the scope was clean after the hold: the whole verification passed,
// and its first sample was collected later than the hold. Of two facts at one instant the bad one counts.
func (h Hold) AnsweredBy(d Decision) bool {
	return d.Scope == h.Scope && d.Passed() && d.First > h.At
}

// Lift ends a hold.
type Lift struct {
	Stamp  `json:"-"`
	Hold   string       `json:"hold"`
	Scope  string       `json:"scope"`
	At     unit.Instant `json:"at"`
	By     string       `json:"by"`
	Reason string       `json:"reason"`
	// Verification is the passed verification that the lift rests on, Evidence are the other records that it rests
	// on. When one of them is taken back the hold is open again.
	Verification string   `json:"verification,omitempty"`
	Evidence     []string `json:"evidence,omitempty"`
	// Late says that it rests on what was on record of the time before the use that the hold speaks of, and arrived
	// after it.
	Late bool `json:"late,omitempty"`
	// Second is another person who agrees.
	Second string `json:"second,omitempty"`
	// ByRoles and SecondRoles are what the two were at that moment.
	ByRoles     []access.Role `json:"by_roles,omitempty"`
	SecondRoles []access.Role `json:"second_roles,omitempty"`
	// Placed is by when the hold was placed for sure, where a clock that was in doubt dated it; else zero.
	Placed unit.Instant `json:"placed,omitzero"`
}

// Check refuses a lift that nobody could defend, whatever the hold.
func (l Lift) Check() error {
	switch {
	case l.Hold == "" || l.Scope == "" || !l.At.Known():
		return fmt.Errorf("lift: the hold, the scope or the time is missing")
	case l.By == "":
		return fmt.Errorf("lift of the hold on %s: who lifts it?", l.Scope)
	case l.Reason == "":
		return fmt.Errorf("lift of the hold on %s: the reason is missing", l.Scope)
	case l.Second != "" && !l.Two():
		return fmt.Errorf("lift of the hold on %s: the second person must be another than %s", l.Scope, l.By)
	}
	return nil
}

// Two says whether two people lift. A code in other letters is the same person.
func (l Lift) Two() bool {
	by, second := strings.TrimSpace(l.By), strings.TrimSpace(l.Second)
	return by != "" && second != "" && !strings.EqualFold(by, second)
}

// Rests lists the records that the lift rests on.
func (l Lift) Rests() []string {
	if l.Verification == "" {
		return l.Evidence
	}
	return append([]string{l.Verification}, l.Evidence...)
}
