package record

import (
	"rinsate/internal/domain/quality"
)

// CheckBody is one check of a meter: the controls that were read together, and what they mean.
type CheckBody struct {
	Meter    string            `json:"meter"`
	Controls []quality.Control `json:"controls"`
	Verdict  quality.Verdict   `json:"verdict"`
	// Rules names the rule set and edition that judged.
	Rules string `json:"rules"`
	// Serviced says what was done to the meter before, so that earlier checks do not count any more.
	Serviced string `json:"serviced,omitempty"`
}
