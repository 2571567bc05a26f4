package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// A copy of the records that takes their place knows nothing of what was done since it was made: a use, a failed
// test, a hold. So no scope is ready by what lies before the restore. The restore begins a cycle of its own, as
// the return from a repair does, and whatever was begun before it proves nothing; residue that nobody knows of has had
// time to dry, so that the cycle is one of delayed reprocessing. Only people can know better, the lead and a second
// person together: that nothing happened to a scope since the copy was made. That ends no hold.

// RestoreAct is what a record of the kind restore tells.
type RestoreAct string

// What it can tell. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	FromFile     RestoreAct = "from-file"     // a backup took the place of the records
	InPlace      RestoreAct = "in-place"      // people said of the records that are there that they are a copy
	NothingSince RestoreAct = "nothing-since" // people said of scopes that nothing happened to them since the copy
)

// HowKnown is by what people know that nothing happened.
type HowKnown string

// By what it can be known. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	ByPaper    HowKnown = "paper"
	ByAsking   HowKnown = "asked"
	ByClosed   HowKnown = "closed"
	ByLocation HowKnown = "locked-away"
)

// HowsKnown lists them.
var HowsKnown = []HowKnown{ByPaper, ByAsking, ByClosed, ByLocation}

// Words says it to people.
func (k HowKnown) Words() string {
	switch k {
	case ByPaper:
		return "the paper of the time was gone through"
	case ByAsking:
		return "everybody on duty in the time was asked"
	case ByClosed:
		return "the room was closed the whole time"
	case ByLocation:
		return "the scopes were locked away the whole time"
	}
	return string(k)
}

// RestoreNote is one thing that is on record about a copy that took the place of the records.
type RestoreNote struct {
	Told RestoreAct `json:"told"`
	// Copied is when the copy was made, at the latest the time of its last record where nobody knows better; At
	// when it took the place of the records, or when people spoke.
	Copied unit.Instant `json:"copied,omitzero"`
	At     unit.Instant `json:"at"`
	// Size and Root are those of the copy.
	Size int64  `json:"size,omitempty"`
	Root string `json:"root,omitempty"`
	// Missing is how many records more somebody had seen before, as far as that is known.
	Missing int64 `json:"missing,omitempty"`
	// Settles is the restore that they had seen last, where the copy lacks its record.
	Settles string `json:"settles,omitempty"`
	// By is who did it, Second who was the other of the two people.
	By     string `json:"by"`
	Second string `json:"second,omitempty"`
	// Scopes are those that nothing happened to since the copy of the record Restore was made, Known by what that is
	// known.
	Restore string   `json:"restore,omitempty"`
	Scopes  []string `json:"scopes,omitempty"`
	Known   HowKnown `json:"known,omitempty"`

	// Stamp is that of its record.
	Stamp `json:"-"`
}

// Restores says whether it tells of a copy that took the place of the records.
func (n RestoreNote) Restores() bool { return n.Told == FromFile || n.Told == InPlace }

// Words says in a line what it is.
func (n RestoreNote) Words() string {
	switch n.Told {
	case FromFile:
		return fmt.Sprintf("the records were restored from a backup of %d records", n.Size)
	case InPlace:
		return fmt.Sprintf("the records were found to be a copy of %d records", n.Size)
	case NothingSince:
		return "nothing happened since the copy to " + strings.Join(n.Scopes, ", ") + ": " + n.Known.Words()
	}
	return string(n.Told)
}

