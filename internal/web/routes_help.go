package web

// helpRoutes are the pages that explain.
func (s *Server) helpRoutes() []route {
	return []route{}
}
