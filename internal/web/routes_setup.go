package web

import (
	"slices"

	"rinsate/internal/domain/access"
)

// setUpRoutes are how a facility is described: its fleet, kits, meters and rules.
func (s *Server) setUpRoutes() []route {
	routes := slices.Concat(
		[]route{
			setUpSection.page("/set-up", access.SeeSetUp, "set-up", "Overview", s.setUp),
			setUpSection.page("/set-up/models/{model}/points/{point}", access.SeeSetUp, "set-up-point", "", s.pointProtocol),
		},
		s.rulesRoutes(),
	)
	for _, r := range registries() {
		routes = append(routes, s.registryRoutes(r)...)
	}
	return slices.Concat(routes, s.scopeActs(), s.lotActs())
}
