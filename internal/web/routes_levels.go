package web

// levelRoutes are the levels and how they are derived, judged and adopted.
func (s *Server) levelRoutes() []route {
	return []route{}
}
