// Package web serves the pages: the board of the day, the release check, scopes, and what people sign in for.
//
// A handler parses, asks the desk and renders; nothing of the domain is decided here. Pages work
// without scripts; scripts keep them alive, read scanners and run clocks. Every answer carries a strict
// content security policy, and nothing is fetched from any other host.
//
// Read New, then routes: every route is in one table with the permission it needs, and a route that is
// not in it does not exist. What requests, forms, pages and lists share is in kit, which knows no page.
package web

import (
	"log/slog"
	"net/url"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/identity/passkey"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// Options say how the pages are served.
type Options struct {
	// Base is the address under which people reach the pages, such as https://pc-7.example/rinsate; its
	// path is the path of every page, and https in it makes cookies secure.
	Base *url.URL
	// Hosts are further names under which the pages are asked for.
	Hosts []string
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

// New makes the server. All templates are parsed and all files hashed here: what is wrong with them is
// an error now and not on a page.
func New(d *desk.Desk, o Options) (*Server, error) {
	s := &Server{
		again:     func() (*Server, error) { return New(d, o) },
		allSeries: kit.Cache{Most: 1},
		overviews: kit.Cache{Most: 1, Span: overviewFor},
		readings: kit.Cache{
			Most: 2,
		},
		computed: kit.Cache{Most: 32},
		studies:  kit.Cache{Most: mostStudies},
		filing:   filing{most: 100_000, batch: 1000},
		filling:  o.Filling,
		unsigned: identity.Paced{Pace: access.Unsigned},
	}
	var err error
	if s.Shell, err = kit.New(kit.Options{
		Base:     o.Base,
		Hosts:    o.Hosts,
		Clock:    o.Clock,
		Log:      o.Log,
		Demo:     o.Demo,
		Proxied:  o.Proxied,
		Desk:     d,
		Door:     o.Door,
		Static:   part(sources(), "static"),
		Appended: appended,
		Templates: part(
			sources(),
			"templates",
		),
		Shared:    part(sources(), "templates"),
		Functions: functions(words.Of(d.DB.Site())),
		Explain:   s.helpHref,
		Notice:    s.notice,
		Refuse:    s.waitsForYear,
	}); err != nil {
		return nil, err
	}
	if s.help, err = loadHelp(s.Terms); err != nil {
		return nil, err
	}
	if s.passkeys, err = passkey.New(o.Door, o.Base); err != nil {
		return nil, err
	}
	if s.imports, err = newImports(d.DB.Home().Dir(), s.Clock); err != nil {
		return nil, err
	}
	s.ServeAll(allRoutes(s, o.Wall))
	return s, nil
}
