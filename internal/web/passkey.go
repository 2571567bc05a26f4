package web

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/identity"
)

// questionCookie is the name of the cookie that ties the answer of a device to the browser that asked it.
func (s *Server) questionCookie() string { return s.cookieName() + "-passkey" }

func (x *exchange) setQuestion(shown string, age int) {
	http.SetCookie(x.w, &http.Cookie{
		Name: x.s.questionCookie(), Value: shown, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.s.secure, SameSite: http.SameSiteStrictMode,
	})
}

// withPasskeys serves a route where passkeys count.
func (s *Server) withPasskeys(handle func(*exchange) error) func(*exchange) error {
	return func(x *exchange) error {
		if s.passkeys == nil {
			return &pageError{status: http.StatusNotFound, message: "No passkeys count at this address.", hint: "Use the password."}
		}
		return handle(x)
	}
}

// content reads what a script has sent.
func (x *exchange) content() ([]byte, error) {
	content, err := io.ReadAll(x.r.Body)
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return nil, tooLarge()
	}
	if err != nil {
		return nil, &pageError{status: http.StatusBadRequest, message: "The answer of the device did not arrive.", hint: "Try again."}
	}
	return content, nil
}

// askToSignIn answers with what the browser asks a device.
func (s *Server) askToSignIn(x *exchange) error {
	options, shown, err := s.passkeys.AskToSignIn(x.source())
	if err != nil {
		return err
	}
	x.setQuestion(shown, 0)
	return x.json(http.StatusOK, options)
}

func (s *Server) signInByPasskey(x *exchange) error {
	shown := ""
	if c, err := x.r.Cookie(s.questionCookie()); err == nil {
		shown = c.Value
	}
	x.setQuestion("", -1)
	content, err := x.content()
	if err != nil {
		return err
	}
	return x.enter("passkey", false, func() (identity.Pass, error) { return s.passkeys.SignIn(x.r.Context(), shown, content, x.source()) })
}

func (s *Server) askToUnlock(x *exchange) error {
	options, err := s.passkeys.AskToUnlock(x.r.Context(), x.token())
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, options)
}

func (s *Server) unlockByPasskey(x *exchange) error {
	content, err := x.content()
	if err != nil {
		return err
	}
	return x.enter("passkey", false, func() (identity.Pass, error) { return s.passkeys.Unlock(x.r.Context(), x.token(), content, x.source()) })
}

// askToAdd answers with what the browser asks a device that makes a passkey.
func (s *Server) askToAdd(x *exchange) error {
	content, err := x.content()
	if err != nil {
		return err
	}
	var form struct{ Name, Password string }
	if err := json.Unmarshal(content, &form); err != nil {
		return &pageError{status: http.StatusBadRequest, message: "The form cannot be read.", hint: "Open the page anew and send it again."}
	}
	options, pass, err := s.passkeys.AskToAdd(x.r.Context(), x.token(), form.Password, form.Name, x.source())
	x.heard("passkey added", x.who.Code, err)
	if err != nil {
		return err
	}
	x.admit(pass)
	return x.json(http.StatusOK, options)
}

func (s *Server) addPasskey(x *exchange) error {
	content, err := x.content()
	if err != nil {
		return err
	}
	if _, err := s.passkeys.Add(x.r.Context(), x.token(), content); err != nil {
		x.heard("passkey added", x.who.Code, err)
		return err
	}
	return x.json(http.StatusOK, entered{x.who.Code, s.url("/account")})
}

// passkeyLine is one passkey on the page of its account.
type passkeyLine struct {
	ID, Name, Added, Used string
	// Elsewhere is the address at which it counts when that is not this one.
	Elsewhere string
}

func (x *exchange) passkeyLines(v desk.View, code string) ([]passkeyLine, error) {
	all, err := v.People().Passkeys(code)
	lines := make([]passkeyLine, len(all))
	for i, p := range all {
		lines[i] = passkeyLine{ID: p.ID, Name: p.Name, Added: p.Added.In(v.Zone())}
		if p.Used.Known() {
			lines[i].Used = p.Used.In(v.Zone())
		}
		if !x.s.passkeys.Counts(p) {
			lines[i].Elsewhere = p.Host
		}
	}
	return lines, err
}
