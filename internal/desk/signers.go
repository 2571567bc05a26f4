package desk

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
)

// pair returns two people who sign something together, or refuses them: act is what the first does, agree what the second
// has to be allowed. since is when began what they sign about, zero where it began at no time.
func pair(v View, by, second string, since unit.Instant, act, agree access.Act) (p access.Pair, err error) {
	clock, err := v.clock()
	if err != nil {
		return p, err
	}
	p.Since = since
	if p.First, err = v.People().Signer(by, clock); err != nil {
		return p, err
	}
	if p.Second, err = v.People().Signer(second, clock); err != nil {
		return p, err
	}
	return p, p.Check(act, agree)
}

// known returns what is on record of somebody's roles, and refuses a code that nobody here has.
func known(v View, code string) (access.Signer, error) {
	s, err := v.People().Signer(code, reprocessing.Clock{})
	if err == nil && !s.Known {
		err = notFound("register the person, or let somebody do it who is registered", "the person %q is not registered here", code)
	}
	return s, err
}

// rolesOf returns what a person is now who is registered here: what they were recognised as where they act themselves,
// and otherwise what is on record of them. Nobody is anything by being named.
func rolesOf(v View, code string, acting access.Actor) ([]access.Role, error) {
	s, err := known(v, code)
	if acting.Is(code) && !acting.Vouched() {
		return acting.Roles(), err
	}
	return s.Roles(), err
}
