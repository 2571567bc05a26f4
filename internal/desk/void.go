package desk

import (
	"crypto/rand"
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Void takes back a record that should not have been written; the entry names it in Corrects and
// says why. Both stay visible. What it takes follows from what the record says (takeback.Case). A verification that
// rested on it is decided again; a verification itself is taken back with all of its samples. Voiding the record that
// finished a use, a step or a repair takes back the whole of it, its beginning as well; to change only its end, correct
// it. Voiding a void restores what was adverse.
func (w *Work) Void(e Entry) (Receipt, error) {
	if err := w.may(ToVoid, &e); err != nil {
		return Receipt{}, err
	}
	if e.Corrects == "" || e.Reason == "" || e.By == "" {
		return Receipt{}, invalid("a void names the record, the person and the reason")
	}
	if e.ID == "" {
		e.ID = ledger.NewID(w.tx.Now, rand.Reader)
	}
	old, err := w.tx.Record(e.Corrects)
	if err != nil {
		return Receipt{}, err
	}
	if old.Kind() == record.Void {
		return takingBackOf(w).restore(e, old)
	}
	all, weight, err := takingsOf(w.View).goes(old)
	if err != nil {
		return Receipt{}, err
	}
	if sent, ok, err := takingBackOf(w).voided(e); ok || err != nil {
		return sent, err
	}
	if old.Kind() != record.Verification {
		if err := record.TakenBack(old.Record); err != nil {
			return Receipt{}, err
		}
	} else if len(all) == 0 {
		return Receipt{}, invalid("record %s rests on no sample that stands: there is nothing to take back", old.ID)
	}
	if err := w.keepsClosed(old); err != nil {
		return Receipt{}, err
	}
	if err := keepsStrict(w.Registry(), old); err != nil {
		return Receipt{}, err
	}
	if err := keepsAsking(w, old); err != nil {
		return Receipt{}, err
	}
	if replaced, err := w.tx.Replaced(old.Record); err != nil {
		return Receipt{}, err
	} else if replaced.Known() {
		return Receipt{}, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("record %s (%s) is replaced already or cannot be replaced", old.ID, old.Kind()),
			Hint: "look at its chain with: rinsate ledger show " + string(old.ID),
		}
	}
	c, entered, err := takingsOf(w.View).ofCase(w.actor, e.By, old, weight)
	if err != nil {
		return Receipt{}, err
	}
	now, serves, err := takingsOf(w.View).serves(old, weight)
	if err != nil {
		return Receipt{}, err
	}
	c.Worse = serves
	body, taking, err := askingOf(w).taken(e, all, c, entered)
	if err != nil {
		return Receipt{}, err
	}
	var r Receipt
	for i, k := range all {
		one := Entry{ID: e.ID, By: e.By, Device: e.Device, Because: e.Because, Corrects: k.ID, Reason: e.Reason}
		if i > 0 {
			one.ID = ledger.DerivedID("void", string(e.ID), string(k.ID))
		}
		done, err := takingBackOf(w).voidOne(one, k, body)
		if err != nil {
			return Receipt{}, err
		}
		if i == 0 {
			r = done
			continue
		}
		r.Followed = append(append(r.Followed, done.Record), done.Followed...)
	}
	r.Taking = taking
	if serves {
		return r, takingsOf(w.View).served(now, weight.What)
	}
	return r, nil
}

// voidOne voids a record, and decides again what rested on it.
func (w takingBack) voidOne(e Entry, old store.Kept, body record.VoidBody) (Receipt, error) {
	verifications, err := restingOn(w.View, old)
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
	if old.Kind() == record.Lot {
		l, err := record.Body[quality.Lot](old.Record)
		if err != nil {
			return r, err
		}
		r.Followed, err = w.AtMeters().settleLot(l, e.By, r.Record.ID, body.Second != "" || w.dry)
		return r, err
	}
	if verifications.cleaning == 0 {
		r.Followed, err = w.weighing().afterVoid(e, old, r.Record)
		return r, err
	}
	r.Followed, err = w.decide(verifications.scope, verifications.inside, verifications.cleaning, e.By, r.Record.ID)
	return r, err
}

// voided returns the receipt of a void that was sent before, ok = false when it was not. Of several records that go
// together it names one.
func (w takingBack) voided(e Entry) (r Receipt, ok bool, err error) {
	kept, err := w.tx.Record(e.ID)
	if fault.CodeOf(err) == fault.NotFound {
		return r, false, nil
	}
	if err == nil && (kept.Kind() != record.Void || kept.Corrects != e.Corrects && !ofOne(w, kept.Corrects, e.Corrects) ||
		kept.Reason != e.Reason || kept.By != e.By) {
		err = &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("record %s is stored with another content", e.ID),
			Hint:    "a stored record never changes: send a correction that names it",
		}
	}
	return Receipt{Record: kept.Record}, err == nil, err
}

// takingBack is the part of the work that takes records back, and what was taken back.
type takingBack struct{ *Work }

func takingBackOf(w *Work) takingBack { return takingBack{w} }

// ofOne says whether a sample that a void names is of a verification that was to be taken back.
func ofOne(w takingBack, sample, verification ledger.ID) bool {
	kept, err := w.tx.Record(verification)
	if err != nil || kept.Kind() != record.Verification {
		return false
	}
	d, err := record.Body[reprocessing.Decision](kept.Record)
	if err != nil {
		return false
	}
	k, err := w.tx.Record(sample)
	if err != nil || k.Kind() != record.Sample {
		return false
	}
	s, err := record.Body[sampling.Sample](k.Record)
	return err == nil && s.Scope == d.Scope && s.Cleaning == d.Verification.Cleaning
}

