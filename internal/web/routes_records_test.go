package web

import (
	"net/http"

	"rinsate/internal/access"
)

// recordsMayOpen is about records; see mayOpen.
var recordsMayOpen = map[string]string{
	"GET /records/{id}": "TLIQV",
}

// recordExamples are the pages about records; see examples.
func (b *site) recordExamples(file string) []example {
	b.Helper()
	return []example{
		{"record", "/records/" + b.anyRecord(heldScope), "record", http.StatusOK, access.Lead},
		{"record of a file", "/records/" + file, "record", http.StatusOK, access.Lead},
	}
}
