package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// registered refuses a scope that is not in the fleet.
func (v View) registered(tag string) error {
	_, ok, err := v.tx.Entity(record.Instrument, tag, store.Forever, store.Forever)
	if err == nil && !ok {
		return notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
	}
	return err
}

// RecordUse records a procedure on a patient, at its end or already at its start; the record of the
// end then names that of the start in Finishes. patient is the facility's own number of the patient
// or empty; the ledger holds only a commitment to it.
func (w *Work) RecordUse(e Entry, u reprocessing.Use, patient string) (_ Receipt, err error) {
	if err := w.may(ToRecordUse, &e); err != nil {
		return Receipt{}, err
	}
	if err := u.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.ended("use of "+u.Scope, u.End); err != nil {
		return Receipt{}, err
	}
	if err := w.registered(u.Scope); err != nil {
		return Receipt{}, err
	}
	if patient != "" {
		commitment, err := commit(w, patient)
		if err != nil {
			return Receipt{}, err
		}
		u.Patient = commitment
	} else if u.Patient, err = inherits(w, ledger.ID(u.Finishes), e.Corrects); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Use, u.Start, u)
}

// RecordStep records a step of a cycle, at its end or already at its start; the record of the
// end then names that of the start in Finishes.
func (w *Work) RecordStep(e Entry, s reprocessing.Step) (Receipt, error) {
	if err := w.may(ToRecordStep, &e); err != nil {
		return Receipt{}, err
	}
	if err := s.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.ended(text.Spaced(s.Kind)+" of "+s.Scope, s.End); err != nil {
		return Receipt{}, err
	}
	if err := w.registered(s.Scope); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Step, s.Start, s)
}

// RecordRepair records that a scope went for repair or, with finishes naming that record, came
// back.
func (w *Work) RecordRepair(e Entry, r scope.Repair, finishes string) (Receipt, error) {
	if err := w.may(ToRecordRepair, &e); err != nil {
		return Receipt{}, err
	}
	if err := r.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.ended("repair of "+r.Scope, r.Returned); err != nil {
		return Receipt{}, err
	}
	if err := w.registered(r.Scope); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Repair, r.Sent, record.RepairBody{Repair: r, Finishes: finishes})
}

// Ask records somebody's wish to have a scope sampled.
func (w *Work) Ask(e Entry, q sampling.Request) (Receipt, error) {
	if err := w.may(ToAsk, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&q.By); err != nil {
		return Receipt{}, err
	}
	switch {
	case q.By == "" || q.Reason == "":
		return Receipt{}, invalid("a request needs the name of who asks and a reason")
	case !q.At.Known():
		var err error
		if q.At, err = w.moment(e); err != nil {
			return Receipt{}, err
		}
	}
	if err := w.registered(q.Scope); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Request, q.At, q)
}

// moment returns when an act happened that does not say so itself: now, or when its record says if
// it was sent before.
func (w *Work) moment(e Entry) (unit.Instant, error) {
	if e.ID == "" {
		return w.tx.Now, nil
	}
	kept, err := w.tx.Record(e.ID)
	if fault.CodeOf(err) == fault.NotFound {
		return w.tx.Now, nil
	}
	return kept.At, err
}

// PlaceHold keeps a scope from patients.
func (w *Work) PlaceHold(e Entry, h reprocessing.Hold) (Receipt, error) {
	if err := w.may(ToPlaceHold, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&h.By); err != nil {
		return Receipt{}, err
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
		return Receipt{}, invalid("hold of %s: only the rules name the cleaning verification that a hold follows from", h.Scope)
	}
	if err := w.registered(h.Scope); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Hold, h.At, h)
}

// LiftHold ends one hold. Whoever lifts is registered here. The lift rests on a second person who is too, or,
// where the rules placed the hold for a verification over the action level, on a verification that the scope
// passed after it (reprocessing.Lift.Ends).
func (w *Work) LiftHold(e Entry, l reprocessing.Lift) (Receipt, error) {
	if err := w.may(ToLiftHold, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&l.By); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToLiftHold, e, &l.Second); err != nil {
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
	kept, err := w.tx.Record(ledger.ID(l.Hold))
	if err != nil {
		return Receipt{}, err
	}
	hold, err := record.Body[reprocessing.Hold](kept.Record)
	if err != nil || kept.Kind() != record.Hold {
		return Receipt{}, invalid("record %s is not a hold", l.Hold)
	}
	if l.Scope != "" && l.Scope != hold.Scope {
		return Receipt{}, invalid("%s has no such hold: it is on another scope", l.Scope)
	}
	l.Scope, l.Placed = hold.Scope, 0
	clock, err := w.clock()
	if err != nil {
		return Receipt{}, err
	}
	if hold.Unsure = clock.Unsure(kept.Seq, kept.Recorded); hold.Unsure.Known() {
		hold.At = min(hold.At, hold.Unsure, l.At)
		l.Placed = hold.At
	}
	if l.At < hold.At {
		return Receipt{}, invalid("lift of the hold on %s: it would end at %s, before it was placed at %s", l.Scope, l.At.In(w.Zone()), hold.At.In(w.Zone()))
	}
	if l.Verification == "" {
		if l.Verification, err = w.passedSince(hold, l.At); err != nil {
			return Receipt{}, err
		}
	}
	if !hold.EndsByVerification() && l.Second == "" {
		why := "was placed by a person"
		if hold.Escalated {
			why = "was escalated after the last cleaning"
		}
		return Receipt{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("the hold on %s %s: it takes a second person to lift it, also after a passed cleaning verification", hold.Scope, why),
			Hint:    "name the other person with --second",
		}
	}
	if err := l.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.twoKnown(l.By, l.Second); err != nil {
		return Receipt{}, err
	}
	verification, err := w.checkVerification(l, hold)
	if err != nil {
		return Receipt{}, err
	}
	if !l.Ends(hold, verification) {
		return Receipt{}, invalid("lift of the hold on %s: nothing on record lets it end", l.Scope)
	}
	e.Because = append(e.Because, ledger.ID(l.Hold))
	if l.Verification != "" {
		e.Because = append(e.Because, ledger.ID(l.Verification))
	}
	return w.append(e, record.Lift, l.At, l)
}

