package web

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
)

// pageError is an error with a status and words for a person.
type pageError struct {
	status        int
	message, hint string
}

func (e *pageError) Error() string { return e.message }

func forbidden() error {
	return &pageError{status: http.StatusForbidden, message: "This is not for your roles.", hint: "Ask an administrator if you need it."}
}

func notHere(format string, args ...any) error {
	return &pageError{status: http.StatusNotFound, message: fmt.Sprintf(format, args...)}
}

// statuses maps the codes of the store to what a browser understands.
var statuses = map[fault.Code]int{
	fault.Invalid: http.StatusBadRequest, fault.NotFound: http.StatusNotFound, fault.Conflict: http.StatusConflict,
	fault.Busy: http.StatusServiceUnavailable, fault.Full: http.StatusInsufficientStorage, fault.Broken: http.StatusInternalServerError,
}

// shown returns an error as a person sees it. What is not meant for people becomes a number that is in
// the log as well.
func (x *exchange) shown(err error) *pageError {
	var own *pageError
	var stored *fault.Error
	var refused *desk.DeniedError
	switch {
	case errors.As(err, &own):
		return own
	case errors.As(err, &refused):
		return denied(refused)
	case errors.As(err, &stored) && statuses[stored.Code] != 0:
		return &pageError{status: statuses[stored.Code], message: sentence(stored.Message), hint: sentence(stored.Hint)}
	}
	var number [4]byte
	rand.Read(number[:]) // never fails
	reference := hex.EncodeToString(number[:])
	if x.r.Context().Err() != nil {
		return &pageError{status: http.StatusServiceUnavailable, message: "Nobody waits for the answer any more."}
	}
	x.s.log.Error("page failed", slog.String("reference", reference), slog.String("method", x.r.Method), slog.String("path", x.r.URL.Path), slog.Any("error", err))
	return &pageError{
		status: http.StatusInternalServerError, message: "Something went wrong.",
		hint: "Nothing was stored. Tell whoever cares for the program the reference " + reference + ".",
	}
}

// fail shows an error.
func (x *exchange) fail(err error) {
	shown := x.shown(err)
	problem := problem{shown.status, shown.message, shown.hint}
	var failed error
	if x.data {
		failed = x.json(shown.status, problem)
	} else {
		failed = x.show(shown.status, "problem", x.s.desk == nil, problem) // before the first run there is no navigation
	}
	if failed != nil {
		x.s.log.Error("the page of the problem failed", slog.Any("error", failed))
		http.Error(x.w, shown.message, shown.status)
	}
}

// problem is what went wrong, for a person.
type problem struct {
	Status  int    `json:"status"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

// denied maps an attempt to sign in that failed to an answer.
func denied(e *desk.DeniedError) *pageError {
	status := http.StatusForbidden
	if e.Wait > 0 {
		status = http.StatusTooManyRequests
	}
	message, hint, _ := strings.Cut(e.Error(), "\nhint: ")
	return &pageError{status: status, message: sentence(message), hint: sentence(hint)}
}

// sentence makes a sentence of an error.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}

func tooLarge() error {
	return &pageError{status: http.StatusRequestEntityTooLarge, message: fmt.Sprintf("This is longer than %d kB.", formLimit>>10), hint: "Nothing was stored."}
}

// storeMessage is what an error says, without the hint, which the page words itself.
func storeMessage(err error) string {
	if e, ok := errors.AsType[*fault.Error](err); ok {
		return e.Message
	}
	return err.Error()
}
