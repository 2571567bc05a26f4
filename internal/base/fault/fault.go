// Package fault is what goes wrong in a way that a person can act on: a code for programs, a sentence in
// people's words, and a hint that says what to do next.
//
// Anything else that is returned as an error is a fault of the program or the machine: its text is for the
// log and not for people. Read Error first.
package fault

import (
	"errors"
	"fmt"
)

// Code is the kind of an error, for programs.
type Code string

// The codes. Commands print them with --json and pages choose their status by them: add, never rename.
const (
	Invalid  Code = "invalid"   // the input breaks a rule
	NotFound Code = "not-found" // what was named does not exist
	Conflict Code = "conflict"  // what was asked contradicts what is on record
	Busy     Code = "busy"      // somebody else is at work
	Full     Code = "disk-full" // there is no room left; nothing was written
	Broken   Code = "broken"    // the ledger contradicts itself

	Forbidden Code = "forbidden" // it is not for the roles of whoever asks
	Unsigned  Code = "unsigned"  // it takes a signature, and the person has not shown a moment ago who they are
)

// Error is an error that a person can act on.
type Error struct {
	Code    Code
	Message string
	// Hint says what to do next.
	Hint  string
	Cause error
}

// Error returns the message, and the hint on a line of its own.
func (e *Error) Error() string {
	if e.Hint == "" {
		return e.Message
	}
	return e.Message + "\nhint: " + e.Hint
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Cause }

// CodeOf returns the code of an error, empty for an error that no person caused.
func CodeOf(err error) Code {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Code
	}
	return ""
}

// Invalidf returns an error about input that breaks a rule.
func Invalidf(format string, args ...any) error {
	return &Error{Code: Invalid, Message: fmt.Sprintf(format, args...)}
}

// NotFoundf returns an error about something that does not exist, and says where to look for what does.
func NotFoundf(hint, format string, args ...any) error {
	return &Error{Code: NotFound, Message: fmt.Sprintf(format, args...), Hint: hint}
}

// Refused gives the refusal of a pure package its code; nil stays nil.
func Refused(err error) error {
	if err == nil {
		return nil
	}
	return &Error{Code: Invalid, Message: err.Error(), Cause: err}
}
