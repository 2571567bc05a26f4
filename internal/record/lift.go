package record

import (
	"encoding/json"

	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
)

// Lift records that a hold ended, over what, and who signed.
const Lift Kind = "lift"

var lift = describe(kind[reprocessing.Lift]{
	kind: Lift, means: "that a hold ended, over what, and who signed",
	version: 2, older: []Reader{liftWithoutRoles},
	scope: "scope", time: "at",
	fields: []Field{
		names("hold", "hold", "the hold that it lifts"), found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson),
		remark("reason", "reason"), names("verification", "verification", "the cleaning verification that it rests on"),
		plain("evidence", "rests on"), names("evidence[]", "rests on", "what it rests on"), plain("late", "rests on what arrived after the use"),
		found("second", "second person", ByPerson), plain("by_roles", "roles"), plain("second_roles", "roles of the second person"),
		plain("placed", "the hold was placed by"),
	},
	tables: func(l reprocessing.Lift, p *Placing) {
		p.Lift = l.Hold
		for _, id := range l.Rests() {
			p.Rests = append(p.Rests, ledger.ID(id))
		}
	},
	words:    func(x reprocessing.Lift) string { return listed(x.Reason, named("with", x.Second)) },
	kept:     fromOthers,
	followed: "A hold is lifted",
	example: reprocessing.Lift{
		Hold: exampleID("hold"), Scope: "D-01", At: exampleAt, By: "L-01", Reason: "inspected, nothing found", Evidence: []string{exampleID("inspection")},
		ByRoles: []access.Role{access.Lead},
	},
})

// liftWithoutRoles reads version 1, whose lifts did not say what those who signed were: such a lift ends only what
// anybody's word ends.
func liftWithoutRoles(body json.RawMessage) (json.RawMessage, error) { return body, nil }

// LiftEnds says whether the record of a lift ends the hold of another (reprocessing.Lift.Ends). stand are the records
// that it rests on, as far as they stand. What cannot be read ends nothing.
func LiftEnds(lift, hold ledger.Record, stand []ledger.Record) bool {
	l, err := Body[reprocessing.Lift](lift)
	if err != nil {
		return false
	}
	h, err := Body[reprocessing.Hold](hold)
	if err != nil {
		return false
	}
	var named reprocessing.History
	for _, r := range stand {
		if err := Recall(&named, r); err != nil {
			return false
		}
	}
	return l.Ends(h, named)
}

// Recall adds a record to the history of its scope as far as a lift can rest on it.
func Recall(h *reprocessing.History, r ledger.Record) error {
	stamp := reprocessing.Stamp{ID: string(r.ID), Recorded: r.Recorded}
	switch KindOf(r) { //nolint:exhaustive // on nothing else does a lift rest
	case Step:
		s, err := Body[reprocessing.Step](r)
		s.Stamp = stamp
		h.Steps = append(h.Steps, s)
		return err
	case Repair:
		x, err := Body[RepairBody](r)
		h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: stamp, Repair: x.Repair})
		return err
	case Verification:
		d, err := Body[reprocessing.Decision](r)
		d.Stamp = stamp
		h.Decisions = append(h.Decisions, d)
		return err
	case Attachment:
		a, err := Body[dossier.Attachment](r)
		h.Filed = append(h.Filed, Filed(stamp, a))
		return err
	}
	return nil
}

// Filed is what a lift can rest on of a file.
func Filed(stamp reprocessing.Stamp, a dossier.Attachment) reprocessing.Filed {
	return reprocessing.Filed{Stamp: stamp, About: a.About, Photograph: a.Kind == dossier.Photograph, Report: a.Kind == dossier.Report}
}
