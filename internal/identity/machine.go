package identity

import (
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Bound returns an actor as what they may now: once the start of the site is signed, whoever acts at the machine may
// what the roles on record of the person allow whom they name. Every other actor is returned as is.
func (v View) Bound(a access.Actor) (access.Actor, error) {
	if !a.AtMachine() {
		return a, nil
	}
	site, err := v.Opening(store.Forever)
	if err != nil || !site.Decides(v.tx.Now) {
		return a, err
	}
	s, err := v.Signer(a.Code(), reprocessing.Clock{})
	if err != nil || !s.Known {
		return a.Bound(nil), err
	}
	return a.Bound(s.Roles()), nil
}

// Check refuses what an actor may not do, and what is a signature and not signed. Of whoever acts at the machine it says
// who may. Where nobody is left who manages accounts, those who may take records back do at the machine, and where there
// are none of them either, anybody: else a site that lost its last administrator would be closed for ever.
func (v View) Check(a access.Actor, act access.Act) error {
	a, err := v.Bound(a)
	if err != nil {
		return err
	}
	refused := a.Check(act, v.tx.Now)
	if fault.CodeOf(refused) != fault.Forbidden || !a.AtMachine() {
		return refused
	}
	may, err := v.who(act.Roles())
	if err != nil {
		return err
	}
	if len(may) == 0 && slices.Contains(act.Needs, access.ManageAccounts) {
		if may, err = v.who([]access.Role{access.Lead}); err != nil || len(may) == 0 || a.Has(access.VoidRecord) {
			return err
		}
	}
	return atMachine(a, act, may)
}

// atMachine says why whoever acts at the machine may not, and who may.
func atMachine(a access.Actor, act access.Act, may []string) error {
	e := &fault.Error{Code: fault.Forbidden, Message: "to " + act.What + " is not for the roles of " + a.Code()}
	switch {
	case a.Code() == "":
		e.Message = "to " + act.What + " takes a person: nobody is named"
	case len(a.Roles()) == 0:
		e.Message = "to " + act.What + " is not for " + a.Code() + ", who has no role here"
	}
	have := "nobody has one of them"
	if len(may) > 0 {
		have = "who has one: " + strings.Join(may, ", ")
	}
	e.Hint = "it takes one of the roles: " + access.Words(act.Roles()) + "; " + have
	if len(may) == 0 {
		e.Hint += "; give one with: rinsate user add, or rinsate user roles"
	}
	return e
}

// Codes returns the codes of everybody who was ever registered or had an account, sorted.
func (v View) Codes() (codes []string, err error) {
	for _, kind := range []record.Kind{record.Person, record.Access} {
		kept, err := v.tx.Entities(kind)
		if err != nil {
			return nil, err
		}
		for _, k := range kept {
			p, err := record.Place(k.Record)
			if err != nil {
				return nil, err
			}
			codes = append(codes, p.Entity)
		}
	}
	slices.Sort(codes)
	return slices.Compact(codes), nil
}

// Spelled returns how the code of a person is written here; one that nobody has comes back as it is.
func (v View) Spelled(code string) (string, error) {
	codes, err := v.Codes()
	for _, c := range codes {
		if access.Key(c) == access.Key(code) {
			return c, err
		}
	}
	return code, err
}

// who returns the codes of those who have one of some roles.
func (v View) who(roles []access.Role) (may []string, err error) {
	codes, err := v.Codes()
	if err != nil {
		return nil, err
	}
	for _, code := range codes {
		s, err := v.Signer(code, reprocessing.Clock{})
		if err != nil {
			return nil, err
		}
		if s.Known && slices.ContainsFunc(s.Roles(), func(r access.Role) bool { return slices.Contains(roles, r) }) {
			may = append(may, code)
		}
	}
	return may, nil
}
