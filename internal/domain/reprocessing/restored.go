package reprocessing

import (
	"fmt"
	"time"

	"rinsate/internal/base/unit"
)

// judged answers about an instant, of whose past the history holds what had happened by then; all are the restores on
// record, those after the instant as well. A restore adds a cycle and discharges nothing: what the cycle before it left
// to be done, such as a repair after a failed leak test, stays to be done.
func (h History) judged(rules Rules, all []RestoreNote, at unit.Instant, zone *time.Location) Answer {
	a := answer(h, rules, at, zone).between(h.Instrument.Tag, all, at, zone)
	r, ok := h.unknown()
	// By a stock-take two people have seen on paper what the copy lacks.
	if !ok || a.StockTake != "" || asked(h, rules, true, at, zone).State.Clear() {
		return a
	}
	return a.lost(r, zone)
}

// between returns an answer about a scope at an instant between a copy and its restore without what nobody knows of that time.
func (a Answer) between(tag string, all []RestoreNote, at unit.Instant, zone *time.Location) Answer {
	for _, r := range all {
		if r.Restores() && at >= r.Copied && at < r.At && !vouched(all, r, tag) {
			why := fmt.Sprintf("what happened from %s to %s is not on record: the records were restored from a copy", r.Copied.In(zone), r.At.In(zone))
			a = a.NotKnown(Reason{Text: why, Record: r.ID})
			a.Next = append(a.Next, "look at the paper of that time")
			return a
		}
	}
	return a
}

// lost returns an answer without what nobody knows of the time before a restore, with which the cycle of the scope began.
func (a Answer) lost(r RestoreNote, zone *time.Location) Answer {
	why := fmt.Sprintf("the records were restored at %s from a copy of %s: what happened in between is not on record", r.At.In(zone), r.Copied.In(zone))
	a = a.NotKnown(Reason{Text: why, Record: r.ID})
	a.Next = append(a.Next, "or the lead and a second person say that nothing happened to it since the copy")
	return a
}
