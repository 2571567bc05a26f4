package desk

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// twoKnown refuses codes that nobody here has: whoever could make one up would be two people alone.
func (v View) twoKnown(by, second string) error {
	for _, of := range []struct{ code, who, hint string }{
		{by, "the person", "register the person, or let somebody do it who is registered"},
		{second, "the second person", "register the person, or name another with --second"},
	} {
		if of.code == "" {
			continue
		}
		if known, err := v.personKnown(of.code); err != nil {
			return err
		} else if !known {
			return notFound(of.hint, "%s %q is not registered here", of.who, of.code)
		}
	}
	return nil
}

// personKnown says whether a code belongs to somebody who is registered and may still come in.
func (v View) personKnown(code string) (bool, error) {
	a, ok, err := edition[record.AccessBody](v, record.Access, code, store.Forever, store.Forever)
	if err != nil || ok {
		return ok && !a.Disabled, err
	}
	_, ok, err = v.tx.Entity(record.Person, code, store.Forever, store.Forever)
	return ok, err
}

// rolesOf returns what a person is now: what they were recognised as where they act themselves, and otherwise what is
// on record of them, which is the account's where there is one. Nobody is anything by being named.
func rolesOf(v View, code string, acting access.Actor) ([]access.Role, error) {
	switch {
	case code == "":
		return nil, nil
	case acting.Is(code) && !acting.Vouched():
		return acting.Roles(), nil
	}
	a, ok, err := edition[record.AccessBody](v, record.Access, code, store.Forever, store.Forever)
	if err != nil || ok {
		return a.Roles, err
	}
	p, _, err := edition[record.PersonBody](v, record.Person, code, store.Forever, store.Forever)
	return access.RolesOf(p.Role), err
}
