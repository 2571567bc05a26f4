package web

import (
	"net/http"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// importRoutes are how files are read in. Whoever may not describe the fleet has nothing to do here; what
// a kind of file needs beyond that is in importNeeds.
func (s *Server) importRoutes() []kit.Route {
	return []kit.Route{
		setUpSection.Page("/import", access.ManageFleet, "import", "Import", s.importList),
		setUpSection.Page("/import/{kind}", access.ManageFleet, "import-kind", "", s.importKind),
		kit.Get("/import/{kind}/template.csv", access.ManageFleet, "", "", s.importTemplate),
		{Method: http.MethodPost, Path: "/import/{kind}", Need: access.ManageFleet, Handle: s.importUpload, Limit: importLimit},
		setUpSection.Page("/imports/{file}", access.ManageFleet, "import-file", "", s.importFile),
		kit.Post("/imports/{file}", access.ManageFleet, s.importAct),
		kit.Get("/imports/{file}/lines", access.ManageFleet, "", "", s.importLines),
		kit.Get("/imports/{file}/profile.yaml", access.ManageFleet, "", "", s.importProfile),
	}
}
