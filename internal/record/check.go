package record

import (
	"rinsate/internal/base/ledger"
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

// Check records a check of a meter: controls that were read together, and what they mean.
const Check Kind = "check"

var check = describe(kind[CheckBody]{
	kind: Check, means: "a check of a meter: controls that were read together, and what they mean",
	time: "verdict.at", word: "verdict.outcome",
	fields: []Field{
		found("meter", "", ByMeter), plain("controls", "controls"), found("controls[].person", "person", ByPerson), found("controls[].lot", "", ByLot),
		plain("verdict", "verdict"), found("verdict.outcome", "outcome", ByOutcome), plain("rules", "rule set"),
		remark("serviced", "what was done to the meter before"),
	},
	tables: func(c CheckBody, p *Placing) { p.Meter, p.Verdict = c.Meter, string(c.Verdict.Outcome) },
	words: func(c CheckBody) string {
		return listed(named("meter", c.Meter), string(c.Verdict.Outcome), c.Verdict.Why)
	},
	file:   "checks",
	undone: "The trust in the readings of the meter is judged again.",
	redo:   func(c CheckBody) Redo { return Redo{Meter: c.Meter, At: c.Verdict.At} },
	example: CheckBody{
		Meter: "M-1", Controls: []quality.Control{{Meter: "M-1", Kind: quality.Positive, Material: "light cell", Value: 1012, At: exampleAt, Person: "T-01"}},
		Verdict: quality.Verdict{
			Meter: "M-1", From: exampleAt, At: exampleAt, Controls: []ledger.ID{}, Outcome: quality.Accepted, Why: "within its limits",
		},
		Rules: "example 1",
	},
})
