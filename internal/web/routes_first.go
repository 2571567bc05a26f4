package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// importRoutes are how files are read in. Whoever may not describe the fleet has nothing to do here; what
// a kind of file needs beyond that is in importNeeds.
func (s *Server) importRoutes() []route {
	return []route{
		setUpSection.page("/import", access.ManageFleet, "import", "Import", s.importList),
		setUpSection.page("/import/{kind}", access.ManageFleet, "import-kind", "", s.importKind),
		get("/import/{kind}/template.csv", access.ManageFleet, "", "", s.importTemplate),
		{method: http.MethodPost, path: "/import/{kind}", need: access.ManageFleet, handle: s.importUpload, limit: importLimit},
		setUpSection.page("/imports/{file}", access.ManageFleet, "import-file", "", s.importFile),
		post("/imports/{file}", access.ManageFleet, s.importAct),
		get("/imports/{file}/lines", access.ManageFleet, "", "", s.importLines),
		get("/imports/{file}/profile.yaml", access.ManageFleet, "", "", s.importProfile),
	}
}
