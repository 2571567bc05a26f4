package record

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
)

// StockTake records that two people have seen on paper that a scope is reprocessed of which nothing is on record.
const StockTake Kind = "stocktake"

var stockTake = describe(kind[reprocessing.StockTake]{
	kind: StockTake, means: "that two people have seen on paper that a scope is reprocessed of which nothing is on record",
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson), found("second", "second person", ByPerson),
		plain("by_roles", "roles"), plain("second_roles", "roles of the second person"), plain("cabinet", "cabinet"), plain("until", "stored until"),
		plain("papers", "photographs"), names("papers[]", "photograph", "a photograph of its paper"), names("list", "list", "the first scope of the list"),
	},
	words:  reprocessing.StockTake.Words,
	undone: "The scope is not known again, until a cycle of it is on record",
	example: reprocessing.StockTake{
		Scope: "D-01", At: exampleAt, By: "L-01", Second: "H-01", ByRoles: []access.Role{access.Lead}, SecondRoles: []access.Role{access.InfectionPrevention},
		Cabinet: "drying-cabinet", Until: exampleAt.Add(1), Papers: []string{exampleID("photograph")},
	},
})
