package reprocessing

import (
	"slices"
	"time"
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

// since says what a hold is for and since when.
func (h Hold) since(zone *time.Location) string {
	return "on hold" + h.For() + " since " + h.At.In(zone)
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

// Next says what has to happen before the hold ends.
func (h Hold) Next() string {
	switch h.Of() {
	case CleaningHold:
		if h.Escalated {
			return "the lead decides: inspect or repair, clean and sample again until it passes; then the lead and a second person lift the hold"
		}
		return "clean and sample again: the hold ends with a cleaning verification that passes"
	case CultureHold:
		return "reprocess, sample again for culture and wait for the result; then infection prevention lifts the hold and names the result"
	case LeakHold:
		return "send the scope to repair; after a leak test that passes a lead lifts the hold"
	case DamageHold:
		return "repair the scope, or inspect it until nothing is found; then a lead lifts the hold and says what was found"
	case DisinfectionHold:
		return "reprocess the scope from the leak test to drying; then whoever did it lifts the hold"
	case WaterHold:
		return "reprocess with water whose latest result is good; then infection prevention lifts the hold and names the result"
	case MeansHold:
		return "reprocess on means that are trusted; then whoever did it lifts the hold"
	case RecallHold:
		return "do what the notice of the recall asks for; then a lead lifts the hold and says what was done"
	case ExposureHold:
		return "reprocess the scope from the leak test to drying; then infection prevention and a second person lift the hold"
	case RecordHold:
		if h.Cause != "" {
			return "record what is missing, and lift the hold with it; where it cannot be had, reprocess and let a lead lift the hold"
		}
		return "reprocess the scope; then a lead lifts the hold and says what became of the record"
	case OtherHold:
	}
	return "settle what the hold is for; then a lead and a second person lift it"
}
