package web

import (
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/web/kit"
)

// vouched lets the second person of a form agree, where it names one; whether they may is the desk's to say.
func vouched(x *kit.Exchange, code string, e *desk.Entry) error {
	return vouchedBy(x, code, x.R.PostFormValue("second-password"), e)
}

// signedByTwo lets whoever sends a form sign it, and the second person agree whom it names.
func signedByTwo(x *kit.Exchange, f kit.Form, e *desk.Entry) error {
	if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
		return err
	}
	return vouched(x, f.Typed["second"], e)
}

// vouchedBy is vouched with the password that was typed.
func vouchedBy(x *kit.Exchange, code, password string, e *desk.Entry) error {
	code = strings.TrimSpace(code)
	if code == "" {
		return nil
	}
	second, err := x.Shell.Door.Vouch(x.R.Context(), code, password, x.Source())
	if err != nil {
		shown := x.Shown(err)
		return &kit.PageError{Status: shown.Status, Message: "Second person: " + shown.Message, Hint: shown.Hint}
	}
	e.Second = second
	return nil
}
