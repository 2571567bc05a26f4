package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/turnaround"
)

var lift = describe(kind[turnaround.Lift]{
	kind: Lift, means: "that a hold ended, on a passed round or with a second person",
	scope: "scope", time: "at",
	fields: []Field{
		names("hold", "hold", "the hold that it lifts"), found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson),
		remark("reason", "reason"), names("round", "round", "the round that it rests on"), found("second", "second person", ByPerson),
	},
	tables: func(l turnaround.Lift, p *Placing) {
		p.Lift = l.Hold
		if !l.Two() {
			p.Round = l.Round
		}
	},
	words:    func(x turnaround.Lift) string { return listed(x.Reason, named("with", x.Second)) },
	kept:     fromOthers,
	followed: "A hold is lifted",
	example:  turnaround.Lift{Hold: exampleID("hold"), Scope: "D-01", At: exampleAt, By: "L-01", Reason: "inspected", Second: "L-02"},
})

// LiftEnds says whether the record of a lift ends the hold of another (turnaround.Lift.Ends). round is the
// decision that it names as far as that stands, nil when there is none. What cannot be read ends nothing.
func LiftEnds(lift, hold ledger.Record, round *ledger.Record) bool {
	l, err := Body[turnaround.Lift](lift)
	if err != nil {
		return false
	}
	h, err := Body[turnaround.Hold](hold)
	if err != nil {
		return false
	}
	if round == nil {
		return l.Ends(h, nil)
	}
	d, err := Body[turnaround.Decision](*round)
	return err == nil && l.Ends(h, &d)
}
