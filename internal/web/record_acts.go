package web

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// recordActs are what can be done to a record on its page.
type recordActs struct {
	// ToVoid, ToCorrect and ToFinish are where the forms are; empty where nothing of the kind is possible.
	ToVoid, ToCorrect, ToFinish string
	// VoidWord is what the first of them is called.
	VoidWord string
	// Needs says what it takes where whoever asks cannot do it, Instead what there is where nobody can.
	Needs, Instead string
	// Act is the form of one of them once it is known what follows, Ask the one that asks what to set.
	Act *recordActForm
	Ask *mendForm
}

// recordActForm voids, corrects or finishes a record. It says before what else changes.
type recordActForm struct {
	*kit.Form
	// Name is the act, as the address has it; Title, Why and Button are its words.
	Name, Title, Why, Button string
	// Set is what is set anew.
	Set []mendField
	// Follows is what else changes, Refused why it cannot be done.
	Follows []string
	Refused string
	// forbidden says that it cannot be done by whoever asks.
	forbidden bool
	// Two says that a second person signs, Takes what they sign to.
	Two   bool
	Takes string
	// Display asks for a photograph of the display that showed a value, with which its author alone puts a slip right; Alone
	// says that it is the only way for whoever asks.
	Display, Alone bool
}

// mendForm asks what is to be set.
type mendForm struct {
	Name, Title string
	Fields      []mendField
	Problem     string
}

// mendField is a field of a record in a form.
type mendField struct {
	Name, Label, Value, Type string
	Choices                  []kit.Option
}

// setPrefix begins the names of the fields of records in forms.
const setPrefix = "set-"

// actsOn returns what whoever asks may do to a record.
func (s recordPages) actsOn(x *kit.Exchange, l desk.Line, was kit.Sent) (a recordActs, err error) {
	var o desk.Offer
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		o, err = v.Records().Offered(x.Actor(), ledger.ID(l.ID))
		return err
	}); err != nil || l.Replaced.Known() {
		return a, err
	}
	href := s.RecordHref(l.ID)
	a.VoidWord = "Void this record"
	switch l.Type { //nolint:exhaustive // all others are voided by themselves
	case record.Verification:
		a.VoidWord = "Void it with all of its samples"
	case record.Void:
		a.VoidWord = "Restore what it took back"
	}
	if o.MayVoid {
		a.ToVoid = href + "?act=void#act"
	}
	if o.MayCorrect {
		a.ToCorrect = href + "?act=correct#act"
	}
	if o.MayFinish {
		a.ToFinish = href + "?act=finish#act"
	}
	if a.Needs = o.Needs; !o.Void || o.Correct == nil {
		a.Instead = o.Instead
	}
	q := x.R.URL.Query()
	act := q.Get("act")
	if was.Name != "" {
		act = was.Name
		for name, value := range was.Form.Typed {
			q.Set(name, value)
		}
	}
	switch {
	case act == "void" && o.MayVoid:
		a.Act = s.foreseen(x, l, was, act, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			e.Corrects = ledger.ID(l.ID)
			return w.Void(e)
		})
		a.Act.Title, a.Act.Why, a.Act.Button = a.VoidWord, "Why it is void", a.VoidWord
		a.Act.Follows = append(voidWords(l), a.Act.Follows...)
		a.Act.sign(x, o.Taking)
	case act == "correct" && o.MayCorrect:
		s.mending(x, &a, l, was, act, o.Correct, q)
	case act == "finish" && o.MayFinish:
		s.mending(x, &a, l, was, act, o.Finish, q)
	}
	return a, nil
}

