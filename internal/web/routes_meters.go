package web

// meterRoutes are the meters, their checks and comparisons.
func (s *Server) meterRoutes() []route {
	return []route{}
}
