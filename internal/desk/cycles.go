package desk

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Cycle is one cycle of a scope as it went.
type Cycle struct {
	reprocessing.Cycle
	// Ended is what began the next one; empty while none has.
	Ended reprocessing.Cause
}

// Cycles returns the cycles of a scope that had begun by an instant, the newest first and
// at most so many: the first as it stood at that instant, each other up to the instant before the next
// one's use or repair. What the release check says of each is by the rules of its end. Those before a From are
// had by asking for the instant before it. The uses are without the patient.
func (v RecordsView) Cycles(tag string, at unit.Instant, limit int) ([]Cycle, error) {
	ended, err := v.begins(tag, at+1)
	if err != nil {
		return nil, err
	}
	var all []Cycle
	for len(all) < limit {
		t, err := v.retrace(tag, at)
		if err != nil {
			return nil, err
		}
		all = append(all, Cycle{t, ended})
		if t.Cause == reprocessing.OnArrival {
			break
		}
		at, ended = t.From-1, t.Cause
	}
	return all, nil
}

// begins says which kind of cycle begins with a use or repair at exactly an instant, none when
// neither does.
func (v RecordsView) begins(tag string, at unit.Instant) (cause reprocessing.Cause, err error) {
	err = v.tx.Events(tag, at, at, store.Forever, func(k store.Kept) error {
		cause = reprocessing.AfterUse
		if k.Kind() == record.Repair {
			cause = reprocessing.AfterRepair
		}
		return nil
	}, record.Use, record.Repair)
	return cause, err
}

func (v RecordsView) retrace(tag string, at unit.Instant) (reprocessing.Cycle, error) {
	h, rules, err := v.state(tag, at, store.Forever)
	if err != nil {
		return reprocessing.Cycle{}, err
	}
	t := reprocessing.Retrace(h, rules.Reprocessing, at, v.Zone())
	for i := range t.Uses {
		t.Uses[i].Patient = ""
	}
	// Of the holds a history has only those that are open.
	var placed reprocessing.History
	f := folder{view: v.View, history: &placed}
	err = v.tx.Events(tag, t.From, at, store.Forever, f.add, record.Hold, record.Lift)
	t.Holds, t.Lifts = placed.Holds, placed.Lifts
	return t, err
}

// Liftable is an open hold with what lifting it takes.
type Liftable struct {
	reprocessing.Hold
	// Missing is what has to be on record before anybody can lift it, empty when nothing is.
	Missing string
	// Signing is whose word it takes, Second says that this is two people's.
	Signing reprocessing.Signing
	Second  bool
}

// SignableBy says whether somebody may sign it at all.
func (l Liftable) SignableBy(a access.Actor) bool {
	return l.Signing == reprocessing.ByDoer || a.Has(access.LiftHold)
}

// Liftables returns the holds of a scope that are open now, the oldest first.
func (v RecordsView) Liftables(tag string, now unit.Instant) ([]Liftable, error) {
	open, err := v.OpenHolds(tag, now)
	if err != nil {
		return nil, err
	}
	var all []Liftable
	for _, h := range open {
		g, err := v.lifting().grounds(h, now)
		if err != nil {
			return nil, err
		}
		missing, signing := h.Waits(now, g)
		all = append(all, Liftable{h, missing, signing, signing.Two() || h.Unsure.Known()})
	}
	return all, nil
}

// Repairs returns the repairs of a scope that stand and for which it was sent between two instants, the
// earliest first.
func (v RecordsView) Repairs(tag string, from, to unit.Instant) ([]reprocessing.Repair, error) {
	var h reprocessing.History
	f := folder{view: v.View, history: &h}
	err := v.tx.Events(tag, from, to, store.Forever, f.add, record.Repair)
	return h.Repairs, err
}

// Repair returns a repair of a scope by its record, also by one that another has finished.
func (v RecordsView) Repair(tag, id string) (reprocessing.Repair, error) {
	kept, err := v.tx.Record(ledger.ID(id))
	if err != nil {
		return reprocessing.Repair{}, err
	}
	r, err := record.Body[record.RepairBody](kept.Record)
	if err != nil || kept.Kind() != record.Repair || r.Scope != tag {
		return reprocessing.Repair{}, invalid("record %s is not a repair of %s", id, tag)
	}
	return reprocessing.Repair{Stamp: stampOf(kept), Repair: r.Repair}, nil
}
