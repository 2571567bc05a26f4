package web

import (
	"cmp"
	"net/url"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
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
	// second says when somebody else has to sign it too, and who that may be; empty where one is always enough.
	second string
	// body reads an edition, key and title tell what it is called in records and on pages.
	body  func(desk.Edition) (any, error)
	key   func(body any) string
	title func(body any) string
	// list fills in the list as it was asked for.
	list func(*kit.Exchange, desk.View, *listPage) error
	// fields puts the fields onto a sheet; old is what is changed, nil for something new.
	fields func(sheet *kit.Sheet, v desk.View, old any) error
	// values are what the fields of the form show of a body.
	values func(body any, zone *time.Location) map[string]string
	// blank are the values of the form for something new.
	blank func(now unit.Instant, zone *time.Location) map[string]string
	// read makes a body of what was typed.
	read func(a *kit.Reply, old any, by string, now unit.Instant) any
	// since is when a new one begins to be there, where its form asks; nil stands for now.
	since func(a *kit.Reply) unit.Instant
	save  func(w *desk.Work, e desk.Entry, at unit.Instant, body any) (desk.Receipt, error)
	// preview shows what would be stored; nil where there is nothing to see.
	preview func(*kit.Exchange, desk.View, *formPage, any) error
	// more fills in what else its page shows.
	more func(*kit.Exchange, desk.View, *thingPage, any) error
}

// decoded reads the body of an edition.
func decoded[T any](e desk.Edition) (any, error) { return desk.BodyOf[T](e) }

// href is the address of a thing.
func (r registry) href(s *kit.Shell, key string) string { return s.URL(r.at(key)) }

func (r registry) at(key string) string { return "/set-up/" + r.path + "/" + url.PathEscape(key) }

// editions returns the editions of the thing that an address names.
func (r registry) editions(v desk.View, key string) ([]desk.Edition, error) {
	all, err := v.Records().Editions(r.typ, key)
	if err == nil && len(all) == 0 {
		err = kit.NotHere("No %s is called %q.", r.one, key)
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
		return desk.Edition{}, kit.NotHere("There is no such edition.")
	}
	return all[i], nil
}

// register stores something new.
func (s setUpPages) register(x *kit.Exchange, r registry) error {
	return s.store(x, r, "", func(body any) string { return r.key(body) })
}

// changeThing stores a new edition of something.
func (s setUpPages) changeThing(x *kit.Exchange, r registry) error {
	key := x.R.PathValue(r.wild)
	return s.store(x, r, key, func(any) string { return key })
}

// store reads a form and stores what it says, or shows it again with what is wrong.
func (s setUpPages) store(x *kit.Exchange, r registry, key string, keyOf func(any) string) error {
	page := s.formOfRegistry(r, key)
	var body, old any
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		if old, err = page.fill(x, v, r, key, x.R.PostForm); err != nil {
			return err
		}
		a := kit.Reply{Typed: page.Typed, Zone: v.Zone()}
		body = r.read(&a, old, x.Who.Code, s.Now())
		if r.since != nil && key == "" {
			page.since = r.since(&a)
		}
		page.since, page.wrong = cmp.Or(page.since, v.Now()), a.Wrong
		return nil
	})
	if err != nil {
		return err
	}
	if err = page.complete(key); err == nil {
		err = s.keep(x, r, page, keyOf(body), body)
	}
	if err == nil {
		return x.Redirect(r.at(keyOf(body)) + "?done=" + map[bool]string{true: "registered", false: "changed"}[key == ""])
	}
	return s.again(x, r, page, key, err)
}

// keep stores a body as a new edition.
func (s setUpPages) keep(x *kit.Exchange, r registry, page *formPage, key string, body any) error {
	e, err := x.Entry(page.Form)
	if err != nil {
		return err
	}
	e.Reason = page.Typed["reason"]
	if r.act.Signed {
		if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
			return err
		}
	}
	if r.second != "" {
		if err := vouched(x, page.Typed["second"], &e); err != nil {
			return err
		}
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.SettingUp().
			Edit(e, r.typ, key, ledger.ID(page.Base), body, page.since, func(at unit.Instant) (desk.Receipt, error) { return r.save(w, e, at, body) })
		return err
	})
}

// conflict says what somebody else has stored meanwhile.
type conflict struct {
	By, At  string
	Lines   []differenceLine
	Clashes []kit.Clash
}

// meanwhile makes the form go on from the edition that stands now, and says what changed.
func (s setUpPages) meanwhile(v desk.View, r registry, page *formPage, changed *desk.ChangedError) error {
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
	page.Typed, both = kit.Mingled(was, mine, is, page.sheet.Names())
	page.Typed["reason"], page.Base = mine["reason"], changed.Now.ID
	page.Conflict = &conflict{By: changed.Now.By, At: s.ClockOf(v)(changed.Now.Recorded), Lines: differenceLines(s.Terms, from, now, zone)}
	for _, n := range both {
		page.Conflict.Clashes = append(page.Conflict.Clashes, kit.Clash{Label: page.sheet.Label(n), Theirs: is[n], Mine: mine[n]})
	}
	return nil
}

// capital begins a word with a capital letter.
func capital(text string) string { return string(text[0]-'a'+'A') + text[1:] }
