package desk

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// What is adverse is taken back by two (takeback.Case). A void with both signatures is that act; a correction that makes
// something adverse milder is such a void and a new record, which is evidence of when it was written. So nothing is ever
// half taken back: until both have signed, the first version stands.

// takings weighs records, and what would take their place.
type takings struct{ View }

func takingsOf(v View) takings { return takings{v} }

// weight says what a record speaks for or against.
func (v takings) weight(old store.Kept) (w takeback.Weight, err error) {
	switch old.Kind() {
	case record.Use:
		err = fold(old, func(u reprocessing.Use) { w = takeback.OfUse(u) })
	case record.Step:
		err = fold(old, func(s reprocessing.Step) { w = takeback.OfStep(s) })
	case record.Repair:
		err = fold(old, func(x record.RepairBody) { w = takeback.OfRepair(x.Repair) })
	case record.Request:
		err = fold(old, func(q sampling.Request) { w = takeback.OfRequest(q) })
	case record.Hold:
		err = fold(old, func(h reprocessing.Hold) { w = takeback.OfHold(h) })
	case record.Reading:
		if err = fold(old, func(r reading.Reading) { w = takeback.OfReading(r) }); err == nil {
			err = v.inDoubt(old, &w, old)
		}
	case record.Sample:
		var read []reading.Reading
		var kept []store.Kept
		if read, kept, err = v.readingsOf(old); err == nil {
			w = takeback.OfSample(read...)
			err = v.inDoubt(old, &w, kept...)
		}
	case record.Moment:
		err = fold(old, func(m sampling.Moment) { w = takeback.OfMoment(m) })
	case record.Check:
		err = fold(old, func(c record.CheckBody) { w = takeback.OfCheck(c.Verdict) })
	case record.Meter:
		w, err = editionWeight(v, old, takeback.OfMeter)
	case record.Instrument:
		w, err = editionWeight(v, old, takeback.OfInstrument)
	case record.Lot:
		w, err = editionWeight(v, old, takeback.OfLot)
	case record.Attestation:
		w = takeback.Weight{Sort: takeback.Evidence, What: "an attestation"}
	case record.StockTake:
		w = takeback.Weight{Sort: takeback.Evidence, What: "a stock-take"}
	case record.Site, record.Model, record.Person, record.Rules, record.Level, record.Verification, record.Lift, record.Void,
		record.Selection, record.Import, record.Target, record.Suspect, record.Comparison, record.Chart, record.Access, record.Attachment,
		record.Handover, record.Signal, record.Erasure, record.Patient, record.Clock, record.Restore,
		record.Seen, record.Start:
		w = takeback.Weight{Sort: takeback.Aside}
	}
	return w, err
}

// inDoubt makes a weight that of a doubt where one stands about any of the readings of a scope: to take such a reading
// away, so that another can be said, would take the doubt away.
func (v takings) inDoubt(of store.Kept, w *takeback.Weight, read ...store.Kept) error {
	if w.Adverse() || len(read) == 0 {
		return nil
	}
	tag, err := record.ScopeOf(of.Record)
	if err != nil {
		return err
	}
	return v.tx.Events(tag, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(x record.SuspectBody) {
			if slices.ContainsFunc(read, func(r store.Kept) bool { return slices.Contains(x.Readings, r.ID) }) {
				*w = takeback.InDoubt(*w)
			}
		})
	}, record.Suspect)
}

// ofSample says whether another version of a sample keeps what the first says against the scope, and how heavy that is: of
// a lot that must not have been used the sample stays a sample.
func (v takings) ofSample(old store.Kept, x sampling.Sample, w takeback.Weight) (takeback.Weight, bool, error) {
	s, err := samplesOf(v.View).marked(old)
	if err != nil {
		return w, false, err
	}
	read, err := samplesOf(v.View).readAs(old.ID, x)
	if err != nil {
		return w, false, err
	}
	used, keeps := kitUsed(s), len(read) == 0 || takeback.KeepsSample(s, x)
	var was []reading.Reading
	for _, r := range read {
		used, was = max(used, r.was.With.At), append(was, r.was)
		r.read.Lot = r.was.Lot // which is weighed by itself
		keeps = keeps && takeback.KeepsReading(r.was, r.read)
	}
	if s.Kit != x.Kit || s.Lot != x.Lot {
		lot, known, err := v.lot(s.Kit, s.Lot)
		if err != nil || !known {
			return w, keeps, err
		}
		if why, err := lotFault(v.View, lot, used); err != nil || why != "" {
			return takeback.OfLostLot(w), false, err
		}
	}
	doubted := w.Adverse() && !takeback.OfSample(was...).Adverse()
	return w, keeps && !doubted, nil
}

