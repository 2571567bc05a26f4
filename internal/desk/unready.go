package desk

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// A use that begins while the scope is not ready puts it on hold, and so does a step that fails. Such a hold is a
// record, since it outlives what is loaded of a history. Whatever is recorded late of a time before a use has that use
// weighed again, so that it makes no difference what arrived first: what speaks against the scope places the hold then.
// What speaks for it does not end the hold by itself, since somebody who was asked then had to say no; that takes a lift.

// weighing places and takes back the holds that follow from uses and steps.
type weighing struct{ *Work }

func (w *Work) weighing() weighing { return weighing{w} }

// use appends a use, and weighs it.
func (w weighing) use(e Entry, u reprocessing.Use) (Receipt, error) {
	r, err := w.append(e, record.Use, u.Start, u)
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = w.afterUse(e, u, r.Record)
	return r, err
}

// said completes what a use says of an emergency: one that finishes or corrects another use keeps what that said,
// since that somebody decided so has happened; what is said of a new one is said with what was known before it.
func (w weighing) said(e Entry, u *reprocessing.Use) error {
	old, ok, err := replacedBody[reprocessing.Use](w.View, e.Corrects, u.Finishes)
	if err != nil {
		return err
	}
	if ok && old.Emergency.Known() {
		u.Emergency = old.Emergency
		u.Emergency.First = cmp.Or(old.Emergency.First, string(e.Corrects), u.Finishes)
		return nil
	}
	if !u.Emergency.Known() {
		return nil
	}
	if kept, err := w.tx.Record(e.ID); err == nil { // sent again: what was known then stays
		before, err := record.Body[reprocessing.Use](kept.Record)
		was := before.Emergency
		if u.Emergency.State, u.Emergency.Short, u.Emergency.First, u.Emergency.Unsigned = was.State, was.Short, was.First, was.Unsigned; err != nil {
			return err
		}
		return nil
	} else if fault.CodeOf(err) != fault.NotFound {
		return err
	}
	h, rules, err := w.lifting().stateBefore(u.Scope, u.Start)
	if err != nil {
		return err
	}
	a, short := orUnknown(h, u.Scope).ShortBefore(rules, u.Start, w.Zone())
	u.Emergency.State, u.Emergency.Short, u.Emergency.First, u.Emergency.Unsigned = string(a.State), short.Words, "", false
	return nil
}

// afterUse weighs a use that was recorded, and the next one, whose cycle begins with it.
func (w weighing) afterUse(e Entry, u reprocessing.Use, r ledger.Record) ([]ledger.Record, error) {
	by := cmp.Or(e.By, notStated)
	var followed []ledger.Record
	if old, ok, err := replacedBody[reprocessing.Use](w.View, e.Corrects, u.Finishes); err != nil {
		return nil, err
	} else if ok && (old.Start != u.Start || old.Scope != u.Scope) {
		undone, err := w.takeBack(old.Scope, old.Start, cmp.Or(e.Corrects, ledger.ID(u.Finishes)), r.ID, by)
		if err != nil {
			return nil, err
		}
		weighed, err := w.next(old.Scope, old.Start, 1, r.ID, by) // another may have begun then
		if err != nil {
			return nil, err
		}
		followed = append(undone, weighed...)
	}
	weighed, err := w.next(u.Scope, u.Start, 2, r.ID, by)
	return append(followed, weighed...), err
}

