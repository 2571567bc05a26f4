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
			old, _, err := standing[quality.Meter](in.View, record.Meter, x.Code)
			if err != nil {
				return false, err
			}
			if x.Retired = old.Retired; x.Retired.Known() {
				in.keeps("it is out of service since %s", x.Retired.In(in.Zone()))
			}
			return described(in, record.Meter, x.Code, x, nil, func(e Entry) error { _, err := in.SettingUp().RegisterMeter(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) meter() quality.Meter {
	return quality.Meter{Code: r.col["meter"].Text(), System: r.col["system"].Text(), Serial: r.col["serial"].Text()}
}
