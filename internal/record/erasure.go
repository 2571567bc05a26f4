package record

import (
	"fmt"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
)

// ErasureBody names free texts that were erased. It says why by a word from a list, so that it cannot repeat
// what was erased.
type ErasureBody struct {
	Scope string        `json:"scope,omitempty"`
	Texts []FreeText    `json:"texts"`
	Why   ErasureReason `json:"why"`
}

// ErasureReason is why a text was erased.
type ErasureReason string

// The reasons. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	NamesPatient ErasureReason = "names-patient"
	NamesPerson  ErasureReason = "names-person"
	AskedFor     ErasureReason = "asked-for"    // by somebody with a right to it
	OutOfPlace   ErasureReason = "out-of-place" // a password, or what was meant for somewhere else
)

// ErasureReasons lists all reasons.
var ErasureReasons = []ErasureReason{NamesPatient, NamesPerson, AskedFor, OutOfPlace}

// Words says a reason to people.
func (r ErasureReason) Words() string {
	switch r {
	case NamesPatient:
		return "it named a patient"
	case NamesPerson:
		return "it named somebody"
	case AskedFor:
		return "somebody with a right to it asked for it"
	case OutOfPlace:
		return "it did not belong there"
	}
	return string(r)
}

// ErasedText is what an erased text reads as.
const ErasedText = text.Erased

// Erasure records that free texts were erased, which and why.
const Erasure Kind = "erasure"

var erasure = describe(kind[ErasureBody]{
	kind: Erasure, means: "that free texts were erased, which and why",
	of: "scope",
	fields: []Field{
		found("scope", "", ByScope), plain("texts", "texts erased"), names("texts[].record", "record", "a text of it was erased"),
		plain("texts[].field", "field"), plain("why", "why"),
	},
	tables: func(e ErasureBody, p *Placing) { p.Erases = e.Texts },
	words: func(e ErasureBody) string {
		n := fmt.Sprintf("%d texts erased", len(e.Texts))
		if len(e.Texts) == 1 {
			n = "a text erased"
		}
		return n + ": " + e.Why.Words()
	},
	kept:    "what was erased is gone",
	example: ErasureBody{Scope: "D-01", Texts: []FreeText{{ledger.ID(exampleID("hold")), "body.reason"}}, Why: NamesPatient},
})

// Known says whether a reason is one of the list.
func (r ErasureReason) Known() bool { return slices.Contains(ErasureReasons, r) }
