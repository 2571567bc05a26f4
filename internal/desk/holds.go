package desk

import (
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// PlaceHold keeps a scope from patients. With the entry naming another hold in Corrects it changes what that one is
// for, which becomes only stricter.
func (w *Work) PlaceHold(e Entry, h reprocessing.Hold) (Receipt, error) {
	if err := w.may(ToPlaceHold, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&h.By); err != nil {
		return Receipt{}, err
	}
	if h.Kind == "" {
		h.Kind = reprocessing.OtherHold
	}
	if !h.At.Known() {
		var err error
		if h.At, err = w.moment(e); err != nil {
			return Receipt{}, err
		}
	}
	if err := h.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if h.Cause != "" {
		return Receipt{}, invalid("hold of %s: only the rules name the record that a hold follows from", h.Scope)
	}
	if err := w.registered(h.Scope); err != nil {
		return Receipt{}, err
	}
	if e.Corrects != "" {
		if err := w.lifting().stricter(e.Corrects, &h); err != nil {
			return Receipt{}, err
		}
	}
	as, err := asked(w, e, record.Hold, &h)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Hold, h.At, h)
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = w.weighing().later(h.Scope, h.At, r.Record.ID, h.By)
	return r, err
}

// lifting looks for what ends holds.
type lifting struct{ View }

func (v View) lifting() lifting { return lifting{v} }

// stricter makes sure that a hold which takes the place of another is at least as strict: it is of the same scope, its
// kind is no milder, it counts from the earlier of the two times, and follows from what that one followed from.
func (w lifting) stricter(corrects ledger.ID, h *reprocessing.Hold) error {
	kept, err := w.tx.Record(corrects)
	if err != nil {
		return err
	}
	old, err := record.Body[reprocessing.Hold](kept.Record)
	switch {
	case err != nil || kept.Kind() != record.Hold:
		return invalid("record %s is not a hold", corrects)
	case old.Scope != h.Scope:
		return invalid("%s has no such hold: it is on another scope", h.Scope)
	case old.Of().Stricter(h.Kind):
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("the hold on %s is for %s: it can only become a stricter one, and %s is milder", h.Scope, old.Of(), h.Kind),
			Hint:    "lift the hold when what it is for is settled",
		}
	}
	h.At, h.Cause, h.Escalated = min(h.At, old.At), old.Cause, h.Escalated || old.Escalated
	return nil
}

// LiftHold ends one hold. What it takes follows from what the hold is for (reprocessing.Hold.Lifted): something that is
// on record after the hold and before the lift, and the signatures of those whose word it takes. Whoever lifts is
// registered here, and so is a second person.
func (w *Work) LiftHold(e Entry, l reprocessing.Lift) (Receipt, error) {
	if err := w.may(ToLiftHold, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&l.By); err != nil {
		return Receipt{}, err
	}
	if err := w.second(toAgree, e, &l.Second); err != nil {
		return Receipt{}, err
	}
	same := func(x reprocessing.Lift) bool {
		return x.Hold == l.Hold && x.By == l.By && x.Reason == l.Reason && x.Second == l.Second &&
			(l.Verification == "" || x.Verification == l.Verification) && (!l.At.Known() || x.At == l.At)
	}
	if r, ok, err := again(w, e.ID, record.Lift, same); ok || err != nil {
		return r, err
	}
	if !l.At.Known() {
		l.At = w.tx.Now
	}
	hold, err := w.lifting().held(&l)
	if err != nil {
		return Receipt{}, err
	}
	if err := l.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if l.Second != "" {
		began, err := w.lifting().began(hold)
		if err != nil {
			return Receipt{}, err
		}
		p, err := pair(w.View, l.By, l.Second, began, ToLiftHold, toAgree)
		if err != nil {
			return Receipt{}, err
		}
		l.ByRoles, l.SecondRoles = p.Roles()
	} else if l.ByRoles, err = rolesOf(w.View, l.By, w.actor); err != nil {
		return Receipt{}, err
	}
	if err := w.lifting().checkVerification(l, hold); err != nil {
		return Receipt{}, err
	}
	if l, err = w.lifting().lifted(hold, l); err != nil {
		return Receipt{}, err
	}
	e.Because = append(e.Because, ledger.ID(l.Hold))
	for _, id := range l.Rests() {
		e.Because = append(e.Because, ledger.ID(id))
	}
	return w.append(e, record.Lift, l.At, l)
}

