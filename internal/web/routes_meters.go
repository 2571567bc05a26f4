package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// meterRoutes are the meters, their checks and comparisons.
func (s *Server) meterRoutes() []route {
	return []route{
		numbersSection.page("/meters", access.SeeScope, "meters", "Meters", s.meters),
		numbersSection.page("/meters/{meter}", access.SeeScope, "meter", "", s.meter),
		post("/meters/{meter}/checks", access.CheckMeter, s.checkMeter),
		numbersSection.page("/meters/compare", access.SeeNumbers, "compare-lots", "Lots and meters", s.compare),
		{method: http.MethodPost, path: "/meters/compare", need: access.SeeNumbers, handle: s.comparePairs, page: "compare-lots", section: numbersSection, limit: tableLimit},
		{method: http.MethodPost, path: "/meters/compare/records", need: access.Adopt, handle: s.recordComparison, limit: tableLimit + formLimit},
		numbersSection.page("/meters/study", access.SeeNumbers, "gauge-study", "Gauge study", s.gaugeStudy),
		{method: http.MethodPost, path: "/meters/study", need: access.SeeNumbers, handle: s.judgeStudy, page: "gauge-study", section: numbersSection, limit: tableLimit},
		numbersSection.page("/scatter", access.SeeNumbers, "scatter", "Scatter", s.scatter),
		numbersSection.page("/comparison", access.SeeNumbers, "comparison", "Comparison", s.comparison),
	}
}
