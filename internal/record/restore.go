package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reprocessing"
)

// Restore records that a copy took the place of the records, or that nothing happened to scopes since it was made.
const Restore Kind = "restore"

var restore = describe(kind[reprocessing.RestoreNote]{
	kind: Restore, means: "that a copy took the place of the records, or that nothing happened to scopes since it was made",
	key: ownID,
	fields: []Field{
		plain("told", "what is told"), plain("copied", "the copy was made"), plain("at", ""), plain("size", "records in the copy"),
		plain("root", "root of the copy"), plain("missing", "records that it lacks, as far as is known"), plain("settles", "the restore before it that it lacks"),
		found("by", "", ByPerson), found("second", "second person", ByPerson), names("restore", "restore", "the restore that it is about"),
		plain("scopes", "scopes"), found("scopes[]", "scope", ByScope),
		plain("known", "how that is known"),
	},
	words: reprocessing.RestoreNote.Words,
	kept:  "a restore has happened, and two people have said what they know; against a scope that they were wrong about a hold is placed",
	example: reprocessing.RestoreNote{
		Told: reprocessing.FromFile, Copied: exampleAt, At: exampleAt, Size: 1200, Root: "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=", By: "L-01",
	},
})

// Settles returns the restore that had been on record before a copy was put back, and that the copy lacks, as the record
// of that restore names it; empty where there was none.
func Settles(r ledger.Record) (ledger.ID, error) {
	n, err := Body[reprocessing.RestoreNote](r)
	return ledger.ID(n.Settles), err
}
