package web

import (
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// eraseActs are how a free text of a record is erased on its page; all empty where there is none, or for
// whoever may not.
type eraseActs struct {
	// ToErase is where the form is.
	ToErase string
	// WhichText asks first which text, where there are several.
	WhichText *textChoice
	Erase     *eraseForm
}

// textChoice asks which text of a record is to be erased.
type textChoice struct {
	*kit.Form
	Texts []kit.Option
}

// eraseForm erases one text. It says before what else changes.
type eraseForm struct {
	recordActForm
	Field, Label, Text string
	Reasons            []kit.Option
}

// erasing returns how whoever asks may erase a text of a record; also of one that no longer counts.
func (s recordPages) erasing(x *kit.Exchange, l desk.Line, was kit.Sent) (a eraseActs, err error) {
	if !x.Actor().May(desk.ToErase) {
		return a, nil
	}
	var texts []desk.FreeText
	err = s.View(x.R.Context(), func(v desk.View) (err error) {
		texts, err = v.Records().FreeTexts(l)
		return err
	})
	if err != nil || len(texts) == 0 {
		return a, err
	}
	a.ToErase = s.RecordHref(l.ID) + "?act=erase#act"
	q := x.R.URL.Query()
	act, field := q.Get("act"), q.Get("field")
	if was.Name != "" {
		act, field = was.Name, was.Form.Typed["field"]
	}
	if act != "erase" {
		return a, nil
	}
	chosen := slices.IndexFunc(texts, func(t desk.FreeText) bool { return t.Field == field })
	if field == "" && len(texts) == 1 {
		chosen = 0
	}
	if chosen < 0 {
		a.WhichText = &textChoice{Form: x.Form(was, act)}
		for _, t := range texts {
			a.WhichText.Texts = append(a.WhichText.Texts, kit.Option{Value: t.Field, Text: textLabel(t.Field) + ": " + beginning(t.Text)})
		}
		return a, nil
	}
	a.Erase = s.eraseForm(x, l, was, texts[chosen])
	return a, nil
}

// eraseForm is the form that erases a text, with what would follow.
func (s recordPages) eraseForm(x *kit.Exchange, l desk.Line, was kit.Sent, t desk.FreeText) *eraseForm {
	f := &eraseForm{Field: t.Field, Label: textLabel(t.Field), Text: t.Text}
	others := 0
	f.recordActForm = *s.foreseen(x, l, was, "erase", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r, err := w.Erase(desk.Entry{By: e.By}, ledger.ID(l.ID), t.Field, record.OutOfPlace)
		if err != nil {
			return r, err
		}
		body, err := record.Body[record.ErasureBody](r.Record)
		others = len(body.Texts) - 1
		return r, err
	})
	f.Prove = x.Unsigned()
	switch {
	case others == 1:
		f.Follows = append([]string{"The same text is erased in 1 further place that repeats it."}, f.Follows...)
	case others > 1:
		f.Follows = append([]string{"The same text is erased in " + strconv.Itoa(others) + " further places that repeat it."}, f.Follows...)
	}
	for _, why := range record.ErasureReasons {
		f.Reasons = append(f.Reasons, kit.Option{Value: string(why), Text: why.Words(), Chosen: string(why) == f.Typed["why"]})
	}
	return f
}

// longestBeginning is how many characters of a text fit beside its label in a choice.
const longestBeginning = 60

// beginning is a text, or how it begins.
func beginning(text string) string {
	if all := []rune(text); len(all) > longestBeginning {
		return string(all[:longestBeginning-1]) + "…"
	}
	return text
}

var inList = regexp.MustCompile(`^(.*)\[(\d+)\]$`)

// textLabel is the place of a free text in a record, in the words of the record's page.
func textLabel(field string) string {
	way, inBody := strings.CutPrefix(field, "body.")
	if !inBody {
		return "Reason for the change"
	}
	var path []string
	for part := range strings.SplitSeq(way, ".") {
		m := inList.FindStringSubmatch(part)
		if m == nil {
			path = append(path, part)
			continue
		}
		at, err := strconv.Atoi(m[2])
		if err != nil {
			return label([]string{part})
		}
		path = append(path, m[1], strconv.Itoa(at+1))
	}
	return label(path)
}

// eraseText erases a free text: whoever may, for a reason of the list and with a signature.
func (s recordPages) eraseText(x *kit.Exchange) error {
	f := x.Read("field", "why")
	var line desk.Line
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		line, err = v.Show(x.R.PathValue("id"))
		return err
	}); err != nil {
		return err
	}
	err := s.erased(x, f, line)
	if err == nil {
		return x.Redirect("/records/" + url.PathEscape(line.ID) + "?done=erased")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.recordPage(x, status, kit.Sent{Name: "erase", Form: f})
}

func (s recordPages) erased(x *kit.Exchange, f kit.Form, l desk.Line) error {
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	why := record.ErasureReason(f.Typed["why"])
	switch {
	case f.Typed["field"] == "":
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Say which text."}
	case !why.Known():
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Say why.", Hint: "Choose one of the reasons."}
	}
	if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.Erase(e, ledger.ID(l.ID), f.Typed["field"], why)
		if fault.CodeOf(err) == fault.NotFound {
			return &kit.PageError{
				Status: http.StatusNotFound, Message: "The record has no such text.",
				Hint: "It may have been erased already; see what the page says now.",
			}
		}
		return err
	})
}
