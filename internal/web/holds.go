package web

import (
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/web/kit"
)

// said are the words for what was done, by the word in the address to which the form leads.
var said = map[string]string{
	"hold": "The hold is placed.", "lifted": "The hold is lifted.", "asked": "The request is recorded.", "sent": "The repair is recorded: the scope is away.",
	"returned": "The return from repair is recorded.", "filed": "The file is kept.", "voided": "The file is taken back.",
}

// actOnScope does what a form of a scope's page asks for and shows the page again: with the word for what was
// done, or with the form as it was sent and what is wrong with it.
func (s scopePages) actOnScope(x *kit.Exchange, tag, name string, f kit.Form, done string, do func(desk.Entry) error) error {
	e, err := x.Entry(f)
	if err == nil {
		err = do(e)
	}
	if err == nil {
		return x.Redirect("/scopes/" + url.PathEscape(tag) + "?done=" + done)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.scopePage(x, status, tag, kit.Sent{Name: name, Form: f})
}

// placeHold keeps the scope from patients.
func (s scopePages) placeHold(x *kit.Exchange) error {
	tag, f := x.R.PathValue("tag"), x.Read("kind", "reason")
	return s.actOnScope(x, tag, "hold", f, "hold", func(e desk.Entry) error {
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			kind := reprocessing.HoldKind(f.Typed["kind"])
			_, err := w.PlaceHold(e, reprocessing.Hold{Scope: tag, Kind: kind, By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])})
			return err
		})
	})
}

// askForTest asks for a cleaning verification.
func (s scopePages) askForTest(x *kit.Exchange) error {
	tag, f := x.R.PathValue("tag"), x.Read("reason")
	return s.actOnScope(x, tag, "request", f, "asked", func(e desk.Entry) error {
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, err := w.Ask(e, sampling.Request{Scope: tag, By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])})
			return err
		})
	})
}

// recordRepair records that the scope goes for repair or, where the form names that record, that it is
// back.
func (s scopePages) recordRepair(x *kit.Exchange) error {
	tag, f := x.R.PathValue("tag"), x.Read("repair", "sent", "returned", "fault", "work")
	back := f.Typed["repair"] != ""
	done := map[bool]string{false: "sent", true: "returned"}[back]
	return s.actOnScope(x, tag, "repair", f, done, func(e desk.Entry) error {
		at, err := s.Instant(f.Typed[map[bool]string{false: "sent", true: "returned"}[back]])
		if err != nil {
			return err
		}
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			r := scope.Repair{Scope: tag, Sent: at, Fault: strings.TrimSpace(f.Typed["fault"])}
			if back {
				begun, err := w.Records().Repair(tag, f.Typed["repair"])
				if err != nil {
					return err
				}
				r = begun.Repair
				r.Returned, r.Work = at, strings.TrimSpace(f.Typed["work"])
			}
			_, err := w.RecordRepair(e, r, f.Typed["repair"])
			return err
		})
	})
}

// liftHold ends a hold. Lifting is a signature: whoever lifts shows who they are, unless they have just
// done so, and so does the second person where one is needed.
func (s scopePages) liftHold(x *kit.Exchange) error {
	tag, f := x.R.PathValue("tag"), x.Read("hold", "reason", "second")
	return s.actOnScope(x, tag, "lift-"+f.Typed["hold"], f, "lifted", func(e desk.Entry) error {
		l := reprocessing.Lift{Scope: tag, Hold: f.Typed["hold"], By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])}
		if l.Reason == "" {
			return &kit.PageError{Status: http.StatusBadRequest, Message: "Say why the scope may be used again."}
		}
		if err := signedByTwo(x, f, &e); err != nil {
			return err
		}
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, err := w.LiftHold(e, l)
			return err
		})
	})
}
