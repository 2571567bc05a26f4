package web

import (
	"fmt"
	"net/http"
	"strconv"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// attestPath is where people vouch for what records do not show by themselves.
const attestPath = "/attest"

// attestPage lists the acts that want somebody's word, and takes it.
type attestPage struct {
	Said   string
	Scopes []attestScope
	// Share is how much of what was done was attested lately, in words.
	Share string
	Form  *kit.Form
	Froms []choice
	// Forms are the pictures that are filed with the scopes, of which one may show the signed form.
	Forms []choice
	// Lead says that the reader may vouch for what others did.
	Lead bool
}

// attestScope are the acts on one scope.
type attestScope struct {
	Scope, Href string
	Acts        []attestLine
}

type attestLine struct {
	Record, Href, What, At, By, Why string
	Chosen                          bool
}

func (s dayPages) attest(x *kit.Exchange) error {
	return s.attestPage(x, http.StatusOK, kit.Sent{}, nil)
}

func (s dayPages) attestPage(x *kit.Exchange, status int, was kit.Sent, chosen []string) error {
	page := attestPage{Lead: x.May(access.VoidRecord)}
	if n, err := strconv.Atoi(x.R.URL.Query().Get("done")); err == nil && n > 0 {
		page.Said = "The acts are attested: " + strconv.Itoa(n) + "."
	}
	picked := map[string]bool{}
	for _, id := range chosen {
		picked[id] = true
	}
	err := s.View(x.R.Context(), func(v desk.View) error {
		now, clock := s.Now(), s.ClockOf(v)
		all, err := v.Day().Unattested(now)
		if err != nil {
			return err
		}
		for _, a := range all { // which come scope by scope
			if n := len(page.Scopes); n == 0 || page.Scopes[n-1].Scope != a.Scope {
				page.Scopes = append(page.Scopes, attestScope{Scope: a.Scope, Href: s.ScopeHref(a.Scope)})
			}
			of := &page.Scopes[len(page.Scopes)-1]
			of.Acts = append(of.Acts, attestLine{
				Record: a.Record, Href: s.RecordHref(a.Record), What: a.What, At: clock(a.At), By: a.By, Why: clock.Said(a.Why), Chosen: picked[a.Record],
			})
		}
		if page.Lead {
			if page.Forms, err = formsOf(v, page.Scopes, was.Form.Typed["form"], clock); err != nil {
				return err
			}
		}
		share, err := v.Day().AttestedShare(now)
		page.Share = fmt.Sprintf("Attested in the last %d days: %d of %s steps and samples.", share.Days, share.Attested, thousands(share.All))
		return err
	})
	if err != nil {
		return err
	}
	page.Form = x.Form(was, "attest")
	page.Form.Prove = x.Unsigned()
	for _, f := range reprocessing.AttestedFroms {
		if f == reprocessing.OwnAct || page.Lead {
			page.Froms = append(page.Froms, choice{string(f), f.Words(), page.Form.Typed["from"] == string(f)})
		}
	}
	return x.Show(status, "attest", false, page)
}

// formsOf are the files that stand with scopes, the latest first of each, to choose the picture of a signed form from.
func formsOf(v desk.View, scopes []attestScope, chosen string, clock words.Clock) (all []choice, err error) {
	for _, of := range scopes {
		filed, err := v.Records().Attachments(of.Scope)
		if err != nil {
			return nil, err
		}
		for _, a := range filed {
			if !a.Replaced.Known() {
				all = append(all, choice{string(a.ID), of.Scope + ": " + a.Title + ", filed " + clock(a.Recorded), string(a.ID) == chosen})
			}
		}
	}
	return all, nil
}

// attested records somebody's word for the chosen acts. It is a signature.
func (s dayPages) attested(x *kit.Exchange) error {
	f := x.Read("from", "form")
	of := x.R.PostForm["of"]
	err := s.vouch(x, f, of)
	if err == nil {
		return x.Redirect(attestPath + "?done=" + strconv.Itoa(len(of)))
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.attestPage(x, status, kit.Sent{Name: "attest", Form: f}, of)
}

func (s dayPages) vouch(x *kit.Exchange, f kit.Form, of []string) error {
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
		return err
	}
	in := desk.Attested{From: reprocessing.AttestedFrom(f.Typed["from"]), Form: ledger.ID(f.Typed["form"])}
	for _, id := range of {
		in.Of = append(in.Of, ledger.ID(id))
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.Vouching().Attest(e, in)
		return err
	})
}
