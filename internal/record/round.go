package record

import (
	"fmt"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/turnaround"
)

var round = describe(kind[turnaround.Decision]{
	kind: Round, means: "the decision on all samples that were taken after one cleaning",
	scope: "scope", time: "last", word: "round.outcome",
	fields: []Field{
		found("scope", "", ByScope), plain("turnaround", "cycle begun"), plain("round", "decision"),
		remark("round.points[].not_applicable", "why nothing was taken"), found("round.outcome", "outcome", ByOutcome),
		plain("first", "first sample"), plain("last", "last reading"), plain("rules", "rule set"),
		ends("supersedes", "takes the place of", "the decision whose place it takes"),
	},
	tables: func(d turnaround.Decision, p *Placing) { p.Rules, p.Bears = d.Rules, true },
	outcomes: func(d turnaround.Decision) []string {
		switch {
		case d.Round.Outcome == reading.Action:
			return []string{OutcomeFailed}
		case d.Round.Complete && d.Round.Outcome.Passed():
			return []string{OutcomePassed}
		case !d.Round.Complete:
			return []string{OutcomeIncomplete}
		}
		return nil
	},
	words: func(d turnaround.Decision) string {
		return listed(fmt.Sprintf("attempt %d", d.Round.Attempt), outcomeWord(d.Round.Outcome), d.Round.Why)
	},
	kept:     fromOthers,
	followed: "The round is decided again",
	example: turnaround.Decision{
		Scope: "D-01", Turnaround: exampleAt, Round: reading.Round{Attempt: 1, Outcome: reading.Below, Complete: true, Points: []reading.PointResult{}},
		First: exampleAt, Last: exampleAt + 1, Rules: "example 1",
	},
})
