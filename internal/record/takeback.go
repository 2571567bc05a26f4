package record

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
)

// Succeeds refuses a record that may not take the place of another. Only a void and a record of the same
// kind do.
func Succeeds(r, old ledger.Record) error {
	kind, was := KindOf(r), KindOf(old)
	if kind == Void || kind == was {
		return nil
	}
	return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("%s record cannot take the place of %s record", Called(kind), Called(was))}
}

// TakenBack refuses the void of a record by somebody: of a kind that nobody takes back, or of a record that
// this person cannot.
func TakenBack(r ledger.Record, by string) error {
	r, d, err := current(r)
	if err != nil {
		return err
	}
	if d.Kept != "" {
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("%s record cannot be voided: %s", Called(d.Kind), d.Kept),
			Hint: "void or correct what it rests on; after a wrong lift place a new hold",
		}
	}
	return d.typed.refused(r, by)
}

// Again returns what has to be decided again when a record goes.
func Again(r ledger.Record) (Redo, error) {
	r, d, err := current(r)
	if err != nil {
		return Redo{}, err
	}
	return d.typed.again(r)
}

// Relations returns the records that a record names in its body, each with what it is to that one.
func Relations(r ledger.Record) ([]Relation, error) {
	r, d, err := current(r)
	if err != nil {
		return nil, err
	}
	return d.typed.relations(r)
}
