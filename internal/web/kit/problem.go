package kit

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/identity"
)

// PageError is an error with a status and words for a person.
type PageError struct {
	Status        int
	Message, Hint string
}

func (e *PageError) Error() string { return e.Message }

// Forbidden says that a page or an act is not for the roles of whoever asks.
func Forbidden() error {
	return &PageError{Status: http.StatusForbidden, Message: "This is not for your roles.", Hint: "Ask an administrator if you need it."}
}

// NotHere says that what an address names does not exist.
func NotHere(format string, args ...any) error {
	return &PageError{Status: http.StatusNotFound, Message: fmt.Sprintf(format, args...)}
}

// statuses maps the codes of the store to what a browser understands.
var statuses = map[fault.Code]int{
	fault.Invalid: http.StatusBadRequest, fault.NotFound: http.StatusNotFound, fault.Conflict: http.StatusConflict,
	fault.Forbidden: http.StatusForbidden, fault.Unsigned: http.StatusForbidden,
	fault.Busy: http.StatusServiceUnavailable, fault.Full: http.StatusInsufficientStorage, fault.Broken: http.StatusInternalServerError,
}

// Shown returns an error as a person sees it. What is not meant for people becomes a number that is in
// the log as well.
func (x *Exchange) Shown(err error) *PageError {
	var own *PageError
	var stored *fault.Error
	var refused *identity.DeniedError
	switch {
	case errors.As(err, &own):
		return own
	case errors.As(err, &refused):
		return denied(refused)
	case errors.As(err, &stored) && statuses[stored.Code] != 0:
		return &PageError{Status: statuses[stored.Code], Message: Sentence(stored.Message), Hint: Sentence(stored.Hint)}
	}
	var number [4]byte
	rand.Read(number[:]) // never fails
	reference := hex.EncodeToString(number[:])
	if x.R.Context().Err() != nil {
		return &PageError{Status: http.StatusServiceUnavailable, Message: "Nobody waits for the answer any more."}
	}
	x.Shell.Log.Error(
		"page failed",
		slog.String("reference", reference),
		slog.String("method", x.R.Method),
		slog.String("path", x.R.URL.Path),
		slog.Any("error", err),
	)
	return &PageError{
		Status: http.StatusInternalServerError, Message: "Something went wrong.",
		Hint: "Nothing was stored. Tell whoever cares for the program the reference " + reference + ".",
	}
}

// Fail shows an error.
func (x *Exchange) Fail(err error) {
	shown := x.Shown(err)
	problem := problem{shown.Status, shown.Message, shown.Hint}
	var failed error
	if x.Data {
		failed = x.JSON(shown.Status, problem)
	} else {
		failed = x.Show(shown.Status, "problem", x.Shell.Desk == nil, problem) // before the first run there is no navigation
	}
	if failed != nil {
		x.Shell.Log.Error("the page of the problem failed", slog.Any("error", failed))
		http.Error(x.W, shown.Message, shown.Status)
	}
}

// problem is what went wrong, for a person.
type problem struct {
	Status  int    `json:"status"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

// denied maps an attempt to sign in that failed to an answer.
func denied(e *identity.DeniedError) *PageError {
	status := http.StatusForbidden
	if e.Wait > 0 {
		status = http.StatusTooManyRequests
	}
	message, hint, _ := strings.Cut(e.Error(), "\nhint: ")
	return &PageError{Status: status, Message: Sentence(message), Hint: Sentence(hint)}
}

// Sentence makes a sentence of an error.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}

// TooLarge says that a form is longer than it may be.
func TooLarge() error {
	return &PageError{Status: http.StatusRequestEntityTooLarge, Message: fmt.Sprintf("This is longer than %d kB.", FormLimit>>10), Hint: "Nothing was stored."}
}

// StoreMessage is what an error says, without the hint, which the page words itself.
func StoreMessage(err error) string {
	if e, ok := errors.AsType[*fault.Error](err); ok {
		return e.Message
	}
	return err.Error()
}