// restore takes the void of a record back. What was adverse is recorded anew as it was; what only proved something is
// not: it would be evidence of a moment that nobody captured again.
func (w takingBack) restore(e Entry, void store.Kept) (Receipt, error) {
	old, err := w.tx.Record(void.Corrects)
	if err != nil {
		return Receipt{}, err
	}
	weight, err := takingsOf(w.View).weight(old)
	if err != nil {
		return Receipt{}, err
	}
	if !weight.Adverse() {
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("%s record that was voided does not come back: only what speaks against a scope does", record.Called(old.Kind())),
			Hint: "record it anew, as of now",
		}
	}
	if err := w.actor.Check(writing(old.Kind()), w.tx.Now); err != nil {
		return Receipt{}, err
	}
	anew := Entry{ID: e.ID, By: e.By, Device: e.Device, Reason: e.Reason, Because: []ledger.ID{void.ID}}
	if _, err := w.tx.Record(e.ID); err != nil { // else it was sent again
		if err := takingsOf(w.View).gone(void, old.Kind()); err != nil {
			return Receipt{}, err
		}
	}
	return w.restored(anew, old)
}

// gone refuses to take a void back that was taken back already.
func (v takings) gone(void store.Kept, kind record.Kind) error {
	return v.Records().referring(string(void.ID), MostRelated, func(k store.Kept) (bool, error) {
		if k.Replaced.Known() || k.Kind() != kind || !slices.Contains(k.Because, void.ID) || k.Corrects != "" {
			return true, nil
		}
		return false, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("record %s stands in the place of what was voided", k.ID), Hint: "see that record",
		}
	})
}

// restored records what was voided anew, with what follows from it.
func (w takingBack) restored(e Entry, old store.Kept) (Receipt, error) {
	switch old.Kind() { //nolint:exhaustive // nothing else is adverse
	case record.Use:
		return restored(w.Work, e, old, func(u reprocessing.Use, r ledger.Record) ([]ledger.Record, error) {
			return w.weighing().afterUse(e, u, r)
		})
	case record.Step:
		return restored(w.Work, e, old, func(s reprocessing.Step, r ledger.Record) ([]ledger.Record, error) {
			return w.weighing().afterStep(e, s, r)
		})
	case record.Repair:
		return restored(w.Work, e, old, func(x record.RepairBody, r ledger.Record) ([]ledger.Record, error) {
			return w.weighing().afterRepair(e, x.Repair, r)
		})
	case record.Hold:
		return restored(w.Work, e, old, func(h reprocessing.Hold, r ledger.Record) ([]ledger.Record, error) {
			return w.weighing().later(h.Scope, h.At, r.ID, e.By)
		})
	case record.Check:
		return restored(w.Work, e, old, func(c record.CheckBody, r ledger.Record) ([]ledger.Record, error) {
			return w.AtMeters().settle(c.Meter, c.Verdict.At, e.By, r.ID)
		})
	case record.Reading:
		return restored(w.Work, e, old, func(x reading.Reading, r ledger.Record) ([]ledger.Record, error) { return w.readAgain(x, r, e.By) })
	case record.Sample:
		return w.sampledAgain(e, old)
	case record.Moment:
		return restored(w.Work, e, old, func(sampling.Moment, ledger.Record) ([]ledger.Record, error) { return nil, nil })
	}
	return restored(w.Work, e, old, func(sampling.Request, ledger.Record) ([]ledger.Record, error) { return nil, nil })
}

func restored[T any](w *Work, e Entry, old store.Kept, follow func(T, ledger.Record) ([]ledger.Record, error)) (Receipt, error) {
	body, err := record.Body[T](old.Record)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(e, old.Kind(), old.At, whole(body))
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = follow(body, r.Record)
	return r, err
}

// readAgain decides what follows from a reading that stands again; its sample has to.
func (w takingBack) readAgain(x reading.Reading, r ledger.Record, by string) ([]ledger.Record, error) {
	s, _, err := w.sample(ledger.ID(x.Sample))
	if err != nil {
		return nil, &fault.Error{Code: fault.CodeOf(err), Message: err.Error(), Hint: "take back the void of the sample: its readings come with it", Cause: err}
	}
	doubted, err := w.AtMeters().trust(x, r.ID, by)
	if err != nil {
		return nil, err
	}
	decided, err := w.decide(s.Scope, s.Collected, s.Cleaning, by, r.ID)
	return append(doubted, decided...), err
}

// sampledAgain records a sample that was voided anew, with its readings.
func (w takingBack) sampledAgain(e Entry, old store.Kept) (Receipt, error) {
	return restored(w.Work, e, old, func(_ sampling.Sample, r ledger.Record) (followed []ledger.Record, err error) {
		read, kept, err := takingsOf(w.View).readingsOf(old)
		if err != nil {
			return nil, err
		}
		for i, x := range read {
			x.Sample = string(r.ID)
			one := Entry{ID: ledger.DerivedID("again", string(r.ID), string(kept[i].ID)), By: e.By, Reason: e.Reason, Because: []ledger.ID{r.ID, kept[i].ID}}
			done, err := w.append(one, record.Reading, x.With.At, x)
			if err != nil {
				return nil, err
			}
			more, err := w.readAgain(x, done.Record, e.By)
			if err != nil {
				return nil, err
			}
			followed = append(append(followed, done.Record), more...)
		}
		return followed, nil
	})
}
