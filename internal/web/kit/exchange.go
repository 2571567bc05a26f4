package kit

import (
	"net/http"

	"rinsate/internal/desk"
)

// Exchange is one request and its answer.
type Exchange struct {
	Shell *Shell
	W     http.ResponseWriter
	R     *http.Request
	Asker
	// Data says that the answer is JSON.
	Data bool
	// renewed says that the answer gives the browser a new token.
	renewed bool
}

// Acting is the desk for whoever asks.
func (x *Exchange) Acting() desk.Acting { return x.Shell.Desk.As(x.Actor()) }

// Unsigned says whether whoever asks would have to sign now.
func (x *Exchange) Unsigned() bool { return !x.Actor().Signs(x.Shell.Now()) }
