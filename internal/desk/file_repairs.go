package desk

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Repairs is a file of repairs.
const Repairs Kind = "repairs"

var fileOfRepairs = fileKind{
	kind: Repairs, about: "a repair; without returned the scope is away",
	needs: needs(access.RecordStep, access.VoidRecord),
	columns: []table.Field{
		textColumn("id", "the sender's own id of the row"), required(textColumn("scope", "asset tag")), required(timeColumn("sent", "when it went")),
		timeColumn("returned", "when it came back"), textColumn("fault", "what was wrong"), textColumn("work", "what was done"),
		textColumn("person", "who records it"),
	},
	example: `id,scope,sent,returned,fault,work,person
,D-01,2026-02-02T08:00:00+01:00,2026-02-20T10:00:00+01:00,leak at the bending section,sheath replaced,L-01
`,
	anchor: "scope",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.repair()
		return "repair of " + x.Scope, func() (_ bool, err error) {
			id, finishes := in.id(r.col["id"].Text(), x.Scope, x.Sent.String()), ""
			if x.Returned.Known() {
				if id, finishes, err = finishing(in, id, func(gone record.RepairBody) bool { return !gone.Returned.Known() }); err != nil {
					return false, err
				}
			}
			receipt, err := in.RecordRepair(Entry{ID: id, By: r.col["person"].Text()}, x, finishes)
			return receipt.Fresh, err
		}
	},
}

func (r row) repair() scope.Repair {
	return scope.Repair{
		Scope:    r.col["scope"].Text(),
		Sent:     r.col["sent"].Time(),
		Returned: r.col["returned"].Time(),
		Fault:    r.col["fault"].Text(),
		Work:     r.col["work"].Text(),
	}
}
