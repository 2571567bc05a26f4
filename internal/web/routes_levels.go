package web

import (
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// levelRoutes are the levels and how they are derived, judged and adopted.
func (s *Server) levelRoutes() []route {
	return []route{
		numbersSection.page("/levels", access.SeeNumbers, "levels", "Levels", s.levels),
		numbersSection.page(workshopPath, access.SeeNumbers, "workshop", "Level workshop", s.workshop),
		numbersSection.page(comparePath, access.SeeNumbers, "compare", "Compare levels", s.compareLevels),
		numbersSection.page("/levels/{level}", access.SeeNumbers, "level", "", s.level),
		send(workshopPath+"/cultures", desk.ToStudyNumbers, cultureLimit, s.takeCultures),
		post(workshopPath, desk.ToAdoptDerived, s.adopt),
	}
}
