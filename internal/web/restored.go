package web

import (
	"net/http"
	"slices"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/web/kit"
)

// restoredPath is where people say that the records were restored, and what happened since.
const restoredPath = "/restored"

// restoredPage says which copy took the place of the records, and what nobody knows because of it.
type restoredPage struct {
	// Behind says that these records are a copy of which nobody has said so, empty when they are none.
	Behind string
	Done   string
	// Told are the words of the last restore, empty where none is on record; Href leads to its record.
	Told, By, At, Copied, Root, Href string
	Missing                          int64
	Scopes                           []restoredScope
	// Say and Nothing are nil for whoever may not.
	Say, Nothing *kit.Form
	Hows         []choice
}

// restoredScope is a scope that is not known; Chosen says that it was marked in the form.
type restoredScope struct {
	Tag, Href, Last string
	Chosen          bool
}

func (s dayPages) restored(x *kit.Exchange) error {
	return s.restoredPage(x, http.StatusOK, kit.Sent{})
}

func (s dayPages) restoredPage(x *kit.Exchange, status int, was kit.Sent) error {
	page := restoredPage{Behind: s.Desk.Behind(), Done: x.R.URL.Query().Get("done")}
	chosen := x.R.PostForm["scope"]
	err := s.View(x.R.Context(), func(v desk.View) error {
		r, err := v.Day().Restored(s.Now())
		if r == nil || err != nil {
			return err
		}
		said := s.ClockOf(v)
		n := r.Note
		page.Told, page.By, page.Root, page.Missing = n.Words(), n.By, n.Root, n.Missing
		page.At, page.Copied, page.Href = said(n.At), said(n.Copied), s.RecordHref(r.ID)
		for _, one := range r.Scopes {
			line := restoredScope{Tag: one.Scope, Href: s.ScopeHref(one.Scope), Last: "nothing", Chosen: slices.Contains(chosen, one.Scope)}
			if one.Last.Known() {
				line.Last = said(one.Last)
			}
			page.Scopes = append(page.Scopes, line)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if x.Can(desk.ToSayRestored) {
		page.Say = x.Form(was, "restored")
		page.Say.Prove = x.Unsigned()
	}
	if x.Can(desk.ToSayNothingSince) && len(page.Scopes) > 0 && page.Behind == "" {
		page.Nothing = x.Form(was, "nothing")
		page.Nothing.Prove = x.Unsigned()
		for _, k := range reprocessing.HowsKnown {
			page.Hows = append(page.Hows, choice{string(k), k.Words(), page.Nothing.Typed["known"] == string(k)})
		}
	}
	return x.Show(status, "restored", false, page)
}

// sayRestored records that these records are a copy that was put back by hand. It is a signature, and the last act of
// every session.
func (s dayPages) sayRestored(x *kit.Exchange) error {
	f := x.Read()
	e, err := x.Entry(f)
	if err == nil {
		err = x.Sign(x.R.PostFormValue("secret"))
	}
	if err == nil {
		err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, err := w.Care().SayRestored(e, reprocessing.InPlace, 0)
			return err
		})
	}
	return s.afterRestored(x, err, "restored", f)
}

// sayNothingSince records that nothing happened to scopes since the copy was made. It is a signature of two.
func (s dayPages) sayNothingSince(x *kit.Exchange) error {
	f := x.Read("known", "second")
	return s.afterRestored(x, s.saidNothing(x, f), "nothing", f)
}

func (s dayPages) saidNothing(x *kit.Exchange, f kit.Form) error {
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	if err := signedByTwo(x, f, &e); err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.Care().SayNothingSince(e, x.R.PostForm["scope"], reprocessing.HowKnown(f.Typed["known"]), "")
		return err
	})
}

// afterRestored answers what was said on the page.
func (s dayPages) afterRestored(x *kit.Exchange, err error, name string, f kit.Form) error {
	if err == nil {
		return x.Redirect(restoredPath + "?done=" + name)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.restoredPage(x, status, kit.Sent{Name: name, Form: f})
}
