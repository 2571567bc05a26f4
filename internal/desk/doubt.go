package desk

import (
	"fmt"
	"slices"

	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
)

// callCare is what to do when the records or the tables cannot be relied on.
const callCare = "call whoever looks after this computer: nothing here shows whether the scope may be used"

// callLead is what to do when the records are a copy.
const callLead = "call the lead: an older copy of the records was put back, and nobody has said so on record"

// relied returns an answer as far as the records that it rests on can be relied on: while the ledger contradicts
// itself nothing is ready, and while a table differs from it no scope that this bears on is. What is worse stays.
func (v View) relied(a reprocessing.Answer) reprocessing.Answer {
	if why := v.desk.behind(); why != "" {
		a = unreliable(a, why, callLead)
	}
	found := v.desk.DB.Examined()
	if !found.Doubted(a.Scope) {
		return a
	}
	why, since := "what was read for this answer differs from the records since ", found.At
	if found.Fault != "" {
		why, since = "the ledger contradicts itself since ", found.Since
	}
	return unreliable(a, why+since.In(v.Zone())+" at the latest", callCare)
}

// unreliable returns an answer that is at best not known.
func unreliable(a reprocessing.Answer, why, next string) reprocessing.Answer {
	a = a.NotKnown(reprocessing.Reason{Text: why})
	a.Next = slices.Insert(a.Next, 0, next)
	return a
}

// Doubt is a line for everybody while the records or the tables cannot be relied on, or guards are missing; empty
// when nothing was found.
func (d *Desk) Doubt() string {
	found := d.DB.Examined()
	zone := d.DB.Zone()
	switch {
	case !found.At.Known() || found.Good():
		return ""
	case found.Fault != "":
		return "The ledger contradicts itself, found " + found.Since.In(zone) + ": no scope is ready. Call whoever looks after this computer."
	case len(found.Tables) > 0 && !found.Rebuilt:
		return "Tables differ from the records, found " + found.At.In(zone) + ": the scopes concerned are not ready. Call whoever looks after this computer."
	case len(found.Tables) > 0:
		return "Tables differed from the records and were rebuilt " + found.At.In(zone) +
			": another program has written to the database. Call whoever looks after this computer."
	}
	return "What keeps other programs from changing the tables is damaged, found " + found.At.In(zone) + ". Call whoever looks after this computer."
}

// behind is why nothing is ready while these records are a copy of which nobody has said so, empty when they are none.
func (d *Desk) behind() string {
	b := store.Lacks(d.DB)
	if b == nil {
		return ""
	}
	why := b.String()
	if b.Seen.Recorded.Known() {
		why += fmt.Sprintf(", the last of them of %s", b.Seen.Recorded.In(d.DB.Zone()))
	}
	return why
}

// clock returns what is known of the computer's clock.
func (v View) clock() (c reprocessing.Clock, err error) {
	if c, err = clockNotes(v, store.Forever); err != nil {
		return c, err
	}
	c.Newest, err = store.LastRecorded(v.tx)
	return c, err
}
