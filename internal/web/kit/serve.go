package kit

import (
	"cmp"
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

	"rinsate/internal/desk"
	"rinsate/internal/identity"
	"rinsate/internal/present/words"
)

// Options say how pages are served.
type Options struct {
	// Base is the address under which people reach the pages, such as https://pc-7.example/rinsate; its
	// path is the path of every page, and https in it makes cookies secure.
	Base *url.URL
	// Hosts are further names under which the pages are asked for, such as the one by which a proxy knows this
	// computer.
	Hosts []string
	// Clock is the time of the pages.
	Clock func() time.Time
	// Log takes what went wrong; nothing is logged without it.
	Log *slog.Logger
	// Demo shows that everything is invented.
	Demo bool
	// Proxied says that a proxy stands in front, which tells where requests come from.
	Proxied bool
	// Desk and Door are those of the site; nil before there is one.
	Desk *desk.Desk
	Door *identity.Door
	// Static are the files that pages load, by their names; Appended goes behind what the file of a name
	// holds.
	Static   fs.FS
	Appended map[string]string
	// Templates is the folder of the pages, Shared holds the layout and the parts of pages. Functions are
	// what pages may call beside what every page may.
	Templates, Shared fs.FS
	Functions         template.FuncMap
	// Explain returns where the page that is asked for is explained, and empty where nothing explains it.
	Explain func(*Exchange) string
	// Notice returns a line that stands on every page while something lasts, nil at other times; Refuse
	// returns why a route is not served meanwhile, to whoever may have it. Both may be nil.
	Notice func() *Notice
	Refuse func(Route) error
}

// New makes what pages share. All templates are parsed and all files hashed here: what is wrong with
// them is an error now and not on a page.
func New(o Options) (*Shell, error) {
	if o.Base == nil || o.Base.Host == "" || o.Base.Scheme != "http" && o.Base.Scheme != "https" {
		return nil, errors.New("the address of the pages must be given, such as http://localhost:8420")
	}
	s := &Shell{
		Desk:    o.Desk,
		Door:    o.Door,
		proxied: o.Proxied,
		Base:    o.Base,
		hosts:   map[string]bool{},
		Prefix:  strings.TrimRight(o.Base.Path, "/"),
		secure:  o.Base.Scheme == "https",
		Clock:   o.Clock,
		Log:     o.Log,
		demo:    o.Demo,
		Mux:     http.NewServeMux(),
		cross:   http.NewCrossOriginProtection(),
		explain: o.Explain,
		notice:  o.Notice,
		refuse:  o.Refuse,
		repeats: newRepeats(),
		closing: make(chan struct{}),
	}
	for _, name := range o.Hosts {
		s.hosts[hostname(name)] = true
	}
	if s.Desk != nil {
		s.Terms = words.Of(s.Desk.DB.Site())
	}
	s.EndLive = sync.OnceFunc(func() { close(s.closing) })
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	var err error
	if s.Assets, err = loadFiles(o.Static, o.Appended); err != nil {
		return nil, err
	}
	if s.Pages, err = s.loadPages(o.Shared, o.Templates, o.Functions); err != nil {
		return nil, err
	}
	// A proxy may change Host on the way; the address that people use is trusted by name.
	if err := s.cross.AddTrustedOrigin(o.Base.Scheme + "://" + o.Base.Host); err != nil {
		return nil, fmt.Errorf("the address of the pages: %w", err)
	}
	return s, nil
}

// ServeAll serves the routes, in the order of the navigation. A page that is not among them does not exist.
func (s *Shell) ServeAll(routes []Route) {
	s.Table = routes
	for _, r := range routes {
		s.Mux.Handle(r.Method+" "+s.Prefix+r.Path, s.Serve(r))
	}
}

// Handler returns the whole of the pages.
func (s *Shell) Handler() http.Handler {
	s.cross.SetDenyHandler(s.Serve(Route{Handle: func(*Exchange) error {
		return &PageError{
			Status:  http.StatusForbidden,
			Message: "The form came from another site.",
			Hint:    "Nothing was stored. Open the page here and send it again.",
		}
	}}))
	return s.headers(s.named(s.cross.Handler(s.Mux)))
}

// Policy lets pages use what this server sends and nothing else.
const Policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// headers puts on every answer what keeps it where it belongs.
func (s *Shell) headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", Policy)
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

// Serve answers a route: who asks, whether they may, the handler, and what went wrong.
func (s *Shell) Serve(route Route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x := &Exchange{Shell: s, W: w, R: r, Data: route.Data || r.Header.Get("Accept") == "application/json"}
		if route.Method == http.MethodPost {
			r.Body = http.MaxBytesReader(w, r.Body, cmp.Or(route.Limit, FormLimit))
		}
		err := s.recognise(r.Context(), x)
		if err == nil && route.Method == http.MethodPost && !route.Data && route.Limit == 0 {
			err = x.Parse()
		}
		if err != nil {
			x.Fail(err)
			return
		}
		x.once(r.Context(), func() {
			handle := route.Handle
			if !x.Opens(route) {
				handle = (*Exchange).TurnAway
			} else if s.refuse != nil {
				if err := s.refuse(route); err != nil {
					x.Fail(err)
					return
				}
			}
			if err := handle(x); err != nil {
				x.Fail(err)
			}
		})
	})
}
