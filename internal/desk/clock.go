package desk

import (
	"context"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// ClockDoubted is why nothing is ready now, and since when.
type ClockDoubted struct {
	Why  string `json:"why"`
	Next string `json:"next"`
	// Steps are those since which nobody has compared another clock, the earliest first.
	Steps []reprocessing.ClockNote `json:"steps"`
}

// ClockDoubted says whether the computer's clock is in doubt at the present instant; nil when it is not.
func (v DayView) ClockDoubted(now unit.Instant) (*ClockDoubted, error) {
	c, err := v.clock()
	if err != nil {
		return nil, err
	}
	why, next, doubted := c.Doubts(now, v.Zone())
	if !doubted {
		return nil, nil
	}
	return &ClockDoubted{why, next, c.Unsettled(now)}, nil
}

// CompareClock records that people compared the computer's clock with another one, which showed n.Saw. That they agree a
// lead may say alone, and anybody else on duty with a second one; that they do not, anybody on duty: the clock is in doubt
// from then on.
func (w CareWork) CompareClock(e Entry, n reprocessing.ClockNote) (Receipt, error) {
	if err := w.may(ToCompareClock, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&n.By); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToCompareClock, e, &n.Second); err != nil {
		return Receipt{}, err
	}
	same := func(x reprocessing.ClockNote) bool {
		return x.Saw == n.Saw && x.Other == n.Other && x.By == n.By && x.Second == n.Second
	}
	if r, ok, err := again(w.Work, e.ID, record.Clock, same); ok || err != nil {
		return r, err
	}
	n = n.Compared(w.tx.Now)
	if err := n.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if n.Second != "" {
		if _, err := pair(w.View, n.By, n.Second, 0, ToCompareClock, ToCompareClock); err != nil {
			return Receipt{}, err
		}
	} else if err := namedIsKnown(w.Work, n.By); err != nil {
		return Receipt{}, err
	}
	alone, err := leads(w.Work, n.By)
	if err != nil {
		return Receipt{}, err
	}
	alone = alone || n.Noticed == reprocessing.ByApart
	if n.Second == "" && !alone {
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: "to compare the clock takes the lead, or two people on duty",
			Hint: "look at the other clock together, and name the second person",
		}
	}
	return w.append(e, record.Clock, w.tx.Now, n)
}

// namedIsKnown refuses somebody who is only named and is nobody here.
func namedIsKnown(w *Work, by string) error {
	if !w.actor.Vouched() || by == "" {
		return nil
	}
	_, err := known(w.View, by)
	return err
}

// leads says whether somebody answers for the room: who takes back what others have recorded. Where people act at
// the machine itself what is on record of them says so.
func leads(w *Work, code string) (bool, error) {
	if !w.actor.Vouched() {
		return w.actor.Has(access.VoidRecord), nil
	}
	s, err := w.People().Signer(code, reprocessing.Clock{})
	return s.Known && access.Allows(s.Roles(), access.VoidRecord), err
}

// NoticeClock puts on record that the computer's clock shows less than the newest record has, where it does: what a
// program that begins finds.
func (d *Desk) NoticeClock(ctx context.Context) error {
	return d.DB.Write(ctx, store.NoticeClock)
}

// WatchClock looks at two clocks whenever it is told to, until the context ends: that of the computer, and one that
// nobody sets. It puts on record when they come apart. failed hears of what could not be written.
func (d *Desk) WatchClock(ctx context.Context, look <-chan time.Time, tick func() reprocessing.Ticked, failed func(error)) {
	for before := tick(); ; {
		select {
		case <-ctx.Done():
			return
		case <-look:
		}
		now := tick()
		if n, ok := reprocessing.Stepped(before, now); ok {
			if err := d.DB.Write(ctx, func(tx *store.Tx) error { return store.NoteClock(tx, n) }); err != nil {
				failed(err)
				continue // and noticed again
			}
		}
		before = now
	}
}
