package web

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// FirstOptions say how a first run is served.
type FirstOptions struct {
	// Base is the address under which the pages are served, of this computer alone.
	Base *url.URL
	// Dir is the data folder to be made, Zone the time zone of this computer as far as it is known.
	Dir, Zone string
	// Terms are those that are chosen unless somebody chooses others.
	Terms record.Terms
	// Home is where records are kept that belong to a data folder.
	Home  func(dir string) store.Home
	Clock func() time.Time
	Log   *slog.Logger
	// Cost is how slow the hashes of passwords are; the zero value stands for access.Standard.
	Cost access.Cost
	// Invent builds an invented hospital in a folder and returns who can sign in to it.
	Invent func(ctx context.Context, dir string, progress func(done, total int)) error
	// Accounts makes the accounts of the invented hospital.
	Accounts func(ctx context.Context, door *identity.Door) ([]Invented, error)
	// Told is called with the folder in which the records are kept from now on.
	Told func(dir string)
}

// Invented is somebody who can sign in to the invented hospital.
type Invented struct {
	Code, Password, Badge, PIN string
	Roles                      []access.Role
}

// First serves the first run: the page on which a facility begins, to one browser that knows the secret,
// and from then on the pages of the site that was begun.
type First struct {
	*kit.Shell // of the pages before there is a site

	o FirstOptions
	// secret is what the printed address holds.
	secret string
	// running is the context of Run.
	running context.Context //nolint:containedctx // what goes on in the background ends with Run
	beside  sync.WaitGroup
	// beginning lets one form at a time begin.
	beginning sync.Mutex

	mu sync.Mutex
	// browser is the token of the browser that opened the address first.
	browser string
	// site is what has begun, handler its pages; nil before.
	site    *Server
	handler http.Handler
	// test is what the form said about the residue test.
	test url.Values
	// invented are those who can sign in to the invented hospital.
	invented []Invented
	building *building
}

// building is an invented hospital on its way.
type building struct {
	Dir         string
	Done, Total int
	Problem     string
}

// NewFirst makes the pages of a first run.
func NewFirst(o FirstOptions) (*First, error) {
	s, err := kit.New(kit.Options{
		Base: o.Base, Clock: o.Clock, Log: o.Log, Static: part(sources(), "static"), Appended: appended,
		Templates: part(sources(), "templates/first-run"), Shared: part(sources(), "templates"), Functions: functions(words.US),
	})
	if err != nil {
		return nil, err
	}
	if o.Cost == (access.Cost{}) {
		o.Cost = access.Standard
	}
	f := &First{Shell: s, o: o, running: context.Background()}
	if f.secret, err = access.NewToken(rand.Reader); err != nil {
		return nil, err
	}
	handle := func(pattern string, limit int64, act func(*kit.Exchange) error) {
		s.Mux.Handle(pattern, f.serve(limit, act))
	}
	handle("GET /first-run/{secret}", 0, f.enter)
	handle("GET /first-run", 0, f.guarded(f.show))
	handle("GET /first-run/code", 0, f.guarded(f.suggestCode))
	handle("POST /first-run", beginLimit, f.guarded(f.begin))
	handle("POST /first-run/invented", 0, f.guarded(f.invent))
	handle("GET /static/{name...}", 0, s.Static)
	handle("/", 0, func(*kit.Exchange) error {
		return &kit.PageError{Status: http.StatusNotFound, Message: "This facility has not begun.", Hint: "Open the address that the command printed."}
	})
	return f, nil
}

// Address is where the first run is opened. It holds the secret and works for one browser.
func (f *First) Address() string { return f.Base.String() + "/first-run/" + f.secret }

// Run serves until the context ends, and closes what was begun.
func (f *First) Run(ctx context.Context, l net.Listener) error {
	running, stop := context.WithCancel(ctx)
	f.running = running
	err := kit.Listen(ctx, l, f.Handler(), f.Log, func() {
		if site := f.begun(); site != nil {
			site.EndLive()
		}
	})
	stop()
	f.beside.Wait()
	site := f.begun()
	if site == nil {
		return err
	}
	site.imports.end()
	return errors.Join(err, site.Desk.DB.Close()) //nolint:contextcheck // a ledger is closed properly although nobody waits any more
}

// begun returns the site, nil before there is one.
func (f *First) begun() *Server {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.site
}

// Handler returns the pages of the first run and, from its end on, those of the site.
func (f *First) Handler() http.Handler {
	before := f.Shell.Handler()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f.mu.Lock()
		h := f.handler
		f.mu.Unlock()
		if h == nil || r.URL.Path == "/first-run" || strings.HasPrefix(r.URL.Path, "/first-run/") {
			h = before
		}
		h.ServeHTTP(w, r)
	})
}

