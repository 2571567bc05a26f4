package desk

import (
	"cmp"
	"context"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// restoresOf returns what is on record of copies that took the place of the records, as far as a span knows of it.
func restoresOf(v View, s span) (all []reprocessing.RestoreNote, err error) {
	kept, err := v.tx.Entities(record.Restore)
	if err != nil {
		return nil, err
	}
	for _, k := range kept {
		if k.Recorded > s.known {
			continue
		}
		n, err := record.Body[reprocessing.RestoreNote](k.Record)
		if err != nil {
			return nil, err
		}
		n.Stamp = s.stamp(k)
		all = append(all, n)
	}
	return all, nil
}

// Restored is what is known of the last copy that took the place of the records.
type Restored struct {
	ID     string                   `json:"id"`
	Note   reprocessing.RestoreNote `json:"restore"`
	Scopes []RestoredScope          `json:"not_known"`
}

// RestoredScope is a scope of which nobody knows what happened between a copy and its restore.
type RestoredScope struct {
	Scope string `json:"scope"`
	// Last is what the copy had last of it: when something happened to it, zero where nothing is on record.
	Last unit.Instant `json:"last,omitzero"`
}

// Restored returns the last restore with the scopes that it leaves not known now; nil when there was none.
func (v DayView) Restored(now unit.Instant) (*Restored, error) {
	all, err := restoresOf(v.View, span{known: store.Forever})
	if err != nil {
		return nil, err
	}
	var last *Restored
	for _, n := range all {
		if n.Restores() {
			last = &Restored{ID: n.ID, Note: n, Scopes: []RestoredScope{}}
		}
	}
	if last == nil {
		return nil, nil
	}
	instruments, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	for _, i := range instruments {
		if i.InService > now || i.Retired.Known() && i.Retired <= now {
			continue
		}
		a, err := v.ReleaseNow(i.Tag, now, store.Forever)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Blocks && r.Record == last.ID }) {
			continue
		}
		s := RestoredScope{Scope: a.Scope}
		lines, err := v.Chronicle(a.Scope, 0, last.Note.Copied, 1)
		if err != nil {
			return nil, err
		}
		if len(lines) > 0 {
			s.Last = lines[0].At
		}
		last.Scopes = append(last.Scopes, s)
	}
	return last, nil
}

// SayRestored records that these records are a copy that took the place of others: one from a file, made at copied, or
// one that was put there by hand, of which copied is zero where nobody knows when it was made. All sessions end.
func (w CareWork) SayRestored(e Entry, told reprocessing.RestoreAct, copied unit.Instant) (Receipt, error) {
	if err := w.may(ToSayRestored, &e); err != nil {
		return Receipt{}, err
	}
	by := e.By
	if err := w.inName(&by); err != nil {
		return Receipt{}, err
	}
	same := func(x reprocessing.RestoreNote) bool { return x.Told == told && x.By == by }
	if r, ok, err := again(w.Work, e.ID, record.Restore, same); ok || err != nil {
		return r, err
	}
	if !slices.Contains([]reprocessing.RestoreAct{reprocessing.FromFile, reprocessing.InPlace}, told) {
		return Receipt{}, invalid("%q is no way to restore records", told)
	}
	if err := namedIsKnown(w.Work, by); err != nil {
		return Receipt{}, err
	}
	head, err := store.HeadNow(w.tx)
	if err != nil {
		return Receipt{}, err
	}
	n := reprocessing.RestoreNote{
		Told: told, At: w.tx.Now, Size: head.Size, Root: head.Root.String(), By: by,
		// Nothing is in a copy that was written after it; with a clock that is wrong nobody knows better either.
		Copied: min(cmp.Or(copied, head.Recorded), w.tx.Now),
	}
	if b := store.Lacks(w.desk.DB); b != nil {
		n.Missing, n.Settles = max(0, b.Seen.Size-head.Size), string(b.Seen.Restore)
	}
	if err := n.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := identity.EndAll(w.tx); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Restore, w.tx.Now, n)
}

// SayNothingSince records that nothing happened to scopes since the copy of the last restore was made, by the word of a
// lead and a second person. It ends no hold.
func (w CareWork) SayNothingSince(e Entry, scopes []string, known reprocessing.HowKnown, second string) (Receipt, error) {
	if err := w.may(ToSayNothingSince, &e); err != nil {
		return Receipt{}, err
	}
	n := reprocessing.RestoreNote{Told: reprocessing.NothingSince, At: w.tx.Now, By: e.By, Second: second, Known: known}
	if err := w.inName(&n.By); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToSayNothingSince, e, &n.Second); err != nil {
		return Receipt{}, err
	}
	n.Scopes = slices.Compact(slices.Sorted(slices.Values(scopes)))
	same := func(x reprocessing.RestoreNote) bool {
		return x.Told == n.Told && x.By == n.By && x.Second == n.Second && x.Known == n.Known && slices.Equal(x.Scopes, n.Scopes)
	}
	if r, ok, err := again(w.Work, e.ID, record.Restore, same); ok || err != nil {
		return r, err
	}
	if store.Lacks(w.desk.DB) != nil {
		return Receipt{}, &fault.Error{
			Code: fault.Conflict, Message: "these records are a copy, and nobody has said so yet",
			Hint: "the lead says first that they were restored; then two say what did not happen",
		}
	}
	all, err := restoresOf(w.View, span{known: store.Forever})
	if err != nil {
		return Receipt{}, err
	}
	var last unit.Instant
	for _, r := range all {
		if r.Restores() {
			n.Restore, last = r.ID, r.At
		}
	}
	if n.Restore == "" {
		return Receipt{}, invalid("no restore is on record")
	}
	if err := n.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := oneLeads(w.Work, n, last); err != nil {
		return Receipt{}, err
	}
	for _, tag := range n.Scopes {
		if _, ok, err := edition[scope.Instrument](w.View, record.Instrument, tag, store.Forever, store.Forever); err != nil {
			return Receipt{}, err
		} else if !ok {
			return Receipt{}, notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
		}
	}
	e.Because = append(e.Because, ledger.ID(n.Restore))
	return w.append(e, record.Restore, w.tx.Now, n)
}

// oneLeads refuses two people who cannot sign together that nothing happened since the copy of a restore, or of whom
// neither answers for the room.
func oneLeads(w *Work, n reprocessing.RestoreNote, restored unit.Instant) error {
	p, err := pair(w.View, n.By, n.Second, restored, ToSayNothingSince, ToSayNothingSince)
	if err != nil {
		return err
	}
	first, second := p.Roles()
	if !access.Allows(first, access.VoidRecord) && !access.Allows(second, access.VoidRecord) {
		return &fault.Error{
			Code: fault.Invalid, Message: "to say that nothing happened since the copy takes the lead and a second person",
			Hint: "one of the two has to answer for the reprocessing room",
		}
	}
	return nil
}

// SeenNow is the line of the present end of the ledger that a browser keeps.
func SeenNow(v View) (string, error) { return store.SeenNow(v.tx) }

// HasSeen takes a line of SeenNow that a browser kept (store.HasSeen).
func (d *Desk) HasSeen(ctx context.Context, line string) error { return store.HasSeen(ctx, d.DB, line) }

// Behind is a line for everybody while these records are a copy of which nobody has said so; empty when they are none.
func (d *Desk) Behind() string {
	why := d.behind()
	if why == "" {
		return ""
	}
	return "These records are a copy: " + why + ". No scope is ready until the lead has said what happened."
}
