package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// levelRoutes are the levels and how they are derived, judged and adopted.
func (s *Server) levelRoutes() []route {
	return []route{
		numbersSection.page("/levels", access.SeeNumbers, "levels", "Levels", s.levels),
		numbersSection.page(workshopPath, access.SeeNumbers, "workshop", "Level workshop", s.workshop),
		numbersSection.page(comparePath, access.SeeNumbers, "compare", "Compare levels", s.compareLevels),
		numbersSection.page("/levels/{level}", access.SeeNumbers, "level", "", s.level),
		{method: http.MethodPost, path: workshopPath + "/cultures", need: access.SeeNumbers, handle: s.takeCultures, limit: cultureLimit},
		post(workshopPath, access.Adopt, s.adopt),
	}
}
