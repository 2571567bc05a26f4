package web

import (
	"errors"
	"io"
	"net/http"
)

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

// parse reads the form of a request.
func (x *exchange) parse() error {
	err := x.r.ParseForm()
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge()
	}
	if err != nil {
		return &pageError{status: http.StatusBadRequest, message: "The form cannot be read.", hint: "Open the page anew and send it again."}
	}
	return nil
}
