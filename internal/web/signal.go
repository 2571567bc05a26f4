package web

import (
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// signalPage is one signal: what the charts say, what came with it, and what people did about it.
type signalPage struct {
	signalRow
	Said, AsOf string
	// Problem is what is wrong with a form that the page does not have any more.
	Problem string
	// Waiting says that it is not known yet whether it still signals.
	Waiting bool
	Chart   *kit.Picture
	// With is what came together with the change; People says that persons are named, PeopleHref is where
	// they are named or not.
	Circumstances []circumstanceLine
	People        bool
	PeopleHref    string
	Together      []signalRow
	// More is how many more series changed at the same time.
	More  int
	Life  []lifeLine
	Forms signalForms
	State words.Mark
}

// circumstanceLine is something that came together with a change.
type circumstanceLine struct{ Words, Href string }

// lifeLine is what somebody did about the signal.
type lifeLine struct {
	At, By, Act, Words, Cause, Href string
	// Record is what is linked.
	Record, RecordWords string
	// Gone says that it was taken back, Idle that it counts no more since it rests on something that was.
	Gone, Idle bool
	Void       *kit.Form
	Key        string
}

// signalForms are what can be done about the signal; nil for what cannot, by this person or at this state.
type signalForms struct {
	Base                               string
	Seen, Explain, Link, Close, Reopen *kit.Form
	Prove                              bool
	Causes                             []trend.Cause
	Measures                           []measureLine
}

type measureLine struct{ ID, Words string }

// What is shown of a series about a change, in readings before it and after the last signal, and how many
// other series that changed with it.
const (
	readingsAbout = 30
	togetherShown = 12
)

// acted are the words for what was done about a signal.
var acted = map[string]string{
	"seen":      "It is on record that you have seen the signal.",
	"explained": "The explanation is on record.",
	"linked":    "The record is linked.",
	"closed":    "The signal is closed.",
	"reopened":  "The signal is open again.",
	"void":      "The entry is taken back.",
}

func (s numberPages) signal(x *kit.Exchange) error {
	return s.signalPage(x, http.StatusOK, kit.Sent{})
}

// found returns a signal by the id in the address.
func (s numberPages) found(v desk.View, x *kit.Exchange, o *desk.Outlook) (desk.Raised, error) {
	id, err := ledger.ParseID(x.R.PathValue("signal"))
	if err != nil {
		return desk.Raised{}, kit.NotHere("There is no signal %s.", x.R.PathValue("signal"))
	}
	all, err := v.Numbers().Raised(signalsIn(o))
	if err != nil {
		return desk.Raised{}, err
	}
	i := slices.IndexFunc(all, func(r desk.Raised) bool { return r.ID == id })
	if i < 0 && o == nil {
		return desk.Raised{}, beingComputed()
	}
	if i < 0 {
		// A signal that nobody has acted on goes by the reading that raised it; when that moves, nothing holds the old
		// address.
		return desk.Raised{}, &kit.PageError{
			Status:  http.StatusNotFound,
			Message: "The charts no longer raise this signal, and nobody has acted on it.",
			Hint:    "Look for it in the list of signals: a late reading can have moved its beginning.",
		}
	}
	return all[i], nil
}

func (s numberPages) signalPage(x *kit.Exchange, status int, was kit.Sent) error {
	o := s.outlook()
	q := x.R.URL.Query()
	page := signalPage{Said: acted[q.Get("done")], People: q.Has("people"), Waiting: o == nil}
	if o != nil {
		page.AsOf = words.Short(o.At, s.Now(), s.Desk.DB.Zone())
	}
	page.PeopleHref = x.With("people", map[bool]string{false: "shown"}[page.People])
	err := s.View(x.R.Context(), func(v desk.View) error {
		r, err := s.found(v, x, o)
		if err != nil {
			return err
		}
		page.signalRow, page.State = s.signalRow(r, page.People), s.Terms.Life(r.State)
		if page.Chart, err = s.changeChart(v, r, o); err != nil {
			return err
		}
		if r.Signal != nil {
			if page.Circumstances, err = s.circumstances(v, r, page.People); err != nil {
				return err
			}
			if err := s.together(&page, v, r, o); err != nil {
				return err
			}
		}
		life, err := v.Numbers().Life(r.ID)
		if err != nil {
			return err
		}
		if page.Life, err = s.lifeLines(v, x, life, was); err != nil {
			return err
		}
		return s.signalForms(&page.Forms, v, x, r, was)
	})
	if err != nil {
		return err
	}
	if !page.has(was.Form) {
		page.Problem = was.Form.Problem
	}
	return x.Show(status, "signal", false, page)
}

// has says whether the page shows a form that was sent.
func (p signalPage) has(f kit.Form) bool {
	forms := []*kit.Form{p.Forms.Seen, p.Forms.Explain, p.Forms.Link, p.Forms.Close, p.Forms.Reopen}
	for _, l := range p.Life {
		forms = append(forms, l.Void)
	}
	return slices.ContainsFunc(forms, func(g *kit.Form) bool { return g != nil && g.ID == f.ID && g.Problem == f.Problem })
}

// changeChart draws the readings about the change; nil when the series has none any more.
func (s numberPages) changeChart(v desk.View, r desk.Raised, o *desk.Outlook) (*kit.Picture, error) {
	series, err := s.watched(v, r.Series, desk.UsualWatching(), o)
	if fault.CodeOf(err) == fault.NotFound {
		return nil, nil //nolint:nilnil // no picture is an answer
	}
	if err != nil {
		return nil, err
	}
	begin, last := r.Signalled, r.Signalled
	if r.Signal != nil {
		begin, last = r.Signal.Begin(), r.Signal.Last
	}
	index := func(at unit.Instant) int {
		i := slices.IndexFunc(series.Points, func(p trend.Point) bool { return p.At >= at })
		if i < 0 {
			return len(series.Points)
		}
		return i
	}
	lo, hi := max(0, index(begin)-readingsAbout), min(len(series.Points), index(last+1)+readingsAbout)
	if lo >= hi {
		return nil, nil //nolint:nilnil // no picture is an answer
	}
	levels, err := v.Registry().LevelsFor(r.Series, series.Kind, s.Now())
	if err != nil {
		return nil, err
	}
	return s.drawn(series, figure.Single, lo, hi, levels), nil
}

// circumstances lists what came together with a change, each with its record.
func (s numberPages) circumstances(v desk.View, r desk.Raised, people bool) ([]circumstanceLine, error) {
	var lines []circumstanceLine
	for _, c := range r.Signal.Coincides {
		line := circumstanceLine{Words: withWords([]string{c}, people)}
		typ, key := record.Kind(""), ""
		if lot, ok := strings.CutPrefix(c, "lot "); ok {
			typ, key = record.Lot, r.Series.Kit+"|"+lot
		} else if meter, ok := strings.CutPrefix(c, "meter "); ok {
			typ, key = record.Meter, meter
		}
		if typ != "" {
			id, ok, err := v.Numbers().Registered(typ, key)
			if err != nil {
				return nil, err
			}
			if ok {
				line.Href = s.RecordHref(string(id))
			}
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// together lists the signals of other series that changed at the same time.
func (s numberPages) together(page *signalPage, v desk.View, r desk.Raised, o *desk.Outlook) error {
	others := desk.Together(o.Signals, *r.Signal)
	page.More = max(0, len(others)-togetherShown)
	raised, err := v.Numbers().Raised(others[:min(len(others), togetherShown)])
	for _, other := range raised {
		if other.Signal != nil {
			page.Together = append(page.Together, s.signalRow(other, page.People))
		}
	}
	return err
}

// lifeLines lists what people did about a signal.
func (s numberPages) lifeLines(v desk.View, x *kit.Exchange, life desk.Life, was kit.Sent) ([]lifeLine, error) {
	clock := s.ClockOf(v)
	var lines []lifeLine
	for _, h := range life.Acts {
		line := lifeLine{
			At: clock(
				h.At,
			),
			By:     h.By,
			Act:    string(h.Act),
			Words:  h.Words,
			Cause:  h.Cause.Words(),
			Href:   s.RecordHref(string(h.ID)),
			Record: s.RecordHref(string(h.Record)),
			Gone:   h.Replaced.Known(),
			Idle:   !h.Counts && !h.Replaced.Known(),
			Key:    string(h.ID),
		}
		if h.Record != "" {
			l, err := v.Show(string(h.Record))
			if err != nil {
				return nil, err
			}
			line.RecordWords = s.Terms.Kind(l.Type) + " of " + clock(l.At)
			if l.Replaced.Known() {
				line.RecordWords += ", which another record has replaced since"
			}
		}
		if !line.Gone {
			var err error
			if line.Void, err = kit.VoidForm(x, v, was, h.ID); err != nil {
				return nil, err
			}
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// signalForms gives the page the forms for what whoever asks may do at this state.
func (s numberPages) signalForms(f *signalForms, v desk.View, x *kit.Exchange, r desk.Raised, was kit.Sent) error {
	f.Base, f.Causes, f.Prove = s.SignalHref(r.ID), trend.Causes, x.Unsigned()
	can := func(a trend.Act) *kit.Form {
		if _, err := r.State.Next(a); err != nil || !x.Can(desk.ActOnSignal(a)) {
			return nil
		}
		return x.Form(was, string(a))
	}
	f.Seen, f.Explain, f.Link = can(trend.Seen), can(trend.Explained), can(trend.Linked)
	f.Close, f.Reopen = can(trend.Closed), can(trend.Reopened)
	if f.Link == nil {
		return nil
	}
	begin := r.Signalled
	if r.Signal != nil {
		begin = r.Signal.Begin()
	}
	measures, err := v.Numbers().Measures(r.Series, begin)
	clock := s.ClockOf(v)
	for _, m := range measures {
		words := s.Terms.Kind(m.Type) + " of " + clock(m.At)
		if m.What != "" {
			words += ": " + m.What
		}
		f.Measures = append(f.Measures, measureLine{string(m.ID), words})
	}
	return err
}

// handleSignal records that somebody has seen a signal, says what was behind it, or links what was done.
func (s numberPages) handleSignal(x *kit.Exchange) error {
	act := trend.Act(x.R.PostFormValue("act"))
	if !slices.Contains([]trend.Act{trend.Seen, trend.Explained, trend.Linked}, act) {
		return badChoice("%q is nothing that is done about a signal.", string(act))
	}
	return s.actOnSignal(x, act)
}

// closeSignal closes a signal or opens it again. It is a signature.
func (s numberPages) closeSignal(x *kit.Exchange) error {
	act := trend.Act(x.R.PostFormValue("act"))
	if act != trend.Closed && act != trend.Reopened {
		return badChoice("%q is nothing that is done about a signal.", string(act))
	}
	return s.actOnSignal(x, act)
}

func (s numberPages) actOnSignal(x *kit.Exchange, act trend.Act) error {
	f := x.Read("words", "cause", "record", "other")
	return s.doOnSignal(x, string(act), f, string(act), func(e desk.Entry) error {
		h, err := s.handlingOf(act, f)
		if err != nil {
			return err
		}
		if desk.ActOnSignal(act).Signed {
			if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
				return err
			}
		}
		o := s.outlook()
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			r, err := s.found(w.View, x, o)
			if err != nil {
				return err
			}
			h.Signal, h.Identity, h.Begin, h.Last = r.ID, r.Identity, r.Signalled, r.Signalled
			if r.Signal != nil {
				h.Begin, h.Last = r.Signal.Begin(), r.Signal.Last
			}
			_, err = w.OnSignals().HandleSignal(e, h)
			return err
		})
	})
}

// handlingOf reads what a form says about an act.
func (s numberPages) handlingOf(act trend.Act, f kit.Form) (trend.Handling, error) {
	h := trend.Handling{Act: act, Words: strings.TrimSpace(strings.ReplaceAll(f.Typed["words"], "\r\n", "\n"))}
	switch act {
	case trend.Explained:
		h.Cause = trend.Cause(f.Typed["cause"])
	case trend.Linked:
		text := f.Typed["record"]
		if other := strings.TrimSpace(f.Typed["other"]); other != "" {
			text = other
		}
		if text == "" {
			return h, &kit.PageError{Status: http.StatusBadRequest, Message: "Choose a record, or write the id of one."}
		}
		id, err := ledger.ParseID(text)
		if err != nil {
			return h, &kit.PageError{Status: http.StatusBadRequest, Message: kit.Sentence(err.Error()), Hint: "It is at the top of the page of the record."}
		}
		h.Record = id
	case trend.Seen, trend.Closed, trend.Reopened:
	}
	return h, nil
}

// voidHandling takes back what somebody did about a signal.
func (s numberPages) voidHandling(x *kit.Exchange) error {
	f := x.Read("act", "reason")
	return s.doOnSignal(x, "void-"+f.Typed["act"], f, "void", func(e desk.Entry) error {
		var life desk.Life
		if err := s.View(x.R.Context(), func(v desk.View) (err error) {
			life, err = v.Numbers().Life(ledger.ID(x.R.PathValue("signal")))
			return err
		}); err != nil {
			return err
		}
		i := slices.IndexFunc(life.Acts, func(h desk.Handled) bool { return string(h.ID) == f.Typed["act"] })
		if i < 0 {
			return kit.NotHere("This signal has no such entry.")
		}
		e.Corrects, e.Reason = life.Acts[i].ID, strings.TrimSpace(f.Typed["reason"])
		if e.Reason == "" {
			return &kit.PageError{Status: http.StatusBadRequest, Message: "Say why the entry is taken back."}
		}
		return kit.TakeBack(x, e)
	})
}

// doOnSignal does what a form of a signal's page asks for and shows the page again.
func (s numberPages) doOnSignal(x *kit.Exchange, name string, f kit.Form, done string, do func(desk.Entry) error) error {
	e, err := x.Entry(f)
	if err == nil {
		err = do(e)
	}
	if err == nil {
		return x.Redirect("/signals/" + x.R.PathValue("signal") + "?done=" + done + "#life")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	return s.signalPage(x, status, kit.Sent{Name: name, Form: f})
}
