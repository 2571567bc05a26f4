package record

import (
	"fmt"

	"rinsate/internal/domain/reprocessing"
)

// Attestation records somebody's word for acts whose records do not show by themselves what they say.
const Attestation Kind = "attestation"

var attestation = describe(kind[reprocessing.Attestation]{
	kind: Attestation, means: "somebody's word for acts whose records do not show by themselves what they say",
	scope: "scope", time: "at",
	fields: []Field{
		found("scope", "", ByScope), plain("at", ""), found("by", "", ByPerson), plain("of", "acts"),
		names("of[]", "act", "an act that it speaks for"), plain("from", "rests on"), names("form", "signed form", "the picture of the signed form"),
		plain("pictures", "pictures of values"), names("pictures[]", "picture of a value", "a picture of a display or a laboratory's report"),
	},
	words: func(a reprocessing.Attestation) string {
		if len(a.Of) == 1 {
			return "1 act, " + a.From.Words()
		}
		return fmt.Sprintf("%d acts, %s", len(a.Of), a.From.Words())
	},
	example: reprocessing.Attestation{
		Scope: "D-01", At: exampleAt, By: "T-01", Of: []string{exampleID("step")}, From: reprocessing.OwnAct,
	},
})
