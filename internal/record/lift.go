package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reprocessing"
)

// Lift records that a hold ended, on a passed cleaning verification or with a second person.
const Lift Kind = "lift"

var lift = describe(kind[reprocessing.Lift]{
	kind: Lift, means: "that a hold ended, on a passed cleaning verification or with a second person",
	scope: "scope", time: "at",
	fields: []Field{
		names("hold", "hold", "the hold that it lifts"), found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson),
		remark("reason", "reason"), names("verification", "verification", "the cleaning verification that it rests on"), found("second", "second person", ByPerson),
		plain("placed", "the hold was placed by"),
	},
	tables: func(l reprocessing.Lift, p *Placing) {
		p.Lift = l.Hold
		if !l.Two() {
			p.Verification = l.Verification
		}
	},
	words:    func(x reprocessing.Lift) string { return listed(x.Reason, named("with", x.Second)) },
	kept:     fromOthers,
	followed: "A hold is lifted",
	example:  reprocessing.Lift{Hold: exampleID("hold"), Scope: "D-01", At: exampleAt, By: "L-01", Reason: "inspected", Second: "L-02"},
})

// LiftEnds says whether the record of a lift ends the hold of another (reprocessing.Lift.Ends). verification is the
// decision that it names as far as that stands, nil when there is none. What cannot be read ends nothing.
func LiftEnds(lift, hold ledger.Record, verification *ledger.Record) bool {
	l, err := Body[reprocessing.Lift](lift)
	if err != nil {
		return false
	}
	h, err := Body[reprocessing.Hold](hold)
	if err != nil {
		return false
	}
	if verification == nil {
		return l.Ends(h, nil)
	}
	d, err := Body[reprocessing.Decision](*verification)
	return err == nil && l.Ends(h, &d)
}
