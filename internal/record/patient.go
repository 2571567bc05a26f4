package record

import (
	"fmt"

	"rinsate/internal/base/ledger"
)

// PatientBody is what was done with the number of a patient. The number itself is in no record.
type PatientBody struct {
	Act PatientAct `json:"act"`
	// Use is the use whose patient it is; empty where the uses of a patient were looked for.
	Use   ledger.ID `json:"use,omitempty"`
	Scope string    `json:"scope,omitempty"`
	// Patient is the commitment that stands for the patient; empty where none was found.
	Patient string `json:"patient,omitempty"`
	// Uses counts the uses that were found.
	Uses int `json:"uses,omitempty"`
	// Sealed counts the numbers that were sealed anew with another key, Left those that lie under one of before still.
	Sealed int    `json:"sealed,omitempty"`
	Left   int    `json:"left,omitempty"`
	Why    string `json:"why"`
}

// PatientAct is what was done with a patient's number.
type PatientAct string

// The acts. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	PatientRevealed PatientAct = "revealed"
	PatientSought   PatientAct = "sought" // all uses of a patient were looked for
	PatientErased   PatientAct = "erased"
	PatientResealed PatientAct = "resealed" // all numbers were sealed anew with another key
)

// Words says an act to people.
func (a PatientAct) Words() string {
	switch a {
	case PatientRevealed:
		return "number revealed"
	case PatientSought:
		return "uses looked for"
	case PatientErased:
		return "number erased"
	case PatientResealed:
		return "numbers sealed anew with another key"
	}
	return string(a)
}

// Patient records that the number of a patient was revealed, used to look for uses, or erased, or that all numbers were
// sealed anew with another key, by whom and why.
const Patient Kind = "patient"

var patient = describe(kind[PatientBody]{
	kind: Patient, means: "that a patient's number was revealed, looked for or erased, or all were sealed anew with another key, and why; never a number",
	of: "scope",
	fields: []Field{
		plain("act", "what was done"), names("use", "use", "the number of its patient was revealed or erased"), found("scope", "", ByScope),
		plain("patient", "commitment to the patient's number"), plain("uses", "uses found"),
		plain("sealed", "numbers sealed anew"), plain("left", "numbers under a key of before"), remark("why", "why"),
	},
	words: func(p PatientBody) string {
		found := ""
		switch p.Act {
		case PatientSought:
			found = fmt.Sprintf("%d found", p.Uses)
		case PatientResealed:
			found = fmt.Sprintf("%d numbers", p.Sealed)
		case PatientRevealed, PatientErased:
		}
		return listed(p.Act.Words(), found, p.Why)
	},
	kept: "it was done, and stays on record",
	example: PatientBody{
		Act: PatientRevealed, Use: ledger.ID(exampleID("use")), Scope: "D-01",
		Patient: ledger.Commit(make([]byte, ledger.SaltSize), "example"), Why: "look-back after a culture",
	},
})
