package web

// numberRoutes are the charts, the alarms and where scatter comes from.
func (s *Server) numberRoutes() []route {
	return []route{}
}
