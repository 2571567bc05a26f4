package sqlite

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"rinsate/internal/base/fault"
)

// engineError turns an engine's error into one that a person can act on, by its code and never by
// its text.
func engineError(err error) error {
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok {
		return err
	}
	switch e.Code() & 0xff {
	case lib.SQLITE_FULL:
		return &fault.Error{
			Code:    fault.Full,
			Message: "the disk is full; nothing was written and nothing is lost",
			Hint:    "free some space and try again",
			Cause:   err,
		}
	case lib.SQLITE_IOERR:
		return &fault.Error{
			Code:    fault.Full,
			Message: fmt.Sprintf("the disk refused to write (code %d); nothing was written and nothing is lost", e.Code()),
			Hint:    "check the free space and the disk, then try again",
			Cause:   err,
		}
	case lib.SQLITE_BUSY:
		return &fault.Error{Code: fault.Busy, Message: "another program holds the database", Hint: "stop that program, then try again", Cause: err}
	case lib.SQLITE_READONLY, lib.SQLITE_PERM:
		return &fault.Error{
			Code:    fault.Invalid,
			Message: "the data folder cannot be written to",
			Hint:    "check the owner and the permissions of the folder",
			Cause:   err,
		}
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB:
		return &fault.Error{
			Code:    fault.Broken,
			Message: fmt.Sprintf("the database file is damaged (code %d)", e.Code()),
			Hint:    "stop, keep a copy of the folder as it is, and restore the last backup",
			Cause:   err,
		}
	}
	return err
}