// held returns the hold that a lift names, and completes the lift from it.
func (w lifting) held(l *reprocessing.Lift) (reprocessing.Hold, error) {
	kept, err := w.tx.Record(ledger.ID(l.Hold))
	if err != nil {
		return reprocessing.Hold{}, err
	}
	hold, err := record.Body[reprocessing.Hold](kept.Record)
	if err != nil || kept.Kind() != record.Hold {
		return hold, invalid("record %s is not a hold", l.Hold)
	}
	if l.Scope != "" && l.Scope != hold.Scope {
		return hold, invalid("%s has no such hold: it is on another scope", l.Scope)
	}
	hold.ID, l.Scope, l.Placed, l.Late, l.Evidence = string(kept.ID), hold.Scope, 0, false, nil
	clock, err := w.clock()
	if err != nil {
		return hold, err
	}
	if hold.Unsure = clock.Unsure(kept.Seq, kept.Recorded); hold.Unsure.Known() {
		hold.At = min(hold.Unsure, l.At)
		l.Placed = hold.At
	}
	if l.At < hold.At {
		return hold, invalid("lift of the hold on %s: it would end at %s, before it was placed at %s", l.Scope, l.At.In(w.Zone()), hold.At.In(w.Zone()))
	}
	return hold, nil
}

// began returns when a hold began: at the time it speaks of, or when it was first on record if that was earlier.
func (w lifting) began(hold reprocessing.Hold) (unit.Instant, error) {
	if hold.Unsure.Known() { // what was on record then says nothing of the time
		return hold.At, nil
	}
	kept, err := w.tx.Record(ledger.ID(hold.ID))
	if err != nil {
		return 0, err
	}
	first, err := firstRecorded(w.View, kept)
	return min(hold.At, first), err
}

// lifted returns the lift with what it rests on, or refuses it with what is missing.
func (w lifting) lifted(hold reprocessing.Hold, l reprocessing.Lift) (reprocessing.Lift, error) {
	g, err := w.grounds(hold, l.At)
	if err != nil {
		return l, err
	}
	done, err := hold.Lifted(l, g)
	if err == nil {
		return done, nil
	}
	e := &fault.Error{Code: fault.Invalid, Message: err.Error(), Hint: hold.Next(), Cause: err}
	if missing, signing := hold.Waits(l.At, g); missing == "" && signing.Two() && !l.Two() {
		e.Hint = "name the other person with --second"
	}
	return l, e
}

// grounds returns what a hold can end on at an instant.
func (w lifting) grounds(hold reprocessing.Hold, at unit.Instant) (reprocessing.Grounds, error) {
	g := reprocessing.Grounds{Zone: w.Zone()}
	clock, err := w.clock()
	if err != nil {
		return g, err
	}
	before := hold.At.Add(-1)
	if g.Since, err = w.around(hold.Scope, before, span{to: at, known: store.Forever, present: at, clock: clock}); err != nil {
		return g, err
	}
	rules, err := w.rulesFor(g.Since, at, store.Forever)
	if err != nil {
		return g, err
	}
	g.Rules, g.Since = &rules.Reprocessing, g.Since.Present(at)
	if g.Since.Filed, err = w.filed(hold.Scope, clock); err != nil {
		return g, err
	}
	if k := hold.Of(); hold.Cause != "" && (k == reprocessing.RecordHold || k == reprocessing.ExposureHold) {
		answer, err := w.before(hold.Scope, hold.At)
		if err != nil {
			return g, err
		}
		g.Before = &answer
	}
	return g, nil
}