// editionWeight weighs an edition against the one that would count without it; one that does not count weighs nothing.
func editionWeight[T any](v takings, old store.Kept, of func(counts, without T) takeback.Weight) (takeback.Weight, error) {
	aside := takeback.Weight{Sort: takeback.Aside}
	last, before, err := lastEditions(v.View, old)
	if err != nil || last.ID != old.ID {
		return aside, err
	}
	var without T
	if before.ID != "" {
		if without, err = record.Body[T](before.Record); err != nil {
			return aside, err
		}
	}
	counts, err := record.Body[T](last.Record)
	if err != nil {
		return aside, err
	}
	return of(counts, without), nil
}

// readingsOf returns the readings of a sample that stand, with their records.
func (v takings) readingsOf(sample store.Kept) (read []reading.Reading, kept []store.Kept, err error) {
	tag, err := record.ScopeOf(sample.Record)
	if err != nil {
		return nil, nil, err
	}
	err = v.tx.Events(tag, 0, store.Forever, store.Forever, func(k store.Kept) error {
		return fold(k, func(r reading.Reading) {
			if r.Sample == string(sample.ID) {
				read, kept = append(read, r), append(kept, k)
			}
		})
	}, record.Reading)
	return read, kept, err
}

// ofCase returns what decides about taking a record back, by its weight; by is who would do it.
func (v takings) ofCase(a access.Actor, by string, old store.Kept, w takeback.Weight) (c takeback.Case, e access.Entered, err error) {
	if e, err = v.entered(old); err != nil {
		return c, e, err
	}
	author := a.Is(old.By) || a.OnBehalf() && old.By != "" && access.Key(by) == access.Key(old.By)
	return takeback.Case{Weight: w, Author: author, Since: v.tx.Now.Sub(e.Recorded), Followed: e.Followed}, e, nil
}

// pictured says whether a photograph is filed with a record.
func (v takings) pictured(old store.Kept) (found bool, err error) {
	tag, err := record.ScopeOf(old.Record)
	if err != nil || tag == "" {
		return false, err
	}
	err = v.tx.EventsAfter(tag, old.Seq, func(k store.Kept) error {
		if k.Kind() != record.Attachment || k.Replaced.Known() {
			return nil
		}
		return fold(k, func(a dossier.Attachment) { found = found || a.About == string(old.ID) && a.Kind == dossier.Photograph })
	})
	return found, err
}

// need says what it takes.
func (v takings) need(a access.Actor, c takeback.Case, e access.Entered) (Taking, error) {
	t := Taking{Need: c.Takes(), Signed: a.TakeBackSigned(e, v.tx.Now)}
	e.Anybody = t.Need == takeback.Anybody
	switch {
	case t.Two():
		t.What, t.Signed = c.What, true
		if !a.Vouched() && !slices.ContainsFunc(a.Roles(), takeback.First) {
			return t, notAlone(c.What, takeback.ErrNotTheirs)
		}
	case !a.MayTakeBack(e):
		return t, a.CheckTakeBack(e, v.tx.Now)
	}
	return t, nil
}

// notAlone refuses to take back what is adverse.
func notAlone(what string, why error) error {
	code := fault.Invalid
	if errors.Is(why, takeback.ErrNotTheirs) {
		code = fault.Forbidden
	}
	return &fault.Error{
		Code: code, Message: fmt.Sprintf("to take back %s: %v", what, why), Cause: why,
		Hint: "it needs " + takeback.Needs + "; until both have signed it stands. " + takeback.SlipWords,
	}
}

