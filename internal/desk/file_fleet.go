package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
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
		x, unsaid := r.instrument()
		return "instrument " + x.Tag, func() (bool, error) {
			if err := in.keepScope(&x, unsaid); err != nil {
				return false, err
			}
			return described(in, record.Instrument, x.Tag, x, nil, func(e Entry) error { _, err := in.SettingUp().RegisterInstrument(e, in.tx.Now, x); return err })
		}
	},
}

// instrument reads a scope; unsaid says that the row does not say whose it is.
func (r row) instrument() (i scope.Instrument, unsaid bool) {
	i = scope.Instrument{
		Tag: r.col["tag"].Text(), Serial: r.col["serial"].Text(), Barcode: r.col["barcode"].Text(), Model: r.col["model"].Text(),
		Owner: scope.Owner(r.col["owner"].Word()), Location: r.col["location"].Text(), InService: r.col["in_service"].Time(), Retired: r.col["retired"].Time(),
	}
	if unsaid = i.Owner == ""; unsaid {
		i.Owner = scope.Own
	}
	return i, unsaid
}

// keepScope leaves what is on record of a scope as it is where a row of a file says nothing of it or would take it
// back: that it left, that it came, and that it is not the facility's own. Each opened a duty or closed the scope to
// patients, and the list that a file is made from may be older than that. unsaid says that the row does not say whose
// it is.
func (in *intake) keepScope(x *scope.Instrument, unsaid bool) error {
	old, there, err := standing[scope.Instrument](in.View, record.Instrument, x.Tag)
	if err != nil {
		return err
	}
	since := func(at unit.Instant) string { return at.In(in.Zone()) }
	if there && unsaid && old.Owner != scope.Own {
		x.Owner = old.Owner
		in.keeps("it is a %s", x.Owner.Words())
	}
	if err := x.Check(); err != nil || !there {
		return err
	}
	if old.Retired.Known() && x.InService > old.Retired {
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("scope %s is out of service since %s, and a file does not take that back", x.Tag, since(old.Retired)),
			Hint:    "bring it back on its page in the set-up, with the reason, then read the file in",
		}
	}
	if x.TakesBack(old) {
		x.Retired = old.Retired
		in.keeps("it is out of service since %s", since(old.Retired))
	}
	if x.InService < old.InService {
		x.InService = old.InService
		in.keeps("it is in service since %s", since(old.InService))
		if x.Retired < x.InService {
			x.Retired = old.Retired // that it left was before it came back
		}
	}
	return nil
}
