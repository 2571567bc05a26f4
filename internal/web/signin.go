package web

import (
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/web/kit"
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

func (s doorPages) signIn(x *kit.Exchange) error {
	if x.Who != nil {
		return x.Redirect(x.Next())
	}
	return s.showSignIn(x, http.StatusOK, "", false)
}

// showSignIn shows the page to sign in on; first is for a one-time code.
func (s doorPages) showSignIn(x *kit.Exchange, status int, problem string, first bool) error {
	p := signInPage{
		Next: x.Next(), Code: strings.TrimSpace(x.R.PostFormValue("code")), Shortest: access.ShortestAlone,
		Problem: problem, First: first, Passkeys: s.passkeys != nil && !first,
	}
	if x.Visit.State == access.Locked {
		p.Locked = x.Visit.Account.Code
	}
	if p.Locked != "" && p.Passkeys {
		if err := x.Shell.View(x.R.Context(), func(v desk.View) error {
			all, err := v.People().Passkeys(p.Locked)
			p.Passkeys = slices.ContainsFunc(all, s.passkeys.Counts)
			return err
		}); err != nil {
			return err
		}
	}
	return x.Show(status, "sign-in", true, p)
}

func (s doorPages) firstSignIn(x *kit.Exchange) error {
	return s.showSignIn(x, http.StatusOK, "", true)
}

// entered answers the script of somebody who was let in.
type entered struct {
	Person string `json:"person"`
	// To is the page to go on to.
	To string `json:"to"`
}

// enter answers a form with which somebody shows who they are in some way.
func (s doorPages) enter(x *kit.Exchange, way string, first bool, try func() (identity.Pass, error)) error {
	pass, err := try()
	if err == nil {
		x.Heard(way, pass.Account.Code, nil)
		x.Admit(pass)
		if x.Data {
			return x.JSON(http.StatusOK, entered{pass.Account.Code, x.Shell.URL(x.Next())})
		}
		return x.Redirect(x.Next())
	}
	x.Heard(way, x.Visit.Account.Code, err)
	status, words, ok := kit.Refused(x, err)
	if !ok || x.Data {
		return err
	}
	return s.showSignIn(x, status, words, first)
}

func (s doorPages) signInAct(x *kit.Exchange) error {
	return s.enter(x, "password", false, func() (identity.Pass, error) {
		return s.Door.SignIn(x.R.Context(), strings.TrimSpace(x.R.PostFormValue("code")), x.R.PostFormValue("password"), x.Source())
	})
}

// switchAct lets the next person take over a bench. What the last one left open stays on it.
func (s doorPages) switchAct(x *kit.Exchange) error {
	return s.enter(x, "badge", false, func() (identity.Pass, error) {
		p, err := s.Door.Switch(x.R.Context(), strings.TrimSpace(x.R.PostFormValue("badge")), x.R.PostFormValue("pin"), x.Source())
		if err == nil && x.Token() != "" {
			err = s.Door.SignOut(x.R.Context(), x.Token())
		}
		return p, err
	})
}

func (s doorPages) unlockAct(x *kit.Exchange) error {
	return s.enter(x, "unlock", false, func() (identity.Pass, error) {
		return s.Door.Unlock(x.R.Context(), x.Token(), x.R.PostFormValue("secret"), x.Source())
	})
}

func (s doorPages) firstSignInAct(x *kit.Exchange) error {
	return s.enter(x, "one-time code", true, func() (identity.Pass, error) {
		if x.R.PostFormValue("password") != x.R.PostFormValue("again") {
			return identity.Pass{}, &kit.PageError{Status: http.StatusBadRequest, Message: "The two passwords differ."}
		}
		return s.Door.Redeem(x.R.Context(), strings.TrimSpace(x.R.PostFormValue("code")), x.R.PostFormValue("once"), x.R.PostFormValue("password"), x.Source())
	})
}

func (s doorPages) lockAct(x *kit.Exchange) error {
	if err := s.Door.Lock(x.R.Context(), x.Token()); err != nil {
		return err
	}
	if x.Data {
		return x.JSON(http.StatusOK, struct {
			Locked bool `json:"locked"`
		}{true})
	}
	return x.Redirect("/unlock")
}

func (s doorPages) signOutAct(x *kit.Exchange) error {
	if err := s.Door.SignOut(x.R.Context(), x.Token()); err != nil {
		return err
	}
	x.SetToken("", -1)
	return x.Redirect("/sign-in")
}
