package desk

import (
	"cmp"
	"encoding/json"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// span is the part of a scope's history that is loaded entry by entry.
type span struct {
	from, to, known unit.Instant
	// open are uses that began before from and are part of the history all the same.
	open []reprocessing.Use
	// present is the present instant where the history is asked for as it stands now, whatever the clock said when
	// something was written; else zero.
	present unit.Instant
	clock   reprocessing.Clock
	// past says that present is an instant of the past: a lift that is dated later had not been made, unless the clock
	// was in doubt.
	past bool
}

// stamp returns what an entry of the span carries.
func (s span) stamp(k store.Kept) reprocessing.Stamp {
	stamp := stampOf(k)
	if s.present.Known() {
		stamp.Unsure = s.clock.Unsure(k.Seq, k.Recorded)
	}
	return stamp
}

// Around returns the history of a scope that decides about one instant: everything since the start
// of the last use before it, all repairs, the open holds and requests, and a summary of the rest.
// It holds what happened up to `to` and could be known at `known`.
func (v View) Around(tag string, at, to, known unit.Instant) (reprocessing.History, error) {
	return v.around(tag, at, span{to: to, known: known})
}

// present returns the history of a scope that decides about the present instant, with everything on record that
// claims to lie ahead, and what is known of the clock that dated it.
func (v View) present(tag string, now, known unit.Instant) (reprocessing.History, reprocessing.Clock, error) {
	clock, err := v.clock()
	if err != nil {
		return reprocessing.History{}, clock, err
	}
	h, err := v.around(tag, now, span{to: store.Forever, known: known, present: now, clock: clock})
	return h, clock, err
}

// OpenHolds returns the holds of a scope that are open now, whatever the clock said when they were placed; each is
// placed by now, or by when another clock was compared.
func (v View) OpenHolds(tag string, now unit.Instant) ([]reprocessing.Hold, error) {
	h, _, err := v.present(tag, now, store.Forever)
	return h.Present(now).OpenHolds(), err
}

func (v View) around(tag string, at unit.Instant, s span) (reprocessing.History, error) {
	known := s.known
	var h reprocessing.History
	var ok bool
	var err error
	if h.Instrument, ok, err = edition[scope.Instrument](v, record.Instrument, tag, store.Forever, known); err != nil {
		return h, err
	} else if !ok {
		if _, everKnown, err := v.tx.Entity(record.Instrument, tag, store.Forever, store.Forever); err != nil || everKnown {
			return h, err // registered later than known: the release check answers unknown
		}
		return h, notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
	}
	if h.Model, ok, err = edition[scope.Model](v, record.Model, h.Instrument.Model, at, known); err != nil {
		return h, err
	} else if !ok {
		return h, notFound("import the models", "model %q of scope %s is not registered", h.Instrument.Model, tag)
	}
	if s.from, s.open, err = v.lastUses(tag, at, s); err != nil {
		return h, err
	}
	if err := v.load(&h, tag, s); err != nil {
		return h, err
	}
	if h.Restores, err = restoresOf(v, s); err != nil {
		return h, err
	}
	return h, v.earlier(&h, tag, s)
}

// lastUses returns from when on a history is loaded so that everything is in it since the beginning of the
// use that ended last by an instant, and of all that overlap with it; zero when there was none. open are
// the uses that began before and had not ended at the instant, however long ago.
func (v View) lastUses(tag string, at unit.Instant, s span) (from unit.Instant, open []reprocessing.Use, err error) {
	known := s.known
	last, ok, err := v.tx.LastEvent(tag, record.Use, "", at, known)
	if err != nil || !ok {
		return 0, nil, err
	}
	for next := last.At; next != from; { // each earlier begin may bring further uses
		from, open = next, nil
		err := v.tx.Unended(tag, from, known, func(k store.Kept) error {
			return fold(k, func(u reprocessing.Use) {
				if u.End.Known() && u.End <= at {
					next = min(next, u.Start)
					return
				}
				u.Stamp = s.stamp(k)
				open = append(open, u)
			})
		})
		if err != nil {
			return 0, nil, err
		}
	}
	return from, open, nil
}

// load reads the entries of a span.
func (v View) load(h *reprocessing.History, tag string, s span) error {
	h.Uses = append(h.Uses, s.open...)
	f := folder{
		view: v, history: h, span: s, samples: map[string]int{}, passed: map[int][]made{}, doubts: map[ledger.ID]*reprocessing.Doubt{},
		doers: doersOf(v, s.known),
	}
	// What takes the trust from readings comes before these. It is looked for by the readings, not by its
	// own time: the check that failed may have been made before the use, or after the next one.
	if err := v.tx.Doubts(tag, s.from, s.to, s.known, f.add); err != nil {
		return err
	}
	err := v.tx.Events(tag, s.from, s.to, s.known, f.add, record.Use, record.Step, record.Sample, record.Moment,
		record.Reading, record.Verification, record.Attestation)
	if err != nil {
		return err
	}
	if err := laidOver(v, h.Steps); err != nil {
		return err
	}
	if err := shared(v, h, s); err != nil {
		return err
	}
	if err := lacks(v, h, f.passed, f.doers, s.to); err != nil {
		return err
	}
	if err := v.tx.Events(tag, 0, s.to, s.known, f.add, record.Repair, record.Request, record.StockTake); err != nil {
		return err
	}
	if h.StockTakes, err = onPaper(v, h.StockTakes, s); err != nil {
		return err
	}
	return v.holds(h, tag, s)
}

// laidOver marks dryings and storings that were put on record when a later one had been for longer than a slip: they may
// have been laid over the time in which the scope was known to wait nowhere, and prove nothing by themselves.
func laidOver(v View, steps []reprocessing.Step) error {
	for i := range steps {
		s := &steps[i]
		if s.Kind != reprocessing.Drying && s.Kind != reprocessing.Storage || s.Edited {
			continue
		}
		later := func(recorded unit.Instant) bool {
			return slices.ContainsFunc(steps, func(x reprocessing.Step) bool {
				return x.Kind == s.Kind && x.Start > s.Start && x.Recorded.Known() && recorded.Sub(x.Recorded) >= access.Slip
			})
		}
		if s.Edited = later(s.Recorded); s.Edited && s.Finishes != "" { // its beginning was on record before
			begun, err := v.tx.Record(ledger.ID(s.Finishes))
			if err != nil {
				return err
			}
			s.Edited = later(begun.Recorded)
		}
	}
	return nil
}

// onPaper keeps of the stock-takes of a scope those all of whose photographs stand, as far as a span knows: what is
// taken back of them takes the list with it.
func onPaper(v View, all []reprocessing.StockTake, s span) (kept []reprocessing.StockTake, err error) {
	for _, t := range all {
		stands := true
		for _, id := range t.Papers {
			k, err := v.tx.Record(ledger.ID(id))
			if fault.CodeOf(err) == fault.NotFound {
				stands = false
				continue
			}
			if err != nil {
				return nil, err
			}
			replaced, err := v.tx.Replaced(k.Record)
			if err != nil {
				return nil, err
			}
			stands = stands && (!replaced.Known() || replaced > s.known)
		}
		if stands {
			kept = append(kept, t)
		}
	}
	return kept, nil
}

// holds reads the holds of a scope that are open at the end of a span. A lift ends its hold only as long as what it
// rests on stands.
func (v View) holds(h *reprocessing.History, tag string, s span) error {
	f := folder{view: v, history: h, span: s}
	counts := func(k store.Kept) error {
		if hold, err := record.Body[reprocessing.Hold](k.Record); err != nil || min(hold.At, k.Recorded) > s.to {
			return err
		}
		return f.add(k)
	}
	if s.known == store.Forever && !s.clock.Stepped() {
		lifted := s.to
		if s.present.Known() {
			lifted = s.present
		}
		return v.tx.HoldsOpenAt(tag, s.ahead(), lifted, counts)
	}
	lifts := map[string][]reprocessing.Lift{}
	err := v.tx.Events(tag, 0, s.to, s.known, func(k store.Kept) error {
		return fold(k, func(l reprocessing.Lift) {
			l.Stamp = s.stamp(k)
			later := s.past && l.At > s.present && !l.Unsure.Known()
			if !s.present.Known() || l.Counts(s.present) && !later {
				lifts[l.Hold] = append(lifts[l.Hold], l)
			}
		})
	}, record.Lift)
	if err != nil {
		return err
	}
	return v.tx.Events(tag, 0, s.ahead(), s.known, func(k store.Kept) error {
		hold, err := record.Body[reprocessing.Hold](k.Record)
		if err != nil {
			return err
		}
		hold.Stamp = s.stamp(k)
		for _, l := range lifts[string(k.ID)] {
			if ends, err := v.ends(l, hold, s); ends || err != nil {
				return err
			}
		}
		return counts(k)
	}, record.Hold)
}

// ahead is the end of the span with what may claim to lie a little later when it is recorded.
func (s span) ahead() unit.Instant {
	if s.to >= store.Forever {
		return s.to
	}
	return s.to.Add(futureSlack)
}

// ends says whether a lift ended a hold by what could be known at an instant.
func (v View) ends(l reprocessing.Lift, hold reprocessing.Hold, s span) (bool, error) {
	var named reprocessing.History
	for _, id := range l.Rests() {
		kept, err := v.tx.Record(ledger.ID(id))
		if err != nil {
			return false, err
		}
		replaced, err := v.tx.Replaced(kept.Record)
		if err != nil {
			return false, err
		}
		if replaced.Known() && replaced <= s.known || s.present.Known() && s.clock.Unsure(kept.Seq, kept.Recorded).Known() {
			continue
		}
		if err := record.Recall(&named, kept.Record); err != nil {
			return false, err
		}
	}
	return l.Ends(hold, named), nil
}

// mostUnproven is how many verifications in a row that prove nothing are looked through for one before them that does. Where
// there are more, as in years of readings from a list, none is said to have passed, which asks for a new one; looking
// through all of them made everybody wait who asks for a scope.
const mostUnproven = 8

// earlier sums up what lies before a span.
func (v View) earlier(h *reprocessing.History, tag string, s span) error {
	if s.from == 0 {
		return nil
	}
	// A verification over the action level matters only when none has passed since.
	var passed *reprocessing.Decision
	unproven := 0
	err := v.tx.VerificationsBefore(tag, s.from-1, s.known, func(k store.Kept) (bool, error) {
		err := fold(k, func(d reprocessing.Decision) {
			switch {
			case d.Verification.Outcome == reading.Action:
				h.Earlier.Failed = max(h.Earlier.Failed, d.Last)
			case d.Passed() && !s.stamp(k).Unsure.Known():
				passed = &d
			}
		})
		if err != nil || passed == nil || unproven == mostUnproven {
			return unproven < mostUnproven || !h.Earlier.Failed.Known(), err // what failed before counts however far back
		}
		d := *passed
		passed = nil
		if ok, err := stands(v, h, tag, d, s); err != nil || !ok {
			unproven++
			return true, err
		}
		h.Earlier.Passed = max(d.Cycle, d.First) // when it was sampled
		return !h.Earlier.Passed.Known(), err
	})
	if err != nil {
		return err
	}
	since := max(h.Earlier.Passed, h.Instrument.InService) - 1
	h.Earlier.Uses, err = v.tx.CountEvents(tag, record.Use, since, s.from, s.known)
	for _, u := range s.open { // counted with the entries
		if u.Start > since {
			h.Earlier.Uses--
		}
	}
	return err
}

// stands says whether a verification before a span stands for the duties after it. Where one has passed in the span it
// is that which answers them, and nobody looks.
func stands(v View, h *reprocessing.History, tag string, d reprocessing.Decision, s span) (bool, error) {
	if slices.ContainsFunc(h.Decisions, reprocessing.Decision.Passed) {
		return true, nil
	}
	past := reprocessing.History{Instrument: h.Instrument, Model: h.Model}
	then := s
	var err error
	if then.from, then.open, err = v.lastUses(tag, max(d.Cycle, d.First), s); err != nil {
		return false, err
	}
	then.to = max(d.Cycle, d.First, d.Last)
	if err := v.load(&past, tag, then); err != nil {
		return false, err
	}
	f := folder{view: v, history: &past, span: s} // somebody's word comes later than what it stands for
	if err := v.tx.Events(tag, then.to+1, s.to, s.known, f.add, record.Attestation); err != nil {
		return false, err
	}
	return past.Stands(d), nil
}

// folder turns records into the entries of a history.
type folder struct {
	view    View
	history *reprocessing.History
	span    span
	samples map[string]int
	// passed are the readings that passed, by the place of their sample.
	passed map[int][]made
	// doubts says of readings that must not be relied on why that is so.
	doubts map[ledger.ID]*reprocessing.Doubt
	doers  *doers
}

func (f *folder) add(k store.Kept) error {
	h, stamp := f.history, f.span.stamp(k)
	if k.Reason != "" && slices.Contains(proving, k.Kind()) { // without a reason nothing takes the place of another
		var err error
		if stamp.Edited, err = edited(f.view, k); err != nil {
			return err
		}
	}
	switch k.Kind() {
	case record.Use:
		return fold(k, func(u reprocessing.Use) { u.Stamp = stamp; h.Uses = append(h.Uses, u) })
	case record.Step:
		s, err := record.Body[reprocessing.Step](k.Record)
		if err != nil {
			return err
		}
		s.Stamp = stamp
		s.Stranger, err = f.doers.ofStep(s, k)
		h.Steps = append(h.Steps, s)
		return err
	case record.Verification:
		return fold(k, func(d reprocessing.Decision) { d.Stamp = stamp; h.Decisions = append(h.Decisions, d) })
	case record.Hold:
		return fold(k, func(x reprocessing.Hold) { x.Stamp = stamp; h.Holds = append(h.Holds, x) })
	case record.Lift:
		return fold(k, func(l reprocessing.Lift) { l.Stamp = stamp; h.Lifts = append(h.Lifts, l) })
	case record.Attestation:
		return fold(k, func(a reprocessing.Attestation) { a.Stamp = stamp; h.Attestations = append(h.Attestations, a) })
	case record.StockTake:
		return fold(k, func(t reprocessing.StockTake) { t.Stamp = stamp; h.StockTakes = append(h.StockTakes, t) })
	case record.Repair:
		return fold(k, func(r record.RepairBody) {
			h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: stamp, Repair: r.Repair})
		})
	case record.Request:
		return fold(k, func(q sampling.Request) {
			h.Requests = append(h.Requests, reprocessing.Request{Stamp: stamp, Request: q})
		})
	case record.Sample:
		s, err := record.Body[sampling.Sample](k.Record)
		if err != nil {
			return err
		}
		stamp.Stranger, err = f.doers.of(doing{by: cmp.Or(s.By, k.By), at: k.Recorded, what: access.RecordStep})
		f.samples[string(k.ID)] = len(h.Samples)
		h.Samples = append(h.Samples, reprocessing.Taken{Stamp: stamp, Sample: s})
		return err
	case record.Moment:
		m, err := record.Body[sampling.Moment](k.Record)
		if err != nil {
			return err
		}
		if i, ok := f.samples[m.Sample]; ok { // the sample may have been voided
			h.Samples[i].Sample, err = h.Samples[i].Add(m)
			h.Samples[i].Unsure = max(h.Samples[i].Unsure, stamp.Unsure) // as sure as what is least sure of it
			h.Samples[i].Edited = h.Samples[i].Edited || stamp.Edited
		}
		return err
	case record.Suspect:
		return fold(k, func(x record.SuspectBody) {
			for _, id := range x.Readings {
				f.doubts[id] = &reprocessing.Doubt{Why: x.Reason, Record: string(k.ID)}
			}
		})
	case record.Reading:
		return fold(k, func(r reading.Reading) {
			if i, ok := f.samples[r.Sample]; ok {
				doubt := f.doubts[k.ID]
				h.Samples[i].AddReading(r.Judgement, r.With.At, doubt)
				h.Samples[i].Edited = h.Samples[i].Edited || stamp.Edited
				if doubt == nil && r.Judgement.Outcome.Passed() {
					f.passed[i] = append(f.passed[i], made{r.Meter, r.With.At, doing{by: cmp.Or(r.By, k.By), at: k.Recorded, what: access.RecordStep}})
				}
				h.Samples[i].Unsure = max(h.Samples[i].Unsure, stamp.Unsure)
			}
		})
	case record.Site, record.Model, record.Instrument, record.Meter, record.Lot, record.Person, record.Rules, record.Level,
		record.Void, record.Selection, record.Import, record.Target, record.Check, record.Comparison, record.Chart, record.Access,
		record.Attachment, record.Handover, record.Signal, record.Erasure, record.Patient, record.Clock, record.Restore, record.Start,
		record.Seen: // no part of what a scope went through
	}
	return nil
}

