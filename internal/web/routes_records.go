package web

import "rinsate/internal/access"

// recordRoutes are the records, their search and their proofs.
func (s *Server) recordRoutes() []route {
	return []route{
		recordsSection.page("/records/{id}", access.SeeScope, "record", "", s.record),
	}
}
