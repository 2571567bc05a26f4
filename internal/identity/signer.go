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
	site, place, err := v.opening(store.Forever)
	if err != nil {
		return s, err
	}
	changes, err := v.changes(code, clock, store.Forever, site, place)
	if err == nil && len(changes) > 0 {
		s.Known = !changes[len(changes)-1].Out
		s.Held, s.Handed = access.HeldAfter(changes), access.HandedAfter(changes)
	}
	return s, err
}

// Tenure is what somebody was here over time, as far as it could be known at an instant.
type Tenure struct {
	changes []access.RoleChange
	started unit.Instant
}

// Tenure returns what somebody was here over time, as far as it could be known at an instant.
func (v View) Tenure(code string, known unit.Instant) (t Tenure, err error) {
	if code == "" {
		return t, nil
	}
	site, place, err := v.opening(known)
	if err != nil {
		return t, err
	}
	if site.Start != nil {
		t.started = site.Start.Recorded
	}
	t.changes, err = v.changes(code, reprocessing.Clock{}, known, site, place)
	return t, err
}

// Ever says whether they were ever somebody here.
func (t Tenure) Ever() bool { return len(t.changes) > 0 }

// At returns what they were at an instant; registered says whether they were somebody here then. Of the time before the
// start of a site counts what was so when it was signed.
func (t Tenure) At(at unit.Instant) (roles []access.Role, registered bool) {
	at = max(at, t.started)
	for _, c := range t.changes {
		if c.At <= at {
			roles, registered = c.Roles, !c.Out
		}
	}
	return roles, registered
}

// changes returns what was put on record of somebody's roles by an instant, the earliest first, at a site that was started
// at a place in the ledger.
func (v View) changes(code string, clock reprocessing.Clock, known unit.Instant, site reprocessing.Opening, started int64) ([]access.RoleChange, error) {
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
	err := v.tx.Editions(record.Access, code, func(k store.Kept) error {
		if k.Recorded > known {
			return nil
		}
		account = min(account, k.Seq)
		a, err := record.Body[record.AccessBody](k.Record)
		if a.Disabled {
			a.Roles = nil
		}
		add(k, access.RoleChange{
			Roles: a.Roles, Second: a.Second, Out: a.Disabled,
			Hands: hands(a.Change, access.Key(k.By) == access.Key(code)), Anew: a.Change == record.AccountReset,
		})
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

// hands says whether whoever changes an account has in hand then what its person signs in with. Who changes their own
// password or PIN shows the password for it, and who makes their own account had none to show; a one-time code is shown to
// whoever asks for it.
func hands(change record.AccessChange, own bool) bool {
	switch change {
	case record.AccountReset:
		return true
	case record.AccountAdded, record.PasswordChanged, record.PINChanged:
		return !own
	case record.RolesChanged, record.BadgeChanged, record.AccountDisabled, record.AccountEnabled, record.PasskeyAdded, record.PasskeyRemoved:
	}
	return false
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
	return v.checkGrant(code, by, second)
}

// mayHand refuses to give somebody who is infection prevention what they sign in with, but as that role is given.
func (v View) mayHand(code, by, second string, roles []access.Role) error {
	if !slices.Contains(roles, access.InfectionPrevention) {
		return nil
	}
	site, err := v.Opening(store.Forever)
	if err != nil || site.Start == nil {
		return err
	}
	return v.checkGrant(code, by, second)
}

// checkGrant refuses to give somebody the role of infection prevention.
func (v View) checkGrant(code, by, second string) error {
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
		return "", access.SomebodyElse()
	case !e.Second.Signs(v.tx.Now):
		return "", &fault.Error{
			Code: fault.Unsigned, Message: "second person: " + second + " has not shown who they are", Hint: "let them show it with their password",
		}
	}
	if err := v.CheckShown(e.Actor, second); err != nil {
		return "", err
	}
	s, err := v.Signer(second, reprocessing.Clock{})
	if err == nil && !s.Known {
		err = fault.NotFoundf("name somebody who is registered", "the second person %q is not registered here", second)
	}
	return second, err
}