// proving are the kinds that prove something of a cycle, as long as nobody corrects them.
var proving = []record.Kind{record.Step, record.Sample, record.Moment, record.Reading}

// edited says whether a record took the place of another version that had stood for longer than a slip does, that somebody
// else wrote, or that was voided first, as two have to: none of these is a slip.
func edited(v View, k store.Kept) (bool, error) {
	last := k.Recorded   // many small corrections are no slip any more
	for k.Reason != "" { // what has none finishes another, or took the place of none
		old, void, err := tookPlaceOf(v, k)
		if err != nil || old.ID == "" {
			return false, err
		}
		if void.ID != "" || access.Key(k.By) != access.Key(old.By) || last.Sub(old.Recorded) >= access.Slip {
			return true, nil
		}
		k = old
	}
	return false, nil
}

// tookPlaceOf returns the record whose place another took: by correcting it, or after it was voided, for which void then
// is that record; both are empty where it took none.
func tookPlaceOf(v View, k store.Kept) (old, void store.Kept, err error) {
	if k.Kind() == record.Void {
		return old, void, nil
	}
	if k.Corrects != "" {
		old, err = v.tx.Record(k.Corrects)
		return old, void, err
	}
	for _, id := range k.Because {
		if void, err = v.tx.Record(id); err != nil {
			return old, void, err
		}
		if void.Kind() != record.Void {
			continue
		}
		if old, err = v.tx.Record(void.Corrects); err != nil || old.Kind() == k.Kind() {
			return old, void, err
		}
	}
	return store.Kept{}, store.Kept{}, nil
}

