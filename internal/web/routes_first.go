package web

import (
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// importRoutes are how files are read in. Whoever may not describe the fleet has nothing to do here; what
// a kind of file needs beyond that is in importNeeds.
func (s *Server) importRoutes() []route {
	return []route{
		setUpSection.page("/import", access.ManageFleet, "import", "Import", s.importList),
		setUpSection.page("/import/{kind}", access.ManageFleet, "import-kind", "", s.importKind),
		get("/import/{kind}/template.csv", access.ManageFleet, "", "", s.importTemplate),
		send("/import/{kind}", desk.ToHandIn, importLimit, s.importUpload),
		setUpSection.page("/imports/{file}", access.ManageFleet, "import-file", "", s.importFile),
		post("/imports/{file}", desk.ToHandIn, s.importAct),
		get("/imports/{file}/lines", access.ManageFleet, "", "", s.importLines),
		get("/imports/{file}/profile.yaml", access.ManageFleet, "", "", s.importProfile),
	}
}
