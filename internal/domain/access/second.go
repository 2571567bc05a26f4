package access

import (
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
)

// Where an act takes two people, each is the other's second: registered here, another person, allowed to, in a role that
// they held before what they sign began, or have from two others, and that the other did not grant them. Else whoever
// hands out roles would make a second person when one is wanted. Founding roles, those of the time before the start of a
// site was signed, are nobody's grant: the two who sign the start sign the list of them.

// RoleChange is what was on record of somebody's roles from an instant on.
type RoleChange struct {
	At unit.Instant
	// Roles are those that they have from then on; none while they may not come in.
	Roles []Role
	// Out says that they may not come in from then on.
	Out bool
	// By is who changed them, Second who signed it too; both empty where nobody says.
	By, Second string
	// Founding says that it is nobody's grant.
	Founding bool
}

// Held is a role that somebody holds, with how they came to it.
type Held struct {
	Role Role
	// Since is when they were given it, without a break since.
	Since    unit.Instant
	By       string
	Second   string
	Founding bool
}

// HeldAfter returns the roles that somebody holds after all changes, the earliest of which comes first. Who lost a role
// and got it back has it from the one who gave it back.
func HeldAfter(changes []RoleChange) (held []Held) {
	for _, c := range changes {
		held = slices.DeleteFunc(held, func(h Held) bool { return !slices.Contains(c.Roles, h.Role) })
		for _, r := range c.Roles {
			if !slices.ContainsFunc(held, func(h Held) bool { return h.Role == r }) {
				held = append(held, Held{Role: r, Since: c.At, By: c.By, Second: c.Second, Founding: c.Founding})
			}
		}
	}
	return held
}

// Signer is one of two people who sign something together.
type Signer struct {
	Code string
	// Known says that they are registered here and may come in.
	Known bool
	Held  []Held
}

// Roles are all that the person holds.
func (s Signer) Roles() []Role {
	var roles []Role
	for _, h := range s.Held {
		roles = append(roles, h.Role)
	}
	return roles
}

// Pair is two people who sign one thing.
type Pair struct {
	First, Second Signer
	// Since is when began what they sign about: a hold, a restore. Zero where it began at no time.
	Since unit.Instant
}

// same says whether two codes are those of one person.
func same(a, b string) bool { return Key(a) == Key(b) }

// fault says why a role of somebody does not count beside another; empty when it does.
func (p Pair) fault(s, other Signer, h Held) string {
	stranger := func(code string) bool { return code != "" && !same(code, s.Code) && !same(code, other.Code) }
	switch {
	case h.Founding:
		return ""
	case !stranger(h.By) && !stranger(h.Second) && (h.By == "" || same(h.By, other.Code) || same(h.Second, other.Code)):
		// Nobody else had a part in it. Where nobody says who granted it, it may have been the other.
		return fmt.Sprintf("%s has the role %s from %s", s.Code, h.Role, other.Code)
	case !p.Since.Known() || h.Since < p.Since:
		return ""
	case stranger(h.By) && stranger(h.Second) && !same(h.By, h.Second):
		return ""
	}
	return fmt.Sprintf("%s got the role %s only after that began", s.Code, h.Role)
}

// counting returns the roles of somebody that count beside another.
func (p Pair) counting(s, other Signer) (roles []Role) {
	for _, h := range s.Held {
		if p.fault(s, other, h) == "" {
			roles = append(roles, h.Role)
		}
	}
	return roles
}

// Roles returns the roles of the two that count beside each other.
func (p Pair) Roles() (first, second []Role) {
	return p.counting(p.First, p.Second), p.counting(p.Second, p.First)
}

// deputies is the way out where somebody lacks a second person.
const deputies = "deputies are named beforehand: give more people the role before anything happens, on the page People or with " +
	"rinsate user roles; a role that two others give, with a second person, counts at once"

