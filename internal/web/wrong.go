package web

import (
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/web/kit"
)

// wrongPage takes what is wrong with a scope from whoever has it in their hands, who may not see its history.
type wrongPage struct {
	Scope, Model, Href string
	HoldKinds          []reprocessing.HoldKind
	Form               kit.Form
}

func wrongPath(tag string) string { return "/ready/" + url.PathEscape(tag) + "/hold" }

func (s urgentPages) somethingWrong(x *kit.Exchange) error {
	return s.wrongPage(x, http.StatusOK, *x.Form(kit.Sent{}, "hold"))
}

func (s urgentPages) wrongPage(x *kit.Exchange, status int, f kit.Form) error {
	page := wrongPage{HoldKinds: reprocessing.PlacedKinds, Form: f}
	err := s.View(x.R.Context(), func(v desk.View) error {
		found, err := tagged(v, x.R.PathValue("tag"))
		page.Scope, page.Model, page.Href = found.Tag, found.Model, s.URL("/ready/"+url.PathEscape(found.Tag))
		return err
	})
	if err != nil {
		return err
	}
	return x.Show(status, "wrong", false, page)
}

// holdFromAnswer keeps a scope from patients, and shows its answer again.
func (s urgentPages) holdFromAnswer(x *kit.Exchange) error {
	f := x.Read("kind", "reason")
	e, err := x.Entry(f)
	tag := x.R.PathValue("tag")
	if err == nil {
		err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			found, err := tagged(w.View, tag)
			if err != nil {
				return err
			}
			tag = found.Tag
			_, err = w.PlaceHold(e, reprocessing.Hold{
				Scope: tag, Kind: reprocessing.HoldKind(f.Typed["kind"]), By: e.By, Reason: strings.TrimSpace(f.Typed["reason"]),
			})
			return err
		})
	}
	if err == nil {
		return x.Redirect("/ready/" + url.PathEscape(tag))
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.wrongPage(x, status, f)
}
