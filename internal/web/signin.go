package web

import (
	"errors"
	"log/slog"
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// signInPage is the page to sign in on, also with a badge, with a one-time code, and after a lock.
type signInPage struct {
	Next, Code, Problem string
	// Locked is the code of the person whose session is locked; empty when none is.
	Locked string
	// First asks for a one-time code and a new password.
	First bool
	// Shortest is how long a password must be.
	Shortest int
	// Passkeys says that a passkey may count here.
	Passkeys bool
}

func (s *Server) signIn(x *exchange) error {
	if x.who != nil {
		return x.redirect(x.next())
	}
	return x.signInPage(http.StatusOK, "", false)
}

// signInPage shows the page to sign in on; first is for a one-time code.
func (x *exchange) signInPage(status int, problem string, first bool) error {
	p := signInPage{
		Next: x.next(), Code: strings.TrimSpace(x.r.PostFormValue("code")), Shortest: access.ShortestAlone,
		Problem: problem, First: first, Passkeys: x.s.passkeys != nil && !first,
	}
	if x.visit.State == access.Locked {
		p.Locked = x.visit.Account.Code
	}
	if p.Locked != "" && p.Passkeys {
		if err := x.s.view(x.r.Context(), func(v desk.View) error {
			all, err := v.People().Passkeys(p.Locked)
			p.Passkeys = slices.ContainsFunc(all, x.s.passkeys.Counts)
			return err
		}); err != nil {
			return err
		}
	}
	return x.show(status, "sign-in", true, p)
}

func (s *Server) firstSignIn(x *exchange) error { return x.signInPage(http.StatusOK, "", true) }

// entered answers the script of somebody who was let in.
type entered struct {
	Person string `json:"person"`
	// To is the page to go on to.
	To string `json:"to"`
}

// enter answers a form with which somebody shows who they are in some way.
func (x *exchange) enter(way string, first bool, try func() (identity.Pass, error)) error {
	pass, err := try()
	if err == nil {
		x.heard(way, pass.Account.Code, nil)
		x.admit(pass)
		if x.data {
			return x.json(http.StatusOK, entered{pass.Account.Code, x.s.url(x.next())})
		}
		return x.redirect(x.next())
	}
	x.heard(way, x.visit.Account.Code, err)
	status, words, ok := refused(x, err)
	if !ok || x.data {
		return err
	}
	return x.signInPage(status, words, first)
}

// heard writes to the log how somebody tried to show who they are and what came of it. code is that of
// the account that was opened, or whose session it was tried in. Nothing that was typed is written.
func (x *exchange) heard(way, code string, err error) {
	about := []any{slog.String("way", way), slog.String("code", code), slog.String("address", x.source().Address)}
	denied, ok := errors.AsType[*identity.DeniedError](err)
	switch {
	case err == nil:
		x.s.log.Info("somebody has shown who they are", about...)
	case !ok: // a password that is too short, or a fault that is in the log by itself
	case denied.Closed || denied.PINClosed:
		x.s.log.Warn("an attempt at an account that is closed", append(about, slog.Bool("pin_only", denied.PINClosed))...)
	case denied.Wait > 0:
		x.s.log.Warn("an attempt too early", append(about, slog.Duration("wait", denied.Wait))...)
	default:
		if denied.Cause != nil {
			about = append(about, slog.Any("cause", denied.Cause))
		}
		x.s.log.Warn("an attempt has failed", about...)
	}
}

// refused returns the words for somebody who was not let in, ok = false for another fault.
func refused(x *exchange, err error) (status int, words string, ok bool) {
	shown := x.shown(err)
	return shown.status, strings.TrimSpace(shown.message + " " + shown.hint), shown.status < http.StatusInternalServerError
}

func (s *Server) signInAct(x *exchange) error {
	return x.enter("password", false, func() (identity.Pass, error) {
		return s.door.SignIn(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("code")), x.r.PostFormValue("password"), x.source())
	})
}

// switchAct lets the next person take over a bench. What the last one left open stays on it.
func (s *Server) switchAct(x *exchange) error {
	return x.enter("badge", false, func() (identity.Pass, error) {
		p, err := s.door.Switch(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("badge")), x.r.PostFormValue("pin"), x.source())
		if err == nil && x.token() != "" {
			err = s.door.SignOut(x.r.Context(), x.token())
		}
		return p, err
	})
}

func (s *Server) unlockAct(x *exchange) error {
	return x.enter("unlock", false, func() (identity.Pass, error) {
		return s.door.Unlock(x.r.Context(), x.token(), x.r.PostFormValue("secret"), x.source())
	})
}

func (s *Server) firstSignInAct(x *exchange) error {
	return x.enter("one-time code", true, func() (identity.Pass, error) {
		if x.r.PostFormValue("password") != x.r.PostFormValue("again") {
			return identity.Pass{}, &pageError{status: http.StatusBadRequest, message: "The two passwords differ."}
		}
		return s.door.Redeem(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("code")), x.r.PostFormValue("once"), x.r.PostFormValue("password"), x.source())
	})
}

func (s *Server) lockAct(x *exchange) error {
	if err := s.door.Lock(x.r.Context(), x.token()); err != nil {
		return err
	}
	if x.data {
		return x.json(http.StatusOK, struct {
			Locked bool `json:"locked"`
		}{true})
	}
	return x.redirect("/unlock")
}

func (s *Server) signOutAct(x *exchange) error {
	if err := s.door.SignOut(x.r.Context(), x.token()); err != nil {
		return err
	}
	x.setToken("", -1)
	return x.redirect("/sign-in")
}