// Check refuses two people who cannot sign something together: act is what the first does, agree what the second has to
// be allowed to do.
func (p Pair) Check(act, agree Act) error {
	if p.Second.Code == "" {
		return &fault.Error{Code: fault.Invalid, Message: "this takes a second person", Hint: "name the other person; " + deputies}
	}
	if same(p.First.Code, p.Second.Code) {
		return &fault.Error{Code: fault.Invalid, Message: "the second person must be somebody else", Hint: deputies}
	}
	if !p.First.Known {
		return fault.NotFoundf("register the person, or let somebody do it who is registered", "the person %q is not registered here", p.First.Code)
	}
	if !p.Second.Known {
		return fault.NotFoundf("register the person, or name another with --second", "the second person %q is not registered here", p.Second.Code)
	}
	if err := p.check(p.First, p.Second, act); err != nil {
		return err
	}
	return p.check(p.Second, p.First, agree)
}

// check refuses somebody whose roles do not allow an act beside another.
func (p Pair) check(s, other Signer, act Act) error {
	has := func(roles []Role) func(Permission) bool {
		return func(p Permission) bool { return Allows(roles, p) }
	}
	switch {
	case act.allows(has(p.counting(s, other))):
		return nil
	case !act.allows(has(s.Roles())):
		return &fault.Error{
			Code: fault.Forbidden, Message: fmt.Sprintf("%s may not %s", s.Code, act.What), Hint: "it takes one of the roles: " + Words(act.Roles()) + "; " + deputies,
		}
	}
	return &fault.Error{
		Code: fault.Forbidden, Message: p.why(s, other, func(r Role) bool { return act.allows(has([]Role{r})) }), Hint: deputies,
	}
}

// why says why a role does not count.
func (p Pair) why(s, other Signer, wanted func(Role) bool) string {
	for _, h := range s.Held {
		if why := p.fault(s, other, h); why != "" && wanted(h.Role) {
			return fmt.Sprintf("%s and %s cannot sign this together: %s", p.First.Code, p.Second.Code, why)
		}
	}
	return fmt.Sprintf("%s and %s cannot sign this together", p.First.Code, p.Second.Code)
}

// Be refuses two people of whom none is the one and the other the other, in roles that count beside each other.
func (p Pair) Be(one, other Role) error {
	first, second := p.Roles()
	is := func(roles []Role, r Role) bool { return slices.Contains(roles, r) }
	if is(first, one) && is(second, other) || is(first, other) && is(second, one) {
		return nil
	}
	for _, pair := range [][2]Signer{{p.First, p.Second}, {p.Second, p.First}} {
		for _, h := range pair[0].Held {
			if why := p.fault(pair[0], pair[1], h); why != "" && (h.Role == one || h.Role == other) {
				return &fault.Error{
					Code: fault.Forbidden, Message: fmt.Sprintf("%s and %s cannot sign this together: %s", p.First.Code, p.Second.Code, why), Hint: deputies,
				}
			}
		}
	}
	return &fault.Error{
		Code: fault.Forbidden, Message: fmt.Sprintf("this takes two people, one in the role %s and one in the role %s", one, other), Hint: deputies,
	}
}

// Gives says whether a change gives the role of infection prevention to somebody who did not have it.
func Gives(before, after []Role) bool {
	return slices.Contains(after, InfectionPrevention) && !slices.Contains(before, InfectionPrevention)
}

// CheckGrant refuses to give somebody the role of infection prevention: it is given by one who has it, or by two who
// answer for something here. code is who gets it, by who gives it, second who signs it too.
func CheckGrant(code string, by, second Signer) error {
	answers := func(s Signer) bool {
		return s.Known && slices.ContainsFunc(s.Roles(), func(r Role) bool { return r == InfectionPrevention || r == Lead || r == Administrator })
	}
	has := func(s Signer) bool {
		return s.Known && slices.Contains(s.Roles(), InfectionPrevention) && !same(s.Code, code)
	}
	switch {
	case has(by) || has(second):
		return nil
	case second.Code != "" && (same(second.Code, by.Code) || same(second.Code, code)):
		return &fault.Error{Code: fault.Invalid, Message: "the second person must be somebody else"}
	case answers(by) && answers(second) && !same(by.Code, code):
		return nil
	}
	return &fault.Error{
		Code: fault.Forbidden, Message: "infection prevention is given by one who has that role, or by two",
		Hint: "let infection prevention, a lead or another administrator sign as the second person",
	}
}
