package desk

import (
	"fmt"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/wire/table"
)

// Checks is a file of checks of meters.
const Checks Kind = "checks"

var fileOfChecks = fileKind{
	kind: Checks, about: "a check of a meter; a failed one takes the trust from readings",
	needs: needs(access.CheckMeter, access.VoidRecord),
	columns: []table.Field{
		textColumn("id", "the sender's own id of the row"), required(textColumn("meter", "code of the meter")), required(timeColumn("at", "when it was read")),
		required(textColumn("person", "who read it")), textColumn("serviced", "what was done to the meter just before"),
		numberColumn("positive", "reading of the positive control in RLU"), textColumn("positive_material", "what was read: MATERIAL or MATERIAL/LOT"),
		numberColumn("negative", "reading of the negative control in RLU"), textColumn("negative_material", "what was read: MATERIAL or MATERIAL/LOT"),
		numberColumn("blank", "reading of the blank control in RLU"), textColumn("blank_material", "what was read: MATERIAL or MATERIAL/LOT"),
	},
	example: `id,meter,at,person,serviced,positive,positive_material,negative,negative_material,blank,blank_material
,M-1,2026-03-02T06:00:00+01:00,T-01,,1012,light cell,,,1,empty chamber
`,
	anchor: "meter",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		c, at := r.check(), r.col["at"].Time()
		return fmt.Sprintf("check of meter %s at %s", c.Meter, at.In(in.Zone())), func() (bool, error) {
			receipt, _, err := in.AtMeters().CheckMeter(Entry{ID: in.id(r.col["id"].Text(), c.Meter, at.String()), By: r.col["person"].Text()}, c)
			return receipt.Fresh, err
		}
	},
}

// check reads the controls of a row, each with its material.
func (r row) check() Check {
	c := Check{Meter: r.col["meter"].Text(), Serviced: r.col["serviced"].Text()}
	at, person := r.col["at"].Time(), r.col["person"].Text()
	for _, kind := range quality.ControlKinds {
		value, material := r.col[string(kind)], r.col[string(kind)+"_material"]
		if !value.Has() {
			continue
		}
		if !material.Has() {
			material.Reject("which material was read?")
		}
		x := quality.Control{Kind: kind, Value: value.Number(), At: at, Person: person}
		x.Material, x.Lot, _ = strings.Cut(material.Text(), "/")
		c.Controls = append(c.Controls, x)
	}
	if len(c.Controls) == 0 {
		r.col["positive"].Reject("the row has no control: give positive, negative or blank")
	}
	return c
}
