package identity

import (
	"cmp"
	"math"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Opening returns how far the site has come, by what was on record at an instant.
func (v View) Opening(known unit.Instant) (reprocessing.Opening, error) {
	o, _, err := v.opening(known)
	return o, err
}

// opening is Opening with the place of the start in the ledger.
func (v View) opening(known unit.Instant) (o reprocessing.Opening, place int64, err error) {
	o.Trial = v.tx.Site().Trial
	all, err := v.tx.Entities(record.Start)
	for _, k := range all {
		if k.Recorded > known || o.Start != nil {
			continue
		}
		n, err := record.Body[reprocessing.StartNote](k.Record)
		if err != nil {
			return o, 0, err
		}
		n.Stamp = reprocessing.Stamp{ID: string(k.ID), Recorded: k.Recorded, Replaced: k.Replaced}
		o.Start, place = &n, k.Seq
	}
	return o, place, err
}

// Signer returns what is on record of somebody's roles. Where there is an account it is what counts, from its first
// record on; before that, and else, what the person was registered with. What was written while the clock was in doubt
// counts from when another clock had been compared.
func (v View) Signer(code string, clock reprocessing.Clock) (s access.Signer, err error) {
	s.Code = code
	if code == "" {
		return s, nil
	}
	changes, err := v.changes(code, clock, store.Forever)
	if err == nil && len(changes) > 0 {
		s.Known = !changes[len(changes)-1].Out
		s.Held = access.HeldAfter(changes)
	}
	return s, err
}

// RolesAt returns what somebody was here at an instant, as far as it could be known at another; registered says whether
// they were somebody here at all. Of the time before the start of a site counts what was so when it was signed.
func (v View) RolesAt(code string, at, known unit.Instant) (roles []access.Role, registered bool, err error) {
	if code == "" {
		return nil, false, nil
	}
	site, err := v.Opening(known)
	if err != nil {
		return nil, false, err
	}
	if site.Start != nil {
		at = max(at, site.Start.Recorded)
	}
	changes, err := v.changes(code, reprocessing.Clock{}, known)
	if err != nil {
		return nil, false, err
	}
	for _, c := range changes {
		if c.At <= at {
			roles, registered = c.Roles, !c.Out
		}
	}
	return roles, registered, nil
}

// changes returns what was put on record of somebody's roles by an instant, the earliest first.
func (v View) changes(code string, clock reprocessing.Clock, known unit.Instant) ([]access.RoleChange, error) {
	site, started, err := v.opening(known)
	if err != nil {
		return nil, err
	}
	type change struct {
		access.RoleChange
		seq int64
	}
	var changes []change
	add := func(k store.Kept, c access.RoleChange) {
		c.At, c.By = k.Recorded, k.By
		if settled := clock.Unsure(k.Seq, k.Recorded); settled.Known() {
			c.At = settled
		}
		before := site.Start == nil || k.Seq < started // by place, whatever the clock said
		// Before a site on trial is started its roles are nobody's grant. In records that were begun before there was
		// such a start those are that nobody else gave.
		c.Founding = before && (site.Trial || k.By == "" || access.Key(k.By) == access.Key(code))
		changes = append(changes, change{c, k.Seq})
	}
	account := int64(math.MaxInt64) // the place of the first record of an account
	err = v.tx.Editions(record.Access, code, func(k store.Kept) error {
		if k.Recorded > known {
			return nil
		}
		account = min(account, k.Seq)
		a, err := record.Body[record.AccessBody](k.Record)
		if a.Disabled {
			a.Roles = nil
		}
		add(k, access.RoleChange{Roles: a.Roles, Second: a.Second, Out: a.Disabled})
		return err
	})
	if err != nil {
		return nil, err
	}
	err = v.tx.Editions(record.Person, code, func(k store.Kept) error {
		if k.Recorded > known || k.Replaced.Known() && k.Replaced <= known || k.Seq > account {
			return nil
		}
		p, err := record.Body[record.PersonBody](k.Record)
		add(k, access.RoleChange{Roles: access.RolesOf(p.Role)})
		return err
	})
	slices.SortStableFunc(changes, func(a, b change) int { return cmp.Compare(a.seq, b.seq) })
	all := make([]access.RoleChange, len(changes))
	for i, c := range changes {
		all[i] = c.RoleChange
	}
	return all, err
}

// MayGrant refuses to give somebody the role of infection prevention but as that is given, once a site is started or was
// in use before there was a start.
func (v View) MayGrant(code, by, second string, before, after []access.Role) error {
	if !access.Gives(before, after) {
		return nil
	}
	site, err := v.Opening(store.Forever)
	if err != nil || site.Trial && site.Start == nil {
		return err
	}
	held, err := v.Signer(code, reprocessing.Clock{})
	if err != nil || held.Known && !access.Gives(held.Roles(), after) {
		return err
	}
	first, err := v.Signer(by, reprocessing.Clock{})
	if err != nil {
		return err
	}
	other, err := v.Signer(second, reprocessing.Clock{})
	if err != nil {
		return err
	}
	return access.CheckGrant(code, first, other)
}

// second returns the code of who else signs a change of an account, and refuses one who has not shown who they are, is
// nobody here, or is the one who acts or whose account it is.
func (v View) second(e Entry, code string) (string, error) {
	second := e.Second.Code()
	switch {
	case second == "":
		return "", nil
	case e.Actor.Is(second) || access.Key(second) == access.Key(code):
		return "", &fault.Error{Code: fault.Invalid, Message: "the second person must be somebody else"}
	case !e.Second.Signs(v.tx.Now):
		return "", &fault.Error{
			Code: fault.Unsigned, Message: "second person: " + second + " has not shown who they are", Hint: "let them show it with their password",
		}
	}
	s, err := v.Signer(second, reprocessing.Clock{})
	if err == nil && !s.Known {
		err = fault.NotFoundf("name somebody who is registered", "the second person %q is not registered here", second)
	}
	return second, err
}
