package web

import (
	"net/http"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// meterRoutes are the meters, their checks and comparisons.
func (s *Server) meterRoutes() []kit.Route {
	return []kit.Route{
		numbersSection.Page("/meters", access.SeeScope, "meters", "Meters", s.meters),
		numbersSection.Page("/meters/{meter}", access.SeeScope, "meter", "", s.meter),
		kit.Post("/meters/{meter}/checks", access.CheckMeter, s.checkMeter),
		numbersSection.Page("/meters/compare", access.SeeNumbers, "compare-lots", "Lots and meters", s.compare),
		{Method: http.MethodPost, Path: "/meters/compare", Need: access.SeeNumbers, Handle: s.comparePairs, Page: "compare-lots", Section: numbersSection, Limit: kit.TableLimit},
		{Method: http.MethodPost, Path: "/meters/compare/records", Need: access.Adopt, Handle: s.recordComparison, Limit: kit.TableLimit + kit.FormLimit},
		numbersSection.Page("/meters/study", access.SeeNumbers, "gauge-study", "Gauge study", s.gaugeStudy),
		{Method: http.MethodPost, Path: "/meters/study", Need: access.SeeNumbers, Handle: s.judgeStudy, Page: "gauge-study", Section: numbersSection, Limit: kit.TableLimit},
		numbersSection.Page("/scatter", access.SeeNumbers, "scatter", "Scatter", s.scatter),
		numbersSection.Page("/comparison", access.SeeNumbers, "comparison", "Comparison", s.comparison),
	}
}
