package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/wire/table"
)

// thingPage is something that is registered: what it is, what can be done with it, and its editions.
type thingPage struct {
	One, Title, Href, List, ListText string
	Mark                             *mark
	Said                             string
	// Gone says that the edition that is shown was taken back.
	Gone  bool
	Facts []factGroup
	// Edit is where it is changed; empty for whoever may not.
	Edit     string
	Links    []link
	Drawing  *picture
	Points   []samplingPointLine
	Warnings []string
	Tables   []listPage
	Acts     []actForm
	History  history
	Export   exports
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
	*form
	Name, Summary, Action, Button string
	Base                          string
	Fields                        []field
	Open                          bool
}

// history are the editions of something and how two of them differ.
type history struct {
	Lines []editionLine
	// From and To choose the two editions; both are empty when there is only one edition.
	From, To []option
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
	Mark mark
}

// differenceLines tells two bodies apart.
func differenceLines(from, to any, zone *time.Location) []differenceLine {
	var lines []differenceLine
	for _, d := range desk.Differences(from, to, zone) {
		lines = append(lines, differenceLine{d, markOfDifference(d.Mark)})
	}
	return lines
}

func markOfDifference(m desk.Mark) mark {
	switch m {
	case desk.Added:
		return mark{"added", "+", "added"}
	case desk.Removed:
		return mark{"removed", "−", "removed"}
	case desk.Altered:
	}
	return mark{"changed", "≠", "altered"}
}

// saidOf are the words for what was done with something that is registered.
var saidOf = map[string]string{
	"registered": "It is registered.", "changed": "The change is stored as a new edition; the earlier ones stay.",
	"left": "It is out of service.", "back": "It is back in service.", "recalled": "The lot is recalled: the bench refuses it from that instant on.",
}

// thing shows something that is registered, with an act that was sent and not accepted.
func (s *Server) thing(x *exchange, r registry, status int, was sent) error {
	key := x.r.PathValue(r.wild)
	wants, err := x.wantsFile()
	if err != nil {
		return err
	}
	page := thingPage{One: r.one, Href: r.href(s, key), List: s.url("/set-up/" + r.path), ListText: "All " + r.many, Said: saidOf[x.r.URL.Query().Get("done")], Export: x.exports()}
	err = s.view(x.r.Context(), func(v desk.View) error {
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
		if x.can(r.act) && !e.Gone {
			page.Edit = page.Href + "/edit"
		}
		if page.History, err = s.historyOf(x, v, all, r.body, page.Href); err != nil {
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
		return x.file(page.History.listing(r.one + " " + page.Title))
	}
	return x.show(status, "set-up-thing", false, page)
}

// dress makes the form of an act, as it was sent or a new one.
func (a *actForm) dress(x *exchange, was sent, base, href string) {
	a.form = x.form(was, a.Name)
	a.Base, a.Action, a.Open = base, href+"/"+a.Name, was.name == a.Name
	if was.name == a.Name {
		a.Base = a.Typed["base"]
	}
	for i, f := range a.Fields {
		a.Fields[i].ID = a.Name + "-" + f.Name
		if was.name == a.Name {
			a.Fields[i].Value = a.Typed[f.Name]
		}
	}
}

// historyOf lists the editions of something, the last one first, and tells two of them apart: those that
// the address names, or the last two that stand.
func (s *Server) historyOf(x *exchange, v desk.View, all []desk.Edition, body func(desk.Edition) (any, error), href string) (history, error) {
	h := history{Action: href}
	clock := s.clockOf(v)
	for _, e := range slices.Backward(all) {
		h.Lines = append(h.Lines, editionLine{
			Number: e.Number, Since: clock(e.At), Recorded: clock(e.Recorded), By: e.By, Why: e.Reason, Href: x.recordLink(e.ID), Gone: e.Gone,
		})
	}
	if len(all) < 2 {
		return h, nil
	}
	from, to := all[len(all)-2], all[len(all)-1]
	q := x.r.URL.Query()
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
		h.From = append(h.From, option{e.ID, text, e.ID == from.ID})
		h.To = append(h.To, option{e.ID, text, e.ID == to.ID})
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
	h.Changes = differenceLines(old, new, v.Zone())
	return h, nil
}

// recordLink is the address of a record for whoever may open it, and empty for others.
func (x *exchange) recordLink(id string) string {
	if !x.may(access.SeeScope) {
		return ""
	}
	return x.s.recordHref(id)
}

// listing is the list of editions as a file.
func (h history) listing(name string) listing {
	l := listing{Name: name, Columns: []table.SheetColumn{{Name: "edition", Number: true}, {Name: "since"}, {Name: "recorded"}, {Name: "by"}, {Name: "why"}, {Name: "taken back"}}}
	for _, e := range h.Lines {
		l.Rows = append(l.Rows, []string{fmt.Sprint(e.Number), e.Since, e.Recorded, e.By, e.Why, map[bool]string{true: "yes"}[e.Gone]})
	}
	return l
}

// actOn does something with a thing and shows its page again.
func (s *Server) actOn(x *exchange, r registry, name, done string, fields []string, do func(*desk.Work, desk.Entry, form) error) error {
	key, f := x.r.PathValue(r.wild), x.read(append(fields, "base", "reason")...)
	e, err := x.entry(f)
	if err == nil {
		e.Reason = f.Typed["reason"]
		err = x.acting().Do(x.r.Context(), func(w *desk.Work) error { return do(w, e, f) })
	}
	if err == nil {
		return x.redirect(r.at(key) + "?done=" + done)
	}
	status, words, ok := refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	if changed, raced := changedMeanwhile(err); raced {
		f.Problem = "Somebody else (" + changed.Now.By + ") has changed it meanwhile; nothing was stored. Look at the history below, then send the form again."
		f.Typed["base"] = changed.Now.ID
	}
	return s.thing(x, r, status, sent{name, f})
}
