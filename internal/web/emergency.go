package web

import (
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// emergencyPage takes the decision to use a scope whatever the answer is. It is open to everybody, as the answer is: who
// stands at a patient may have no account, and a use that nobody recorded is the worse one.
type emergencyPage struct {
	Scope, Href string
	Mark        words.Mark
	// Usable says that the answer is yes, ByPaper that paper decides, Elsewhere that somebody else releases it.
	Usable, ByPaper, Elsewhere bool
	// Short is how far from ready the scope is; empty where nothing here speaks against it.
	Short string
	// Instead are scopes of the same model that are ready.
	Instead []insteadLine
	// Done is when the emergency use was recorded that this page tells of; empty before.
	Done    string
	Form    kit.Form
	Reasons []emergencyReason
}

type insteadLine struct{ Scope, Href, Until string }

type emergencyReason struct {
	Value, Words string
	Chosen       bool
}

func emergencyPath(tag string) string { return "/ready/" + url.PathEscape(tag) + "/emergency" }

func (s urgentPages) emergency(x *kit.Exchange) error {
	f := kit.Form{ID: string(ledger.NewID(s.Now(), rand.Reader)), Typed: map[string]string{}}
	return s.emergencyPage(x, http.StatusOK, f)
}

func (s urgentPages) emergencyPage(x *kit.Exchange, status int, f kit.Form) error {
	page := emergencyPage{Form: f}
	o, err := s.overview(x.R.Context())
	if err != nil {
		return err
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		if err != nil {
			return err
		}
		found, err := tagged(v, x.R.PathValue("tag"))
		if e, ok := errors.AsType[*fault.Error](err); ok && e.Code == fault.NotFound {
			return kit.NotHere("No scope has this tag, barcode or serial number. Write its use on the paper form, and tell the reprocessing department.")
		}
		if err != nil {
			return err
		}
		now := s.Now()
		clock := words.Seen(now, v.Zone())
		a, err := v.Day().AnswerNow(found.Tag, now, store.Forever)
		if err != nil {
			return err
		}
		page.Scope, page.Href = found.Tag, s.URL("/ready/"+url.PathEscape(found.Tag))
		page.Mark, page.Usable = s.Terms.State(a.State), a.State == reprocessing.Ready
		page.ByPaper, page.Elsewhere = a.State == reprocessing.PaperDecides, a.State == reprocessing.NothingAgainst
		if a.Short.Grade != reprocessing.Nothing {
			page.Short = s.shortOf(*a.Short, clock)
		}
		if id := x.R.URL.Query().Get("done"); id != "" {
			page.Done, err = emergencyDone(v, found.Tag, id, clock)
			return err
		}
		models := map[string]string{}
		for _, other := range fleet {
			models[other.Tag] = other.Model
		}
		for _, b := range o.board {
			if b.State == reprocessing.Ready && b.Scope != page.Scope && models[b.Scope] == found.Model {
				page.Instead = append(page.Instead, insteadLine{b.Scope, s.URL("/ready/" + url.PathEscape(b.Scope)), clock(b.Until)})
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, r := range reprocessing.EmergencyReasons {
		page.Reasons = append(page.Reasons, emergencyReason{string(r), r.Words(), f.Typed["reason"] == string(r)})
	}
	return x.Show(status, "emergency", x.Who == nil, page)
}

// emergencyDone returns when an emergency use of a scope was recorded, by its record.
func emergencyDone(v desk.View, tag, id string, clock words.Clock) (string, error) {
	l, err := v.Show(id)
	if err != nil {
		return "", err
	}
	if l.Scope() != tag || l.About() != record.UsedInEmergency {
		return "", kit.NotHere("There is no such emergency use of %s.", tag)
	}
	return clock(l.At), nil
}

// shortOf says how far from ready a scope is, in the terms of the site and by a clock.
func (s *Server) shortOf(short reprocessing.Short, clock words.Clock) string {
	return clock.Said(s.Terms.Sentence(short.Words))
}

// recordEmergency records that the scope goes on a patient now.
func (s urgentPages) recordEmergency(x *kit.Exchange) error {
	f := x.Read("reason", "words", "decided")
	tag := x.R.PathValue("tag")
	id, err := ledger.ParseID(f.ID)
	if err != nil {
		return &kit.PageError{Status: http.StatusBadRequest, Message: kit.Sentence(err.Error()), Hint: "Open the page anew and send the form again."}
	}
	unsigned := x.Who == nil && !s.stored(x, id)
	if refused := s.tooFast(x, unsigned, tag); refused != nil {
		status, words, _ := kit.Refused(x, refused)
		f.Problem = words
		return s.emergencyPage(x, status, f)
	}
	m := reprocessing.Emergency{Reason: reprocessing.EmergencyReason(f.Typed["reason"]), Words: f.Typed["words"], Decided: f.Typed["decided"]}
	var recorded desk.Receipt
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		if err := reasoned(m); err != nil {
			return err
		}
		found, err := tagged(w.View, tag)
		if err != nil {
			return err
		}
		tag = found.Tag
		recorded, err = desk.InEmergency(w).RecordEmergency(desk.Entry{ID: id}, tag, m)
		return err
	})
	if unsigned {
		s.tellUnsigned(x, tag, recorded)
	}
	if err == nil {
		return x.Redirect(emergencyPath(tag) + "?done=" + string(recorded.Record.ID))
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.emergencyPage(x, status, f)
}

// reasoned refuses an emergency that does not say why, in the words of the form: it has no names of reasons.
func reasoned(m reprocessing.Emergency) error {
	switch {
	case !slices.Contains(reprocessing.EmergencyReasons, m.Reason):
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Why can the patient not wait? Choose one of the reasons.", Hint: "Nothing is recorded yet."}
	case m.Reason == reprocessing.OtherReason && !reprocessing.Says(m.Words):
		return &kit.PageError{
			Status: http.StatusBadRequest, Message: "Say in words what the other reason is, or choose one of those above it.", Hint: "Nothing is recorded yet.",
		}
	}
	return nil
}

// stored says whether a form was sent before, and its record is there: whoever presses a button twice hears that it is.
func (s urgentPages) stored(x *kit.Exchange, id ledger.ID) bool {
	err := s.View(x.R.Context(), func(v desk.View) error {
		_, err := v.Show(string(id))
		return err
	})
	return err == nil
}

// tooFast refuses whoever has not signed in and presses for more scopes, from one place, than people have patients for:
// each press takes a scope out of use, so that a program that presses for all of them closes the department.
func (s urgentPages) tooFast(x *kit.Exchange, unsigned bool, tag string) error {
	if !unsigned {
		return nil
	}
	from := x.Source().Address
	wait, first := s.unsigned.Take(from, s.Now())
	if wait == 0 {
		return nil
	}
	if first {
		s.Log.Warn("emergency uses are refused that nobody signed: too many from one address", slog.String("address", from), slog.String("scope", tag))
	}
	seconds := int(math.Ceil(wait.Seconds()))
	x.W.Header().Set("Retry-After", strconv.Itoa(seconds))
	return &kit.PageError{
		Status:  http.StatusTooManyRequests,
		Message: fmt.Sprintf("Too many emergency uses were pressed here without signing in; the next one is heard in %d s.", seconds),
		Hint:    "Nothing was stored. Sign in, then it is heard at once, or write the use on the paper form: the patient need not wait for this page.",
	}
}

// tellUnsigned logs from where somebody who has not signed in has recorded an emergency use. What was refused for another
// reason does not count as a press.
func (s urgentPages) tellUnsigned(x *kit.Exchange, tag string, r desk.Receipt) {
	from := x.Source().Address
	if !r.Fresh {
		s.unsigned.PutBack(from)
		return
	}
	s.Log.Warn("an emergency use is recorded that nobody signed",
		slog.String("address", from), slog.String("scope", tag), slog.String("record", string(r.Record.ID)))
}

// emergenciesPath is where emergency uses are looked into.
const emergenciesPath = "/emergencies"

// emergenciesPage lists the emergency uses.
type emergenciesPage struct {
	Said string
	// Unseen leaves out those that infection prevention has seen; Waiting is how many it has not.
	Unseen  bool
	Waiting int
	Lines   []emergencyLine
	Exports kit.Exports
}

// emergencyLine is one emergency use.
type emergencyLine struct {
	Record, RecordHref, Scope, ScopeHref string
	At, Late, Ended                      string
	Why, Words, Decided, By              string
	State                                words.Mark
	Short                                string
	Lacking                              string
	Holds                                []emergencyHold
	// NoHold says why there is no hold, where there is none.
	NoHold string
	Seen   []string
	// TakenBack says who took it back and why; empty while it stands.
	TakenBack string
	// See and Rest are the forms for whoever may say that it was seen, and record the rest; nil for others.
	See, Rest *kit.Form
	// Open says that the end is not on record, NoPatient that the patient's number is not.
	Open, NoPatient bool
}

type emergencyHold struct {
	Href, Kind, Next string
	Open             bool
}

// emergenciesOver is from how far back they are listed, in days; those that nobody has seen are, however old.
const emergenciesOver = 366

func (s urgentPages) emergencies(x *kit.Exchange) error {
	return s.emergenciesPage(x, http.StatusOK, kit.Sent{})
}

func (s urgentPages) emergenciesPage(x *kit.Exchange, status int, was kit.Sent) error {
	page := emergenciesPage{Unseen: x.R.URL.Query().Get("show") == "unseen"}
	switch x.R.URL.Query().Get("done") {
	case "seen":
		page.Said = "It is recorded that you have seen it."
	case "rest":
		page.Said = "The rest is recorded."
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		now := s.Now()
		clock := s.ClockOf(v)
		if wanted {
			clock = words.Dated(v.Zone())
		}
		pending, err := v.Day().PendingEmergencies()
		if err != nil {
			return err
		}
		page.Waiting = pending.Unseen
		all, err := v.Day().Emergencies(0, store.Forever, page.Unseen)
		if err != nil {
			return err
		}
		from := now.AddDays(-emergenciesOver, v.Zone())
		for _, u := range all {
			if u.Start >= from || u.TakenBack == nil && (len(u.Seen) == 0 || len(u.Lacking) > 0) {
				page.Lines = append(page.Lines, s.emergencyLine(u, clock))
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	for i := range page.Lines {
		l := &page.Lines[i]
		if x.Can(desk.ToSeeEmergency) && len(l.Seen) == 0 && l.TakenBack == "" {
			l.See = x.Form(was, "seen "+l.Record)
			l.See.Prove = x.Unsigned()
		}
		if x.Can(desk.ToCompleteEmergency) && l.Lacking != "" {
			l.Rest = x.Form(was, "rest "+l.Record)
			l.Rest.Prove = !l.Open && x.Unsigned()
		}
	}
	page.Exports = x.Exports()
	return x.Show(status, "emergencies", false, page)
}

func (s urgentPages) emergencyLine(u desk.EmergencyUse, clock words.Clock) emergencyLine {
	l := emergencyLine{
		Record: string(u.Record), RecordHref: s.RecordHref(string(u.Record)), Scope: u.Scope, ScopeHref: s.ScopeHref(u.Scope),
		At: clock(u.Start), Ended: clock(u.End), Why: u.Emergency.Reason.Words(), Words: u.Emergency.Words, Decided: u.Emergency.Decided, By: u.By,
		State: s.Terms.State(reprocessing.State(u.Emergency.State)), NoHold: u.NoHold(), Short: s.shortOf(reprocessing.Short{Words: u.Emergency.Short}, clock),
		Lacking: strings.Join(u.Lacking, ", "), Open: !u.End.Known() && !u.EndNotKnown,
		NoPatient: slices.Contains(u.Lacking, reprocessing.PatientLacks),
	}
	if u.EndNotKnown {
		l.Ended = "not known"
	}
	if t := u.TakenBack; t != nil {
		l.TakenBack = "by " + t.Who() + ", " + clock(t.At) + ": " + t.Why
	}
	if desk.Late(u.Start, u.Recorded) {
		l.Late = clock(u.Recorded)
	}
	if u.Emergency.Unsigned {
		l.By = ""
	}
	for _, h := range u.Holds {
		l.Holds = append(l.Holds, emergencyHold{s.RecordHref(string(h.Record)), h.Kind.Words(), s.Terms.Sentence(h.Next), h.Open})
	}
	for _, seen := range u.Seen {
		said := seen.By + ", " + clock(seen.At)
		if seen.Note != "" {
			said += ": " + seen.Note
		}
		l.Seen = append(l.Seen, said)
	}
	return l
}

func (p emergenciesPage) listing() kit.Listing {
	l := kit.Listing{Name: "emergency uses", Columns: kit.Columns(
		"scope", "begun", "ended", "why", "in words", "decided by", "recorded by", "release check said", "short of ready",
		"not on record yet", "holds", "seen", "taken back", "record",
	)}
	for _, u := range p.Lines {
		holds := make([]string, len(u.Holds))
		for i, h := range u.Holds {
			holds[i] = h.Kind + map[bool]string{true: " (open)", false: " (ended)"}[h.Open]
		}
		l.Rows = append(l.Rows, []string{
			u.Scope, u.At, u.Ended, u.Why, u.Words, u.Decided, u.By, u.State.Word, u.Short, u.Lacking, strings.Join(holds, "; "), strings.Join(u.Seen, "; "),
			u.TakenBack, u.Record,
		})
	}
	return l
}

// emergencyAct does what a form of the list asks for, and shows the list again.
func (s urgentPages) emergencyAct(x *kit.Exchange, name string, f kit.Form, do func(*desk.Work, desk.Entry, ledger.ID) error) error {
	e, err := x.Entry(f)
	if err == nil && x.R.PostFormValue("secret") != "" {
		err = x.Sign(x.R.PostFormValue("secret"))
	}
	if err == nil {
		err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error { return do(w, e, ledger.ID(x.R.PathValue("record"))) })
	}
	if err == nil {
		return x.Redirect(emergenciesPath + "?done=" + name)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	if strings.TrimSpace(x.R.PostFormValue("patient")) != "" {
		f.Problem += " Type the patient's number again: a number is never written back into a page."
	}
	return s.emergenciesPage(x, status, kit.Sent{Name: name + " " + x.R.PathValue("record"), Form: f})
}

// seeEmergency records that infection prevention has seen an emergency use. It is a signature.
func (s urgentPages) seeEmergency(x *kit.Exchange) error {
	f := x.Read("note")
	return s.emergencyAct(x, "seen", f, func(w *desk.Work, e desk.Entry, use ledger.ID) error {
		_, err := desk.InEmergency(w).SeeEmergency(e, use, f.Typed["note"])
		return err
	})
}

// notKnown is what a form sends where nobody can say something any more.
const notKnown = "not-known"

// restOfEmergency records the end of an emergency use, its patient and procedure.
func (s urgentPages) restOfEmergency(x *kit.Exchange) error {
	f := x.Read("ended", "end", "who", "procedure", "room")
	rest := desk.Rest{
		Procedure: f.Typed["procedure"], Room: f.Typed["room"], Patient: x.R.PostFormValue("patient"),
		EndNotKnown: f.Typed["end"] == notKnown, PatientNotKnown: f.Typed["who"] == notKnown,
	}
	return s.emergencyAct(x, "rest", f, func(w *desk.Work, e desk.Entry, use ledger.ID) error {
		if f.Typed["ended"] != "" {
			var err error
			if rest.End, err = s.Instant(f.Typed["ended"]); err != nil {
				return err
			}
		}
		_, err := desk.InEmergency(w).CompleteEmergency(e, use, rest)
		return err
	})
}

// pendingEmergencies are the lines that lead from Today to the emergency uses; nil while none waits.
type pendingEmergencies struct {
	desk.PendingEmergencies
	// UnseenHref leads to those that nobody has seen, Href to all.
	UnseenHref, Href string
}

func (s urgentPages) pending(x *kit.Exchange, p desk.PendingEmergencies) *pendingEmergencies {
	if p == (desk.PendingEmergencies{}) || !x.May(access.SeeScope) {
		return nil
	}
	return &pendingEmergencies{p, s.URL(emergenciesPath + "?show=unseen"), s.URL(emergenciesPath)}
}
