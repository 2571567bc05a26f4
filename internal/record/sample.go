package record

import (
	"rinsate/internal/base/text"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Sample records a sample that was taken, or why none was.
const Sample Kind = "sample"

var sample = describe(kind[sampling.Sample]{
	kind: Sample, means: "a sample that was taken, or why none was",
	scope: "scope", time: "collected", word: "point",
	fields: []Field{
		found("scope", "", ByScope), plain("point", "sampling point"), plain("cleaning", "cleaning"), remark("not_applicable", "why nothing was taken"),
		found("kit", "", ByKit), found("lot", "", ByLot), found("by", "", ByPerson), plain("collected", "collected"), plain("capped", "capped"),
		plain("uncapped", "uncapped"), plain("dipped", "dipped"), plain("activated", "activated"), plain("shaken", "shaken for"), plain("read", "read"),
		plain("flushed_ml", "flushed"), plain("recovered_ml", "recovered"),
	},
	words: func(s sampling.Sample) string {
		return listed(text.Spaced(s.Point), reading.Test(s.Cleaning), named("kit", s.Kit), named("lot", s.Lot), s.NotApplicable)
	},
	about:   func(s sampling.Sample) string { return string(s.Point) },
	file:    "readings",
	undone:  "Its readings stay on record and do not count.",
	redo:    func(s sampling.Sample) Redo { return Redo{Cleaning: s.Cleaning, Inside: s.Collected} },
	example: sampling.Sample{Scope: "D-01", Point: scope.OuterDistalEnd, Cleaning: 1, Kit: "example-kit", Lot: "A17", By: "T-01", Collected: exampleAt},
})