// ReleaseNow answers whether a scope may be used at the present instant, as it would have been answered at known:
// what is on record counts whatever the clock says, and nothing is ready while that is in doubt.
func (v View) ReleaseNow(tag string, now, known unit.Instant) (reprocessing.Answer, error) {
	a, _, _, err := releaseNow(v, tag, now, known)
	return a, err
}

// releaseNow is ReleaseNow with what the answer rests on.
func releaseNow(v View, tag string, now, known unit.Instant) (a reprocessing.Answer, h reprocessing.History, rules policy.RuleSet, err error) {
	h, clock, err := v.present(tag, now, known)
	if err == nil {
		rules, err = v.rulesFor(h, now, known)
	}
	if err != nil {
		return a, h, rules, err
	}
	h = orUnknown(h, tag)
	a, err = saidNow(v, v.relied(reprocessing.ReleaseNow(h, rules.Reprocessing, clock, now, v.Zone())), known)
	return a, h, rules, err
}

// Release answers whether a scope may be used at an instant, as it would have been answered at known. It is for the
// past: what is recorded of a later time is left out. ReleaseNow is for the present.
func (v View) Release(tag string, at, known unit.Instant) (reprocessing.Answer, error) {
	a, _, _, err := releaseAt(v, tag, at, known)
	return a, err
}

