package web

import (
	"net/http"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// levelRoutes are the levels and how they are derived, judged and adopted.
func (s *Server) levelRoutes() []kit.Route {
	return []kit.Route{
		numbersSection.Page("/levels", access.SeeNumbers, "levels", "Levels", s.levels),
		numbersSection.Page(workshopPath, access.SeeNumbers, "workshop", "Level workshop", s.workshop),
		numbersSection.Page(comparePath, access.SeeNumbers, "compare", "Compare levels", s.compareLevels),
		numbersSection.Page("/levels/{level}", access.SeeNumbers, "level", "", s.level),
		{Method: http.MethodPost, Path: workshopPath + "/cultures", Need: access.SeeNumbers, Handle: s.takeCultures, Limit: cultureLimit},
		kit.Post(workshopPath, access.Adopt, s.adopt),
	}
}
