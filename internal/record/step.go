package record

import (
	"rinsate/internal/domain/turnaround"
)

var stepTaken = describe(kind[turnaround.Step]{
	kind: Step, means: "a step of reprocessing",
	scope: "scope", time: "start", word: "kind", until: "end",
	fields: []Field{
		found("scope", "", ByScope), plain("kind", "step"), plain("start", "begun"), plain("end", "ended"),
		ends("finishes", "finishes", "the beginning that it finishes"), found("by", "", ByPerson), plain("result", "result"),
		note("note", ""), note("delayed", "what was done because cleaning began late"), plain("agent", "disinfectant"),
		found("agent_lot", "lot of the disinfectant", ByLot), plain("agent_expires", "disinfectant expires"), plain("mec", "concentration check"),
		plain("coldest_cel", "coldest temperature"), plain("has_temperature", "temperature recorded"), plain("contact", "contact time"),
		plain("machine", "machine"), plain("cycle", "cycle of the machine"), plain("cabinet", "cabinet"), plain("procedure", "procedure"),
	},
	outcomes: func(s turnaround.Step) []string { return []string{resultOutcome(s.Result), resultOutcome(s.MEC)} },
	words: func(s turnaround.Step) string {
		return listed(spaced(string(s.Kind)), goesOn(s.End.Known()), string(s.Result), s.Agent, s.Machine, s.Cabinet, s.Delayed, s.Note)
	},
	about:   func(s turnaround.Step) string { return string(s.Kind) },
	file:    "steps",
	undone:  wholeOfIt,
	example: turnaround.Step{Scope: "D-01", Kind: turnaround.LeakTest, Start: exampleAt, End: exampleAt + 1, By: "T-01", Result: turnaround.Pass},
})

// resultOutcome is what a result is found by; nothing where none is stated.
func resultOutcome(r turnaround.Result) string {
	switch r {
	case turnaround.Pass:
		return OutcomePassed
	case turnaround.Fail:
		return OutcomeFailed
	case turnaround.NotStated:
	}
	return ""
}
