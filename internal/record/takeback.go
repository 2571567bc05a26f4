package record

import (
	"fmt"
	"strings"

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

// TakenBack refuses the void of a record that nobody takes back, of a kind that is not taken back or by what it says. By
// whom what can be taken back is, is the desk's to say.
func TakenBack(r ledger.Record) error {
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
	return d.typed.refused(r)
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

// People returns the codes of everybody whom a record names, its author first.
func People(r ledger.Record) ([]string, error) {
	found, err := Index(r)
	if err != nil {
		return nil, err
	}
	var all []string
	for _, term := range found.Terms {
		if code, ok := strings.CutPrefix(term, ByPerson.term("")); ok {
			all = append(all, code)
		}
	}
	return all, nil
}
