package record

import (
	"fmt"
)

// ImportBody is the trace of a file that was read in.
type ImportBody struct {
	File    string `json:"file"`
	Kind    string `json:"kind"`
	Digest  string `json:"sha256"`
	Rows    int    `json:"rows"`
	Stored  int    `json:"stored"`
	Profile string `json:"profile_sha256,omitempty"`
}

// Import records that a file was read in.
const Import Kind = "import"

var imported = describe(kind[ImportBody]{
	kind: Import, means: "that a file was read in",
	fields: []Field{
		remark("file", "file"), plain("kind", "kind of file"), plain("sha256", "SHA-256 of the file"), plain("rows", "rows"), plain("stored", "rows stored"),
		plain("profile_sha256", "SHA-256 of the profile"),
	},
	words: func(i ImportBody) string {
		return listed(i.File, i.Kind, fmt.Sprintf("%d of %d rows stored", i.Stored, i.Rows))
	},
	kept:    fromOthers,
	example: ImportBody{File: "uses.csv", Kind: "uses", Digest: "00", Rows: 2, Stored: 2},
})
