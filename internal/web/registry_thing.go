package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// thingPage is something that is registered: what it is, what can be done with it, and its editions.
type thingPage struct {
	One, Title, Href, List, ListText string
	Mark                             *words.Mark
	Said                             string
	// Gone says that the edition that is shown was taken back.
	Gone  bool
	Facts []factGroup
	// Edit is where it is changed; empty for whoever may not.
	Edit     string
	Links    []kit.Link
	Drawing  *kit.Picture
	Points   []samplingPointLine
	Warnings []string
	Tables   []listPage
	Acts     []actForm
	History  history
	Export   kit.Exports
}

// factGroup is what is said of one part of a thing, or of the thing itself.
type factGroup struct {
	Of    string
	Facts []desk.Fact
}

// factGroups puts together what is said of the same part, the thing itself first.
func factGroups(facts []desk.Fact) []factGroup {
	groups := make([]factGroup, 1)
	for _, f := range facts {
		i := slices.IndexFunc(groups, func(g factGroup) bool { return g.Of == f.Of })
		if i < 0 {
			i = len(groups)
			groups = append(groups, factGroup{Of: f.Of})
		}
		groups[i].Facts = append(groups[i].Facts, f)
	}
	return groups
}

// samplingPointLine is a sampling point of a model.
type samplingPointLine struct{ Name, When, Why, Area, Volume, Href string }

// actForm is something that can be done with a thing.
type actForm struct {
	*kit.Form
	Name, Summary, Action, Button string
	Base                          string
	Fields                        []kit.Field
	Open                          bool
}

// history are the editions of something and how two of them differ.
type history struct {
	Lines []editionLine
	// From and To choose the two editions; both are empty when there is only one edition.
	From, To []kit.Option
	Action   string
	Between  string
	Changes  []differenceLine
}

type editionLine struct {
	Number                   int
	Since, Recorded, By, Why string
	Href                     string
	Gone                     bool
	What                     string
	Extra                    string
	// Shown is where the edition is shown as a whole.
	Shown string
}

// differenceLine is one field in which two editions differ.
type differenceLine struct {
	desk.Difference
	Mark words.Mark
}

// differenceLines tells two bodies apart.
func differenceLines(t words.Terms, from, to any, zone *time.Location) []differenceLine {
	var lines []differenceLine
	for _, d := range desk.Differences(from, to, zone) {
		lines = append(lines, differenceLine{d, markOfDifference(t, d.Mark)})
	}
	return lines
}

func markOfDifference(t words.Terms, m desk.Mark) words.Mark {
	switch m {
	case desk.Added:
		return t.Mark(words.Added)
	case desk.Removed:
		return t.Mark(words.Removed)
	case desk.Altered:
	}
	return t.Mark(words.Changed)
}

// saidOf are the words for what was done with something that is registered.
var saidOf = map[string]string{
	"registered": "It is registered.", "changed": "The change is stored as a new edition; the earlier ones stay.",
	"left": "It is out of service.", "back": "It is back in service.", "recalled": "The lot is recalled: the bench refuses it from that instant on.",
	"cleared": "The recall is taken back: the lot may be used again while it is in date.",
}

// thing shows something that is registered, with an act that was sent and not accepted.
func (s setUpPages) thing(x *kit.Exchange, r registry, status int, was kit.Sent) error {
	key := x.R.PathValue(r.wild)
	wants, err := x.WantsFile()
	if err != nil {
		return err
	}
	page := thingPage{
		One:      r.one,
		Href:     r.href(s.Shell, key),
		List:     s.URL("/set-up/" + r.path),
		ListText: "All " + r.many,
		Said:     saidOf[x.R.URL.Query().Get("done")],
		Export:   x.Exports(),
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		all, err := r.editions(v, key)
		if err != nil {
			return err
		}
		e, err := edition(all, "")
		if err != nil {
			return err
		}
		body, err := r.body(e)
		if err != nil {
			return err
		}
		page.Title, page.Facts, page.Gone = r.title(body), factGroups(desk.Facts(body, v.Zone())), e.Gone
		if x.Can(r.act) && !e.Gone {
			page.Edit = page.Href + "/edit"
		}
		if page.History, err = historyOf(x, v, all, r.body, page.Href); err != nil {
			return err
		}
		if r.more != nil {
			err = r.more(x, v, &page, body)
		}
		for i := range page.Acts {
			page.Acts[i].dress(x, was, e.ID, page.Href)
		}
		return err
	})
	if err != nil {
		return err
	}
	if wants {
		return x.File(page.History.listing(r.one + " " + page.Title))
	}
	return x.Show(status, "set-up-thing", false, page)
}

