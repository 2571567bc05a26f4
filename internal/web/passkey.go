package web

import (
	"encoding/json"
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/identity"
	"rinsate/internal/web/kit"
)

// withPasskeys serves a route where passkeys count.
func (s doorPages) withPasskeys(handle func(*kit.Exchange) error) func(*kit.Exchange) error {
	return func(x *kit.Exchange) error {
		if s.passkeys == nil {
			return &kit.PageError{Status: http.StatusNotFound, Message: "No passkeys count at this address.", Hint: "Use the password."}
		}
		return handle(x)
	}
}

// askToSignIn answers with what the browser asks a device.
func (s doorPages) askToSignIn(x *kit.Exchange) error {
	options, shown, err := s.passkeys.AskToSignIn(x.Source())
	if err != nil {
		return err
	}
	x.SetQuestion(shown, 0)
	return x.JSON(http.StatusOK, options)
}

func (s doorPages) signInByPasskey(x *kit.Exchange) error {
	shown := x.Question()
	x.SetQuestion("", -1)
	content, err := x.Content()
	if err != nil {
		return err
	}
	return s.enter(x, "passkey", false, func() (identity.Pass, error) { return s.passkeys.SignIn(x.R.Context(), shown, content, x.Source()) })
}

func (s doorPages) askToUnlock(x *kit.Exchange) error {
	options, err := s.passkeys.AskToUnlock(x.R.Context(), x.Token())
	if err != nil {
		return err
	}
	return x.JSON(http.StatusOK, options)
}

func (s doorPages) unlockByPasskey(x *kit.Exchange) error {
	content, err := x.Content()
	if err != nil {
		return err
	}
	return s.enter(x, "passkey", false, func() (identity.Pass, error) { return s.passkeys.Unlock(x.R.Context(), x.Token(), content, x.Source()) })
}

// askToAdd answers with what the browser asks a device that makes a passkey.
func (s doorPages) askToAdd(x *kit.Exchange) error {
	content, err := x.Content()
	if err != nil {
		return err
	}
	var form struct{ Name, Password string }
	if err := json.Unmarshal(content, &form); err != nil {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The form cannot be read.", Hint: "Open the page anew and send it again."}
	}
	options, pass, err := s.passkeys.AskToAdd(x.R.Context(), x.Token(), form.Password, form.Name, x.Source())
	x.Heard("passkey added", x.Who.Code, err)
	if err != nil {
		return err
	}
	x.Admit(pass)
	return x.JSON(http.StatusOK, options)
}

func (s doorPages) addPasskey(x *kit.Exchange) error {
	content, err := x.Content()
	if err != nil {
		return err
	}
	if _, err := s.passkeys.Add(x.R.Context(), x.Token(), content); err != nil {
		x.Heard("passkey added", x.Who.Code, err)
		return err
	}
	return x.JSON(http.StatusOK, entered{x.Who.Code, s.URL("/account")})
}

// passkeyLine is one passkey on the page of its account.
type passkeyLine struct {
	ID, Name, Added, Used string
	// Elsewhere is the address at which it counts when that is not this one.
	Elsewhere string
}

func (s doorPages) passkeyLines(v desk.View, code string) ([]passkeyLine, error) {
	all, err := v.People().Passkeys(code)
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
