package web

import (
	"encoding/json"
	"net/http"

	"rinsate/internal/desk"
)

// withPasskeys serves a route where passkeys count.
func (s *Server) withPasskeys(handle func(*exchange) error) func(*exchange) error {
	return func(x *exchange) error {
		if s.passkeys == nil {
			return &pageError{status: http.StatusNotFound, message: "No passkeys count at this address.", hint: "Use the password."}
		}
		return handle(x)
	}
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
	shown := x.question()
	x.setQuestion("", -1)
	content, err := x.content()
	if err != nil {
		return err
	}
	return s.enter(x, "passkey", false, func() (desk.Pass, error) { return s.passkeys.SignIn(x.r.Context(), shown, content, x.source()) })
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
	return s.enter(x, "passkey", false, func() (desk.Pass, error) { return s.passkeys.Unlock(x.r.Context(), x.token(), content, x.source()) })
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

func (s *Server) passkeyLines(x *exchange, v desk.View, code string) ([]passkeyLine, error) {
	all, err := v.Passkeys(code)
	lines := make([]passkeyLine, len(all))
	for i, p := range all {
		lines[i] = passkeyLine{ID: p.ID, Name: p.Name, Added: p.Added.In(v.Zone())}
		if p.Used.Known() {
			lines[i].Used = p.Used.In(v.Zone())
		}
		if !s.passkeys.Counts(p) {
			lines[i].Elsewhere = p.Host
		}
	}
	return lines, err
}
