package web

// setUpRoutes are how a facility is described: its fleet, kits, meters and rules.
func (s *Server) setUpRoutes() []route {
	return []route{}
}
