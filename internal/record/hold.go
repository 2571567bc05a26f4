package record

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/reprocessing"
)

// Hold records that a scope is kept from patients.
const Hold Kind = "hold"

var hold = describe(kind[reprocessing.Hold]{
	kind: Hold, means: "that a scope is kept from patients",
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson), remark("reason", "reason"),
		names("cause", "cause", "the cleaning verification that it follows from"), plain("escalated", "escalated"),
	},
	tables: func(_ reprocessing.Hold, p *Placing) { p.Hold = true },
	words:  func(h reprocessing.Hold) string { return h.Reason },
	limits: "one that followed from a cleaning verification by nobody, any other only by the person who placed it",
	refuse: func(h reprocessing.Hold, by string) error {
		switch {
		case h.Cause != "":
			return &fault.Error{
				Code: fault.Invalid, Message: fmt.Sprintf("the hold on %s followed from cleaning verification %s and cannot be voided", h.Scope, h.Cause),
				Hint: "sample again and pass, or lift the hold with a second person",
			}
		case h.By != by:
			return &fault.Error{
				Code: fault.Invalid, Message: fmt.Sprintf("the hold on %s was placed by %s; only that person can take it back as a mistake", h.Scope, h.By),
				Hint: "lift the hold with a second person",
			}
		}
		return nil
	},
	followed: "A hold is placed",
	example:  reprocessing.Hold{Scope: "D-01", At: exampleAt, By: "T-01", Reason: "damaged distal end"},
})
