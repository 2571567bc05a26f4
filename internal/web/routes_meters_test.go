package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// metersMayOpen is about meters; see mayOpen.
var metersMayOpen = map[string]string{
	"GET /meters":                  "TLIQV",
	"GET /meters/{meter}":          "TLIQV",
	"POST /meters/{meter}/checks":  "TL",
	"GET /meters/compare":          "LIQV",
	"POST /meters/compare":         "LIQV",
	"POST /meters/compare/records": "LI",
	"GET /meters/study":            "LIQV",
	"POST /meters/study":           "LIQV",
	"GET /variation":               "LIQV",
	"GET /comparison":              "LIQV",
}

// meterExamples are the pages about meters; see examples.
func (b *site) meterExamples() []example {
	b.Helper()
	b.plant()
	check := b.failedCheck()
	return []example{
		{"meters", "/meters", "meters", http.StatusOK, access.Technician},
		{"meter in doubt", "/meters/M-3?check=" + check, "meter", http.StatusOK, access.Lead},
		{"compare", "/meters/compare", "compare-lots", http.StatusOK, access.Lead},
		{"compare lots", "/meters/compare?" + lotsQuery(plantedLot, "P-2"), "compare-lots", http.StatusOK, access.Analyst},
		{"study", "/meters/study", "gauge-study", http.StatusOK, access.Analyst},
		{"variation", "/variation", "variation", http.StatusOK, access.Analyst},
		{"variation of failures, shown", "/variation?of=failures&people=shown&without=lot:" + plantedLot, "variation", http.StatusOK, access.Lead},
		{"comparison of people, shown", "/comparison?by=person&people=shown", "comparison", http.StatusOK, access.InfectionPrevention},
	}
}
