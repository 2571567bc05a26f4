package record

import (
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// Verification records the decision on all samples that were taken after one cleaning.
const Verification Kind = "verification"

var verification = describe(kind[reprocessing.Decision]{
	kind: Verification, means: "the decision on all samples that were taken after one cleaning",
	scope: "scope", time: "last", word: "verification.outcome",
	fields: []Field{
		found("scope", "", ByScope), plain("cycle", "cycle begun"), plain("verification", "decision"),
		remark("verification.points[].not_applicable", "why nothing was taken"), found("verification.outcome", "outcome", ByOutcome),
		plain("first", "first sample"), plain("last", "last reading"), plain("rules", "rule set"),
		ends("supersedes", "takes the place of", "the decision whose place it takes"),
	},
	tables: func(d reprocessing.Decision, p *Placing) { p.Rules, p.Bears = d.Rules, true },
	outcomes: func(d reprocessing.Decision) []string {
		switch {
		case d.Verification.Outcome == reading.Action:
			return []string{OutcomeFailed}
		case d.Verification.Complete && d.Verification.Outcome.Passed():
			return []string{OutcomePassed}
		case !d.Verification.Complete:
			return []string{OutcomeIncomplete}
		}
		return nil
	},
	words: func(d reprocessing.Decision) string {
		return listed(reading.Test(d.Verification.Cleaning), d.Verification.Outcome.Brief(), d.Verification.Why)
	},
	kept:     fromOthers,
	followed: "The cleaning verification is decided again",
	example: reprocessing.Decision{
		Scope: "D-01", Cycle: exampleAt, Verification: reading.Verification{Cleaning: 1, Outcome: reading.OK, Complete: true, Points: []reading.PointResult{}},
		First: exampleAt, Last: exampleAt + 1, Rules: "example 1",
	},
})
