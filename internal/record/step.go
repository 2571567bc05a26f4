package record

import (
	"rinsate/internal/domain/reprocessing"
)

// Step records a step of reprocessing.
const Step Kind = "step"

var stepTaken = describe(kind[reprocessing.Step]{
	kind: Step, means: "a step of reprocessing",
	scope: "scope", time: "start", word: "kind", until: "end",
	fields: []Field{
		found("scope", "", ByScope), plain("kind", "step"), plain("start", "begun"), plain("end", "ended"),
		ends("finishes", "finishes", "the beginning that it finishes"), found("by", "", ByPerson), plain("result", "result"),
		note("note", ""), plain("disinfectant", "disinfectant"),
		found("disinfectant_lot", "lot of the disinfectant", ByLot), plain("disinfectant_expires", "disinfectant expires"),
		plain("disinfectant_filled", "solution filled"), plain("mec", "concentration check"), plain("coldest_cel", "coldest temperature"),
		plain("has_temperature", "temperature recorded"), plain("warmest_cel", "warmest temperature"), plain("contact", "contact time"),
		plain("reprocessor", "reprocessor"), plain("cycle_number", "cycle of the reprocessor"), plain("cabinet", "cabinet"), remark("procedure", "procedure"),
	},
	outcomes: func(s reprocessing.Step) []string { return []string{resultOutcome(s.Result), resultOutcome(s.MEC)} },
	words: func(s reprocessing.Step) string {
		return listed(s.Kind.Words(), goesOn(s.End.Known()), string(s.Result), s.Disinfectant, s.Reprocessor, s.Cabinet, s.Note)
	},
	tables:  placeStep,
	about:   func(s reprocessing.Step) string { return string(s.Kind) },
	file:    "steps",
	undone:  wholeOfIt,
	example: reprocessing.Step{Scope: "D-01", Kind: reprocessing.LeakTest, Start: exampleAt, End: exampleAt + 1, By: "T-01", Result: reprocessing.Pass},
})

// placeStep says what a step bears on: lifts, and what a disinfection shares with others.
func placeStep(s reprocessing.Step, p *Placing) {
	p.Bears = true
	reprocessor, lot := reprocessing.SharedName(s.Reprocessor), reprocessing.SharedName(s.DisinfectantLot)
	if s.Kind != reprocessing.Disinfection || reprocessor == "" && lot == "" {
		return
	}
	p.Disinfected = &Disinfected{
		Reprocessor: reprocessor, Disinfectant: reprocessing.SharedName(s.Disinfectant), Lot: lot, Began: s.Begun(), Filled: s.DisinfectantFilled,
		Expires: s.DisinfectantExpires, Failed: s.Result == reprocessing.Fail || s.MEC == reprocessing.Fail,
	}
}

// SharedName is what a reprocessor, a disinfectant or a lot is found by.
func SharedName(name string) string { return reprocessing.SharedName(name) }

// resultOutcome is what a result is found by; nothing where none is stated.
func resultOutcome(r reprocessing.Result) string {
	switch r {
	case reprocessing.Pass:
		return OutcomePassed
	case reprocessing.Fail:
		return OutcomeFailed
	case reprocessing.NotStated:
	}
	return ""
}