// filed returns what is filed with a scope and stands, but for what was filed while the clock was in doubt.
func (w lifting) filed(tag string, clock reprocessing.Clock) (all []reprocessing.Filed, err error) {
	err = w.tx.Attachments(tag, func(k store.Kept) error {
		if k.Replaced.Known() || clock.Unsure(k.Seq, k.Recorded).Known() {
			return nil
		}
		a, err := record.Body[dossier.Attachment](k.Record)
		all = append(all, record.Filed(stampOf(k), a))
		return err
	})
	return all, err
}

// checkVerification makes sure that the verification that a lift names is one that the scope passed after the hold.
func (w lifting) checkVerification(l reprocessing.Lift, hold reprocessing.Hold) error {
	if l.Verification == "" {
		return nil
	}
	kept, err := w.tx.Record(ledger.ID(l.Verification))
	if err != nil {
		return err
	}
	d, err := record.Body[reprocessing.Decision](kept.Record)
	if err != nil || kept.Kind() != record.Verification {
		return invalid("record %s is not the decision on a cleaning verification", l.Verification)
	}
	if !hold.AnsweredBy(d) {
		return invalid(
			"cleaning verification %s does not show that %s passed after the hold was placed at %s",
			l.Verification,
			hold.Scope,
			hold.At.In(w.Zone()),
		)
	}
	replaced, err := w.tx.Replaced(kept.Record)
	if err == nil && replaced.Known() {
		err = invalid("cleaning verification %s was decided again since: name the decision that stands", l.Verification)
	}
	return err
}

// liftCleaned lifts the holds for cleaning of a scope that end by themselves: the scope was cleaned and passed since.
func (w weighing) liftCleaned(tag, by string, cause ledger.ID) ([]ledger.Record, error) {
	open, err := w.lifting().openNow(tag)
	if err != nil {
		return nil, err
	}
	open = slices.DeleteFunc(open, func(h reprocessing.Hold) bool { return !h.EndsByVerification() })
	var followed []ledger.Record
	for _, hold := range open {
		g, err := w.lifting().grounds(hold, w.tx.Now.Add(futureSlack))
		if err != nil {
			return nil, err
		}
		lift := reprocessing.Lift{Hold: hold.ID, Scope: tag, At: w.tx.Now.Add(futureSlack), By: by, Reason: "passed"}
		g.ByRule = true
		lift, err = hold.Lifted(lift, g)
		i := slices.IndexFunc(g.Since.Decisions, func(d reprocessing.Decision) bool { return d.ID == lift.Verification })
		if err != nil || i < 0 {
			continue // it is not clean yet
		}
		d := g.Since.Decisions[i]
		lift.At, lift.Reason = d.Last, fmt.Sprintf("%s passed under %s", reading.Test(d.Verification.Cleaning), d.Rules)
		because := []ledger.ID{ledger.ID(hold.ID)}
		for _, id := range lift.Rests() {
			because = append(because, ledger.ID(id))
		}
		id := ledger.DerivedID("lift", hold.ID, lift.Verification, string(cause))
		r, err := w.append(Entry{ID: id, By: by, Because: because}, record.Lift, lift.At, lift)
		if err != nil {
			return nil, err
		}
		followed = append(followed, r.Record)
	}
	return followed, nil
}

// openNow returns the holds of a scope that are open now, each with whether the clock was in doubt.
func (w lifting) openNow(tag string) ([]reprocessing.Hold, error) {
	var open reprocessing.History
	clock, err := w.clock()
	if err != nil {
		return nil, err
	}
	s := span{to: store.Forever, known: store.Forever, present: w.tx.Now.Add(futureSlack), clock: clock}
	err = w.holds(&open, tag, s)
	return open.Holds, err
}

// notStated is who is named where nobody said who did it.
const notStated = "not stated"
