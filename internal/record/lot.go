package record

import (
	"rinsate/internal/domain/quality"
)

// Lot records a lot of a kit with its expiry.
const Lot Kind = "lot"

var lot = describe(kind[quality.Lot]{
	kind: Lot, means: "a lot of a kit with its expiry",
	key: "kit lot",
	fields: []Field{
		found("kit", "", ByKit), found("lot", "", ByLot), plain("expires", ""), plain("recalled", ""),
		found("cleared", "", ByPerson),
	},
	words:   func(x quality.Lot) string { return listed(named("kit", x.Kit), named("lot", x.Lot)) },
	file:    "lots",
	example: quality.Lot{Kit: "example-kit", Lot: "A17", Expires: exampleAt},
})
