package desk

import (
	"cmp"
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/takeback"
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
	err = finishes(w, e, u.Finishes, func(begun reprocessing.Use) string {
		return unlike(begun.Scope == u.Scope, !begun.End.Known(), true)
	})
	if err != nil {
		return Receipt{}, err
	}
	if err := w.weighing().said(e, &u); err != nil {
		return Receipt{}, err
	}
	as, err := asked(w, e, record.Use, &u)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Use, u.Start, u)
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = w.weighing().afterUse(e, u, r.Record)
	return r, err
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
	err := finishes(w, e, s.Finishes, func(begun reprocessing.Step) string {
		return unlike(begun.Scope == s.Scope && begun.Kind == s.Kind, !begun.End.Known(), begun.Result != reprocessing.Fail)
	})
	if err != nil {
		return Receipt{}, err
	}
	if err := saidBy(w, e, s); err != nil {
		return Receipt{}, err
	}
	as, err := asked(w, e, record.Step, &s)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Step, s.Start, s)
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = w.weighing().afterStep(e, s, r.Record)
	return r, err
}

// saidBy refuses the result of a check that somebody else had begun, but of who saw it end a moment ago: others only have
// heard of it.
func saidBy(w *Work, e Entry, s reprocessing.Step) error {
	if s.Finishes == "" || e.Corrects != "" || s.Result != reprocessing.Pass || !s.Kind.HasResult() {
		return nil
	}
	if e.ID != "" {
		if _, err := w.tx.Record(e.ID); fault.CodeOf(err) != fault.NotFound { // sent again
			return err
		}
	}
	kept, err := w.tx.Record(ledger.ID(s.Finishes))
	if err != nil {
		return err
	}
	begun, err := record.Body[reprocessing.Step](kept.Record)
	if err != nil {
		return err
	}
	doer := cmp.Or(begun.By, kept.By)
	if begun.Result == s.Result || access.Key(doer) == access.Key(e.By) || w.tx.Now.Sub(s.End) < access.Slip {
		return nil
	}
	return &fault.Error{
		Code: fault.Forbidden,
		Message: fmt.Sprintf(
			"the result of the %s of %s is said by who did it, %s, or by who saw it end a moment ago",
			s.Kind.Words(), s.Scope, cmp.Or(doer, "who is not named"),
		),
		Hint: "let them record it; or finish it without a result, then correct that with " + takeback.Needs,
	}
}

// RecordRepair records that a scope went for repair or, with finishing naming that record, came
// back.
func (w *Work) RecordRepair(e Entry, r scope.Repair, finishing string) (Receipt, error) {
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
	err := finishes(w, e, finishing, func(begun record.RepairBody) string {
		return unlike(begun.Scope == r.Scope, !begun.Returned.Known(), true)
	})
	if err != nil {
		return Receipt{}, err
	}
	body := record.RepairBody{Repair: r, Finishes: finishing}
	as, err := asked(w, e, record.Repair, &body)
	if err != nil {
		return Receipt{}, err
	}
	done, err := w.append(as, record.Repair, r.Sent, body)
	if err != nil || !done.Fresh {
		return done, err
	}
	done.Followed, err = w.weighing().afterRepair(e, r, done.Record)
	return done, err
}

// finishes refuses a record that would finish another one, of the same kind, which it does not fit: finishing takes no
// permission to take back, and so must take nothing back.
func finishes[T any](w *Work, e Entry, id string, why func(begun T) string) error {
	if id == "" || e.Corrects != "" {
		return nil
	}
	if _, err := w.tx.Record(e.ID); err == nil {
		return nil // sent again
	}
	kept, err := w.tx.Record(ledger.ID(id))
	if err != nil {
		return err
	}
	begun, err := record.Body[T](kept.Record)
	if err != nil {
		return err
	}
	if why := why(begun); why != "" {
		return &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("%s record %s cannot be finished by this one: %s", record.Called(kept.Kind()), id, why),
			Hint: "correct or void the first record, by whoever may",
		}
	}
	return nil
}

// unlike says why what was begun is not what ends now.
func unlike(same, open, good bool) string {
	switch {
	case !same:
		return "it is another one"
	case !open:
		return "it has an end already"
	case !good:
		return "it failed"
	}
	return ""
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
	as, err := asked(w, e, record.Request, &q)
	if err != nil {
		return Receipt{}, err
	}
	return w.append(as, record.Request, q.At, q)
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

// resting is what has to be decided again when a record goes.
type resting struct {
	scope    string
	inside   unit.Instant
	cleaning int
	meter    string
	checked  unit.Instant
}

func restingOn(v View, old store.Kept) (resting, error) {
	redo, err := record.Again(old.Record)
	r := resting{redo.Scope, redo.Inside, redo.Cleaning, redo.Meter, redo.At}
	if err == nil && redo.Sample != "" {
		var sample sampling.Sample
		sample, _, err = v.sample(redo.Sample)
		r.inside = sample.Collected
	}
	return r, err
}
