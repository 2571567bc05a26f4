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
// what the roles on record of the person allow whom they name, and that person shows their password to sign, where they
// have one. Every other actor is returned as is.
func (v View) Bound(a access.Actor) (access.Actor, error) {
	if !a.AtMachine() {
		return a, nil
	}
	site, err := v.Opening(store.Forever)
	if err != nil || !site.Decides(v.tx.Now) {
		return a, err
	}
	s, err := v.Signer(a.Code(), reprocessing.Clock{})
	if err != nil {
		return a.Bound(nil, true), err
	}
	owes, err := v.owes(a.Code())
	if err != nil || !s.Known {
		return a.Bound(nil, true), err
	}
	return a.Bound(s.Roles(), owes), nil
}

// owes says whether somebody has a password to show.
func (v View) owes(code string) (bool, error) {
	a, ok, err := v.tx.Access().Account(code)
	return ok && a.Password != "", err
}

// Owes says whether somebody who is named at the machine has to show who they are with their password: once the start of
// the site is signed, if they have one.
func (v View) Owes(code string) (bool, error) {
	site, err := v.Opening(store.Forever)
	if err == nil && site.Decides(v.tx.Now) {
		return v.owes(code)
	}
	return false, err
}

// CheckShown refuses a second person whom an actor at the machine only names, and who has a password to show.
func (v View) CheckShown(a access.Actor, second string) error {
	if !a.AtMachine() || second == "" {
		return nil
	}
	owes, err := v.Owes(second)
	if err != nil || !owes || a.Showed(second, v.tx.Now) {
		return err
	}
	return &fault.Error{
		Code: fault.Unsigned, Message: "second person: " + second + " has not shown who they are", Hint: "let them show it with their password",
	}
}

// SignedAtMachine says whether the person who does an act at the machine signs it: what is a signature everywhere, and
// what is done to accounts, for which one has to have signed in elsewhere.
func SignedAtMachine(act access.Act) bool {
	return act.Signed || slices.Contains(act.Needs, access.ManageAccounts)
}

// Check refuses what an actor may not do, and what is a signature and not signed. Of whoever acts at the machine it says
// who may. Where nobody is left who manages accounts, those who may take records back do at the machine, and where there
// are none of them either, anybody: else a site that lost its last administrator would be closed for ever.
func (v View) Check(a access.Actor, act access.Act) error {
	a, err := v.Bound(a)
	if err != nil {
		return err
	}
	if a.AtMachine() && !act.Signed {
		act.Signed = SignedAtMachine(act) && act.Name != ""
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
			if err == nil {
				err = a.Check(access.Act{Anybody: true, Signed: true}, v.tx.Now)
			}
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

// mayChange refuses to change an account. Whoever lost the password of the last account that manages others is let in again
// at the machine by two who answer for the scopes, a lead and infection prevention.
func (v View) mayChange(e Entry, act access.Act, code string) error {
	refused := v.Check(e.Actor, act)
	if fault.CodeOf(refused) != fault.Forbidden || act.Name != ToReset.Name || !e.Actor.AtMachine() || e.Second.Code() == "" || e.Actor.Is(code) {
		return refused
	}
	first, err := v.Bound(e.Actor)
	if err != nil {
		return err
	}
	if !first.Signs(v.tx.Now) {
		return refused
	}
	second, err := v.second(e, code)
	if err != nil {
		return err
	}
	var p access.Pair
	if p.First, err = v.Signer(e.Actor.Code(), reprocessing.Clock{}); err != nil {
		return err
	}
	if p.Second, err = v.Signer(second, reprocessing.Clock{}); err != nil {
		return err
	}
	if p.Be(access.Lead, access.InfectionPrevention) != nil {
		return refused
	}
	return nil
}

// binds says whether an actor is held to what is on record of them: everybody on a page, and at the machine once the start
// of the site is signed.
func (v View) binds(a access.Actor) (bool, error) {
	if !a.Vouched() {
		return true, nil
	}
	site, err := v.Opening(store.Forever)
	return a.AtMachine() && site.Decides(v.tx.Now), err
}

// notThemselves refuses somebody who changes their own roles.
func (v View) notThemselves(a access.Actor, code string) error {
	if !a.Is(code) {
		return nil
	}
	if binds, err := v.binds(a); err != nil || !binds {
		return err
	}
	return &fault.Error{
		Code: fault.Forbidden, Message: "nobody gives roles to themselves",
		Hint: "ask another administrator, or somebody else who is made one",
	}
}

// noMoreThemselves refuses somebody at the machine who makes an account for themselves with a role that they do not have;
// on a page one has an account already.
func (v View) noMoreThemselves(a access.Actor, code string, roles []access.Role) error {
	if !a.AtMachine() {
		return nil
	}
	s, err := v.Signer(code, reprocessing.Clock{})
	if err != nil || !slices.ContainsFunc(roles, func(r access.Role) bool { return !slices.Contains(s.Roles(), r) }) {
		return err
	}
	return v.notThemselves(a, code)
}