// releaseAt is Release with what the answer rests on.
func releaseAt(v View, tag string, at, known unit.Instant) (a reprocessing.Answer, h reprocessing.History, rules policy.RuleSet, err error) {
	if h, rules, err = v.state(tag, at, known); err != nil {
		return a, h, rules, err
	}
	h = orUnknown(h, tag)
	a, err = said(v, v.relied(reprocessing.Release(h, rules.Reprocessing, at, v.Zone())), known)
	return a, h, rules, err
}

// orUnknown makes the history of a scope that was not registered yet one of a scope that is not in service.
func orUnknown(h reprocessing.History, tag string) reprocessing.History {
	if h.Instrument.Tag == "" {
		h.Instrument.Tag = tag
		h.Instrument.InService = store.Forever
	}
	return h
}

func (v View) state(tag string, at, known unit.Instant) (reprocessing.History, policy.RuleSet, error) {
	h, err := v.Around(tag, at, at, known)
	if err != nil {
		return h, policy.RuleSet{}, err
	}
	rules, err := v.rulesFor(h, at, known)
	return h, rules, err
}

// Line is one record of a scope in its chronicle.
type Line struct {
	Seq      int64           `json:"seq"`
	ID       string          `json:"id"`
	Type     record.Kind     `json:"type"`
	At       unit.Instant    `json:"at"`
	Recorded unit.Instant    `json:"recorded"`
	Late     bool            `json:"late,omitempty"`
	Replaced unit.Instant    `json:"replaced,omitzero"`
	Corrects string          `json:"corrects,omitempty"`
	By       string          `json:"by,omitempty"`
	Reason   string          `json:"reason,omitempty"`
	Body     json.RawMessage `json:"body"`
}

