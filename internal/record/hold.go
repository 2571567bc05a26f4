package record

import (
	"encoding/json"
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/reprocessing"
)

// Hold records that a scope is kept from patients.
const Hold Kind = "hold"

var hold = describe(kind[reprocessing.Hold]{
	kind: Hold, means: "that a scope is kept from patients",
	version: 2, older: []Reader{holdWithoutKind},
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), plain("kind", "kind"), plain("at", ""), found("by", "", ByPerson), remark("reason", "reason"),
		names("cause", "cause", "the record that it follows from"), plain("escalated", "escalated"),
	},
	tables: func(_ reprocessing.Hold, p *Placing) { p.Hold = true },
	words:  func(h reprocessing.Hold) string { return listed(string(h.Of()), h.Reason) },
	about:  func(h reprocessing.Hold) string { return string(h.Of()) },
	limits: "one that followed from another record by nobody",
	refuse: func(h reprocessing.Hold) error {
		if h.Cause == "" {
			return nil
		}
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the hold on %s followed from record %s and cannot be voided", h.Scope, h.Cause),
			Hint: "correct or void that record where it is wrong; otherwise see what ends the hold with: rinsate ready " + h.Scope,
		}
	},
	followed: "A hold is placed",
	example:  reprocessing.Hold{Scope: "D-01", At: exampleAt, By: "T-01", Kind: reprocessing.DamageHold, Reason: "damaged distal end"},
})

// holdWithoutKind reads version 1, whose holds had no kind: what followed from a verification was for cleaning, and
// nobody says any more what the others were for.
func holdWithoutKind(body json.RawMessage) (json.RawMessage, error) {
	var old reprocessing.Hold
	if err := json.Unmarshal(body, &old); err != nil {
		return nil, err
	}
	if old.Kind = reprocessing.OtherHold; old.Cause != "" {
		old.Kind = reprocessing.CleaningHold
	}
	return json.Marshal(old)
}
