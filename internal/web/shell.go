// Package kit is what the pages of a site share and what knows no page: requests and their answers, routes,
// forms, lists, signatures, links, files, and the cache of slow answers.
//
// Read Shell, which serves routes, and Exchange, which is one request and its answer. The rooms of web build
// on kit and never on each other, so that one can be lifted out whole. A handler parses what came, asks the
// desk and shows a page or sends the browser on; what goes wrong is returned, and kit says it to a person.
// Nothing of the domain is decided here.
package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/present/words"
)

// shellOptions say how pages are served.
type shellOptions struct {
	// base is the address under which people reach the pages, such as https://pc-7.example/rinsate; its
	// path is the path of every page, and https in it makes cookies secure.
	base *url.URL
	// clock is the time of the pages.
	clock func() time.Time
	// log takes what went wrong; nothing is logged without it.
	log *slog.Logger
	// demo shows that everything is invented.
	demo bool
	// proxied says that a proxy stands in front, which tells where requests come from.
	proxied bool
	// desk and door are those of the site; nil before there is one.
	desk *desk.Desk
	door *desk.Door
	// static are the files that pages load, by their names; appended goes behind what the file of a name
	// holds.
	static   fs.FS
	appended map[string]string
	// templates is the folder of the pages, shared holds the layout and the parts of pages. functions are
	// what pages may call beside what every page may.
	templates, shared fs.FS
	functions         template.FuncMap
	// explain returns where the page that is asked for is explained, and empty where nothing explains it.
	explain func(*exchange) string
}

// shell is what the pages of a site share: where they are served, what they look like, who asks. It knows
// no page.
type shell struct {
	// desk is nil before there is a site.
	desk    *desk.Desk
	door    *desk.Door
	base    *url.URL
	prefix  string
	secure  bool
	clock   func() time.Time
	log     *slog.Logger
	demo    bool
	proxied bool
	pages   pages
	files   files
	routes  []route
	mux     *http.ServeMux
	cross   *http.CrossOriginProtection
	repeats cache
	explain func(*exchange) string
	// closing is closed when the server is told to end, by endLive.
	closing chan struct{}
	endLive func()
}

// newShell makes what pages share. All templates are parsed and all files hashed here: what is wrong with
// them is an error now and not on a page.
func newShell(o shellOptions) (*shell, error) {
	if o.base == nil || o.base.Host == "" || o.base.Scheme != "http" && o.base.Scheme != "https" {
		return nil, errors.New("the address of the pages must be given, such as http://localhost:8420")
	}
	s := &shell{
		desk: o.desk, door: o.door, proxied: o.proxied, base: o.base, prefix: strings.TrimRight(o.base.Path, "/"), secure: o.base.Scheme == "https",
		clock: o.clock, log: o.log, demo: o.demo, mux: http.NewServeMux(), cross: http.NewCrossOriginProtection(), explain: o.explain, repeats: newRepeats(), closing: make(chan struct{}),
	}
	s.endLive = sync.OnceFunc(func() { close(s.closing) })
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	var err error
	if s.files, err = loadFiles(o.static, o.appended); err != nil {
		return nil, err
	}
	if s.pages, err = s.loadPages(o.shared, o.templates, o.functions); err != nil {
		return nil, err
	}
	// A proxy may change Host on the way; the address that people use is trusted by name.
	if err := s.cross.AddTrustedOrigin(o.base.Scheme + "://" + o.base.Host); err != nil {
		return nil, fmt.Errorf("the address of the pages: %w", err)
	}
	return s, nil
}

// serveAll serves the routes, in the order of the navigation. A page that is not among them does not exist.
func (s *shell) serveAll(routes []route) {
	s.routes = routes
	for _, r := range routes {
		s.mux.Handle(r.method+" "+s.prefix+r.path, s.serve(r))
	}
}

// now returns the instant of a request.
func (s *shell) now() unit.Instant { return unit.At(s.clock()) }

// view asks the desk for a page.
func (s *shell) view(ctx context.Context, ask func(desk.View) error) error {
	return s.desk.View(ctx, ask)
}

// clockOf writes instants as they are seen now.
func (s *shell) clockOf(v desk.View) words.Clock { return words.Seen(s.now(), v.Zone()) }

// Handler returns the whole of the pages.
func (s *shell) Handler() http.Handler {
	s.cross.SetDenyHandler(s.serve(route{handle: func(*exchange) error {
		return &pageError{status: http.StatusForbidden, message: "The form came from another site.", hint: "Nothing was stored. Open the page here and send it again."}
	}}))
	return s.headers(s.cross.Handler(s.mux))
}

// policy lets pages use what this server sends and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// headers puts on every answer what keeps it where it belongs.
func (s *shell) headers(next http.Handler) http.Handler {
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
