package web

import (
	"net/http"
	"strings"

	"rinsate/internal/access"
	"rinsate/internal/desk"
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
}

func (s *Server) signIn(x *exchange) error {
	if x.who != nil {
		return x.redirect(x.next())
	}
	return x.show(http.StatusOK, "sign-in", true, x.signInPage())
}

func (x *exchange) signInPage() signInPage {
	p := signInPage{Next: x.next(), Code: strings.TrimSpace(x.r.PostFormValue("code")), Shortest: access.ShortestAlone}
	if x.visit.State == access.Locked {
		p.Locked = x.visit.Account.Code
	}
	return p
}

func (s *Server) firstSignIn(x *exchange) error {
	p := x.signInPage()
	p.First = true
	return x.show(http.StatusOK, "sign-in", true, p)
}

// enter answers a form with which somebody shows who they are.
func (x *exchange) enter(first bool, try func() (desk.Pass, error)) error {
	pass, err := try()
	if err == nil {
		x.admit(pass)
		if x.data {
			return x.json(http.StatusOK, struct {
				Person string `json:"person"`
			}{pass.Account.Code})
		}
		return x.redirect(x.next())
	}
	status, words, ok := refused(x, err)
	if !ok || x.data {
		return err
	}
	p := x.signInPage()
	p.Problem, p.First = words, first
	return x.show(status, "sign-in", true, p)
}

// refused returns the words for somebody who was not let in, ok = false for another fault.
func refused(x *exchange, err error) (status int, words string, ok bool) {
	shown := x.shown(err)
	return shown.status, strings.TrimSpace(shown.message + " " + shown.hint), shown.status < http.StatusInternalServerError
}

func (s *Server) signInAct(x *exchange) error {
	return x.enter(false, func() (desk.Pass, error) {
		return s.door.SignIn(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("code")), x.r.PostFormValue("password"), x.source())
	})
}

// switchAct lets the next person take over a bench. What the last one left open stays on it.
func (s *Server) switchAct(x *exchange) error {
	return x.enter(false, func() (desk.Pass, error) {
		p, err := s.door.Switch(x.r.Context(), strings.TrimSpace(x.r.PostFormValue("badge")), x.r.PostFormValue("pin"), x.source())
		if err == nil && x.token() != "" {
			err = s.door.SignOut(x.r.Context(), x.token())
		}
		return p, err
	})
}

func (s *Server) unlockAct(x *exchange) error {
	return x.enter(false, func() (desk.Pass, error) {
		return s.door.Unlock(x.r.Context(), x.token(), x.r.PostFormValue("secret"), x.source())
	})
}

func (s *Server) firstSignInAct(x *exchange) error {
	return x.enter(true, func() (desk.Pass, error) {
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
	return x.redirect("/unlock")
}

func (s *Server) signOutAct(x *exchange) error {
	if err := s.door.SignOut(x.r.Context(), x.token()); err != nil {
		return err
	}
	x.setToken("", -1)
	return x.redirect("/sign-in")
}
