package desk

import (
	"fmt"

	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Lots is a file of lots.
const Lots Kind = "lots"

var fileOfLots = fileKind{
	kind: Lots, about: "a lot of a kit with its expiry; a later row with recalled recalls it, and none takes a recall back or prolongs a lot",
	columns: []table.Field{
		required(textColumn("kit", "name of the kit")), required(textColumn("lot", "lot number")),
		required(timeColumn("expires", "first instant at which it must not be used")), timeColumn("recalled", "since when it is recalled"),
	},
	example: "kit,lot,expires,recalled\nexample-kit,A17,2026-12-31T00:00:00+01:00,\n",
	anchor:  "lot",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.lot()
		return fmt.Sprintf("lot %s of kit %s", x.Lot, x.Kit), func() (bool, error) {
			old, _, err := standing[quality.Lot](in.View, record.Lot, x.Key())
			if err != nil {
				return false, err
			}
			if x.Cleared = old.Cleared; x.TakesBack(old) {
				x.Recalled = old.Recalled
				in.keeps("it is recalled since %s", x.Recalled.In(in.Zone()))
			}
			if old.Expires.Known() && x.Expires > old.Expires {
				x.Expires = old.Expires
				words := "it expired at %s"
				if x.Expires > in.tx.Now {
					words = "it expires at %s, and of two dates the earlier one counts"
				}
				in.keeps(words, x.Expires.In(in.Zone()))
			}
			return described(in, record.Lot, x.Key(), x, nil, func(e Entry) error { _, err := in.SettingUp().RegisterLot(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) lot() quality.Lot {
	return quality.Lot{Kit: r.col["kit"].Text(), Lot: r.col["lot"].Text(), Expires: r.col["expires"].Time(), Recalled: r.col["recalled"].Time()}
}
