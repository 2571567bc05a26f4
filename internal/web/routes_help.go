package web

import "rinsate/internal/web/kit"

// helpRoutes are the pages that explain. They are open to everybody: they tell nothing of this site, and
// whoever stands before a closed door needs them most.
func (s *Server) helpRoutes() []kit.Route {
	return []kit.Route{
		helpSection.Page("/help", kit.Public, "help", "Tasks", s.helpList),
		helpSection.Page("/help/cautions", kit.Public, "help-cautions", "Cautions", s.helpCautions),
		helpSection.Page("/help/glossary", kit.Public, "help-glossary", "Words", s.helpGlossary),
		helpSection.Page("/help/{topic}", kit.Public, "help-topic", "", s.helpTopic),
	}
}
