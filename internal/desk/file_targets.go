package desk

import (
	"fmt"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Targets is a file of targets of controls.
const Targets Kind = "targets"

var fileOfTargets = fileKind{
	kind: Targets, about: "what a control of a meter should read",
	needs: needs(access.Adopt), signed: true,
	columns: []table.Field{
		required(textColumn("system", "meter system")), textColumn("meter", "one meter only; without it every meter of the system"),
		required(wordColumn("kind", words(quality.ControlKinds), "kind of control")), required(textColumn("material", "what is read")), textColumn("lot", "its lot"),
		numberColumn("low", "lower limit in RLU (positive controls)"), numberColumn("high", "upper limit in RLU"),
		required(textColumn("source", "where the target comes from")), required(textColumn("edition", "edition of the source")),
		required(textColumn("adopted_by", "who adopted it")), required(timeColumn("adopted", "since when it judges")),
	},
	example: `system,meter,kind,material,lot,low,high,source,edition,adopted_by,adopted
example-system,,positive,light cell,,300,3000,meter instructions,1,L-01,2026-01-05T07:00:00+01:00
example-system,,blank,empty chamber,,,10,meter instructions,1,L-01,2026-01-05T07:00:00+01:00
`,
	anchor: "material",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.target()
		return fmt.Sprintf("target of %s control %s", x.Kind, x.Material), func() (bool, error) {
			if err := x.Check(); err != nil {
				return false, err
			}
			like := func(old quality.Target) bool {
				return old.Adopted == x.Adopted && old.Meter == x.Meter && old.Lot == x.Lot
			}
			return described(in, record.Target, x.System+"|"+string(x.Kind)+"|"+x.Material, x, like, func(e Entry) error {
				_, err := in.AtMeters().RegisterTarget(e, x)
				return err
			})
		}
	},
}

func (r row) target() quality.Target {
	return quality.Target{
		System: r.col["system"].Text(), Meter: r.col["meter"].Text(), Kind: quality.ControlKind(r.col["kind"].Word()),
		Material: r.col["material"].Text(), Lot: r.col["lot"].Text(), Low: r.col["low"].Number(), High: r.col["high"].Number(),
		Source: r.col["source"].Text(), Edition: r.col["edition"].Text(), Adopter: r.col["adopted_by"].Text(), Adopted: r.col["adopted"].Time(),
	}
}
