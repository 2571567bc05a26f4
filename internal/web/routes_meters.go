package web

import (
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// meterRoutes are the meters, their checks and comparisons.
func (s *Server) meterRoutes() []route {
	return []route{
		numbersSection.page("/meters", access.SeeScope, "meters", "Meters", s.meters),
		numbersSection.page("/meters/{meter}", access.SeeScope, "meter", "", s.meter),
		post("/meters/{meter}/checks", desk.ToCheckMeter, s.checkMeter),
		numbersSection.page("/meters/compare", access.SeeNumbers, "compare-lots", "Lots and meters", s.compare),
		send("/meters/compare", desk.ToStudyNumbers, tableLimit, s.comparePairs).answers(numbersSection, "compare-lots"),
		send("/meters/compare/records", desk.ToRecordComparison, tableLimit+formLimit, s.recordComparison),
		numbersSection.page("/meters/study", access.SeeNumbers, "gauge-study", "Gauge study", s.gaugeStudy),
		send("/meters/study", desk.ToStudyNumbers, tableLimit, s.judgeStudy).answers(numbersSection, "gauge-study"),
		numbersSection.page("/scatter", access.SeeNumbers, "scatter", "Scatter", s.scatter),
		numbersSection.page("/comparison", access.SeeNumbers, "comparison", "Comparison", s.comparison),
	}
}
