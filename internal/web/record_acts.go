package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// recordActs are what can be done to a record on its page.
type recordActs struct {
	// ToVoid and ToCorrect are where the forms are; empty where nothing of the kind is possible.
	ToVoid, ToCorrect string
	// Void and Correct are the forms, when they were asked for.
	Void, Correct *recordActForm
	// Ask asks for the value of a correction first.
	Ask *kit.Form
}

// recordActForm voids or corrects a record. It says before what else changes.
type recordActForm struct {
	*kit.Form
	// Follows is what else changes, Refused why it cannot be done.
	Follows []string
	Refused string
	// Value is that of the correction.
	Value string
}

// actsOn returns what whoever asks may do to a record that stands.
func (s recordPages) actsOn(x *kit.Exchange, l desk.Line, was kit.Sent) (a recordActs, err error) {
	if l.Replaced.Known() || l.Type == record.Void {
		return a, nil
	}
	signed, err := kit.TakesBack(x, ledger.ID(l.ID))
	if fault.CodeOf(err) == fault.Forbidden {
		return a, nil
	}
	if err != nil {
		return a, err
	}
	prove := signed && x.Unsigned()
	href := s.RecordHref(l.ID)
	a.ToVoid = href + "?act=void#act"
	if l.Type == record.Reading {
		a.ToCorrect = href + "?act=correct#act"
	}
	q := x.R.URL.Query()
	act, value := q.Get("act"), strings.TrimSpace(q.Get("value"))
	if was.Name != "" {
		act, value = was.Name, was.Form.Typed["value"]
	}
	switch {
	case act == "void":
		a.Void = s.foreseen(x, l, was, act, prove, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.Void(e) })
		a.Void.Follows = append(voidWords(l), a.Void.Follows...)
	case act == "correct" && a.ToCorrect != "" && value == "":
		a.Ask = x.Form(was, "correct")
	case act == "correct" && a.ToCorrect != "":
		a.Correct = s.foreseen(x, l, was, act, prove, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return correct(w, e, l, value) })
		a.Correct.Value = value
	}
	return a, nil
}

// voidWords says what the void of a record of a type means.
func voidWords(l desk.Line) []string {
	if d, ok := record.Of(l.Type); ok && d.Undone != "" {
		return []string{d.Undone}
	}
	return nil
}

// foreseen tries an act, takes it back and tells what would follow.
func (s recordPages) foreseen(
	x *kit.Exchange,
	l desk.Line,
	was kit.Sent,
	name string,
	prove bool,
	do func(*desk.Work, desk.Entry) (desk.Receipt, error),
) *recordActForm {
	f := &recordActForm{Form: x.Form(was, name)}
	f.Prove = prove
	tag := l.Scope()
	err := x.Acting().Try(x.R.Context(), func(w *desk.Work) error {
		before := releaseWords(s.Terms, w, tag)
		r, err := do(w, desk.Entry{By: x.Who.Code, Corrects: ledger.ID(l.ID), Reason: "to see what follows"})
		if err != nil {
			return err
		}
		if l.Type == record.Reading && name == "correct" {
			f.Follows = append(f.Follows, "The reading becomes: "+recordWords(r.Record)+".")
		}
		for _, followed := range r.Followed {
			f.Follows = append(f.Follows, followWords(followed))
		}
		if after := releaseWords(s.Terms, w, tag); after != before {
			f.Follows = append(f.Follows, "The release check of "+tag+" says “"+before+"” now, and “"+after+"” then.")
		}
		return nil
	})
	if err != nil {
		shown := x.Shown(err)
		f.Refused = strings.TrimSpace(shown.Message + " " + shown.Hint)
	}
	return f
}

// releaseWords is what the release check says of a scope in a transaction; empty where there is no scope.
func releaseWords(t words.Terms, w *desk.Work, tag string) string {
	a, err := w.ReleaseNow(tag, w.Now(), store.Forever)
	if tag == "" || err != nil { // a record may name a scope that is not registered
		return ""
	}
	return t.State(a.State).Word
}

func recordWords(r ledger.Record) string {
	return desk.Line{Type: record.KindOf(r), Reason: r.Reason, Body: r.Body}.Words()
}

// followWords says what a record that follows by the rules means.
func followWords(r ledger.Record) string {
	kind, what := record.KindOf(r), ""
	if d, ok := record.Of(kind); ok {
		what = d.Followed
	}
	return cmp.Or(what, sentenceCase(record.Called(kind))+" is recorded") + ": " + recordWords(r) + "."
}

// correct takes the place of a reading with another value of the same sample, meter and instant.
func correct(w *desk.Work, e desk.Entry, l desk.Line, typed string) (desk.Receipt, error) {
	var x reading.Reading
	if err := json.Unmarshal(l.Body, &x); err != nil {
		return desk.Receipt{}, err
	}
	value, err := reading.ParseValue(x.Value.Analyte, x.Value.Unit, typed)
	if err != nil {
		return desk.Receipt{}, &kit.PageError{Status: http.StatusBadRequest, Message: kit.Sentence(err.Error()), Hint: "Type what the meter showed."}
	}
	return w.Read(e, desk.Reading{Sample: ledger.ID(x.Sample), Meter: x.Meter, Value: value, At: x.With.At})
}

// voidRecord takes a record back.
func (s recordPages) voidRecord(x *kit.Exchange) error {
	return s.replaceRecord(x, "void", "voided", x.Read("reason"), func(w *desk.Work, e desk.Entry, _ desk.Line) (desk.Receipt, error) { return w.Void(e) })
}

// correctReading takes the place of a reading.
func (s recordPages) correctReading(x *kit.Exchange) error {
	f := x.Read("reason", "value")
	return s.replaceRecord(x, "correct", "corrected", f, func(w *desk.Work, e desk.Entry, l desk.Line) (desk.Receipt, error) {
		if l.Type != record.Reading {
			return desk.Receipt{}, &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: "Only readings are corrected by their value.",
				Hint:    "Void the record and write it anew.",
			}
		}
		return correct(w, e, l, f.Typed["value"])
	})
}

// replaceRecord does one of both: whoever may, with a reason and a signature. It leads to the record that
// counts then, or shows the form as it was sent with what is wrong.
func (s recordPages) replaceRecord(x *kit.Exchange, name, done string, f kit.Form, do func(*desk.Work, desk.Entry, desk.Line) (desk.Receipt, error)) error {
	next, err := s.replaced(x, f, do)
	if err == nil {
		if name == "void" {
			next = x.R.PathValue("id")
		}
		return x.Redirect("/records/" + url.PathEscape(next) + "?done=" + done)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	return s.recordPage(x, status, kit.Sent{Name: name, Form: f})
}

func (s recordPages) replaced(x *kit.Exchange, f kit.Form, do func(*desk.Work, desk.Entry, desk.Line) (desk.Receipt, error)) (id string, err error) {
	e, err := x.Entry(f)
	if err != nil {
		return "", err
	}
	var line desk.Line
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		line, err = v.Show(x.R.PathValue("id"))
		return err
	}); err != nil {
		return "", err
	}
	e.Corrects, e.Reason = ledger.ID(line.ID), strings.TrimSpace(f.Typed["reason"])
	signed, err := kit.TakesBack(x, e.Corrects)
	if err == nil && e.Reason == "" {
		err = &kit.PageError{Status: http.StatusBadRequest, Message: "Say why."}
	}
	if err == nil && signed {
		err = x.Sign(x.R.PostFormValue("secret"))
	}
	if err != nil {
		return "", err
	}
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		r, err := do(w, e, line)
		id = string(r.Record.ID)
		return err
	})
	return id, err
}
