package desk

import (
	"fmt"

	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Stock says how much of a kind there is.
type Stock struct {
	// Names counts what is registered: each thing once, however many editions it has. It is 0 for events.
	Names int
	// Any says that there is something.
	Any bool
}

// Stock returns how much of a kind is recorded.
func (v DayView) Stock(kind Kind) (Stock, error) {
	kinds := record.FromFile(string(kind))
	if len(kinds) == 0 {
		return Stock{}, fmt.Errorf("no kind of record is read from files of %s", kind)
	}
	typ := kinds[len(kinds)-1]
	switch d, _ := record.Of(typ); {
	case d.Key != "":
		n, err := v.tx.CountEntities(typ)
		return Stock{Names: n, Any: n > 0}, err
	case d.Scope != "":
		return v.any(typ)
	}
	return v.anyCheck()
}

func (v DayView) any(typ record.Kind) (s Stock, err error) {
	err = v.tx.Lately(typ, 1, func(store.Kept) error {
		s.Any = true
		return nil
	})
	return s, err
}

// anyCheck looks at the meters, since checks belong to no scope.
func (v DayView) anyCheck() (s Stock, err error) {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return s, err
	}
	for _, m := range meters {
		if err := v.tx.Numbers().LastChecks(m.Code, v.tx.Now+1, 1, func(store.Kept) error {
			s.Any = true
			return nil
		}); err != nil {
			return s, err
		}
	}
	return s, nil
}