// mending asks what is to be set, or shows what follows from what was said.
func (s recordPages) mending(x *kit.Exchange, a *recordActs, l desk.Line, was kit.Sent, act string, fields []desk.Field, q url.Values) {
	changes, set, said := map[string]string{}, []mendField{}, false
	for _, f := range fields {
		name := setPrefix + f.Name
		shown := mendField{Name: name, Label: sentenceCase(f.Label), Value: f.Value, Type: "text"}
		if said = said || q.Has(name); q.Has(name) {
			shown.Value = q.Get(name)
			changes[f.Name] = shown.Value
		}
		if f.Time {
			shown.Type = "datetime-local"
		}
		for _, c := range f.Choices {
			shown.Choices = append(shown.Choices, kit.Option{Value: c, Text: c, Chosen: c == shown.Value})
		}
		set = append(set, shown)
	}
	title := map[string]string{"correct": "Correct this record", "finish": "Finish it"}[act]
	if act == "finish" && l.Type == record.Sample {
		title = "Read the sample"
	}
	if !said {
		a.Ask = &mendForm{Name: act, Title: title, Fields: set}
		return
	}
	f := s.foreseen(x, l, was, act, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return mend(w, e, act, l.ID, changes) })
	f.Title, f.Why, f.Button, f.Set = title, "Why the first version was wrong", "Record the correction", set
	f.Display = act == "correct" && l.Type == record.Reading
	if f.Display && f.forbidden && access.Key(l.By) == access.Key(x.Who.Code) {
		f.Alone, f.Refused = true, ""
	}
	if act == "finish" {
		f.Why, f.Button = "", "Record it"
	}
	a.Act = f
}

// mend corrects or finishes a record.
func mend(w *desk.Work, e desk.Entry, act, id string, changes map[string]string) (desk.Receipt, error) {
	if act == "finish" {
		e.Reason = ""
		return w.Mending().Finish(e, ledger.ID(id), changes)
	}
	return w.Mending().Correct(e, ledger.ID(id), changes)
}

