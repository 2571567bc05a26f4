package store

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// Code is the kind of an error, for programs.
type Code string

// The codes.
const (
	Invalid  Code = "invalid"   // the input breaks a rule
	NotFound Code = "not-found" // what was named does not exist
	Conflict Code = "conflict"  // what was asked contradicts what is on record
	Busy     Code = "busy"      // somebody else is at work
	Full     Code = "disk-full" // there is no room left; nothing was written
	Broken   Code = "broken"    // the ledger contradicts itself
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

// engineError turns an engine's error into one that a person can act on, by its code and never by
// its text.
func engineError(err error) error {
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok {
		return err
	}
	switch e.Code() & 0xff {
	case lib.SQLITE_FULL:
		return &Error{Code: Full, Message: "the disk is full; nothing was written and nothing is lost", Hint: "free some space and try again", Cause: err}
	case lib.SQLITE_IOERR:
		return &Error{Code: Full, Message: fmt.Sprintf("the disk refused to write (code %d); nothing was written and nothing is lost", e.Code()), Hint: "check the free space and the disk, then try again", Cause: err}
	case lib.SQLITE_BUSY:
		return &Error{Code: Busy, Message: "another program holds the database", Hint: "stop that program, then try again", Cause: err}
	case lib.SQLITE_READONLY, lib.SQLITE_PERM:
		return &Error{Code: Invalid, Message: "the data folder cannot be written to", Hint: "check the owner and the permissions of the folder", Cause: err}
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB:
		return &Error{Code: Broken, Message: fmt.Sprintf("the database file is damaged (code %d)", e.Code()), Hint: "stop, keep a copy of the folder as it is, and restore the last backup", Cause: err}
	}
	return err
}
