package web

import (
	"net/http"

	"rinsate/internal/access"
)

// meterRoutes are the meters, their checks and comparisons.
func (s *Server) meterRoutes() []route {
	return []route{
		numbersSection.page("/meters", access.SeeScope, "meters", "Meters", s.meters),
		numbersSection.page("/meters/{meter}", access.SeeScope, "meter", "", s.meter),
		post("/meters/{meter}/checks", access.CheckMeter, s.checkMeter),
		numbersSection.page("/meters/compare", access.SeeNumbers, "compare-meters", "Lots and meters", s.compare),
		{method: http.MethodPost, path: "/meters/compare", need: access.SeeNumbers, handle: s.comparePairs, page: "compare-meters", section: numbersSection, limit: tableLimit},
		numbersSection.page("/meters/study", access.SeeNumbers, "study", "Gauge study", s.gaugeStudy),
		{method: http.MethodPost, path: "/meters/study", need: access.SeeNumbers, handle: s.judgeStudy, page: "study", section: numbersSection, limit: tableLimit},
		numbersSection.page("/scatter", access.SeeNumbers, "scatter", "Scatter", s.scatter),
		numbersSection.page("/comparison", access.SeeNumbers, "comparison", "Comparison", s.comparison),
	}
}
