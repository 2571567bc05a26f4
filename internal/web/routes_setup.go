package web

import (
	"slices"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// setUpRoutes are how a facility is described: its fleet, kits, meters and rules.
func (s *Server) setUpRoutes() []kit.Route {
	routes := slices.Concat(
		[]kit.Route{
			setUpSection.Page("/set-up", access.SeeSetUp, "set-up", "Overview", s.setUp),
			setUpSection.Page("/set-up/models/{model}/points/{point}", access.SeeSetUp, "set-up-point", "", s.pointProtocol),
		},
		s.rulesRoutes(),
	)
	for _, r := range registries() {
		routes = append(routes, s.registryRoutes(r)...)
	}
	return slices.Concat(routes, s.scopeActs(), s.lotActs())
}
