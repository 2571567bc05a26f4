package web

import (
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// recordsMayOpen is about records; see mayOpen.
var recordsMayOpen = map[string]string{
	"GET /today/due":                      "TLIQVA",
	"GET /records":                        "LIQV",
	"GET /records/ledger":                 "LIQV",
	"POST /records/ledger":                "LIQV",
	"GET /records/ledger/checkpoint.txt":  "LIQV",
	"GET /records/ledger/key.txt":         "LIQV",
	"GET /records/ledger/verify.sh":       "LIQV",
	"GET /records/ledger/ledger.zip":      "LIQV",
	"GET /records/{id}":                   "TLIQV",
	"GET /records/{id}/record.json":       "LIQV",
	"GET /records/{id}/record.tlog-proof": "LIQV",
	"POST /records/{id}/void":             "TLIP", // of holds and files their authors too
	"POST /records/{id}/correct":          "TLIP",
	"POST /records/{id}/finish":           "TL",
	"POST /records/{id}/erase":            "L",
	"GET /records/{id}/patient":           "I",
	"POST /records/{id}/patient":          "I",
	"POST /records/{id}/patient/erase":    "I",
	"GET /patients":                       "I",
	"POST /patients":                      "I",
}

// recordExamples are the pages about records; see examples.
func (b *site) recordExamples(file string) []example {
	b.Helper()
	reading := b.lastOf(heldScope, record.Reading)
	return []example{
		{"record", "/records/" + b.anyRecord(heldScope), "record", http.StatusOK, access.Lead},
		{"record of a file", "/records/" + file, "record", http.StatusOK, access.Lead},
		{"reading", "/records/" + reading, "record", http.StatusOK, access.Lead},
		{"reading, for a technician", "/records/" + reading, "record", http.StatusOK, access.Technician},
		{"reading, to be voided", "/records/" + reading + "?act=void", "record", http.StatusOK, access.Lead},
		{"reading, to be corrected", "/records/" + reading + "?act=correct", "record", http.StatusOK, access.Lead},
		{"reading, corrected to a value", "/records/" + reading + "?act=correct&set-value=25", "record", http.StatusOK, access.Lead},
		{"file, a text to be erased", "/records/" + file + "?act=erase", "record", http.StatusOK, access.Lead},
		{"file, which text", "/records/" + file + "?act=erase&field=body.title", "record", http.StatusOK, access.Lead},
		{"verification", "/records/" + b.lastOf(heldScope, record.Verification), "record", http.StatusOK, access.Auditor},
		{"finished use", "/records/" + b.lastOf(readyScope, record.Use), "record", http.StatusOK, access.Auditor},
		{"patient of a use", "/records/" + b.patientUse() + "/patient", "patient", http.StatusOK, access.InfectionPrevention},
		{"patient of what is no use", "/records/" + reading + "/patient", "problem", http.StatusNotFound, access.InfectionPrevention},
		{"use with a patient", "/records/" + b.patientUse(), "record", http.StatusOK, access.InfectionPrevention},
		{"uses on a patient", "/patients", "patients", http.StatusOK, access.InfectionPrevention},
		{"records", "/records", "records", http.StatusOK, access.Auditor},
		{
			"records of a lot",
			"/records?lot=7&type=reading&outcome=action&from=2026-03-01T00:00&to=2026-04-01T00:00&late=",
			"records",
			http.StatusOK,
			access.Analyst,
		},
		{"records, none", "/records?scope=D-03&meter=M-9", "records", http.StatusOK, access.Auditor},
		{"records, asked wrongly", "/records?from=yesterday&lot=7", "records", http.StatusBadRequest, access.Auditor},
		{"due", "/today/due", "due", http.StatusOK, access.Lead},
		{"ledger", "/records/ledger", "ledger", http.StatusOK, access.Auditor},
	}
}

// lastOf returns the last record of a type about a scope that stands.
func (b *site) lastOf(tag string, typ record.Kind) (id string) {
	b.Helper()
	b.look(func(v desk.View) error {
		q := store.Query{Terms: []record.Term{record.ByScope.Is(tag), record.ByType.Is(string(typ))}}
		return v.Records().Search(q, func(l desk.Line) (bool, error) {
			id = l.ID
			return l.Replaced.Known(), nil
		})
	})
	if id == "" {
		b.Fatalf("%s has no record of the type %s", tag, typ)
	}
	return id
}
