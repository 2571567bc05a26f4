package web

import (
	"errors"
	"log/slog"
	"net/http"
	"strings"

	"rinsate/internal/desk"
)

// sign lets whoever has signed in show again who they are, unless they have just done so.
func (x *exchange) sign(secret string) error {
	if x.visit.Session.MaySign(x.s.now()) {
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

// admit lets the browser keep a new token. The cookie ends with the browser, and the session on its own.
func (x *exchange) admit(p desk.Pass) {
	x.setToken(p.Token, 0)
	x.visit, x.renewed = p.Visit, true
}

// heard writes to the log how somebody tried to show who they are and what came of it. code is that of
// the account that was opened, or whose session it was tried in. Nothing that was typed is written.
func (x *exchange) heard(way, code string, err error) {
	about := []any{slog.String("way", way), slog.String("code", code), slog.String("address", x.source().Address)}
	denied, ok := errors.AsType[*desk.DeniedError](err)
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