// Chronicle returns what is on record of a scope between two instants, the latest first and at most
// limit lines; what was replaced is there too and says so.
func (v View) Chronicle(tag string, from, to unit.Instant, limit int) ([]Line, error) {
	if _, ok, err := v.tx.Entity(record.Instrument, tag, store.Forever, store.Forever); err != nil {
		return nil, err
	} else if !ok {
		return nil, notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
	}
	var lines []Line
	if limit < 1 {
		return nil, invalid("at most %d records are none: ask for one or more", limit)
	}
	err := v.tx.Chronicle(tag, from, to, limit, func(k store.Kept) error {
		lines = append(lines, line(k))
		return nil
	})
	return lines, err
}

// Show returns one record by its id or the beginning of it.
func (v View) Show(id string) (Line, error) {
	k, err := v.tx.Find(id)
	return line(k), err
}

// stampOf returns what the entries of a history carry.
func stampOf(k store.Kept) reprocessing.Stamp {
	return reprocessing.Stamp{ID: string(k.ID), Recorded: k.Recorded, Replaced: k.Replaced}
}

// ended returns the last instant that a record speaks of: what is written at the end of a step that
// took an hour is not late.
func ended(k store.Kept) unit.Instant {
	p, err := record.Place(k.Record)
	if err != nil {
		return k.At
	}
	return p.Ended
}

func line(k store.Kept) Line {
	return Line{
		Seq: k.Seq, ID: string(k.ID), Type: k.Kind(), At: k.At, Recorded: k.Recorded, Late: Late(ended(k), k.Recorded),
		Replaced: k.Replaced, Corrects: string(k.Corrects), By: k.By, Reason: k.Reason, Body: k.Body,
	}
}
