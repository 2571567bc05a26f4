package web

import (
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
)

// said are the words for what was done, by the word in the address to which the form leads.
var said = map[string]string{
	"held": "The hold is placed.", "lifted": "The hold is lifted.", "asked": "The request is recorded.", "sent": "The repair is recorded: the scope is away.",
	"returned": "The return from repair is recorded.", "filed": "The file is kept.", "voided": "The file is taken back.",
}

// act does what a form of a scope's page asks for and shows the page again: with the word for what was
// done, or with the form as it was sent and what is wrong with it.
func (x *exchange) act(tag, name string, f form, done string, do func(desk.Entry) error) error {
	e, err := x.entry(f)
	if err == nil {
		err = do(e)
	}
	if err == nil {
		return x.redirect("/scopes/" + url.PathEscape(tag) + "?done=" + done)
	}
	status, words, ok := refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return x.s.scopePage(x, status, tag, sent{name, f})
}

// placeHold keeps the scope from patients.
func (s *Server) placeHold(x *exchange) error {
	tag, f := x.r.PathValue("tag"), x.read("reason")
	return x.act(tag, "hold", f, "held", func(e desk.Entry) error {
		return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
			_, err := w.PlaceHold(e, turnaround.Hold{Scope: tag, By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])})
			return err
		})
	})
}

// requestRound asks for a round of samples.
func (s *Server) requestRound(x *exchange) error {
	tag, f := x.r.PathValue("tag"), x.read("reason")
	return x.act(tag, "request", f, "asked", func(e desk.Entry) error {
		return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
			_, err := w.Ask(e, sampling.Request{Scope: tag, By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])})
			return err
		})
	})
}

// recordRepair records that the scope goes for repair or, where the form names that record, that it is
// back.
func (s *Server) recordRepair(x *exchange) error {
	tag, f := x.r.PathValue("tag"), x.read("repair", "sent", "returned", "fault", "work")
	back := f.Typed["repair"] != ""
	done := map[bool]string{false: "sent", true: "returned"}[back]
	return x.act(tag, "repair", f, done, func(e desk.Entry) error {
		at, err := s.instant(f.Typed[map[bool]string{false: "sent", true: "returned"}[back]])
		if err != nil {
			return err
		}
		return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
			r := scope.Repair{Scope: tag, Sent: at, Fault: strings.TrimSpace(f.Typed["fault"])}
			if back {
				begun, err := w.Repair(tag, f.Typed["repair"])
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
func (s *Server) liftHold(x *exchange) error {
	tag, f := x.r.PathValue("tag"), x.read("hold", "reason", "second")
	return x.act(tag, "lift-"+f.Typed["hold"], f, "lifted", func(e desk.Entry) error {
		l := turnaround.Lift{Hold: f.Typed["hold"], By: e.By, Reason: strings.TrimSpace(f.Typed["reason"])}
		if l.Reason == "" {
			return &pageError{status: http.StatusBadRequest, message: "Say why the scope may be used again."}
		}
		if err := x.sign(x.r.PostFormValue("secret")); err != nil {
			return err
		}
		if code := strings.TrimSpace(f.Typed["second"]); code != "" {
			var err error
			if e.Second, err = s.vouch(x, code, x.r.PostFormValue("second-password")); err != nil {
				return err
			}
		}
		return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
			_, err := w.LiftHold(e, l)
			return err
		})
	})
}

// sign lets whoever has signed in show again who they are, unless they have just done so.
func (x *exchange) sign(secret string) error {
	if !x.unsigned() {
		return nil
	}
	if secret == "" {
		return &pageError{status: http.StatusForbidden, message: "This is a signature.", hint: "Show with your password or PIN that it is you."}
	}
	pass, err := x.s.door.Reauthenticate(x.r.Context(), x.token(), secret, x.source())
	if err == nil {
		x.admit(pass)
	}
	return err
}

// vouch lets a second person agree; whether they may is the desk's to say.
func (s *Server) vouch(x *exchange, code, password string) (access.Actor, error) {
	second, err := s.door.Vouch(x.r.Context(), code, password, x.source())
	if err != nil {
		shown := x.shown(err)
		return second, &pageError{status: shown.status, message: "Second person: " + shown.message, hint: shown.hint}
	}
	return second, nil
}
