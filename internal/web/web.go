// Package web serves the pages: the board of the day, the gate, scopes, and what people sign in for.
//
// A handler parses, asks the desk and renders; nothing of the domain is decided here. Pages work
// without scripts; scripts keep them alive, read scanners and run clocks. Every answer carries a strict
// content security policy, and nothing is fetched from any other host.
//
// Read New, then routes: every route is in one table with the permission it needs, and a route that is
// not in it does not exist.
package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/identity"
	"rinsate/internal/identity/passkey"
)

// Options say how the pages are served.
type Options struct {
	// Base is the address under which people reach the pages, such as https://pc-7.example/rinsate; its
	// path is the path of every page, and https in it makes cookies secure.
	Base *url.URL
	// Clock is the time of the pages.
	Clock func() time.Time
	// Log takes what went wrong.
	Log *slog.Logger
	// Demo shows that everything is invented.
	Demo bool
	// Proxied says that a proxy stands in front, which tells where requests come from.
	Proxied bool
	// Wall opens the board for screens on a wall, where nobody signs in and which never lock. It names no
	// people.
	Wall bool
	// Door is where people sign in.
	Door *identity.Door
	// Filling says how much of an invented year is on record and whether more is to come; nil where
	// nothing is invented meanwhile.
	Filling func() (share float64, more bool)
}

// Server serves the pages of one site.
type Server struct {
	desk *desk.Desk
	door *identity.Door
	// passkeys is nil where no browser has any.
	passkeys  *passkey.Passkeys
	base      *url.URL
	prefix    string
	secure    bool
	clock     func() time.Time
	log       *slog.Logger
	demo      bool
	filling   func() (share float64, more bool)
	proxied   bool
	pages     pages
	help      help
	files     files
	routes    []route
	mux       *http.ServeMux
	cross     *http.CrossOriginProtection
	alarms    alarmWatch
	overviews overviews
	repeats   repeats
	// readings are those that statistics count, computed what statistics say of them, studies the candidates
	// for levels.
	readings, computed, studies replies
	// imports are the files that are being read in.
	imports *imports
	// exporting is held while somebody takes the whole ledger.
	exporting sync.Mutex
	filing    filing
	// closing is closed when the server is told to end, by endLive.
	closing chan struct{}
	endLive func()
}

// New makes the server. All templates are parsed and all files hashed here: what is wrong with them is
// an error now and not on a page.
func New(d *desk.Desk, o Options) (*Server, error) {
	s, err := newShell(o)
	if err != nil {
		return nil, err
	}
	s.desk, s.door = d, o.Door
	s.readings, s.computed, s.studies = replies{most: 2}, replies{most: 32}, replies{most: mostStudies}
	s.filing = filing{most: 100_000, batch: 1000}
	if s.passkeys, err = passkey.New(o.Door, o.Base); err != nil {
		return nil, err
	}
	if s.pages, err = s.loadPages(""); err != nil {
		return nil, err
	}
	if s.imports, err = newImports(d.DB.Dir(), s.clock); err != nil {
		return nil, err
	}
	s.routes = s.table(o.Wall)
	if s.filling != nil {
		s.routes = append(s.routes, get("/filling", public, "", "", s.howFull))
	}
	for _, r := range s.routes {
		s.mux.Handle(r.method+" "+s.prefix+r.path, s.serve(r))
	}
	return s, nil
}

// newShell makes what pages need that know no site yet.
func newShell(o Options) (*Server, error) {
	if o.Base == nil || o.Base.Host == "" || o.Base.Scheme != "http" && o.Base.Scheme != "https" {
		return nil, errors.New("the address of the pages must be given, such as http://localhost:8420")
	}
	s := &Server{
		proxied: o.Proxied, base: o.Base, prefix: strings.TrimRight(o.Base.Path, "/"), secure: o.Base.Scheme == "https",
		clock: o.Clock, log: o.Log, demo: o.Demo, filling: o.Filling, mux: http.NewServeMux(), cross: http.NewCrossOriginProtection(), closing: make(chan struct{}),
	}
	s.endLive = sync.OnceFunc(func() { close(s.closing) })
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	var err error
	if s.files, err = loadFiles(); err != nil {
		return nil, err
	}
	if s.help, err = loadHelp(); err != nil {
		return nil, err
	}
	// A proxy may change Host on the way; the address that people use is trusted by name.
	if err := s.cross.AddTrustedOrigin(o.Base.Scheme + "://" + o.Base.Host); err != nil {
		return nil, fmt.Errorf("the address of the pages: %w", err)
	}
	return s, nil
}

// has says whether there is a page at a path.
func (s *Server) has(path string) bool {
	return slices.ContainsFunc(s.routes, func(r route) bool { return r.method == http.MethodGet && r.path == path })
}

// Routes lists what there is to ask for, such as "GET /gate/{tag}", in the order of the navigation.
func (s *Server) Routes() []string {
	list := make([]string, len(s.routes))
	for i, r := range s.routes {
		list[i] = r.method + " " + s.prefix + r.path
	}
	return list
}

// now returns the instant of a request.
func (s *Server) now() unit.Instant { return unit.At(s.clock()) }

// url returns the address of a page, with the path that the site lives under.
func (s *Server) url(path string) string { return s.prefix + path }

// Handler returns the whole of the pages.
func (s *Server) Handler() http.Handler {
	s.cross.SetDenyHandler(s.serve(route{handle: func(*exchange) error {
		return &pageError{status: http.StatusForbidden, message: "The form came from another site.", hint: "Nothing was stored. Open the page here and send it again."}
	}}))
	return s.headers(s.cross.Handler(s.mux))
}

// policy lets pages use what this server sends and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// headers puts on every answer what keeps it where it belongs.
func (s *Server) headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		if s.secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// view asks the desk for a page.
func (s *Server) view(ctx context.Context, ask func(desk.View) error) error {
	return s.desk.View(ctx, ask)
}
