package kit

import (
	"errors"
	"io"
	"net/http"
)

// Content reads what a script has sent.
func (x *Exchange) Content() ([]byte, error) {
	content, err := io.ReadAll(x.R.Body)
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return nil, TooLarge()
	}
	if err != nil {
		return nil, &PageError{Status: http.StatusBadRequest, Message: "The answer of the device did not arrive.", Hint: "Try again."}
	}
	return content, nil
}

// Parse reads the form of a request.
func (x *Exchange) Parse() error {
	err := x.R.ParseForm()
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return TooLarge()
	}
	if err != nil {
		return &PageError{Status: http.StatusBadRequest, Message: "The form cannot be read.", Hint: "Open the page anew and send it again."}
	}
	return nil
}
