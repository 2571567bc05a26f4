// Package kit is what the pages of a site share and what knows no page: requests and their answers, routes,
// forms, lists, signatures, links, files, and the cache of slow answers.
//
// Read Shell, which serves routes, and Exchange, which is one request and its answer. The rooms of web build
// on kit and never on each other, so that one can be lifted out whole. A handler parses what came, asks the
// desk and shows a page or sends the browser on; what goes wrong is returned, and kit says it to a person.
// Nothing of the domain is decided here.
package kit

import (
	"context"
	"html/template"
	"log/slog"
	"net/http"
	"net/url"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/identity"
	"rinsate/internal/present/words"
)

// Shell is what the pages of a site share: where they are served, what they look like, who asks. It knows
// no page.
type Shell struct {
	// Desk is nil before there is a site.
	Desk *desk.Desk
	// Terms are those that people read.
	Terms words.Terms
	Door  *identity.Door
	Base  *url.URL
	// hosts are further names of the server, as hostname gives them.
	hosts   map[string]bool
	Prefix  string
	secure  bool
	Clock   func() time.Time
	Log     *slog.Logger
	demo    bool
	proxied bool
	// Pages are the templates by the names of the pages.
	Pages  map[string]*template.Template
	Assets Assets
	// Table are the routes that are served.
	Table   []Route
	Mux     *http.ServeMux
	cross   *http.CrossOriginProtection
	repeats Cache
	explain func(*Exchange) string
	notice  func() *Notice
	refuse  func(Route) error
	// closing is closed when the server is told to end, by EndLive.
	closing chan struct{}
	EndLive func()
}

// Now returns the instant of a request.
func (s *Shell) Now() unit.Instant { return unit.At(s.Clock()) }

// View asks the desk for a page.
func (s *Shell) View(ctx context.Context, ask func(desk.View) error) error {
	return s.Desk.View(ctx, ask)
}

// ClockOf writes instants as they are seen now.
func (s *Shell) ClockOf(v desk.View) words.Clock { return words.Seen(s.Now(), v.Zone()) }

// Notice is a line on every page, and where a script asks for news of it. Alarm is one that nobody may overlook; its Href
// is the page where people do something about it.
type Notice struct {
	Words, Href string
	Alarm       bool
	// Paper is one that says that paper decides; its Href is where the start is signed.
	Paper bool
}
