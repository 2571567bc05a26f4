package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
)

// registry is one kind of thing that a facility registers: how it is listed, shown, typed and stored. Its
// pages are the same for all kinds.
type registry struct {
	// path is its place below /set-up, wild the name of the key in addresses, word what registers a new one
	// under /set-up/register.
	path, wild, word string
	// one and many are what people call it; about says on its list what it is.
	one, many, about string
	typ              record.Kind
	// act is what registering or changing it is.
	act access.Act
	// body reads an edition, key and title tell what it is called in records and on pages.
	body  func(desk.Edition) (any, error)
	key   func(body any) string
	title func(body any) string
	// list fills in the list as it was asked for.
	list func(*exchange, desk.View, *listPage) error
	// fields puts the fields onto a sheet; old is what is changed, nil for something new.
	fields func(sheet *sheet, v desk.View, old any) error
	// values are what the fields of the form show of a body.
	values func(body any, zone *time.Location) map[string]string
	// blank are the values of the form for something new.
	blank func(now unit.Instant, zone *time.Location) map[string]string
	// read makes a body of what was typed.
	read func(a *reply, old any, by string, now unit.Instant) any
	// since is when a new one begins to be there, where its form asks; nil stands for now.
	since func(a *reply) unit.Instant
	save  func(w *desk.Work, e desk.Entry, at unit.Instant, body any) (desk.Receipt, error)
	// preview shows what would be stored; nil where there is nothing to see.
	preview func(*exchange, desk.View, *formPage, any) error
	// more fills in what else its page shows.
	more func(*exchange, desk.View, *thingPage, any) error
}

// decoded reads the body of an edition.
func decoded[T any](e desk.Edition) (any, error) { return desk.BodyOf[T](e) }

// registries are all of them, in the order in which they build on each other.
func registries() []registry {
	return []registry{modelRegistry(), scopeRegistry(), meterRegistry(), targetRegistry(), lotRegistry(), levelRegistry()}
}

// registryRoutes are the pages of a kind of thing.
func (s *Server) registryRoutes(r registry) []route {
	base, form := "/set-up/"+r.path, "/set-up/register/"+r.word
	thing := base + "/{" + r.wild + "}"
	nav := map[bool]string{true: capital(r.many)}[r.path != "targets" && r.path != "levels"]
	return []route{
		setUpSection.page(base, access.SeeSetUp, "set-up-"+r.path, nav, func(x *exchange) error { return s.listOf(x, r) }),
		post(base, r.act, func(x *exchange) error { return s.register(x, r) }),
		setUpSection.form(form, r.act, "set-up-form", func(x *exchange) error { return s.newThing(x, r) }),
		setUpSection.page(thing, access.SeeSetUp, "set-up-thing", "", func(x *exchange) error { return s.thing(x, r, http.StatusOK, sent{}) }),
		setUpSection.form(thing+"/edit", r.act, "set-up-form", func(x *exchange) error { return s.editThing(x, r) }),
		post(thing, r.act, func(x *exchange) error { return s.changeThing(x, r) }),
	}
}

// href is the address of a thing.
func (r registry) href(s *Server, key string) string { return s.url(r.at(key)) }

func (r registry) at(key string) string { return "/set-up/" + r.path + "/" + url.PathEscape(key) }

// editions returns the editions of the thing that an address names.
func (r registry) editions(v desk.View, key string) ([]desk.Edition, error) {
	all, err := v.Editions(r.typ, key)
	if err == nil && len(all) == 0 {
		err = notHere("No %s is called %q.", r.one, key)
	}
	return all, err
}

// edition returns one of the editions by its record, or the one that stands when none is named.
func edition(all []desk.Edition, id string) (desk.Edition, error) {
	if id == "" {
		if e, ok := desk.Latest(all); ok {
			return e, nil
		}
		return all[len(all)-1], nil
	}
	i := slices.IndexFunc(all, func(e desk.Edition) bool { return e.ID == id })
	if i < 0 {
		return desk.Edition{}, notHere("There is no such edition.")
	}
	return all[i], nil
}

// linkTo returns the address of a page that whoever asks may open, and empty when there is none.
func (x *exchange) linkTo(path string) string {
	for _, r := range x.s.routes {
		if r.path == path && r.method == http.MethodGet && x.opens(r) {
			return x.s.url(path)
		}
	}
	return ""
}

// register stores something new.
func (s *Server) register(x *exchange, r registry) error {
	return s.store(x, r, "", func(body any) string { return r.key(body) })
}

// changeThing stores a new edition of something.
func (s *Server) changeThing(x *exchange, r registry) error {
	key := x.r.PathValue(r.wild)
	return s.store(x, r, key, func(any) string { return key })
}

// store reads a form and stores what it says, or shows it again with what is wrong.
func (s *Server) store(x *exchange, r registry, key string, keyOf func(any) string) error {
	page := s.formOfRegistry(r, key)
	var body, old any
	err := s.view(x.r.Context(), func(v desk.View) (err error) {
		if old, err = page.fill(x, v, r, key, x.r.PostForm); err != nil {
			return err
		}
		a := reply{typed: page.Typed, zone: v.Zone()}
		body = r.read(&a, old, x.who.Code, s.now())
		if r.since != nil && key == "" {
			page.since = r.since(&a)
		}
		page.since, page.wrong = cmp.Or(page.since, v.Now()), a.wrong
		return nil
	})
	if err != nil {
		return err
	}
	if err = page.complete(key); err == nil {
		err = s.keep(x, r, page, keyOf(body), body)
	}
	if err == nil {
		return x.redirect(r.at(keyOf(body)) + "?done=" + map[bool]string{true: "registered", false: "changed"}[key == ""])
	}
	return s.again(x, r, page, key, err)
}

// keep stores a body as a new edition.
func (s *Server) keep(x *exchange, r registry, page *formPage, key string, body any) error {
	e, err := x.entry(page.form)
	if err != nil {
		return err
	}
	e.Reason = page.Typed["reason"]
	if r.act.Signed {
		if err := x.sign(x.r.PostFormValue("secret")); err != nil {
			return err
		}
	}
	return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
		_, err := w.Edit(e, r.typ, key, ledger.ID(page.Base), body, page.since, func(at unit.Instant) (desk.Receipt, error) { return r.save(w, e, at, body) })
		return err
	})
}

// conflict says what somebody else has stored meanwhile.
type conflict struct {
	By, At  string
	Lines   []differenceLine
	Clashes []clash
}

// meanwhile makes the form go on from the edition that stands now, and says what changed.
func (s *Server) meanwhile(v desk.View, r registry, page *formPage, changed *desk.ChangedError) error {
	from, err := r.body(changed.From)
	if err != nil {
		return err
	}
	now, err := r.body(changed.Now)
	if err != nil {
		return err
	}
	zone := v.Zone()
	was, is := r.values(from, zone), r.values(now, zone)
	mine := page.Typed
	var both []string
	page.Typed, both = mingled(was, mine, is, page.sheet.names())
	page.Typed["reason"], page.Base = mine["reason"], changed.Now.ID
	page.Conflict = &conflict{By: changed.Now.By, At: s.clockOf(v)(changed.Now.Recorded), Lines: differenceLines(from, now, zone)}
	for _, n := range both {
		page.Conflict.Clashes = append(page.Conflict.Clashes, clash{page.sheet.label(n), is[n], mine[n]})
	}
	return nil
}

// capital begins a word with a capital letter.
func capital(text string) string { return string(text[0]-'a'+'A') + text[1:] }
