package desk

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Attested is what somebody vouches for.
type Attested struct {
	// Of are the records of the acts.
	Of   []ledger.ID
	From reprocessing.AttestedFrom
	// Form is the record of the picture of the form that whoever did them signed.
	Form ledger.ID
}

// Attest records somebody's word for steps and samples whose records do not show by themselves what they say: that of
// whoever did them, or of a lead. It is one act for all of them, and one record for each scope.
func (w VouchWork) Attest(e Entry, in Attested) (Receipt, error) {
	if err := w.may(ToAttest, &e); err != nil {
		return Receipt{}, err
	}
	if !slices.Contains(reprocessing.AttestedFroms, in.From) {
		return Receipt{}, invalid("what the word rests on, %q, is not known; allowed: %s", in.From, scope.Words(reprocessing.AttestedFroms))
	}
	if in.From != reprocessing.OwnAct {
		lead, err := leads(w.Work, e.By)
		if err != nil {
			return Receipt{}, err
		}
		if !lead {
			return Receipt{}, &fault.Error{
				Code: fault.Forbidden, Message: "what others did is attested by a lead",
				Hint: "attest what you did yourself, within a day",
			}
		}
	}
	filed := ""
	if in.Form != "" {
		kept, err := w.tx.Record(in.Form)
		if err != nil {
			return Receipt{}, err
		}
		if kept.Kind() != record.Attachment {
			return Receipt{}, invalid("record %s is %s, not the picture of a form", in.Form, record.Called(kept.Kind()))
		}
		if filed, err = record.ScopeOf(kept.Record); err != nil {
			return Receipt{}, err
		}
		replaced, err := w.tx.Replaced(kept.Record)
		if err != nil {
			return Receipt{}, err
		}
		if replaced.Known() {
			return Receipt{}, &fault.Error{
				Code: fault.Conflict, Message: fmt.Sprintf("the picture of the form, record %s, was taken back", in.Form), Hint: "file the right one, and name that",
			}
		}
	}
	words, acts, err := w.vouched(e.By, in)
	if err != nil {
		return Receipt{}, err
	}
	if in.Form != "" && !slices.ContainsFunc(words, func(a reprocessing.Attestation) bool { return a.Scope == filed }) {
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the picture of the form is filed with %s, of which nothing is attested here", filed),
			Hint: "file the form with one of the scopes that it lists",
		}
	}
	if r, ok, err := again(w.Work, e.ID, record.Attestation, func(x reprocessing.Attestation) bool {
		first := words[0]
		return x.By == first.By && x.From == first.From && x.Form == first.Form && slices.Equal(x.Of, first.Of)
	}); ok || err != nil {
		return r, err
	}
	if err := w.inTime(words, acts); err != nil {
		return Receipt{}, err
	}
	for i := range words {
		if words[i].Pictures, err = w.shown(words[i].Of); err != nil {
			return Receipt{}, err
		}
	}
	first, err := w.append(e, record.Attestation, words[0].At, words[0])
	if err != nil {
		return first, err
	}
	for _, a := range words[1:] {
		r, err := w.append(
			Entry{ID: ledger.DerivedID("attestation", string(first.Record.ID), a.Scope), By: e.By, Because: []ledger.ID{first.Record.ID}},
			record.Attestation, a.At, a,
		)
		if err != nil {
			return first, err
		}
		first.Followed = append(first.Followed, r.Record)
	}
	return first, nil
}

// vouched sorts the acts that somebody vouches for by scope; acts are those by their records.
func (w VouchWork) vouched(by string, in Attested) (words []reprocessing.Attestation, acts map[string]vouchable, err error) {
	acts = map[string]vouchable{}
	of := map[string][]string{}
	for _, id := range in.Of {
		act, err := w.actOf(id)
		if err != nil {
			return nil, nil, err
		}
		acts[string(id)] = act
		if in.From == reprocessing.OwnAct && access.Key(act.by) != access.Key(by) {
			return nil, nil, &fault.Error{
				Code: fault.Forbidden, Message: fmt.Sprintf("%s was done by %s, and %s attests it", act.what, cmp.Or(act.by, "nobody who is named"), by),
				Hint: "everybody attests what they did themselves; a lead attests for others",
			}
		}
		if in.From == reprocessing.WhoDidIt && (act.by == "" || access.Key(act.by) == access.Key(by)) {
			why := "nobody is named who did it and could be asked"
			if act.by != "" {
				why = act.by + " did it and cannot ask themselves"
			}
			return nil, nil, &fault.Error{
				Code: fault.Forbidden, Message: act.what + ": " + why,
				Hint: "attest your own acts as such within a day; else file the form that its doer signed, and attest by that",
			}
		}
		if !slices.Contains(of[act.scope], string(id)) {
			of[act.scope] = append(of[act.scope], string(id))
		}
	}
	if len(of) == 0 {
		return nil, nil, invalid("an attestation needs at least one step or sample that it speaks for")
	}
	for _, tag := range slices.Sorted(maps.Keys(of)) {
		slices.Sort(of[tag])
		a := reprocessing.Attestation{Scope: tag, At: w.tx.Now, By: by, Of: of[tag], From: in.From, Form: string(in.Form)}
		if err := a.Check(); err != nil {
			return nil, nil, refuse(err)
		}
		words = append(words, a)
	}
	return words, acts, nil
}

// inTime refuses a word that comes too late.
func (w VouchWork) inTime(words []reprocessing.Attestation, acts map[string]vouchable) error {
	for _, a := range words {
		for _, id := range a.Of {
			act := acts[id]
			if a.In(act.ended) {
				continue
			}
			hint := "a lead attests it within three days"
			if a.From == reprocessing.WhoDidIt {
				hint = "file the form that its doer signed, and attest by that; or do the act again"
			}
			return &fault.Error{
				Code: fault.Invalid, Message: fmt.Sprintf("%s ended at %s, too long ago for this word", act.what, act.ended.In(w.Zone())), Hint: hint,
			}
		}
	}
	return nil
}