// passedSince returns the last passed verification of the scope since a hold, empty when there is none.
func (v View) passedSince(hold reprocessing.Hold, at unit.Instant) (string, error) {
	var last reprocessing.Decision
	for _, outcome := range []string{"ok", "alert"} {
		kept, ok, err := v.tx.LastEvent(hold.Scope, record.Verification, outcome, at, store.Forever)
		if err != nil {
			return "", err
		}
		if !ok {
			continue
		}
		d, err := record.Body[reprocessing.Decision](kept.Record)
		if err != nil {
			return "", err
		}
		if hold.AnsweredBy(d) && d.Last > last.Last {
			last = d
			last.ID = string(kept.ID)
		}
	}
	return last.ID, nil
}

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

// checkVerification makes sure that the verification a lift names is one that the scope passed after the hold, and
// returns it; nil when it names none.
func (w *Work) checkVerification(l reprocessing.Lift, hold reprocessing.Hold) (*reprocessing.Decision, error) {
	if l.Verification == "" {
		return nil, nil
	}
	kept, err := w.tx.Record(ledger.ID(l.Verification))
	if err != nil {
		return nil, err
	}
	d, err := record.Body[reprocessing.Decision](kept.Record)
	if err != nil || kept.Kind() != record.Verification {
		return nil, invalid("record %s is not the decision on a cleaning verification", l.Verification)
	}
	if !hold.AnsweredBy(d) {
		return nil, invalid(
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
	return &d, err
}

// Void takes back a record that should not have been written; the entry names it in Corrects and
// says why. Both stay visible. A verification that rested on it is decided again. Voiding the record that
// finished a use, a step or a repair takes back the whole of it, its beginning as well; to change
// only its end, correct it. A hold is taken back as a mistake by the person who placed it; anybody
// else lifts it.
func (w *Work) Void(e Entry) (Receipt, error) {
	if err := w.may(ToVoid, &e); err != nil {
		return Receipt{}, err
	}
	if e.Corrects == "" || e.Reason == "" || e.By == "" {
		return Receipt{}, invalid("a void names the record, the person and the reason")
	}
	if sent, ok, err := w.voided(e); ok || err != nil {
		return sent, err
	}
	old, err := w.tx.Record(e.Corrects)
	if err == nil {
		err = w.mayReplace(e.Corrects)
	}
	if err != nil {
		return Receipt{}, err
	}
	if err := record.TakenBack(old.Record, e.By); err != nil {
		return Receipt{}, err
	}
	if err := w.keepsClosed(old); err != nil {
		return Receipt{}, err
	}
	var body record.VoidBody
	verifications, err := w.restingOn(old)
	if err != nil {
		return Receipt{}, err
	}
	body.Scope = verifications.scope
	r, err := w.append(e, record.Void, w.tx.Now, body)
	if err != nil || !r.Fresh {
		return r, err
	}
	if verifications.meter != "" {
		r.Followed, err = w.AtMeters().settle(verifications.meter, verifications.checked, e.By, r.Record.ID)
		return r, err
	}
	if verifications.cleaning == 0 {
		return r, nil
	}
	followed, err := w.decide(verifications.scope, verifications.inside, verifications.cleaning, e.By, r.Record.ID)
	r.Followed = followed
	return r, err
}

// voided returns the receipt of a void that was sent before, ok = false when it was not.
func (w *Work) voided(e Entry) (r Receipt, ok bool, err error) {
	if e.ID == "" {
		return r, false, nil
	}
	kept, err := w.tx.Record(e.ID)
	if fault.CodeOf(err) == fault.NotFound {
		return r, false, nil
	}
	if err == nil && (kept.Kind() != record.Void || kept.Corrects != e.Corrects || kept.Reason != e.Reason || kept.By != e.By) {
		err = &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("record %s is stored with another content", e.ID),
			Hint:    "a stored record never changes: send a correction that names it",
		}
	}
	return Receipt{Record: kept.Record}, err == nil, err
}

// resting is what has to be decided again when a record goes.
type resting struct {
	scope    string
	inside   unit.Instant
	cleaning int
	meter    string
	checked  unit.Instant
}

func (w *Work) restingOn(old store.Kept) (resting, error) {
	redo, err := record.Again(old.Record)
	r := resting{redo.Scope, redo.Inside, redo.Cleaning, redo.Meter, redo.At}
	if err == nil && redo.Sample != "" {
		var sample sampling.Sample
		sample, _, err = w.sample(redo.Sample)
		r.inside = sample.Collected
	}
	return r, err
}