// sign has a form ask for the signatures that it takes.
func (f *recordActForm) sign(x *kit.Exchange, t desk.Taking) {
	f.Prove, f.Two = t.Signed && x.Unsigned(), t.Two()
	if f.Two {
		f.Takes = "This takes back " + t.What + ". It needs " + takeback.Needs + "."
	}
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
	do func(*desk.Work, desk.Entry) (desk.Receipt, error),
) *recordActForm {
	f := &recordActForm{Form: x.Form(was, name), Name: name}
	tag := l.Scope()
	err := x.Acting().Try(x.R.Context(), func(w *desk.Work) error {
		before := releaseWords(s.Terms, w, tag)
		r, err := do(w, desk.Entry{By: x.Who.Code, Reason: "to see what follows"})
		if err != nil {
			return err
		}
		f.sign(x, r.Taking)
		if name == "correct" || name == "finish" || name == "void" && l.Type == record.Void {
			f.Follows = append(f.Follows, "It becomes: "+cmp.Or(recordWords(r.Record), "a record of its own")+".")
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
		f.forbidden = fault.CodeOf(err) == fault.Forbidden
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

// voidRecord takes a record back.
func (s recordPages) voidRecord(x *kit.Exchange) error {
	return s.replaceRecord(x, "void", "voided", func(w *desk.Work, e desk.Entry, l desk.Line, _ map[string]string) (desk.Receipt, error) {
		e.Corrects = ledger.ID(l.ID)
		return w.Void(e)
	})
}

// correctRecord puts another version in the place of a record.
func (s recordPages) correctRecord(x *kit.Exchange) error {
	display, wrong := readDisplay(x)
	return s.replaceRecord(x, "correct", "corrected", func(w *desk.Work, e desk.Entry, l desk.Line, changes map[string]string) (desk.Receipt, error) {
		if wrong != nil {
			return desk.Receipt{}, wrong
		}
		if display != nil {
			a := dossier.Attachment{
				Scope: l.Scope(), About: l.ID, Kind: dossier.Photograph, Title: "display of the value that is corrected", File: dossier.File{Media: display.Media},
			}
			if _, err := w.Attach(desk.Entry{ID: ledger.DerivedID("display", string(e.ID)), By: e.By}, a, display.Content); err != nil {
				return desk.Receipt{}, err
			}
		}
		return mend(w, e, "correct", l.ID, changes)
	})
}

// readDisplay reads the form of a correction with the photograph that came with it, nil where none did.
func readDisplay(x *kit.Exchange) (*desk.Photograph, error) {
	switch err := x.R.ParseMultipartForm(uploadLimit); {
	case errors.Is(err, http.ErrNotMultipart):
		return nil, nil
	case err != nil:
		return nil, unreadable(err)
	}
	file, header, err := x.R.FormFile("file")
	if errors.Is(err, http.ErrMissingFile) || err == nil && header.Filename == "" && header.Size == 0 {
		return nil, nil
	}
	if err != nil {
		return nil, unreadable(err)
	}
	defer file.Close() //nolint:errcheck // only read
	content, err := io.ReadAll(io.LimitReader(file, dossier.MaxSize+1))
	switch {
	case err != nil:
		return nil, unreadable(err)
	case len(content) > dossier.MaxSize:
		return nil, fileTooLarge()
	}
	media, err := dossier.Claim(header.Filename, header.Header.Get("Content-Type"))
	if err != nil {
		return nil, &kit.PageError{Status: http.StatusUnsupportedMediaType, Message: kit.Sentence(err.Error())}
	}
	return &desk.Photograph{Media: media, Content: content}, nil
}

// finishRecord ends what a record began.
func (s recordPages) finishRecord(x *kit.Exchange) error {
	return s.replaceRecord(x, "finish", "finished", func(w *desk.Work, e desk.Entry, l desk.Line, changes map[string]string) (desk.Receipt, error) {
		return mend(w, e, "finish", l.ID, changes)
	})
}

// recordAct is what a form of a record's page does.
type recordAct func(*desk.Work, desk.Entry, desk.Line, map[string]string) (desk.Receipt, error)

// replaceRecord does one of them: whoever may, with a reason and the signatures that it takes. It leads to the record
// that counts then, or shows the form as it was sent with what is wrong.
func (s recordPages) replaceRecord(x *kit.Exchange, name, done string, do recordAct) error {
	names := []string{"reason", "second"}
	for field := range x.R.PostForm {
		if strings.HasPrefix(field, setPrefix) {
			names = append(names, field)
		}
	}
	slices.Sort(names)
	f := x.Read(names...)
	next, err := s.replaced(x, f, name, do)
	if err == nil {
		return x.Redirect("/records/" + url.PathEscape(next) + "?done=" + done)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok || status == http.StatusNotFound {
		return err
	}
	f.Problem = words
	return s.recordPage(x, status, kit.Sent{Name: name, Form: f})
}

func (s recordPages) replaced(x *kit.Exchange, f kit.Form, name string, do recordAct) (id string, err error) {
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
	if e.Reason = strings.TrimSpace(f.Typed["reason"]); e.Reason == "" && name != "finish" {
		return "", &kit.PageError{Status: http.StatusBadRequest, Message: "Say why."}
	}
	changes := map[string]string{}
	for field, value := range f.Typed {
		if field, ok := strings.CutPrefix(field, setPrefix); ok {
			changes[field] = value
		}
	}
	var t desk.Taking
	if err := x.Acting().Try(x.R.Context(), func(w *desk.Work) error {
		r, err := do(w, e, line, changes)
		t = r.Taking
		return err
	}); err != nil {
		return "", err
	}
	if t.Signed {
		if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
			return "", err
		}
	}
	if t.Two() {
		if err := vouched(x, f.Typed["second"], &e); err != nil {
			return "", err
		}
	}
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		r, err := do(w, e, line, changes)
		id = string(r.Record.ID)
		return err
	})
	if name == "void" && line.Type != record.Void {
		id = line.ID
	}
	return id, err
}
