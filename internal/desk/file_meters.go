package desk

import (
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Meters is a file of meters.
const Meters Kind = "meters"

var fileOfMeters = fileKind{
	kind: Meters, about: "a meter and its system; all meters of a system count on one scale",
	columns: []table.Field{
		required(textColumn("meter", "code of the meter")),
		required(textColumn("system", "meter system; all meters of a system count on one scale")),
		textColumn("serial", "serial number"),
	},
	example: "meter,system,serial\nM-1,example-system,55-1\n",
	anchor:  "meter",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.meter()
		return "meter " + x.Code, func() (bool, error) {
			return in.described(record.Meter, x.Code, x, func(e Entry) error { _, err := in.SettingUp().RegisterMeter(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) meter() quality.Meter {
	return quality.Meter{Code: r.col["meter"].Text(), System: r.col["system"].Text(), Serial: r.col["serial"].Text()}
}
