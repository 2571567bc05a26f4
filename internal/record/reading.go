package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Reading records a value that was read from a sample, and how it was judged.
const Reading Kind = "reading"

var measurement = describe(kind[reading.Reading]{
	kind: Reading, means: "a value that was read from a sample, and how it was judged",
	scope: "scope", time: "with.at", word: "judgement.outcome",
	fields: []Field{
		names("sample", "sample", "its sample"), found("scope", "", ByScope), plain("cleaning", "cleaning"), found("meter", "", ByMeter),
		found("lot", "", ByLot), found("by", "", ByPerson), plain("value", "value as it was typed"), plain("with", "what it was read with"),
		found("with.kit", "", ByKit), plain("judgement", "judgement"), found("judgement.outcome", "outcome", ByOutcome), plain("rules", "rule set"),
	},
	tables: func(x reading.Reading, p *Placing) {
		p.Measured = &Measured{
			Scope: x.Scope, Point: string(x.With.Point), Kind: string(x.With.Kind), System: x.With.System, Kit: x.With.Kit, Lot: x.Lot, Meter: x.Meter,
			Cleaning: x.Cleaning, At: x.With.At, Analyte: string(x.Value.Analyte), Unit: string(x.Value.Unit), Value: float64(x.Value.Number),
			Outcome: string(x.Judgement.Outcome),
		}
	},
	words: func(r reading.Reading) string {
		return listed(text.Spaced(r.With.Point), r.Value.String(), r.Judgement.Outcome.Brief())
	},
	about:  func(r reading.Reading) string { return string(r.With.Point) },
	file:   "readings",
	undone: "Its sample counts as not read.",
	redo:   func(x reading.Reading) Redo { return Redo{Cleaning: x.Cleaning, Sample: ledger.ID(x.Sample)} },
	example: reading.Reading{
		Sample: exampleID("sample"), Scope: "D-01", Cleaning: 1, Meter: "M-1", Lot: "A17", By: "T-01",
		Value:     reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: 41, Typed: "41"},
		With:      reading.Circumstances{System: "example-system", Kit: "example-kit", Point: scope.OuterDistalEnd, Kind: scope.Duodenoscope, At: exampleAt},
		Judgement: reading.Judgement{Outcome: reading.None, Why: "no level is adopted"}, Rules: "example 1",
	},
})
