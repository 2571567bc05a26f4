package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Uses is a file of uses.
const Uses Kind = "uses"

var fileOfUses = fileKind{
	kind: Uses, about: "a patient use; the patient's number is kept outside the ledger",
	needs: needs(access.RecordStep, access.VoidRecord),
	columns: []table.Field{
		textColumn("id", "the sender's own id of the row"), required(textColumn("scope", "asset tag")), required(timeColumn("start", "start of the procedure")),
		timeColumn("end", "end of the procedure"), textColumn("procedure", "kind of procedure"), textColumn("room", "room"),
		textColumn("patient", "the facility's number of the patient; kept outside the ledger"), textColumn("person", "who records it"),
		wordColumn("emergency", words(reprocessing.EmergencyReasons), "of an emergency use: why the patient could not wait"),
		textColumn("emergency_words", "the same in words"), textColumn("decided_by", "of an emergency use: who decided"),
	},
	example: `id,scope,start,end,procedure,room,patient,person,emergency,emergency_words,decided_by
,D-01,2026-03-02T08:00:00+01:00,2026-03-02T08:45:00+01:00,ERCP,1,P-2063,N-01,,,
`,
	anchor: "scope",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		u := r.use()
		return fmt.Sprintf("use of %s at %s", u.Scope, u.Start.In(in.Zone())), func() (_ bool, err error) {
			id := in.id(r.col["id"].Text(), u.Scope, u.Start.String())
			if u.End.Known() {
				if id, u.Finishes, err = finishing(in, id, func(begun reprocessing.Use) bool { return !begun.End.Known() }); err != nil {
					return false, err
				}
				if id, u.Finishes, err = in.ofEmergency(id, u); err != nil {
					return false, err
				}
			}
			receipt, err := in.RecordUse(Entry{ID: id, By: r.col["person"].Text()}, u, r.col["patient"].Text())
			in.holds(r, u.Scope, receipt)
			return receipt.Fresh, err
		}
	},
}

func (r row) use() reprocessing.Use {
	return reprocessing.Use{
		Scope:     r.col["scope"].Text(),
		Start:     r.col["start"].Time(),
		End:       r.col["end"].Time(),
		Procedure: r.col["procedure"].Text(),
		Room:      r.col["room"].Text(),
		Emergency: reprocessing.Emergency{
			Reason: reprocessing.EmergencyReason(r.col["emergency"].Word(words(reprocessing.EmergencyReasons)...)),
			Words:  r.col["emergency_words"].Text(), Decided: r.col["decided_by"].Text(),
		},
	}
}

// ofEmergency looks whether a use of a file is one whose beginning somebody pressed as an emergency: a scope is at one
// patient at a time, so that one which was pressed while the use went on, or shortly before, is the same.
func (in *intake) ofEmergency(id ledger.ID, u reprocessing.Use) (ledger.ID, string, error) {
	if u.Finishes != "" {
		return id, u.Finishes, nil
	}
	if kept, err := in.tx.Record(id); err == nil { // read in before
		before, err := record.Body[reprocessing.Use](kept.Record)
		return id, before.Finishes, err
	} else if fault.CodeOf(err) != fault.NotFound {
		return id, "", err
	}
	open, ok, err := emergenciesOf(in.View).open(u.Scope, u.Start.Add(-pressedTwice), u.End)
	if err != nil || !ok {
		return id, "", err
	}
	return id, open.ID, nil
}
