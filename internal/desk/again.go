package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// again returns the receipt of an act whose record is stored already, ok = false when it is not.
// same compares what was sent with what is stored; what the rules added to it is not compared, since
// they may have changed since.
func again[T any](w *Work, id ledger.ID, typ record.Kind, same func(T) bool) (r Receipt, ok bool, err error) {
	if id == "" {
		return r, false, nil
	}
	kept, err := w.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return r, false, nil
	}
	if err != nil {
		return r, false, err
	}
	body, err := record.Body[T](kept.Record)
	if err != nil || kept.Kind() != typ || !same(body) {
		return r, false, &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("record %s is stored with another content", id),
			Hint:    "a stored record never changes: send a correction that names it",
		}
	}
	return Receipt{Record: kept.Record}, true, nil
}

// sentBefore says whether the record of an entry is stored already.
func (w *Work) sentBefore(e Entry) bool {
	if e.ID == "" {
		return false
	}
	_, err := w.tx.Record(e.ID)
	return err == nil
}

// withoutSecond is what a body says but for who else signed it.
func withoutSecond(body any) any {
	if m, ok := body.(map[string]any); ok {
		delete(m, "second")
	}
	return body
}
