package kit

import (
	"errors"
	"log/slog"
	"net/http"
	"strings"

	"rinsate/internal/identity"
)

// Sign lets whoever has signed in show again who they are, unless they have just done so.
func (x *Exchange) Sign(secret string) error {
	if !x.Unsigned() {
		return nil
	}
	if secret == "" {
		return &PageError{Status: http.StatusForbidden, Message: "This is a signature.", Hint: "Show with your password or PIN that it is you."}
	}
	pass, err := x.Shell.Door.Reauthenticate(x.R.Context(), x.Token(), secret, x.Source())
	if err == nil {
		x.Admit(pass)
	}
	return err
}

// Admit lets the browser keep a new token. The cookie ends with the browser, and the session on its own.
func (x *Exchange) Admit(p identity.Pass) {
	x.SetToken(p.Token, 0)
	x.Visit, x.renewed = p.Visit, true
}

// Heard writes to the log how somebody tried to show who they are and what came of it. code is that of
// the account that was opened, or whose session it was tried in. Nothing that was typed is written.
func (x *Exchange) Heard(way, code string, err error) {
	about := []any{slog.String("way", way), slog.String("code", code), slog.String("address", x.Source().Address)}
	denied, ok := errors.AsType[*identity.DeniedError](err)
	switch {
	case err == nil:
		x.Shell.Log.Info("somebody has shown who they are", about...)
	case !ok: // a password that is too short, or a fault that is in the log by itself
	case denied.Closed || denied.PINClosed:
		x.Shell.Log.Warn("an attempt at an account that is closed", append(about, slog.Bool("pin_only", denied.PINClosed))...)
	case denied.Wait > 0:
		x.Shell.Log.Warn("an attempt too early", append(about, slog.Duration("wait", denied.Wait))...)
	default:
		if denied.Cause != nil {
			about = append(about, slog.Any("cause", denied.Cause))
		}
		x.Shell.Log.Warn("an attempt has failed", about...)
	}
}

// Refused returns the words for somebody who was not let in, ok = false for another fault.
func Refused(x *Exchange, err error) (status int, words string, ok bool) {
	shown := x.Shown(err)
	return shown.Status, strings.TrimSpace(shown.Message + " " + shown.Hint), shown.Status < http.StatusInternalServerError
}
