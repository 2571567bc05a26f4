package web

import "rinsate/internal/domain/access"

// numberRoutes are the charts, the alarms and where scatter comes from.
func (s *Server) numberRoutes() []route {
	const n = numbersSection
	return []route{
		n.page("/trends", access.SeeNumbers, "trends", "Trends", s.trends),
		n.page("/trends/{tag}/{point}", access.SeeNumbers, "stream", "", s.stream),
		post("/trends/{tag}/{point}", access.Adopt, s.adoptLimits),
		n.page("/alarms", access.SeeNumbers, "alarms", "Alarms", s.alarmList),
		n.page("/alarms/{alarm}", access.SeeNumbers, "alarm", "", s.alarm),
		post("/alarms/{alarm}/acts", access.PlaceHold, s.handleAlarm),
		post("/alarms/{alarm}/closing", access.Adopt, s.closeAlarm),
		post("/alarms/{alarm}/void", access.PlaceHold, s.voidHandling),
		n.page("/failures", access.SeeNumbers, "failures", "Failures", s.failures),
	}
}
