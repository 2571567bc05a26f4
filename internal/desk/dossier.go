package desk

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Attach files a photograph or a document with a scope and, with About, with a record of that scope.
// What the file is, is read from its content; what a says of the file itself is a claim and may be
// left out, but must not differ. Without At it was made now; By is that of the entry. The same
// content is kept once however often it is attached.
func (w *Work) Attach(e Entry, a dossier.Attachment, content []byte) (Receipt, error) {
	if err := w.may(ToAttach, &e); err != nil {
		return Receipt{}, err
	}
	found, err := dossier.Inspect(content)
	if err == nil {
		err = found.Agrees(a.File)
	}
	if err != nil {
		return Receipt{}, refuse(err)
	}
	a.File, a.By = found, e.By
	if !a.At.Known() {
		if a.At, err = w.moment(e); err != nil {
			return Receipt{}, err
		}
	}
	if err := a.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.registered(a.Scope); err != nil {
		return Receipt{}, err
	}
	if a.About != "" {
		if err := w.recordOf(a.Scope, ledger.ID(a.About)); err != nil {
			return Receipt{}, err
		}
		e.Because = append(slices.Clone(e.Because), ledger.ID(a.About))
	}
	return w.appendFile(e, record.Attachment, a.At, a, content)
}

// recordOf refuses a record that is not of a scope.
func (w *Work) recordOf(tag string, id ledger.ID) error {
	kept, err := w.tx.Record(id)
	if err != nil {
		return err
	}
	of, err := record.ScopeOf(kept.Record)
	switch {
	case err != nil:
		return err
	case of == "":
		return invalid("record %s (%s) belongs to no scope, so nothing of %s can be about it", id, kept.Kind(), tag)
	case of != tag:
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("record %s (%s) is of scope %s, not of %s", id, kept.Kind(), of, tag),
			Hint:    "see the records of a scope with: rinsate history " + tag,
		}
	}
	return nil
}

// Attached is an attachment as it is on record.
type Attached struct {
	ID ledger.ID `json:"id"`
	dossier.Attachment
	Recorded unit.Instant `json:"recorded"`
	// Replaced is when it was voided or corrected, zero while it stands.
	Replaced unit.Instant `json:"replaced,omitzero"`
	Corrects ledger.ID    `json:"corrects,omitempty"`
	Reason   string       `json:"reason,omitempty"`
}

// Attachments returns everything that was attached to a scope, the latest first; what was voided or
// corrected since is there too and says so.
func (v RecordsView) Attachments(tag string) ([]Attached, error) {
	if err := v.registered(tag); err != nil {
		return nil, err
	}
	all := []Attached{}
	err := v.tx.Attachments(tag, func(k store.Kept) error {
		a, err := attachedOf(k)
		all = append(all, a)
		return err
	})
	return all, err
}

func attachedOf(k store.Kept) (Attached, error) {
	a, err := record.Body[dossier.Attachment](k.Record)
	return Attached{k.ID, a, k.Recorded, k.Replaced, k.Corrects, k.Reason}, err
}

// Attachment returns one attachment by the id of its record or the beginning of it.
func (v RecordsView) Attachment(id string) (Attached, error) {
	k, err := v.tx.Find(id)
	if err != nil {
		return Attached{}, err
	}
	if k.Kind() != record.Attachment {
		return Attached{}, notFound("see what is attached to a scope with: rinsate attachments TAG", "record %s (%s) attaches no file", k.ID, k.Kind())
	}
	return attachedOf(k)
}

// digestLength is that of a SHA-256 in hexadecimal; ids and their beginnings are shorter.
const digestLength = 64

// Content returns an attached file and what it is, by the id of the record that attaches it, the
// beginning of that, or the file's SHA-256 in hexadecimal. The bytes are hashed when they are read:
// those that are not the ones that were attached, or that an attachment names and nobody has any
// more, are an error with the code fault.Broken.
func (v RecordsView) Content(key string) (dossier.File, []byte, error) {
	if len(key) == digestLength {
		content, err := v.tx.Content(strings.ToLower(key))
		if err != nil {
			return dossier.File{}, nil, err
		}
		f, err := dossier.Inspect(content)
		return f, content, refuse(err)
	}
	a, err := v.Attachment(key)
	if err != nil {
		return dossier.File{}, nil, err
	}
	content, err := v.tx.Content(a.Digest)
	if fault.CodeOf(err) == fault.NotFound {
		err = &fault.Error{
			Code: fault.Broken, Message: fmt.Sprintf("the file of attachment %s (%s) is missing from the database", a.ID, a.Title),
			Hint: fmt.Sprintf("attach the same file again from the last backup: the one with the SHA-256 %s", a.Digest), Cause: err,
		}
	}
	return a.File, content, err
}

// HandOver writes the note of one shift for the next. Without At it is written now; By is that of the
// entry. The line ends of a page's form become line feeds.
func (w *Work) HandOver(e Entry, h dossier.Handover) (Receipt, error) {
	if err := w.may(ToHandOver, &e); err != nil {
		return Receipt{}, err
	}
	h.Text, h.By = strings.ReplaceAll(h.Text, "\r\n", "\n"), e.By
	if !h.At.Known() {
		var err error
		if h.At, err = w.moment(e); err != nil {
			return Receipt{}, err
		}
	}
	if err := h.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	for _, tag := range h.Scopes {
		if err := w.registered(tag); err != nil {
			return Receipt{}, err
		}
	}
	as, err := asked(w, e, record.Handover, &h)
	if err != nil {
		return Receipt{}, err
	}
	return w.append(as, record.Handover, h.At, h)
}

// Note is a hand-over note as it is on record.
type Note struct {
	ID ledger.ID `json:"id"`
	dossier.Handover
	Recorded unit.Instant `json:"recorded"`
	Late     bool         `json:"late,omitempty"`
	// Corrects is the note that this one takes the place of.
	Corrects ledger.ID `json:"corrects,omitempty"`
}

// Handover returns the hand-over notes since an instant that stand, the latest first and at most so
// many. A note that was voided or corrected does not stand; a later one does not end an earlier one.
func (v RecordsView) Handover(since unit.Instant, limit int) ([]Note, error) {
	notes := []Note{}
	if limit < 1 {
		return nil, invalid("at most %d notes are none: ask for one or more", limit)
	}
	err := v.tx.Handovers(since, limit, func(k store.Kept) error {
		h, err := record.Body[dossier.Handover](k.Record)
		notes = append(notes, Note{k.ID, h, k.Recorded, Late(h.At, k.Recorded), k.Corrects})
		return err
	})
	return notes, err
}
