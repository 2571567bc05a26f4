package desk

import (
	"rinsate/internal/base/fault"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// standing returns what stands of something that is registered, ok = false when nothing does.
func standing[T any](v View, typ record.Kind, name string) (body T, ok bool, err error) {
	kept, ok, err := v.tx.Entity(typ, name, store.Forever, store.Forever)
	if err == nil && ok {
		body, err = record.Body[T](kept.Record)
	}
	return body, ok && err == nil, err
}

// keepsClosed refuses to take back an edition by which a lot is recalled or a scope is out of service, where that
// would be gone with it: taking that back is an act of its own.
func (v View) keepsClosed(old store.Kept) error {
	if old.Kind() == record.Lot {
		return keepsClosed(v, old, quality.Lot.TakesBack, "the recall of the lot", "take the recall back, with a second person")
	}
	if old.Kind() == record.Instrument {
		return keepsClosed(v, old, scope.Instrument.TakesBack, "that the scope left", "bring it back on its page in the set-up, with the reason")
	}
	return nil
}

func keepsClosed[T any](v View, old store.Kept, takesBack func(T, T) bool, what, hint string) error {
	last, before, err := lastEditions(v, old)
	if err != nil || last.ID != old.ID {
		return err // it is another edition that counts
	}
	var left T
	if before.ID != "" {
		if left, err = record.Body[T](before.Record); err != nil {
			return err
		}
	}
	closed, err := record.Body[T](last.Record)
	if err == nil && takesBack(left, closed) {
		err = &fault.Error{Code: fault.Invalid, Message: what + " would be taken back with this record", Hint: hint}
	}
	return err
}

// lastEditions returns the edition of a thing that counts, and the one that would without it.
func lastEditions(v View, of store.Kept) (last, before store.Kept, err error) {
	place, err := record.Place(of.Record)
	if err != nil {
		return last, before, err
	}
	err = v.tx.Editions(of.Kind(), place.Entity, func(k store.Kept) error {
		if !k.Replaced.Known() {
			before, last = last, k
		}
		return nil
	})
	return last, before, err
}
