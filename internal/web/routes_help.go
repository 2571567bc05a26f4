package web

// helpRoutes are the pages that explain. They are open to everybody: they tell nothing of this site, and
// whoever stands before a closed door needs them most.
func (s *Server) helpRoutes() []route {
	return []route{
		helpSection.page("/help", public, "help", "Tasks", s.helpList),
		helpSection.page("/help/cautions", public, "help-cautions", "Cautions", s.helpCautions),
		helpSection.page("/help/glossary", public, "help-glossary", "Words", s.helpGlossary),
		helpSection.page("/help/{topic}", public, "help-topic", "", s.helpTopic),
	}
}