// dress makes the form of an act, as it was sent or a new one.
func (a *actForm) dress(x *kit.Exchange, was kit.Sent, base, href string) {
	a.Form = x.Form(was, a.Name)
	a.Base, a.Action, a.Open = base, href+"/"+a.Name, was.Name == a.Name
	if was.Name == a.Name {
		a.Base = a.Typed["base"]
	}
	for i, f := range a.Fields {
		a.Fields[i].ID = a.Name + "-" + f.Name
		if was.Name == a.Name {
			a.Fields[i].Value = a.Typed[f.Name]
		}
	}
}

// historyOf lists the editions of something, the last one first, and tells two of them apart: those that
// the address names, or the last two that stand.
func historyOf(x *kit.Exchange, v desk.View, all []desk.Edition, body func(desk.Edition) (any, error), href string) (history, error) {
	h := history{Action: href}
	clock := x.Shell.ClockOf(v)
	for _, e := range slices.Backward(all) {
		h.Lines = append(h.Lines, editionLine{
			Number: e.Number, Since: clock(e.At), Recorded: clock(e.Recorded), By: e.By, Why: e.Reason, Href: x.RecordLink(e.ID), Gone: e.Gone,
		})
	}
	if len(all) < 2 {
		return h, nil
	}
	from, to := all[len(all)-2], all[len(all)-1]
	q := x.R.URL.Query()
	var err error
	if id := q.Get("from"); id != "" {
		from, err = edition(all, id)
	}
	if id := q.Get("to"); id != "" && err == nil {
		to, err = edition(all, id)
	}
	if err != nil {
		return h, err
	}
	for _, e := range slices.Backward(all) {
		text := fmt.Sprintf("%d, since %s", e.Number, clock(e.At))
		h.From = append(h.From, kit.Option{Value: e.ID, Text: text, Chosen: e.ID == from.ID})
		h.To = append(h.To, kit.Option{Value: e.ID, Text: text, Chosen: e.ID == to.ID})
	}
	old, err := body(from)
	if err != nil {
		return h, err
	}
	new, err := body(to)
	if err != nil {
		return h, err
	}
	h.Between = fmt.Sprintf("From edition %d to edition %d", from.Number, to.Number)
	h.Changes = differenceLines(x.Shell.Terms, old, new, v.Zone())
	return h, nil
}

// listing is the list of editions as a file.
func (h history) listing(name string) kit.Listing {
	l := kit.Listing{
		Name:    name,
		Columns: []table.SheetColumn{{Name: "edition", Number: true}, {Name: "since"}, {Name: "recorded"}, {Name: "by"}, {Name: "why"}, {Name: "taken back"}},
	}
	for _, e := range h.Lines {
		l.Rows = append(l.Rows, []string{fmt.Sprint(e.Number), e.Since, e.Recorded, e.By, e.Why, map[bool]string{true: "yes"}[e.Gone]})
	}
	return l
}

// actOn does something with a thing and shows its page again.
// sign, where there is one, takes the signatures that it needs.
func (s setUpPages) actOn(
	x *kit.Exchange,
	r registry,
	name, done string,
	fields []string,
	sign func(kit.Form, *desk.Entry) error,
	do func(*desk.Work, desk.Entry, kit.Form) error,
) error {
	key, f := x.R.PathValue(r.wild), x.Read(append(fields, "base", "reason")...)
	e, err := x.Entry(f)
	if err == nil {
		e.Reason = strings.TrimSpace(f.Typed["reason"])
		if sign != nil {
			err = sign(f, &e)
		}
	}
	if err == nil {
		err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error { return do(w, e, f) })
	}
	if err == nil {
		return x.Redirect(r.at(key) + "?done=" + done)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	if changed, raced := changedMeanwhile(err); raced {
		f.Problem = "Somebody else (" + changed.Now.By + ") has changed it meanwhile; nothing was stored. Look at the history below, then send the form again."
		f.Typed["base"] = changed.Now.ID
	}
	return s.thing(x, r, status, kit.Sent{Name: name, Form: f})
}

// actAt is actOn for what is done to a thing at an instant: to the thing of a key as it is in the edition of
// base.
func (s setUpPages) actAt(
	x *kit.Exchange,
	r registry,
	name, done string,
	do func(w *desk.Work, e desk.Entry, key string, base ledger.ID, at unit.Instant) error,
) error {
	return s.actOn(x, r, name, done, []string{"at"}, nil, func(w *desk.Work, e desk.Entry, f kit.Form) error {
		at, err := s.Instant(f.Typed["at"])
		if err != nil {
			return err
		}
		return do(w, e, x.R.PathValue(r.wild), baseOf(f), at)
	})
}
