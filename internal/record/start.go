package record

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
)

// Start records that from now on the records decide, as two people have signed.
const Start Kind = "start"

var start = describe(kind[reprocessing.StartNote]{
	kind: Start, means: "that from now on the records decide and not paper, as two people have signed",
	key: ownID,
	fields: []Field{
		plain("at", ""), found("by", "", ByPerson), found("second", "second person", ByPerson), plain("by_roles", "roles"),
		plain("second_roles", "roles of the second person"), plain("founders", "those with roles that nobody granted"),
		found("founders[].code", "person", ByPerson), plain("founders[].roles", "roles"),
	},
	words: reprocessing.StartNote.Words,
	kept:  "a site starts once: against a scope that its records are wrong about a hold is placed",
	example: reprocessing.StartNote{
		At: exampleAt, By: "L-01", Second: "H-01", ByRoles: []access.Role{access.Lead}, SecondRoles: []access.Role{access.InfectionPrevention},
		Founders: []reprocessing.Founder{{Code: "L-01", Roles: []access.Role{access.Lead}}},
	},
})
