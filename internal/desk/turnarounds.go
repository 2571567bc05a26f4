package desk

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Turnaround is one turnaround of a scope as it went.
type Turnaround struct {
	turnaround.Trip
	// Ended is what began the next one; empty while none has.
	Ended turnaround.Cause
}

// Turnarounds returns the turnarounds of a scope that had begun by an instant, the newest first and
// at most so many: the first as it stood at that instant, each other up to the instant before the next
// one's use or repair. What the gate says of each is by the rules of its end. Those before a From are
// had by asking for the instant before it. The uses are without the patient.
func (v View) Turnarounds(tag string, at unit.Instant, limit int) ([]Turnaround, error) {
	ended, err := v.begins(tag, at+1)
	if err != nil {
		return nil, err
	}
	var all []Turnaround
	for len(all) < limit {
		t, err := v.retrace(tag, at)
		if err != nil {
			return nil, err
		}
		all = append(all, Turnaround{t, ended})
		if t.Cause == turnaround.OnArrival {
			break
		}
		at, ended = t.From-1, t.Cause
	}
	return all, nil
}

// begins says which kind of turnaround begins with a use or repair at exactly an instant, none when
// neither does.
func (v View) begins(tag string, at unit.Instant) (cause turnaround.Cause, err error) {
	err = v.tx.Events(tag, at, at, store.Forever, func(k store.Kept) error {
		cause = turnaround.AfterUse
		if k.Kind() == record.Repair {
			cause = turnaround.AfterRepair
		}
		return nil
	}, record.Use, record.Repair)
	return cause, err
}

func (v View) retrace(tag string, at unit.Instant) (turnaround.Trip, error) {
	h, rules, err := v.state(tag, at, store.Forever)
	if err != nil {
		return turnaround.Trip{}, err
	}
	t := turnaround.Retrace(h, rules.Turnaround, at, v.Zone())
	for i := range t.Uses {
		t.Uses[i].Patient = ""
	}
	// Of the holds a history has only those that are open.
	var placed turnaround.History
	f := folder{history: &placed}
	err = v.tx.Events(tag, t.From, at, store.Forever, f.add, record.Hold, record.Lift)
	t.Holds, t.Lifts = placed.Holds, placed.Lifts
	return t, err
}

// Liftable is an open hold with what lifting it takes.
type Liftable struct {
	turnaround.Hold
	// Round is the round that the scope passed since; empty when there is none.
	Round string
	// Second says that a second person has to agree.
	Second bool
}

// Liftables returns the holds of a scope that are open at an instant, the oldest first.
func (v View) Liftables(tag string, at unit.Instant) ([]Liftable, error) {
	var open turnaround.History
	if err := v.holds(&open, tag, span{to: at, known: store.Forever}); err != nil {
		return nil, err
	}
	var all []Liftable
	for _, h := range open.Holds {
		round, err := v.passedSince(h, at)
		if err != nil {
			return nil, err
		}
		all = append(all, Liftable{h, round, round == "" || !h.EndsByRound()})
	}
	return all, nil
}

// Repairs returns the repairs of a scope that stand and for which it was sent between two instants, the
// earliest first.
func (v View) Repairs(tag string, from, to unit.Instant) ([]turnaround.Repair, error) {
	var h turnaround.History
	f := folder{history: &h}
	err := v.tx.Events(tag, from, to, store.Forever, f.add, record.Repair)
	return h.Repairs, err
}

// Repair returns a repair of a scope by its record, also by one that another has finished.
func (v View) Repair(tag, id string) (turnaround.Repair, error) {
	kept, err := v.tx.Record(ledger.ID(id))
	if err != nil {
		return turnaround.Repair{}, err
	}
	r, err := record.Body[record.RepairBody](kept.Record)
	if err != nil || kept.Kind() != record.Repair || r.Scope != tag {
		return turnaround.Repair{}, invalid("record %s is not a repair of %s", id, tag)
	}
	return turnaround.Repair{Stamp: stampOf(kept), Repair: r.Repair}, nil
}