// afterStep places the hold that a failed step asks for, and weighs the uses that come after.
func (w weighing) afterStep(e Entry, s reprocessing.Step, r ledger.Record) ([]ledger.Record, error) {
	by := cmp.Or(s.By, e.By, notStated)
	var followed []ledger.Record
	from, uses := s.Start, 1
	old, ok, err := replacedBody[reprocessing.Step](w.View, e.Corrects, s.Finishes)
	if err != nil {
		return nil, err
	}
	if ok {
		if followed, err = w.takeBack(old.Scope, 0, cmp.Or(e.Corrects, ledger.ID(s.Finishes)), r.ID, by); err != nil {
			return nil, err
		}
		from, uses = min(from, old.Start), everyUse // a lift may have rested on it
		if old.Scope != s.Scope {
			weighed, err := w.next(old.Scope, old.Start+1, everyUse, r.ID, by)
			if err != nil {
				return nil, err
			}
			followed = append(followed, weighed...)
		}
	}
	if kind, failed := s.FailedHold(); failed {
		hold := reprocessing.Hold{Scope: s.Scope, Kind: kind, At: w.happened(s.FailedAt()), By: by, Reason: s.FailedReason(w.Zone()), Cause: string(r.ID)}
		held, err := w.place(hold, Entry{ID: ledger.DerivedID("hold", string(r.ID))}, r.ID)
		if err != nil {
			return nil, err
		}
		followed, uses = append(followed, held), everyUse
	}
	if s.Kind == reprocessing.ManualCleaning {
		lifted, err := w.liftCleaned(s.Scope, by, r.ID)
		if err != nil {
			return nil, err
		}
		followed = append(followed, lifted...)
	}
	weighed, err := w.next(s.Scope, from+1, uses, r.ID, by)
	if err != nil {
		return nil, err
	}
	elsewhere, err := w.afterShared(s, r, by)
	return slices.Concat(followed, weighed, elsewhere), err
}

// afterRepair weighs the uses after a scope went for repair and after it was back.
func (w weighing) afterRepair(e Entry, x scope.Repair, r ledger.Record) ([]ledger.Record, error) {
	by := cmp.Or(e.By, notStated)
	uses := 1
	if e.Corrects != "" {
		uses = everyUse // a lift may have rested on what it corrects
	}
	followed, err := w.next(x.Scope, x.Sent+1, uses, r.ID, by)
	if err != nil || !x.Returned.Known() {
		return followed, err
	}
	weighed, err := w.next(x.Scope, x.Returned+1, 1, r.ID, by)
	return append(followed, weighed...), err
}

// afterDecision weighs the uses after a cleaning that was decided on.
func (w weighing) afterDecision(d reprocessing.Decision, prior *reprocessing.Decision, id ledger.ID, by string) ([]ledger.Record, error) {
	uses := 1
	if prior != nil || d.HoldsAfter(prior) {
		uses = everyUse
	}
	return w.next(d.Scope, min(d.First, d.Last)+1, uses, id, cmp.Or(by, notStated))
}