// serve answers a route of the first run.
func (f *First) serve(limit int64, act func(*kit.Exchange) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x := &kit.Exchange{Shell: f.Shell, W: w, R: r}
		if r.Method == http.MethodPost {
			r.Body = http.MaxBytesReader(w, r.Body, max(limit, kit.FormLimit))
		}
		if err := act(x); err != nil {
			x.Fail(err)
		}
	})
}

// firstCookie is the name of the cookie of the one browser.
const firstCookie = "rinsate-first-run"

// enter lets the first browser in that shows the secret, and no other.
func (f *First) enter(x *kit.Exchange) error {
	if subtle.ConstantTimeCompare([]byte(x.R.PathValue("secret")), []byte(f.secret)) != 1 {
		return &kit.PageError{
			Status:  http.StatusForbidden,
			Message: "This is not the address of the first run.",
			Hint:    "Open the address that the command printed, as a whole.",
		}
	}
	if f.known(x.R) {
		return x.Redirect("/first-run")
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.browser != "" {
		return &kit.PageError{
			Status: http.StatusForbidden, Message: "The first run is open in another browser.",
			Hint: "Go on there. If that was not you, end the command with Ctrl-C and start it again: nothing is made before the form is sent.",
		}
	}
	token, err := access.NewToken(rand.Reader)
	if err != nil {
		return err
	}
	f.browser = token
	http.SetCookie(x.W, &http.Cookie{Name: firstCookie, Value: token, Path: "/first-run", HttpOnly: true, SameSite: http.SameSiteLaxMode})
	return x.Redirect("/first-run")
}

// known says whether a request comes from the browser that was let in.
func (f *First) known(r *http.Request) bool {
	c, err := r.Cookie(firstCookie)
	f.mu.Lock()
	defer f.mu.Unlock()
	return err == nil && f.browser != "" && subtle.ConstantTimeCompare([]byte(c.Value), []byte(f.browser)) == 1
}

// guarded keeps a page for the browser that was let in.
func (f *First) guarded(act func(*kit.Exchange) error) func(*kit.Exchange) error {
	return func(x *kit.Exchange) error {
		if !f.known(x.R) {
			return &kit.PageError{
				Status:  http.StatusForbidden,
				Message: "The first run is for the browser that opened its address.",
				Hint:    "Open the address that the command printed.",
			}
		}
		return act(x)
	}
}

// show shows where the first run stands.
func (f *First) show(x *kit.Exchange) error {
	f.mu.Lock()
	site, b := f.site, f.building
	var shown building
	if b != nil {
		shown = *b
	}
	f.mu.Unlock()
	switch {
	case site != nil:
		return f.done(x, site)
	case b != nil && shown.Problem == "":
		return x.Show(http.StatusOK, "building", true, buildingPage{shown})
	}
	page := f.form(x)
	if shown.Problem != "" {
		page.Problems = []formProblem{{Text: shown.Problem, Field: "invented"}}
	}
	return x.Show(http.StatusOK, "begin", true, page)
}

// suggestCode answers a script with a code for the name that was typed.
func (f *First) suggestCode(x *kit.Exchange) error {
	x.W.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, err := io.WriteString(x.W, desk.SuggestSiteCode(x.R.URL.Query().Get("name")))
	return err
}

// begin makes the data folder of the form, or shows the form again.
func (f *First) begin(x *kit.Exchange) error {
	f.beginning.Lock()
	defer f.beginning.Unlock()
	if f.begun() != nil || f.busy() {
		return x.Redirect("/first-run") // sent twice
	}
	form, err := f.read(x)
	if err != nil {
		return err
	}
	b, problems := form.beginning(f.Now())
	b.Cost = f.o.Cost
	if len(problems) > 0 {
		form.Problems = problems
		return x.Show(http.StatusBadRequest, "begin", true, form)
	}
	db, err := b.Begin(x.R.Context(), f.o.Home(f.o.Dir), f.o.Clock)
	if err != nil {
		shown := x.Shown(err)
		form.Problems = []formProblem{{Text: strings.TrimSpace(shown.Message + " " + shown.Hint)}}
		return x.Show(shown.Status, "begin", true, form)
	}
	door, err := f.adopt(db, f.o.Dir, false)
	if err != nil {
		f.Log.Error("the pages of the new site failed", slog.Any("error", err))
		return &kit.PageError{
			Status:  http.StatusInternalServerError,
			Message: "The ledger is made, but its pages cannot be shown here.",
			Hint:    "End the command with Ctrl-C and start: rinsate serve.",
		}
	}
	f.mu.Lock()
	f.test = form.test()
	f.mu.Unlock()
	pass, err := door.SignIn(x.R.Context(), b.First.Code, b.First.Password, x.Source())
	if err != nil { // made all the same: the page of the site asks for the password
		f.Log.Error("the first sign-in failed", slog.Any("error", err))
	} else {
		x.Admit(pass)
	}
	return x.Redirect("/first-run")
}

func (f *First) busy() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.building != nil && f.building.Problem == ""
}

