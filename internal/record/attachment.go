package record

import (
	"rinsate/internal/domain/dossier"
)

// Attachment records a photograph or document with a scope; the bytes are kept apart under their hash.
const Attachment Kind = "attachment"

var attachment = describe(kind[dossier.Attachment]{
	kind: Attachment, means: "a photograph or document with a scope; the bytes are kept apart under their hash",
	scope: "scope", time: "at", word: "kind",
	fields: []Field{
		found("scope", "", ByScope), names("about", "about", "the record that it is about"), plain("kind", "kind"), remark("title", "title"),
		plain("media_type", "media type"), plain("size", "size in bytes"), plain("sha256", "SHA-256 of the file"), plain("width", "width"),
		plain("height", "height"), plain("at", ""), found("by", "", ByPerson),
	},
	tables: func(a dossier.Attachment, p *Placing) { p.File, p.Bears = &Content{a.Digest, a.Size}, true },
	words:  func(a dossier.Attachment) string { return string(a.Kind) + ": " + a.Title },
	about:  func(a dossier.Attachment) string { return a.Title },
	example: dossier.Attachment{
		Scope: "D-01", Kind: dossier.Report, Title: "repair report", File: dossier.File{Media: dossier.PDF, Size: 3, Digest: "00"}, At: exampleAt, By: "T-01",
	},
})
