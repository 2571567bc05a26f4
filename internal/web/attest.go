package web

import (
	"fmt"
	"net/http"
	"strconv"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/web/kit"
)

// attestPath is where people vouch for what records do not show by themselves.
const attestPath = "/attest"

// attestPage lists the acts that want somebody's word, and takes it.
type attestPage struct {
	Said string
	Acts []attestLine
	// Share is how much of what was done was attested lately, in words.
	Share string
	Form  *kit.Form
	Froms []choice
	// Lead says that the reader may vouch for what others did.
	Lead bool
}

type attestLine struct {
	Record, Href, Scope, ScopeHref, What, At, By, Why string
	Chosen                                            bool
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
		for _, a := range all {
			page.Acts = append(page.Acts, attestLine{
				Record: a.Record, Href: s.RecordHref(a.Record), Scope: a.Scope, ScopeHref: s.ScopeHref(a.Scope),
				What: a.What, At: clock(a.At), By: a.By, Why: clock.Said(a.Why), Chosen: picked[a.Record],
			})
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
