package web

import (
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// showSignIn is the page to sign in on, also with a badge, with a one-time code, and after a lock.
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
	return s.showSignIn(x, http.StatusOK, "", false)
}

// showSignIn shows the page to sign in on; first is for a one-time code.
func (s *Server) showSignIn(x *exchange, status int, problem string, first bool) error {
	p := signInPage{
		Next: x.next(), Code: strings.TrimSpace(x.r.PostFormValue("code")), Shortest: access.ShortestAlone,
		Problem: problem, First: first, Passkeys: s.passkeys != nil && !first,
	}
	if x.visit.State == access.Locked {
		p.Locked = x.visit.Account.Code
	}
	if p.Locked != "" && p.Passkeys {
		if err := x.s.view(x.r.Context(), func(v desk.View) error {
			all, err := v.Passkeys(p.Locked)
			p.Passkeys = slices.ContainsFunc(all, s.passkeys.Counts)
			return err
		}); err != nil {
			return err
		}
	}
	return x.show(status, "sign-in", true, p)
}

func (s *Server) firstSignIn(x *exchange) error { return s.showSignIn(x, http.StatusOK, "", true) }

// entered answers the script of somebody who was let in.
type entered struct {
	Person string `json:"person"`
	// To is the page to go on to.
	To string `json:"to"`
}

// enter answers a form with which somebody shows who they are in some way.
func (s *Server) enter(x *exchange, way string, first bool, try func() (desk.Pass, error)) error {
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
	return s.showSignIn(x, status, words, first)
}

func (s *Server) signInAct(x *exchange) error {
	return s.enter(x, "password", false, func() (desk.Pass, error) {
		return s.door.SignIn(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("code")), x.r.PostFormValue("password"), x.source())
	})
}

// switchAct lets the next person take over a bench. What the last one left open stays on it.
func (s *Server) switchAct(x *exchange) error {
	return s.enter(x, "badge", false, func() (desk.Pass, error) {
		p, err := s.door.Switch(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("badge")), x.r.PostFormValue("pin"), x.source())
		if err == nil && x.token() != "" {
			err = s.door.SignOut(x.r.Context(), x.token())
		}
		return p, err
	})
}

func (s *Server) unlockAct(x *exchange) error {
	return s.enter(x, "unlock", false, func() (desk.Pass, error) {
		return s.door.Unlock(x.r.Context(), x.token(), x.r.PostFormValue("secret"), x.source())
	})
}

func (s *Server) firstSignInAct(x *exchange) error {
	return s.enter(x, "one-time code", true, func() (desk.Pass, error) {
		if x.r.PostFormValue("password") != x.r.PostFormValue("again") {
			return desk.Pass{}, &pageError{status: http.StatusBadRequest, message: "The two passwords differ."}
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