// shown returns the pictures that show the values of samples which were written down too late to be proof of themselves,
// and refuses such a value of which there is none: a word stands for what somebody did, and not for a number.
func (w VouchWork) shown(acts []string) (pictures []string, err error) {
	for _, id := range acts {
		kept, err := w.tx.Record(ledger.ID(id))
		if err != nil {
			return nil, err
		}
		if kept.Kind() != record.Sample {
			continue
		}
		read, of, err := takingsOf(w.View).readingsOf(kept)
		if err != nil {
			return nil, err
		}
		var late []string
		for i, x := range read {
			if !x.Judgement.Outcome.Passed() {
				continue
			}
			if reprocessing.WrittenLate(x.With.At, of[i].Recorded) == "" {
				late = nil
				break
			}
			late = append(late, string(of[i].ID))
		}
		if len(late) == 0 {
			continue
		}
		found, err := w.picturesOf(kept, late)
		if err != nil {
			return nil, err
		}
		if len(found) == 0 {
			act, err := w.actOf(kept.ID)
			if err != nil {
				return nil, err
			}
			return nil, &fault.Error{
				Code: fault.Invalid, Message: act.what + ": its value was written down too late, and a value is attested only with a picture of what showed it",
				Hint: "file a photograph of the display, or the laboratory's report, with the sample, or one of the whole sheet with the scope; then attest",
			}
		}
		for _, id := range found {
			if !slices.Contains(pictures, id) {
				pictures = append(pictures, id)
			}
		}
	}
	return pictures, nil
}

// picturesOf returns the photographs and reports that were filed with a sample or its readings, or with its scope, since
// the sample was put on record.
func (w VouchWork) picturesOf(sample store.Kept, readings []string) (found []string, err error) {
	tag, err := record.ScopeOf(sample.Record)
	if err != nil {
		return nil, err
	}
	about := append([]string{"", string(sample.ID)}, readings...)
	err = w.tx.EventsAfter(tag, sample.Seq, func(k store.Kept) error {
		if k.Kind() != record.Attachment || k.Replaced.Known() {
			return nil
		}
		return fold(k, func(a dossier.Attachment) {
			if (a.Kind == dossier.Photograph || a.Kind == dossier.Report) && slices.Contains(about, a.About) {
				found = append(found, string(k.ID))
			}
		})
	})
	return found, err
}

// vouchable is an act that somebody can vouch for.
type vouchable struct {
	scope, what, by string
	ended           unit.Instant
}

// actOf returns the act of a record that can be attested.
func (w VouchWork) actOf(id ledger.ID) (vouchable, error) {
	kept, err := w.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return vouchable{}, notFound("see what can be attested with: rinsate attest", "there is no record %q", id)
	}
	if err != nil {
		return vouchable{}, err
	}
	if replaced, err := w.tx.Replaced(kept.Record); err != nil {
		return vouchable{}, err
	} else if replaced.Known() {
		return vouchable{}, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("record %s was voided, corrected or finished since", id),
			Hint: "attest the record that took its place",
		}
	}
	switch kept.Kind() { //nolint:exhaustive // nothing else can be attested
	case record.Step:
		s, err := record.Body[reprocessing.Step](kept.Record)
		return vouchable{s.Scope, s.Kind.Words() + " of " + s.Scope, cmp.Or(s.By, kept.By), max(s.Start, s.End)}, err
	case record.Sample:
		s, _, err := w.sample(id)
		return vouchable{s.Scope, "the sample of the " + s.Point.Words() + " of " + s.Scope, cmp.Or(s.By, kept.By), s.Ended()}, err
	}
	return vouchable{}, invalid("record %s is %s; steps and samples can be attested", id, record.Called(kept.Kind()))
}

// Unattested is an act for which somebody's word is wanted, with its scope.
type Unattested struct {
	Scope string `json:"scope"`
	reprocessing.Wanting
}

// Unattested returns the acts that keep scopes in service from being ready and would count if somebody attested them,
// scope by scope.
func (v DayView) Unattested(now unit.Instant) (all []Unattested, err error) {
	answers, err := v.BoardNow(now)
	for _, a := range answers {
		for _, w := range a.Wanting {
			all = append(all, Unattested{a.Scope, w})
		}
	}
	return all, err
}

// AttestedShare is how much of what was done rests on somebody's word.
type AttestedShare struct {
	From     unit.Instant `json:"from"`
	To       unit.Instant `json:"to"`
	Days     int          `json:"days"`
	Attested int          `json:"attested"`
	// All are the steps and samples.
	All int `json:"all"`
}

// attestedOver is the number of days over which the share of attested acts is told.
const attestedOver = 30

// AttestedShare counts the steps and samples of the last 30 days, and those that somebody attested then.
func (v DayView) AttestedShare(now unit.Instant) (share AttestedShare, err error) {
	from, to := now.AddDays(-attestedOver, v.Zone()), now
	share = AttestedShare{From: from, To: to, Days: attestedOver}
	words := map[string]bool{}
	err = v.tx.Numbers().Between(record.Attestation, "", from, to, func(k store.Kept) error {
		return fold(k, func(a reprocessing.Attestation) {
			for _, id := range a.Of {
				words[id] = true
			}
		})
	})
	share.Attested = len(words)
	for _, kind := range []record.Kind{record.Step, record.Sample} {
		if err != nil {
			return share, err
		}
		var n int
		n, err = v.tx.Numbers().CountOf(kind, from, to)
		share.All += n
	}
	return share, err
}