// afterVoid takes back the holds that followed from what was taken back, and weighs the uses after it.
func (w weighing) afterVoid(e Entry, old store.Kept, void ledger.Record) ([]ledger.Record, error) {
	var tag string
	var from unit.Instant
	var followed []ledger.Record
	var err error
	switch old.Kind() { //nolint:exhaustive // nothing else decides by itself whether a scope was ready
	case record.Use:
		err = fold(old, func(u reprocessing.Use) { tag, from = u.Scope, u.Start })
		if err == nil {
			followed, err = w.takeBack(tag, from, old.ID, void.ID, e.By)
		}
	case record.Step:
		err = fold(old, func(s reprocessing.Step) { tag, from = s.Scope, s.Start })
		if err == nil {
			followed, err = w.takeBack(tag, 0, old.ID, void.ID, e.By)
		}
	case record.Repair:
		err = fold(old, func(x record.RepairBody) { tag, from = x.Scope, x.Sent })
	case record.StockTake:
		err = fold(old, func(t reprocessing.StockTake) { tag, from = t.Scope, t.At })
	case record.Attachment:
		a, err := record.Body[dossier.Attachment](old.Record)
		if err != nil {
			return nil, err
		}
		return w.afterPaper(e, old, a, void.ID)
	default:
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if old.Kind() != record.Use { // another use may have begun at that instant
		from++
	}
	weighed, err := w.next(tag, from, everyUse, void.ID, e.By)
	return append(followed, weighed...), err
}

// later weighs every use of a scope that began after an instant.
func (w weighing) later(tag string, after unit.Instant, cause ledger.ID, by string) ([]ledger.Record, error) {
	return w.next(tag, after+1, everyUse, cause, by)
}

// everyUse stands for all uses from an instant on.
const everyUse = -1

// next weighs the uses that began first from an instant on: so many different beginnings of them.
func (w weighing) next(tag string, from unit.Instant, beginnings int, cause ledger.ID, by string) ([]ledger.Record, error) {
	first, err := w.tx.NextUse(tag, from-1)
	if err != nil || first == store.Forever {
		return nil, err
	}
	var uses []store.Kept
	if err := w.tx.Events(tag, first, store.Forever, store.Forever, func(k store.Kept) error { uses = append(uses, k); return nil }, record.Use); err != nil {
		return nil, err
	}
	var followed []ledger.Record
	var last unit.Instant
	for _, k := range uses {
		u, err := record.Body[reprocessing.Use](k.Record)
		if err != nil {
			return nil, err
		}
		if u.Start != last {
			if last = u.Start; beginnings == 0 {
				break
			}
			beginnings--
		}
		more, err := w.weigh(u, k.ID, cause, by)
		if err != nil {
			return nil, err
		}
		followed = append(followed, more...)
	}
	return followed, nil
}

// before answers whether a scope was ready when a use began, by all that is known now.
func (w lifting) before(tag string, start unit.Instant) (reprocessing.Answer, error) {
	h, rules, err := w.stateBefore(tag, start)
	if err != nil {
		return reprocessing.Answer{}, err
	}
	return reprocessing.Before(orUnknown(h, tag), rules, start, w.Zone()), nil
}

// stateBefore returns the history that decides about the beginning of a use, and the rules of that time.
func (w lifting) stateBefore(tag string, start unit.Instant) (reprocessing.History, reprocessing.Rules, error) {
	at := reprocessing.BeforeUse(start)
	clock, err := w.clock()
	if err != nil {
		return reprocessing.History{}, reprocessing.Rules{}, err
	}
	s := span{to: at, known: store.Forever, present: at, clock: clock, past: true}
	if clock.Stepped() { // what was stamped in doubt may claim to lie ahead
		s.to = store.Forever
	}
	h, err := w.around(tag, at, s)
	if err != nil {
		return h, reprocessing.Rules{}, err
	}
	rules, err := w.rulesFor(h, at, store.Forever)
	if err != nil {
		return h, rules.Reprocessing, err
	}
	h.Attestations = nil // those that were given since as well
	f := folder{view: w.View, history: &h, span: s}
	err = w.tx.Events(tag, 0, store.Forever, store.Forever, f.add, record.Attestation)
	return h, rules.Reprocessing, err
}

// weigh places the hold that a use takes which began while the scope was not ready, unless there is one for it that is
// as strict.
func (w weighing) weigh(u reprocessing.Use, id, cause ledger.ID, by string) ([]ledger.Record, error) {
	begun, err := w.lifting().begun()
	if err != nil || u.Start < begun {
		return nil, err // nobody could ask before
	}
	h, rules, err := w.lifting().stateBefore(u.Scope, u.Start)
	if err != nil {
		return nil, err
	}
	site, err := w.People().Opening(store.Forever)
	if err != nil {
		return nil, err
	}
	unready, ok := orUnknown(h, u.Scope).Unready(rules, u.Start, begun, site, w.Zone())
	if !ok {
		return nil, nil
	}
	at := w.happened(u.Start)
	there, err := w.lifting().placed(u.Scope, u.Start, id)
	if err != nil {
		return nil, err
	}
	e := Entry{ID: ledger.DerivedID("hold", string(id), string(cause))}
	for _, x := range there {
		if x.dissolved {
			continue // it had been ready, and is not any more
		}
		if !unready.Kind.Stricter(x.Of()) {
			return nil, nil
		}
		if x.open {
			e.Corrects, e.Reason = ledger.ID(x.ID), fmt.Sprintf("it is for %s by what is on record now", unready.Kind)
		}
	}
	hold := reprocessing.Hold{Scope: u.Scope, Kind: unready.Kind, At: at, By: by, Reason: unready.Reason(), Cause: string(id)}
	r, err := w.place(hold, e, cause, id)
	if err != nil {
		return nil, err
	}
	return []ledger.Record{r}, nil
}

// happened returns by when something had happened that is on record: a clock that was wrong may have dated it ahead.
func (w weighing) happened(at unit.Instant) unit.Instant { return min(at, w.tx.Now) }

// begun returns when the site began: when its first rule set counted from.
func (w lifting) begun() (unit.Instant, error) {
	all, err := w.tx.Entities(record.Rules)
	if err != nil || len(all) == 0 {
		return 0, err
	}
	return all[0].At, nil
}

// place records a hold of the rules that follows from other records.
func (w weighing) place(hold reprocessing.Hold, e Entry, because ...ledger.ID) (ledger.Record, error) {
	e.By, e.asked = hold.By, true
	for _, id := range because {
		if id != "" && (len(e.Because) == 0 || e.Because[0] != id) {
			e.Because = append(e.Because, id)
		}
	}
	r, err := w.append(e, record.Hold, hold.At, hold)
	return r.Record, err
}

// followed is a hold that followed from a use or a step, as it stands.
type followed struct {
	reprocessing.Hold
	// open says that nobody has lifted it, dissolved that it was lifted since the scope had been ready.
	open, dissolved bool
}

// placed returns the holds that followed from a record: those that name it and, of a use, those that speak of its
// beginning, which another record of the same use may have placed.
func (w lifting) placed(tag string, start unit.Instant, id ledger.ID) ([]followed, error) {
	var all []followed
	err := w.tx.Events(tag, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(h reprocessing.Hold) {
			ofUse := h.Of() == reprocessing.RecordHold || h.Of() == reprocessing.ExposureHold
			if h.Cause != "" && (h.Cause == string(id) || ofUse && start.Known() && h.At == start) {
				h.ID = string(k.ID)
				all = append(all, followed{Hold: h})
			}
		})
	}, record.Hold)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	open, err := w.openNow(tag)
	if err != nil {
		return nil, err
	}
	late := map[string]bool{}
	err = w.tx.Events(tag, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(l reprocessing.Lift) { late[l.Hold] = l.Late })
	}, record.Lift)
	if err != nil {
		return nil, err
	}
	for i := range all {
		all[i].open = slices.ContainsFunc(open, func(x reprocessing.Hold) bool { return x.ID == all[i].ID })
		all[i].dissolved = !all[i].open && late[all[i].ID]
	}
	return all, nil
}