// Taking says what it would take an actor to take a record back now; an error with the code fault.Forbidden when the actor
// may not, whoever else agrees.
func (v RecordsView) Taking(a access.Actor, id ledger.ID) (Taking, error) {
	old, err := v.tx.Record(id)
	if err != nil {
		return Taking{}, err
	}
	if old.Kind() == record.Void { // which restores what was adverse
		voided, err := v.tx.Record(old.Corrects)
		if err != nil {
			return Taking{}, err
		}
		return Taking{Need: takeback.Anybody}, a.Check(writing(voided.Kind()), v.tx.Now)
	}
	_, w, err := takingsOf(v.View).goes(old)
	if err != nil {
		return Taking{}, err
	}
	c, e, err := takingsOf(v.View).ofCase(a, a.Code(), old, w)
	if err != nil {
		return Taking{}, err
	}
	if _, c.Worse, err = takingsOf(v.View).serves(old, w); err != nil {
		return Taking{}, err
	}
	return takingsOf(v.View).need(a, c, e)
}

// serves says whether a step or a mark which did not fail serves a scope that is ready now: without it the answer can only
// get worse. It returns that answer.
func (v takings) serves(old store.Kept, w takeback.Weight) (now reprocessing.Answer, serves bool, err error) {
	if w.Sort != takeback.Duty || old.Kind() != record.Step && old.Kind() != record.Moment {
		return now, false, nil
	}
	out := false
	if err := fold(old, func(s reprocessing.Step) { out = s.Kind == reprocessing.Issue }); err != nil || out {
		return now, false, err
	}
	tag, err := record.ScopeOf(old.Record)
	if err != nil || tag == "" {
		return now, false, err
	}
	now, err = v.ReleaseNow(tag, v.tx.Now, store.Forever)
	return now, now.State == reprocessing.Ready, err
}

// served refuses a void after which a scope would wait longer than the answer before said.
func (v takings) served(before reprocessing.Answer, what string) error {
	after, err := v.ReleaseNow(before.Scope, v.tx.Now, store.Forever)
	if err == nil && after.State == reprocessing.Ready && (!after.Until.Known() || before.Until.Known() && after.Until > before.Until) {
		err = notAlone(what, takeback.ErrAlone)
	}
	return err
}

// goes returns the records that go when one is taken back, and how heavy they are together: a verification is its samples,
// and with the picture of a form goes what was attested over it.
func (v takings) goes(old store.Kept) (all []store.Kept, w takeback.Weight, err error) {
	if old.Kind() == record.Attachment {
		all, err = v.overForm(old)
		if w = (takeback.Weight{Sort: takeback.Aside}); len(all) > 0 {
			w = takeback.Weight{Sort: takeback.Evidence, What: "a picture that somebody's word rests on"}
		}
		return append([]store.Kept{old}, all...), w, err
	}
	if old.Kind() != record.Verification {
		w, err = v.weight(old)
		return []store.Kept{old}, w, err
	}
	d, err := record.Body[reprocessing.Decision](old.Record)
	if err != nil {
		return nil, w, err
	}
	all, err = v.samplesOf(d)
	w = takeback.Weight{Sort: takeback.Evidence, What: "a cleaning verification"}
	if d.Verification.Outcome == reading.Action {
		w = takeback.Weight{Sort: takeback.Failure, What: "a cleaning verification over the action level"}
	}
	for _, k := range all {
		x, err := v.weight(k)
		if err != nil {
			return nil, w, err
		}
		w = w.Worse(x)
	}
	return all, w, err
}

// overForm returns the attestations that stand and rest on the picture of a form or of a value.
func (v takings) overForm(form store.Kept) (all []store.Kept, err error) {
	err = v.Records().referring(string(form.ID), longestChain, func(k store.Kept) (bool, error) {
		if k.Kind() != record.Attestation || k.Replaced.Known() {
			return true, nil
		}
		return true, fold(k, func(a reprocessing.Attestation) {
			if a.Form == string(form.ID) || slices.Contains(a.Pictures, string(form.ID)) {
				all = append(all, k)
			}
		})
	})
	return all, err
}

// samplesOf returns the samples of a decision's cleaning that stand.
func (v takings) samplesOf(d reprocessing.Decision) (all []store.Kept, err error) {
	err = v.tx.Events(d.Scope, min(d.Cycle, d.First), max(d.First, d.Last), store.Forever, func(k store.Kept) error {
		return fold(k, func(s sampling.Sample) {
			if s.Cleaning == d.Verification.Cleaning {
				all = append(all, k)
			}
		})
	}, record.Sample)
	return all, err
}

