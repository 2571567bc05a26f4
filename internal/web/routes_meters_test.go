package web

import (
	"net/http"

	"rinsate/internal/access"
)

// metersMayOpen is about meters; see mayOpen.
var metersMayOpen = map[string]string{
	"GET /meters":                 "TLIQV",
	"GET /meters/{meter}":         "TLIQV",
	"POST /meters/{meter}/checks": "TL",
	"GET /meters/compare":         "LIQV",
	"POST /meters/compare":        "LIQV",
	"GET /meters/study":           "LIQV",
	"POST /meters/study":          "LIQV",
	"GET /scatter":                "LIQV",
	"GET /comparison":             "LIQV",
}

// meterExamples are the pages about meters; see examples.
func (b *site) meterExamples() []example {
	b.Helper()
	b.plant()
	check := b.failedCheck()
	return []example{
		{"meters", "/meters", "meters", http.StatusOK, access.Technician},
		{"meters, none", "/meters?q=nothing", "meters", http.StatusOK, access.Auditor},
		{"meter in doubt", "/meters/M-3?check=" + check, "meter", http.StatusOK, access.Lead},
		{"meter for somebody who only reads", "/meters/M-2", "meter", http.StatusOK, access.Auditor},
		{"meter, no such time", "/meters/M-1?from=2026-02-01&to=2026-01-01", "problem", http.StatusBadRequest, access.Lead},
		{"compare meters", "/meters/compare", "compare-meters", http.StatusOK, access.Lead},
		{"compare meters lots", "/meters/compare?" + lotsQuery(plantedLot, "P-2"), "compare-meters", http.StatusOK, access.Analyst},
		{"compare meters meters", "/meters/compare?what=meters&kit=K&old=M-1&new=M-2", "compare-meters", http.StatusOK, access.Lead},
		{"compare meters the same", "/meters/compare?what=meters&kit=K&old=M-1&new=M-1", "compare-meters", http.StatusBadRequest, access.Lead},
		{"study", "/meters/study", "study", http.StatusOK, access.Analyst},
		{"scatter", "/scatter", "scatter", http.StatusOK, access.Analyst},
		{"scatter of failures, shown", "/scatter?of=failures&people=shown&without=lot:" + plantedLot, "scatter", http.StatusOK, access.Lead},
		{"scatter, nothing", "/scatter?from=2020-01-01&to=2020-01-02", "scatter", http.StatusOK, access.Lead},
		{"comparison", "/comparison?by=lot", "comparison", http.StatusOK, access.Auditor},
		{"comparison of people, shown", "/comparison?by=person&people=shown", "comparison", http.StatusOK, access.InfectionPrevention},
		{"comparison, nothing", "/comparison?from=2020-01-01&to=2020-01-02", "comparison", http.StatusOK, access.Lead},
	}
}
