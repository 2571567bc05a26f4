package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// Handled are the columns of what somebody did about a signal.
type Handled struct {
	Signal, Act, Scope, Point, System, Kit, Reading, Direction string
	At, Signalled, Begin, Last                                 unit.Instant
}

// Handling returns what was done, without its words, cause and linked record.
func (h Handled) Handling() trend.Handling {
	return trend.Handling{
		Signal: ledger.ID(h.Signal), Act: trend.Act(h.Act), At: h.At, Begin: h.Begin, Last: h.Last,
		Identity: trend.Identity{
			Series:  trend.Key{Scope: h.Scope, Point: scope.PointKind(h.Point), System: h.System, Kit: h.Kit},
			Reading: ledger.ID(h.Reading), Signalled: h.Signalled, Direction: trend.Direction(h.Direction),
		},
	}
}

// Signal records what somebody did about a signal.
const Signal Kind = "signal"

var signal = describe(kind[trend.Handling]{
	kind: Signal, means: "what somebody did about a signal",
	scope: "series.scope", time: "at", word: "act",
	fields: []Field{
		found("signal", "signal", ByReference), plain("series", "series"), found("series.scope", "", ByScope), found("series.kit", "", ByKit),
		names("reading", "first reading", "the reading that it began with"), plain("signalled", "began to show"), plain("direction", "direction"),
		plain("began", "began"), plain("last", "last signal"), plain("act", "what was done"), plain("at", ""), note("words", "in words"),
		plain("cause", "cause"), names("record", "what was done about it", "what was done about it"),
	},
	tables: func(h trend.Handling, p *Placing) {
		p.Signal = &Handled{
			Signal: string(h.Signal), Act: string(h.Act), Scope: h.Series.Scope, Point: string(h.Series.Point), System: h.Series.System, Kit: h.Series.Kit,
			Reading: string(h.Reading), Direction: string(h.Direction), At: h.At, Signalled: h.Signalled, Begin: h.Begin, Last: h.Last,
		}
	},
	words: func(h trend.Handling) string {
		return listed(text.Spaced(h.Series.Point), "signal "+string(h.Act), h.Cause.Words(), h.Words)
	},
	about: func(h trend.Handling) string { return string(h.Act) },
	example: trend.Handling{
		Signal: ledger.ID(exampleID("signal")), Act: trend.Seen, At: exampleAt, Begin: exampleAt, Last: exampleAt,
		Identity: trend.Identity{
			Series:  trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "example-system", Kit: "example-kit"},
			Reading: ledger.ID(exampleID("reading")), Signalled: exampleAt, Direction: trend.Higher,
		},
	},
})