// Check refuses a note that contradicts itself.
func (n RestoreNote) Check() error {
	switch n.Told {
	case FromFile, InPlace:
		switch {
		case n.By == "":
			return fmt.Errorf("restore: who does it?")
		case !n.Copied.Known():
			return fmt.Errorf("restore: when was the copy made?")
		case n.Copied > n.At:
			return fmt.Errorf("restore: the copy would have been made at %s, after it was restored at %s", n.Copied, n.At)
		case n.Size <= 0:
			return fmt.Errorf("restore: a copy without records restores nothing")
		}
		return nil
	case NothingSince:
		switch {
		case n.By == "":
			return fmt.Errorf("nothing since the copy: who says so?")
		case n.Second == "":
			return fmt.Errorf("nothing since the copy: it takes the lead and a second person")
		case !(Lift{By: n.By, Second: n.Second}).Two():
			return fmt.Errorf("nothing since the copy: the second person must be somebody else than %s", n.By)
		case n.Restore == "":
			return fmt.Errorf("nothing since the copy: since which one?")
		case len(n.Scopes) == 0:
			return fmt.Errorf("nothing since the copy: of which scopes?")
		case !slices.Contains(HowsKnown, n.Known):
			return fmt.Errorf("nothing since the copy: how is that known? One of: %s", scope.Words(HowsKnown))
		}
		return nil
	}
	return fmt.Errorf("restore: %q is nothing that can be told of one", n.Told)
}

// vouched says whether people said of a scope that nothing happened to it since the copy of a restore was made.
func vouched(notes []RestoreNote, restore RestoreNote, tag string) bool {
	return slices.ContainsFunc(notes, func(n RestoreNote) bool {
		return n.Told == NothingSince && n.Restore == restore.ID && slices.Contains(n.Scopes, tag)
	})
}

// Restored returns the last restore since whose copy anything may have happened to the scope, ok = false when there
// is none.
func (h History) Restored() (last RestoreNote, ok bool) {
	for _, n := range h.Restores {
		if n.Restores() && n.At >= last.At && !vouched(h.Restores, n, h.Instrument.Tag) {
			last, ok = n, true
		}
	}
	return last, ok
}

// unknown says whether the cycle of a history began with a restore, so that nobody knows what was done before it.
func (h History) unknown() (r RestoreNote, ok bool) {
	if r, ok = h.Restored(); !ok {
		return r, false
	}
	start, _, record := Start(h)
	return r, record == r.ID && start == r.At
}

// restoresBy returns the restores that had happened by an instant, and all that people said of them.
func (h History) restoresBy(at unit.Instant) []RestoreNote {
	return keep(h.Restores, func(n RestoreNote) bool { return !n.Restores() || n.At <= at })
}

// idle says whether nothing is on record of the scope that lies after an instant: no use, step, sample or repair.
func (h History) idle(after unit.Instant) bool {
	return !slices.ContainsFunc(h.Uses, func(u Use) bool { return u.last() > after }) &&
		!slices.ContainsFunc(h.Steps, func(s Step) bool { return s.last() > after }) &&
		!slices.ContainsFunc(h.Samples, func(t Taken) bool { return max(t.Collected, t.Read) > after }) &&
		!slices.ContainsFunc(h.Repairs, func(r Repair) bool { return max(r.Sent, r.Returned) > after })
}

// Listable says why a list cannot speak for the scope of a history that holds everything up to the instant at which it
// is signed; empty when it can.
func (h History) Listable() string {
	r, restored := h.Restored()
	switch {
	case h.Instrument.Owner != scope.Own:
		return "it is a " + h.Instrument.Owner.Words() + ", which is reprocessed on arrival"
	case !restored && !h.idle(0):
		return "something is on record of it: reprocess it"
	case restored && !h.idle(r.Copied):
		return "something is on record of it since the copy that was restored: reprocess it"
	}
	return ""
}

// listed returns the stock-take that speaks for the scope at an instant, ok = false when none does. Of several the last
// counts.
func (h History) listed(at unit.Instant) (last StockTake, ok bool) {
	if h.Listable() != "" {
		return last, false
	}
	r, _ := h.Restored()
	for _, t := range h.StockTakes {
		// Of two facts at one instant the bad one counts: an arrival, or a restore.
		if t.At > at || t.Check() != nil || t.At <= h.Instrument.InService || r.At.Known() && t.At <= r.At {
			continue
		}
		if !ok || t.At > last.At || t.At == last.At && t.Until < last.Until {
			last, ok = t, true
		}
	}
	return last, ok && at < last.Until
}
