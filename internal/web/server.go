package web

import (
	"net/http"
	"sync"

	"rinsate/internal/identity"
	"rinsate/internal/identity/passkey"
	"rinsate/internal/web/kit"
)

// Server serves the pages of one site.
type Server struct {
	*kit.Shell
	// again makes the pages anew, as they were made.
	again func() (*Server, error)
	// passkeys is nil where no browser has any.
	passkeys *passkey.Passkeys
	help     help
	// series holds what the charts make of all series, overviews what holds of the whole fleet.
	allSeries, overviews kit.Cache
	// readings are those that statistics count, computed what statistics say of them, studies the candidates
	// for levels.
	readings, computed, studies kit.Cache
	// imports are the files that are being read in.
	imports *imports
	// exporting is held while somebody takes the whole ledger.
	exporting sync.Mutex
	filing    filing
	// unsigned bounds how fast emergency uses are recorded by people who have not signed in.
	unsigned identity.Paced
	// filling is that of the options.
	filling func() (share float64, more bool)
}

// Handler returns the whole of the pages.
func (s *Server) Handler() http.Handler { return rereading(s, s.Shell.Handler()) }

// Routes lists what there is to ask for, such as "GET /ready/{tag}", in the order of the navigation.
func (s *Server) Routes() []string {
	list := make([]string, len(s.Table))
	for i, r := range s.Table {
		list[i] = r.Method + " " + s.Prefix + r.Path
	}
	return list
}
