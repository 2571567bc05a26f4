package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// Handled are the columns of what somebody did about an alarm.
type Handled struct {
	Alarm, Act, Scope, Point, System, Kit, Reading, Direction string
	At, Signalled, Begin, Last                                unit.Instant
}

// Handling returns what was done, without its words, cause and linked record.
func (h Handled) Handling() trend.Handling {
	return trend.Handling{
		Alarm: ledger.ID(h.Alarm), Act: trend.Act(h.Act), At: h.At, Begin: h.Begin, Last: h.Last,
		Identity: trend.Identity{
			Stream:  trend.Key{Scope: h.Scope, Point: scope.PointKind(h.Point), System: h.System, Kit: h.Kit},
			Reading: ledger.ID(h.Reading), Signalled: h.Signalled, Direction: trend.Direction(h.Direction),
		},
	}
}

var alarm = describe(kind[trend.Handling]{
	kind: Alarm, means: "what somebody did about an alarm",
	scope: "stream.scope", time: "at", word: "act",
	fields: []Field{
		found("alarm", "alarm", ByReference), plain("stream", "series"), found("stream.scope", "", ByScope), found("stream.kit", "", ByKit),
		names("reading", "first reading", "the reading that first signalled"), plain("signalled", "signalled"), plain("direction", "direction"),
		plain("began", "began"), plain("last", "last signal"), plain("act", "what was done"), plain("at", ""), note("words", "in words"),
		plain("cause", "cause"), names("record", "what was done about it", "what was done about it"),
	},
	tables: func(h trend.Handling, p *Placing) {
		p.Alarm = &Handled{
			Alarm: string(h.Alarm), Act: string(h.Act), Scope: h.Stream.Scope, Point: string(h.Stream.Point), System: h.Stream.System, Kit: h.Stream.Kit,
			Reading: string(h.Reading), Direction: string(h.Direction), At: h.At, Signalled: h.Signalled, Begin: h.Begin, Last: h.Last,
		}
	},
	words: func(h trend.Handling) string {
		return listed(spaced(string(h.Stream.Point)), "alarm "+string(h.Act), h.Cause.Words(), h.Words)
	},
	about: func(h trend.Handling) string { return string(h.Act) },
	example: trend.Handling{
		Alarm: ledger.ID(exampleID("alarm")), Act: trend.Seen, At: exampleAt, Begin: exampleAt, Last: exampleAt,
		Identity: trend.Identity{
			Stream:  trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "example-system", Kit: "example-kit"},
			Reading: ledger.ID(exampleID("reading")), Signalled: exampleAt, Direction: trend.Higher,
		},
	},
})