// involved returns the codes of everybody who had to do with records that go.
func (v takings) involved(all []store.Kept) (codes []string, err error) {
	for _, k := range all {
		named, err := record.People(k.Record)
		if err != nil {
			return nil, err
		}
		codes = append(codes, named...)
		if k.Kind() != record.Sample {
			continue
		}
		_, read, err := v.readingsOf(k)
		if err != nil {
			return nil, err
		}
		for _, r := range read {
			codes = append(codes, r.By)
		}
	}
	return codes, nil
}

// asking asks those who take records back whether they may.
type asking struct{ *Work }

func askingOf(w *Work) asking { return asking{w} }

// taken refuses to take records back that whoever acts may not, and returns what the void says of who did.
func (w asking) taken(e Entry, all []store.Kept, c takeback.Case, entered access.Entered) (body record.VoidBody, t Taking, err error) {
	if t, err = takingsOf(w.View).need(w.actor, c, entered); err != nil {
		return body, t, err
	}
	if !t.Two() {
		entered.Anybody = t.Need == takeback.Anybody
		if w.dry { // nobody signs a dry run
			return body, t, nil
		}
		return body, t, w.actor.CheckTakeBack(entered, w.tx.Now)
	}
	if w.dry {
		return body, t, nil
	}
	if err := w.actor.Check(access.Act{Anybody: true, Signed: true}, w.tx.Now); err != nil {
		return body, t, err
	}
	body, err = w.agreed(e, all, c.What)
	return body, t, err
}

// agreed makes sure that two people who may take back something adverse together, and returns who they are.
func (w asking) agreed(e Entry, all []store.Kept, what string) (body record.VoidBody, err error) {
	if err := w.second(toAgree, e, &body.Second); err != nil {
		return body, err
	}
	begun := store.Forever
	for _, k := range all {
		first, err := firstRecorded(w.View, k) // what was corrected since is as old as its first version
		if err != nil {
			return body, err
		}
		begun = min(begun, first)
	}
	two, refused := pair(w.View, e.By, body.Second, begun, toAgree, toAgree)
	if code := fault.CodeOf(refused); refused != nil && code != fault.Invalid && code != fault.Forbidden {
		return body, refused
	}
	involved, err := takingsOf(w.View).involved(all)
	if err != nil {
		return body, err
	}
	// Whom this act asks for says more to a person than whom any two signatures do.
	p := takeback.People{By: e.By, Second: body.Second, ByRoles: two.First.Roles(), SecondRoles: two.Second.Roles(), Involved: involved}
	if err := p.Check(); err != nil {
		return body, notAlone(what, err)
	}
	if refused != nil {
		return body, refused
	}
	body.ByRoles, body.SecondRoles = two.Roles()
	p.ByRoles, p.SecondRoles = body.ByRoles, body.SecondRoles
	if err := p.Check(); err != nil {
		return body, notAlone(what, err)
	}
	return body, nil
}

// asked asks whether an entry may take the place that it names, and returns the entry that does. Whoever records something
// asks before it is written.
func asked[T any](w *Work, e Entry, typ record.Kind, body *T) (Entry, error) {
	if e.Corrects == "" {
		return e, nil
	}
	if e.ID == "" {
		e.ID = ledger.NewID(w.tx.Now, rand.Reader)
	}
	taking, err := askingOf(w).replaces(&e, typ, *body, func() { *body = whole(*body).(T) })
	e.asked, e.taking = true, taking
	return e, err
}

