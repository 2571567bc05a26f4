package desk

import (
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Fleet is a file of scopes.
const Fleet Kind = "fleet"

var fileOfFleet = fileKind{
	kind: Fleet, about: "an instrument",
	columns: []table.Field{
		required(textColumn("tag", "asset tag")), textColumn("serial", "serial number"), textColumn("barcode", "barcode text (UDI)"),
		required(textColumn("model", "name of the model")), wordColumn("owner", words(scope.Owners), "whose it is; without it own"),
		textColumn("location", "where it is kept"), required(timeColumn("in_service", "since when it is here")), timeColumn("retired", "when it left for good"),
	},
	example: `tag,serial,barcode,model,owner,location,in_service,retired
D-01,X1001,,Example D,own,room 1,2026-01-05T07:00:00+01:00,
`,
	anchor: "tag",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.instrument()
		return "instrument " + x.Tag, func() (bool, error) {
			if err := x.Check(); err != nil {
				return false, err
			}
			return in.described(record.Instrument, x.Tag, x, func(e Entry) error { _, err := in.SettingUp().RegisterInstrument(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) instrument() scope.Instrument {
	i := scope.Instrument{
		Tag: r.col["tag"].Text(), Serial: r.col["serial"].Text(), Barcode: r.col["barcode"].Text(), Model: r.col["model"].Text(),
		Owner: scope.Owner(r.col["owner"].Word()), Location: r.col["location"].Text(), InService: r.col["in_service"].Time(), Retired: r.col["retired"].Time(),
	}
	if i.Owner == "" {
		i.Owner = scope.Own
	}
	return i
}
