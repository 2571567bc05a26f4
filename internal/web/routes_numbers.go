package web

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// numberRoutes are the charts, the alarms and where scatter comes from.
func (s *Server) numberRoutes() []kit.Route {
	const n = numbersSection
	return []kit.Route{
		n.Page("/trends", access.SeeNumbers, "trends", "Trends", s.trends),
		n.Page("/trends/{tag}/{point}", access.SeeNumbers, "stream", "", s.stream),
		kit.Post("/trends/{tag}/{point}", access.Adopt, s.adoptLimits),
		n.Page("/alarms", access.SeeNumbers, "alarms", "Alarms", s.alarmList),
		n.Page("/alarms/{alarm}", access.SeeNumbers, "alarm", "", s.alarm),
		kit.Post("/alarms/{alarm}/acts", access.PlaceHold, s.handleAlarm),
		kit.Post("/alarms/{alarm}/closing", access.Adopt, s.closeAlarm),
		kit.Post("/alarms/{alarm}/void", access.PlaceHold, s.voidHandling),
		n.Page("/failures", access.SeeNumbers, "failures", "Failures", s.failures),
	}
}