// adopt lets the pages of a site take over.
func (f *First) adopt(db *store.DB, dir string, invented bool) (*identity.Door, error) {
	d := desk.New(db)
	door := identity.NewDoor(db, f.o.Cost)
	site, err := New(d, Options{Base: f.Base, Clock: f.o.Clock, Log: f.Log, Demo: invented, Wall: invented, Door: door})
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	f.mu.Lock()
	f.site, f.handler = site, site.Handler()
	f.mu.Unlock()
	f.beside.Go(func() { site.Watch(f.running) })
	if f.o.Told != nil {
		f.o.Told(dir)
	}
	return door, nil
}

// donePage tells what has begun.
type donePage struct {
	firstStyle
	Site record.SiteBody
	Dir  string
	// SetUp and Import are where to go on; empty where there is no such page.
	SetUp, Import string
	// Levels is a file of levels for the facility's own residue test, to be filled in.
	Levels   string
	Invented []Invented
}

func (f *First) done(x *kit.Exchange, site *Server) error {
	f.mu.Lock()
	invented, test := f.invented, f.test
	f.mu.Unlock()
	p := donePage{Site: site.Desk.DB.Site(), Dir: site.Desk.DB.Home().Dir(), Invented: invented}
	if site.Has("/set-up") {
		p.SetUp = site.URL("/set-up")
	}
	if site.Has("/import") {
		p.Import = site.URL("/import")
	}
	if test != nil {
		p.Levels = site.URL("/import/levels/template.csv?" + test.Encode())
	}
	return x.Show(http.StatusOK, "done", true, p)
}

// firstStyle are the pages with the style sheet of the first run.
type firstStyle struct{}

func (firstStyle) StyleSheet() string { return "first.css" }

// buildingPage tells how far the invented hospital is.
type buildingPage struct{ building }

func (buildingPage) StyleSheet() string { return "first.css" }

func (buildingPage) RefreshEvery() int { return refreshEvery }

// refreshEvery is after how many seconds a page without scripts asks how far something is.
const refreshEvery = 2

// invent builds the invented hospital beside the data folder.
func (f *First) invent(x *kit.Exchange) error {
	f.beginning.Lock()
	defer f.beginning.Unlock()
	if f.begun() != nil || f.busy() {
		return x.Redirect("/first-run")
	}
	dir, err := f.inventedDir()
	if err != nil {
		return err
	}
	f.mu.Lock()
	f.building = &building{Dir: dir}
	f.mu.Unlock()
	f.beside.Go(func() {
		if err := f.build(f.running, dir); err != nil {
			f.Log.Error("the invented hospital failed", slog.Any("error", err))
			os.RemoveAll(dir) //nolint:errcheck,gosec // half a hospital; the folder was vacant before
			f.mu.Lock()
			defer f.mu.Unlock()
			f.building.Problem = fmt.Sprintf("The invented hospital could not be built in %s: %v.", dir, err)
		}
	})
	return x.Redirect("/first-run")
}

// inventedDir is the first folder beside the data folder in which nothing is kept yet.
func (f *First) inventedDir() (string, error) {
	const most = 100
	base := strings.TrimRight(f.o.Dir, `/\`) + "-demo"
	for i := range most {
		dir := base
		if i > 0 {
			dir = fmt.Sprintf("%s-%d", base, i+1)
		}
		if f.o.Home(dir).Vacant() == nil {
			return dir, nil
		}
	}
	return "", &kit.PageError{
		Status:  http.StatusConflict,
		Message: "There are too many invented hospitals beside the data folder.",
		Hint:    "Remove some of the folders that begin with " + base + ".",
	}
}

// build builds the invented hospital and lets its pages take over.
func (f *First) build(ctx context.Context, dir string) error {
	if err := f.o.Invent(ctx, dir, func(done, total int) {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.building.Done, f.building.Total = done, total
	}); err != nil {
		return err
	}
	db, err := f.o.Home(dir).Open(ctx, f.o.Clock)
	if err != nil {
		return err
	}
	accounts, err := f.o.Accounts(ctx, identity.NewDoor(db, f.o.Cost))
	if err != nil {
		return errors.Join(err, db.Close()) //nolint:contextcheck // what was opened is closed
	}
	f.mu.Lock()
	f.invented = accounts
	f.mu.Unlock()
	_, err = f.adopt(db, dir, true) //nolint:contextcheck // what was opened is closed although ctx may have ended
	return err
}