// replaces refuses a correction that whoever acts may not make. One that makes something adverse milder takes two: they
// void the first version, and the entry becomes that of a new record.
func (w asking) replaces(e *Entry, typ record.Kind, body any, parted func()) (t Taking, err error) {
	void := ledger.DerivedID("taken back for", string(e.ID))
	anew := func() {
		e.Corrects, e.Because = "", append(slices.Clone(e.Because), void)
		parted()
	}
	if _, err := w.tx.Record(e.ID); err == nil { // sent again
		if _, err := w.tx.Record(void); err == nil {
			anew()
		}
		return t, nil
	} else if fault.CodeOf(err) != fault.NotFound {
		return t, err
	}
	old, err := w.tx.Record(e.Corrects)
	if err != nil || old.Kind() != typ {
		return t, err // which the store refuses
	}
	weight, err := takingsOf(w.View).weight(old)
	if err != nil {
		return t, err
	}
	c, entered, err := takingsOf(w.View).ofCase(w.actor, e.By, old, weight)
	if err != nil {
		return t, err
	}
	if c.Keeps, c.Worse, err = compared(old, body); err != nil {
		return t, err
	}
	switch x := body.(type) {
	case reading.Reading:
		err = fold(old, func(o reading.Reading) { // a doubt about it would go with it
			c.Keeps = c.Keeps && weight.Adverse() == takeback.OfReading(o).Adverse()
		})
	case sampling.Sample:
		weight, c.Keeps, err = takingsOf(w.View).ofSample(old, x, weight)
		c.Weight = weight
	}
	if err != nil {
		return t, err
	}
	if c.Fills, err = fills(e.By, old, body); err != nil {
		return t, err
	}
	if c.Value = typ == record.Reading; c.Value && c.Author && c.Since < access.Slip {
		if c.Pictured, err = takingsOf(w.View).pictured(old); err != nil {
			return t, err
		}
	}
	c.Milder = !c.Keeps && weight.Sort == takeback.Evidence
	c.Keeps = c.Keeps || !weight.Adverse() // it is other evidence then, and not none
	said, t, err := w.taken(*e, []store.Kept{old}, c, entered)
	if err != nil || !t.Two() {
		return t, err
	}
	if said.Scope, err = record.ScopeOf(old.Record); err != nil {
		return t, err
	}
	if _, err := w.append(Entry{ID: void, By: e.By, Corrects: e.Corrects, Reason: e.Reason}, record.Void, w.tx.Now, said); err != nil {
		return t, err
	}
	anew()
	return t, nil
}

// whole takes from a body the name of what it finishes: a new record of the whole of it finishes nothing.
func whole[T any](body T) any {
	switch b := any(body).(type) {
	case reprocessing.Use:
		b.Finishes = ""
		return b
	case reprocessing.Step:
		b.Finishes = ""
		return b
	case record.RepairBody:
		b.Finishes = ""
		return b
	}
	return body
}

// compared says whether another version of a record keeps all that the first says against a scope, and whether it says
// more.
func compared(old store.Kept, body any) (keeps, worse bool, err error) {
	switch x := body.(type) {
	case reprocessing.Use:
		err = fold(old, func(o reprocessing.Use) { keeps = takeback.KeepsUse(o, x) })
	case reprocessing.Step:
		err = fold(old, func(o reprocessing.Step) {
			keeps = takeback.KeepsStep(o, x)
			worse = keeps && takeback.OfStep(x).Sort == takeback.Failure && takeback.OfStep(o).Sort != takeback.Failure
		})
	case record.RepairBody:
		err = fold(old, func(o record.RepairBody) { keeps = takeback.KeepsRepair(o.Repair, x.Repair) })
	case sampling.Request:
		err = fold(old, func(o sampling.Request) { keeps = takeback.KeepsRequest(o, x) })
	case reprocessing.Hold:
		err = fold(old, func(o reprocessing.Hold) {
			keeps = takeback.KeepsHold(o, x)
			worse = keeps && (x.Of() != o.Of() || x.At != o.At)
		})
	case reading.Reading:
		err = fold(old, func(o reading.Reading) {
			keeps = takeback.KeepsReading(o, x)
			worse = keeps && takeback.OfReading(x).Adverse() && !takeback.OfReading(o).Adverse()
		})
	case record.CheckBody:
		err = fold(old, func(o record.CheckBody) {
			keeps = takeback.KeepsCheck(o.Verdict, x.Verdict)
			worse = keeps && takeback.OfCheck(x.Verdict).Adverse() && !takeback.OfCheck(o.Verdict).Adverse()
		})
	}
	return keeps, worse, err
}

// fills says whether a version of a step by whoever did it only says what the first left out.
func fills(by string, old store.Kept, body any) (only bool, err error) {
	if x, ok := body.(reprocessing.Step); ok {
		err = fold(old, func(o reprocessing.Step) {
			doer := access.Key(cmp.Or(o.By, old.By))
			only = doer != "" && doer == access.Key(by) && takeback.FillsStep(o, x)
		})
	}
	return only, err
}