// takeBack voids the holds that followed from a record which is taken back, as far as no person has changed them.
func (w weighing) takeBack(tag string, start unit.Instant, of, cause ledger.ID, by string) ([]ledger.Record, error) {
	there, err := w.lifting().placed(tag, start, of)
	if err != nil {
		return nil, err
	}
	return w.voidAll(tag, there, cause, by)
}

func (w weighing) voidAll(tag string, holds []followed, cause ledger.ID, by string) ([]ledger.Record, error) {
	var voids []ledger.Record
	for _, x := range holds {
		kept, err := w.tx.Record(ledger.ID(x.ID))
		if err != nil {
			return nil, err
		}
		if len(kept.Because) == 0 { // a person made it stricter
			continue
		}
		e := Entry{
			ID: ledger.DerivedID("void", x.ID, string(cause)), By: by, Corrects: kept.ID, Because: []ledger.ID{cause},
			Reason: "what it followed from was taken back",
		}
		r, err := w.append(e, record.Void, w.tx.Now, record.VoidBody{Scope: tag})
		if err != nil {
			return nil, err
		}
		voids = append(voids, r.Record)
	}
	return voids, nil
}

// replacedBody returns the body of the record that another one corrects or finishes, ok = false when it does neither.
func replacedBody[T any](v View, corrects ledger.ID, finishes string) (body T, ok bool, err error) {
	id := cmp.Or(corrects, ledger.ID(finishes))
	if id == "" {
		return body, false, nil
	}
	kept, err := v.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return body, false, nil
	}
	if err != nil {
		return body, false, err
	}
	body, err = record.Body[T](kept.Record)
	return body, err == nil, err
}

