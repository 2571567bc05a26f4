package web

import (
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// numberRoutes are the charts, the alarms and where scatter comes from.
func (s *Server) numberRoutes() []route {
	const n = numbersSection
	return []route{
		n.page("/trends", access.SeeNumbers, "trends", "Trends", s.trends),
		n.page("/trends/{tag}/{point}", access.SeeNumbers, "stream", "", s.stream),
		post("/trends/{tag}/{point}", desk.ToAdoptChart, s.adoptLimits),
		n.page("/alarms", access.SeeNumbers, "alarms", "Alarms", s.alarmList),
		n.page("/alarms/{alarm}", access.SeeNumbers, "alarm", "", s.alarm),
		post("/alarms/{alarm}/acts", desk.ToHandleAlarm, s.handleAlarm),
		post("/alarms/{alarm}/closing", desk.ToCloseAlarm, s.closeAlarm),
		post("/alarms/{alarm}/void", desk.ToHandleAlarm, s.voidHandling),
		n.page("/failures", access.SeeNumbers, "failures", "Failures", s.failures),
	}
}