// afterPaper weighs the uses since a list was signed, or a hold was lifted, over a file which is taken back.
func (w weighing) afterPaper(e Entry, old store.Kept, a dossier.Attachment, cause ledger.ID) ([]ledger.Record, error) {
	var from unit.Instant
	err := w.tx.Events(a.Scope, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(t reprocessing.StockTake) {
			if slices.Contains(t.Papers, string(old.ID)) && (from == 0 || t.At < from) {
				from = t.At
			}
		})
	}, record.StockTake)
	if err != nil {
		return nil, err
	}
	err = w.tx.Events(a.Scope, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(l reprocessing.Lift) {
			if slices.Contains(l.Evidence, string(old.ID)) && (from == 0 || l.At < from) {
				from = l.At
			}
		})
	}, record.Lift)
	if err != nil || from == 0 {
		return nil, err
	}
	return w.later(a.Scope, from, cause, cmp.Or(e.By, notStated))
}

// afterShared weighs the uses of scopes that were disinfected in the same run, or with the same lot, as far as a
// disinfection that was recorded speaks against these.
func (w weighing) afterShared(s reprocessing.Step, r ledger.Record, by string) ([]ledger.Record, error) {
	if s.Kind != reprocessing.Disinfection {
		return nil, nil
	}
	from := map[string]unit.Instant{}
	var scopes []string
	note := func(x reprocessing.Step) {
		at, known := from[x.Scope]
		if !known {
			scopes = append(scopes, x.Scope)
		}
		if !known || x.Start < at {
			from[x.Scope] = x.Start
		}
	}
	add := func(k store.Kept) error {
		if k.ID == r.ID {
			return nil
		}
		return fold(k, note)
	}
	tx := store.Shared{Tx: w.tx, Known: store.Forever}
	if s.Reprocessor != "" && (s.Result == reprocessing.Fail || s.MEC == reprocessing.Fail) {
		err := tx.Runs(s.Reprocessor, false, s.Start.Add(-longestRun), max(s.Start, s.End).Add(time.Minute), func(k store.Kept) error {
			return fold(k, func(x reprocessing.Step) {
				if s.SameRun(x) {
					note(x)
				}
			})
		})
		if err != nil {
			return nil, err
		}
	}
	if s.DisinfectantLot != "" {
		if s.DisinfectantExpires.Known() {
			if err := tx.With(s.Disinfectant, s.DisinfectantLot, s.DisinfectantExpires.Add(-longestRun), add); err != nil {
				return nil, err
			}
		}
		first := false
		err := tx.FirstUse(s.Disinfectant, s.DisinfectantLot, s.Reprocessor, func(k store.Kept) error { first = k.ID == r.ID; return nil })
		if err != nil {
			return nil, err
		}
		if first {
			if err := tx.With(s.Disinfectant, s.DisinfectantLot, s.Begun(), add); err != nil {
				return nil, err
			}
		}
	}
	var followed []ledger.Record
	for _, scope := range scopes {
		weighed, err := w.next(scope, from[scope]+1, everyUse, r.ID, by)
		if err != nil {
			return nil, err
		}
		followed = append(followed, weighed...)
	}
	return followed, nil
}
