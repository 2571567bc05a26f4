package desk

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"strconv"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Collect records that a sample was taken. A cleaning of zero is counted from the verifications of the
// cycle that were over the action level. A point that the model marks as not applicable is
// recorded as such; a point that the model does not have is refused.
func (w *Work) Collect(e Entry, s sampling.Sample) (Receipt, error) {
	if err := w.may(ToCollect, &e); err != nil {
		return Receipt{}, err
	}
	if r, ok, err := again(w, e.ID, record.Sample, func(stored sampling.Sample) bool { return sameSample(s, stored) }); ok || err != nil {
		return r, err
	}
	if err := w.registered(s.Scope); err != nil {
		return Receipt{}, err
	}
	model, err := w.modelOf(s.Scope, s.Collected)
	if err != nil {
		return Receipt{}, err
	}
	point, exists := model.Point(s.Point)
	if !exists {
		return Receipt{}, invalid("model %s of scope %s has no sampling point %q; it has: %s", model.Name, s.Scope, s.Point, pointsOf(model))
	}
	if s.NotApplicable == "" && point.NotApplicable != "" {
		return Receipt{}, invalid("%s of %s is not sampled: %s", s.Point, s.Scope, point.NotApplicable)
	}
	if s.Cleaning == 0 {
		if s.Cleaning, err = w.cleaning(s.Scope, s.Collected); err != nil {
			return Receipt{}, err
		}
	}
	if err := s.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if s.NotApplicable == "" {
		if _, known, err := w.lot(s.Kit, s.Lot); err != nil {
			return Receipt{}, err
		} else if !known {
			return Receipt{}, notFound("register the lot with its expiry first", "lot %q of kit %q is not known", s.Lot, s.Kit)
		}
	}
	if e.Corrects == "" {
		return w.append(e, record.Sample, s.Collected, s)
	}
	before, err := w.corrected(e, record.Sample)
	if err != nil {
		return Receipt{}, err
	}
	read, err := samplesOf(w.View).readAs(e.Corrects, s)
	if err != nil {
		return Receipt{}, err
	}
	as, err := asked(w, e, record.Sample, &s)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Sample, s.Collected, s)
	if err != nil || !r.Fresh {
		return r, err
	}
	if r.Followed, err = w.keepRead(e, r.Record.ID, read); err != nil {
		return r, err
	}
	decided, err := w.decide(before.scope, before.inside, before.cleaning, e.By, r.Record.ID)
	r.Followed = append(r.Followed, decided...)
	if err != nil || s.Collected == before.inside && s.Cleaning == before.cleaning {
		return r, err
	}
	decided, err = w.decideAs(ledger.DerivedID("verification", string(r.Record.ID), "moved"), s.Scope, s.Collected, s.Cleaning, e.By, r.Record.ID)
	r.Followed = append(r.Followed, decided...)
	return r, err
}

// rejudged is a reading that stands, and what it is by another version of its sample.
type rejudged struct {
	old  store.Kept
	was  reading.Reading
	read reading.Reading
}

// samples judges what was read of samples.
type samples struct{ View }

func samplesOf(v View) samples { return samples{v} }

// readAs returns the readings of a sample that stand, each judged by another version of it.
func (v samples) readAs(sample ledger.ID, s sampling.Sample) (all []rejudged, err error) {
	old, err := v.tx.Record(sample)
	if err != nil {
		return nil, err
	}
	read, kept, err := takingsOf(v.View).readingsOf(old)
	if err != nil {
		return nil, err
	}
	for i, was := range read {
		x, err := v.judge(s, Reading{Sample: sample, Meter: was.Meter, Value: was.Value, At: was.With.At}, was.With.System)
		if err != nil {
			return nil, err
		}
		x.By = was.By
		all = append(all, rejudged{kept[i], was, x})
	}
	return all, nil
}

// keepRead binds the readings of a sample that was corrected to the version that stands: what was read was read, and
// nobody reads it anew.
func (w *Work) keepRead(e Entry, sample ledger.ID, read []rejudged) (followed []ledger.Record, err error) {
	for _, x := range read {
		x.read.Sample = string(sample)
		r, err := w.append(Entry{
			ID: ledger.DerivedID("read of", string(sample), string(x.old.ID)), By: e.By, Device: e.Device,
			Because: []ledger.ID{sample}, Corrects: x.old.ID, Reason: e.Reason, asked: true,
		}, record.Reading, x.read.With.At, x.read)
		if err != nil {
			return followed, err
		}
		followed = append(followed, r.Record)
		doubted, err := w.AtMeters().trust(x.read, r.Record.ID, e.By)
		followed = append(followed, doubted...)
		if err != nil {
			return followed, err
		}
	}
	return followed, nil
}

// corrected returns what rests on the record that an entry corrects, which has to be of a type.
func (w *Work) corrected(e Entry, typ record.Kind) (resting, error) {
	old, err := w.tx.Record(e.Corrects)
	if err != nil {
		return resting{}, err
	}
	if old.Kind() != typ {
		return resting{}, invalid("%s record cannot take the place of %s record", record.Called(typ), record.Called(old.Kind()))
	}
	return restingOn(w.View, old)
}

func pointsOf(m scope.Model) string {
	var kinds []scope.PointKind
	for _, p := range m.Points() {
		kinds = append(kinds, p.Kind)
	}
	return scope.Words(kinds)
}

// Model returns the model of a scope in the edition that was in force at an instant.
func (v View) Model(tag string, at unit.Instant) (scope.Model, error) { return v.modelOf(tag, at) }

func (v View) modelOf(tag string, at unit.Instant) (scope.Model, error) {
	i, _, err := edition[scope.Instrument](v, record.Instrument, tag, store.Forever, store.Forever)
	if err != nil {
		return scope.Model{}, err
	}
	m, ok, err := edition[scope.Model](v, record.Model, i.Model, at, store.Forever)
	if err == nil && !ok {
		return m, notFound("import the models", "model %q of scope %s is not registered", i.Model, tag)
	}
	return m, err
}

func (v View) lot(kit, lot string) (quality.Lot, bool, error) {
	return edition[quality.Lot](v, record.Lot, kit+"|"+lot, store.Forever, store.Forever)
}

// cleaning returns which cleaning of its cycle a sample taken at an instant belongs to.
func (v View) cleaning(tag string, at unit.Instant) (int, error) {
	h, err := v.Around(tag, at, at, store.Forever)
	return reprocessing.Cleaning(h, at), err
}

// Mark records an instant in the life of a sample: capped, uncapped, dipped, activated, shaken.
func (w *Work) Mark(e Entry, m sampling.Moment) (Receipt, error) {
	if err := w.may(ToMark, &e); err != nil {
		return Receipt{}, err
	}
	same := func(x sampling.Moment) bool {
		return x.Sample == m.Sample && x.Mark == m.Mark && x.At == m.At && x.Shaken == m.Shaken && x.By == m.By
	}
	if r, ok, err := again(w, e.ID, record.Moment, same); ok || err != nil {
		return r, err
	}
	s, kept, err := w.sample(ledger.ID(m.Sample))
	if err != nil {
		return Receipt{}, err
	}
	if m.Mark == sampling.Collected || m.Mark == sampling.Read {
		return Receipt{}, invalid("the mark %q is recorded with the sample and with the reading", m.Mark)
	}
	if s.At(m.Mark).Known() {
		return Receipt{}, &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("sample %s of %s was %s at %s already", kept.ID, s.Scope, m.Mark, s.At(m.Mark).In(w.Zone())),
		}
	}
	if _, err := s.Add(m); err != nil {
		return Receipt{}, refuse(err)
	}
	m.Scope = s.Scope
	as, err := asked(w, e, record.Moment, &m)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Moment, m.At, m)
	if err != nil || !r.Fresh || fault.CodeOf(w.unread(s, kept.ID)) != fault.Conflict {
		return r, err
	}
	// It was read already: this may be what its proof lacked.
	r.Followed, err = w.weighing().liftCleaned(s.Scope, cmp.Or(e.By, notStated), r.Record.ID)
	return r, err
}

// sample returns a sample with the moments recorded since.
func (v View) sample(id ledger.ID) (sampling.Sample, store.Kept, error) {
	kept, err := v.tx.Record(id)
	if err != nil {
		return sampling.Sample{}, kept, err
	}
	if kept.Kind() != record.Sample {
		return sampling.Sample{}, kept, invalid("record %s is %s, not a sample", id, record.Called(kept.Kind()))
	}
	s, err := record.Body[sampling.Sample](kept.Record)
	if err != nil {
		return s, kept, err
	}
	replaced, err := v.tx.Replaced(kept.Record)
	if err != nil {
		return s, kept, err
	}
	if replaced.Known() {
		return s, kept, &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("sample %s of %s was voided", id, s.Scope), Hint: "take a new sample"}
	}
	s, err = samplesOf(v).marked(kept)
	return s, kept, err
}

// marked returns a sample with the moments recorded since, whether it stands or not.
func (v samples) marked(kept store.Kept) (sampling.Sample, error) {
	s, err := record.Body[sampling.Sample](kept.Record)
	if err != nil {
		return s, err
	}
	err = v.tx.Events(s.Scope, s.Collected, store.Forever, store.Forever, func(k store.Kept) error {
		m, err := record.Body[sampling.Moment](k.Record)
		if err == nil && m.Sample == string(kept.ID) {
			s, err = s.Add(m)
		}
		return err
	}, record.Moment)
	return s, err
}

// Reading is what a person or a meter reports.
type Reading struct {
	Sample ledger.ID
	Meter  string
	Value  reading.Value
	At     unit.Instant
	// Only refuses a sample that has been read, so that two people who read the same device hear of
	// each other. Without it a further value is a duplicate, and both count.
	Only bool
}

// Read records the reading of a sample with its judgement, decides the verification anew, and places or
// lifts the hold that follows from it. A sample whose clock has run out, or that was taken with a
// lot out of date, makes a void reading: kept, and never counted.
func (w *Work) Read(e Entry, in Reading) (Receipt, error) {
	if err := w.may(ToRead, &e); err != nil {
		return Receipt{}, err
	}
	same := func(x reading.Reading) bool {
		return x.Sample == string(in.Sample) && x.Meter == in.Meter && x.Value == in.Value && x.With.At == in.At
	}
	if r, ok, err := again(w, e.ID, record.Reading, same); ok || err != nil {
		return r, err
	}
	s, kept, err := w.sample(in.Sample)
	if err != nil {
		return Receipt{}, err
	}
	if s.NotApplicable != "" {
		return Receipt{}, invalid("%s of %s was recorded as not applicable (%s) and has no reading", s.Point, s.Scope, s.NotApplicable)
	}
	if in.Only && e.Corrects == "" {
		if err := w.unread(s, in.Sample); err != nil {
			return Receipt{}, err
		}
	}
	system := ""
	if in.Value.Analyte != reading.Strip || in.Meter != "" {
		m, ok, err := edition[quality.Meter](w.View, record.Meter, in.Meter, store.Forever, store.Forever)
		if err != nil {
			return Receipt{}, err
		}
		if !ok {
			return Receipt{}, notFound(
				"register the meter with its system first",
				"meter %q is not known, so nobody can say on which scale it counts",
				in.Meter,
			)
		}
		system = m.System
	}
	x, err := w.judge(s, in, system)
	if err != nil {
		return Receipt{}, err
	}
	if e.Corrects != "" {
		if err := sameSampleRead(w.View, e.Corrects, in.Sample); err != nil {
			return Receipt{}, err
		}
	}
	x.By = e.By
	e.Because = append(e.Because, kept.ID)
	as, err := asked(w, e, record.Reading, &x)
	if err != nil {
		return Receipt{}, err
	}
	r, err := w.append(as, record.Reading, in.At, x)
	if err != nil || !r.Fresh {
		return r, err
	}
	// What is against the meter counts in the decision.
	doubted, err := w.AtMeters().trust(x, r.Record.ID, e.By)
	if err != nil {
		return r, err
	}
	decided, err := w.decide(s.Scope, s.Collected, s.Cleaning, e.By, r.Record.ID)
	r.Followed = append(doubted, decided...)
	return r, err
}

// unread refuses a sample that somebody has read.
func (w *Work) unread(s sampling.Sample, id ledger.ID) error {
	return w.tx.Events(s.Scope, s.Collected, store.Forever, store.Forever, func(k store.Kept) error {
		x, err := readingOf(k)
		if err != nil || x.Sample != string(id) || k.Replaced.Known() {
			return err
		}
		return &fault.Error{
			Code: fault.Conflict,
			Message: fmt.Sprintf(
				"%s of %s was read at %s by %s: %s, %s",
				s.Point.Words(),
				s.Scope,
				k.At.In(w.Zone()),
				k.By,
				x.Value,
				x.Judgement.Outcome.Words(),
			),
			Hint: "one of the two values may belong to another sample; look which, and correct or drop yours",
		}
	}, record.Reading)
}

// sameSampleRead refuses a correction that would move a reading to another sample, since the verification of
// the first one would then rest on nothing.
func sameSampleRead(v View, corrects, sample ledger.ID) error {
	old, err := v.tx.Record(corrects)
	if err != nil {
		return err
	}
	if old.Kind() != record.Reading {
		return invalid("a reading record cannot take the place of %s record", record.Called(old.Kind()))
	}
	x, err := readingOf(old)
	if err == nil && x.Sample != string(sample) {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("reading %s is of another sample", corrects), Hint: "void it, then read the right sample"}
	}
	return err
}

// judge works out what a value of a sample means by the rules and levels in force.
func (v View) judge(s sampling.Sample, in Reading, system string) (reading.Reading, error) {
	if !s.Read.Known() {
		var err error
		if s, err = s.Set(sampling.Read, in.At); err != nil {
			return reading.Reading{}, refuse(err)
		}
	}
	rules, err := v.Registry().Rules(in.At, store.Forever)
	if err != nil {
		return reading.Reading{}, err
	}
	model, err := v.modelOf(s.Scope, s.Collected)
	if err != nil {
		return reading.Reading{}, err
	}
	levels, err := v.Registry().LevelsEver()
	if err != nil {
		return reading.Reading{}, err
	}
	lot, known, err := v.lot(s.Kit, s.Lot)
	if err != nil {
		return reading.Reading{}, err
	}
	var fault string
	if known {
		if fault, err = lotFault(v, lot, kitUsed(s)); err != nil {
			return reading.Reading{}, err
		}
	}
	point, _ := model.Point(s.Point)
	protocol, _ := sampling.For(rules.Sample.ProtocolsFor(model.Name), s.Point)
	return Assess(s, in, system, model.Kind, point, protocol.Flush(), rules, levels, fault), nil
}

// kitUsed returns the last instant at which a sample's kit was used: that of its reading, or what is on record before.
func kitUsed(s sampling.Sample) unit.Instant { return max(s.Collected, s.Dipped, s.Activated, s.Read) }

// Assess is the whole judgement of one reading as a function of values: by its clocks, by what it
// was made with, and by the level. flush is what the protocol sends through the channel, lotFault says why the kit's lot must not be used, empty when it
// may.
func Assess(
	s sampling.Sample,
	in Reading,
	system string,
	kind scope.Kind,
	point scope.Point,
	flush unit.Millilitres,
	rules policy.RuleSet,
	levels []reading.Level,
	lotFault string,
) reading.Reading {
	x := reading.Reading{
		Sample: string(in.Sample), Scope: s.Scope, Cleaning: s.Cleaning, Meter: in.Meter, Lot: s.Lot, Value: in.Value, Rules: rules.Cite(),
		With: reading.Circumstances{System: system, Kit: s.Kit, Point: s.Point, Kind: kind, At: in.At},
	}
	if in.Value.Unit == reading.PerML {
		x.With.Recovered, x.With.Area, x.With.Recovery = s.Recovered, point.Area, rules.Reading.Recovery
	}
	standing := rules.Sample.Clocks.Judge(s, in.At)
	flaws := s.Flaws(point, flush)
	flawed := func(why, instead string) { x.Judgement = reading.Flawed(in.Value, x.With, levels, why, instead) }
	switch {
	case standing.State == sampling.Void:
		flawed(standing.Why, "take a new sample")
	case lotFault != "":
		flawed(lotFault, "take a new sample with another lot")
	case len(flaws) > 0:
		flawed(flaws[0], "take a new sample")
	default:
		x.Judgement = reading.Judge(in.Value, x.With, levels)
		x.Judgement.Unproven = standing.Unproven
	}
	return x
}

// decide judges the verification of one cleaning again and records the decision when it is new: the verification
// is complete, over the action level, or was decided before and is now different. A decision over
// the action level places a hold; a passed one lifts the holds that the rules placed.
func (w *Work) decide(tag string, inside unit.Instant, cleaning int, by string, cause ledger.ID) ([]ledger.Record, error) {
	return w.decideAs(ledger.DerivedID("verification", string(cause)), tag, inside, cleaning, by, cause)
}

// decideAs is decide for a cause that several verifications are decided again for; id is the record's. The
// ids of what follows are derived from the cause, so that the same input sent twice leaves the same
// records. Later cleanings of the cycle rest on this one, so that a new decision on it has them decided again.
func (w *Work) decideAs(id ledger.ID, tag string, inside unit.Instant, cleaning int, by string, cause ledger.ID) ([]ledger.Record, error) {
	h, err := w.decidedIn(tag, inside)
	if err != nil {
		return nil, err
	}
	followed, err := w.decideIn(h, id, reprocessing.Cleaned{Cleaning: cleaning, At: inside}, by, cause)
	if err != nil || len(followed) == 0 {
		return followed, err
	}
	for _, later := range h.Later(inside, cleaning) {
		// The history has the decision before by now.
		if h, err = w.decidedIn(tag, later.At); err != nil {
			return followed, err
		}
		again, err := w.decideIn(h, ledger.DerivedID("verification", string(id), strconv.Itoa(later.Cleaning)), later, by, cause)
		if err != nil {
			return followed, err
		}
		followed = append(followed, again...)
	}
	return followed, nil
}

// decidedIn returns the history that the verifications of the cycle are decided by that an instant belongs to.
func (w *Work) decidedIn(tag string, inside unit.Instant) (reprocessing.History, error) {
	next, err := w.tx.NextUse(tag, inside)
	if err != nil {
		return reprocessing.History{}, err
	}
	// Nothing is decided from what a wrong clock dated later than now: ReleaseNow looks at that.
	return w.Around(tag, inside, min(next-1, w.tx.Now.Add(futureSlack)), store.Forever)
}

// decideIn decides on one cleaning and records the decision as id, and what follows from it, when it is new.
func (w *Work) decideIn(h reprocessing.History, id ledger.ID, c reprocessing.Cleaned, by string, cause ledger.ID) ([]ledger.Record, error) {
	rules, err := w.Registry().Rules(c.At, store.Forever)
	if err != nil {
		return nil, err
	}
	d, prior := reprocessing.Decide(h, rules.Reprocessing, rules.Reading, c.At, c.Cleaning, w.Zone())
	if !d.New(prior) {
		return nil, nil
	}
	d.Rules = rules.Cite()
	if prior != nil {
		d.Supersedes = prior.ID
	}
	r, err := w.append(Entry{ID: id, By: by, Because: []ledger.ID{cause}}, record.Verification, d.Last, d)
	if err != nil {
		return nil, err
	}
	followed := []ledger.Record{r.Record}
	more, err := w.follow(d, prior, r.Record.ID, by)
	if err != nil {
		return followed, err
	}
	followed = append(followed, more...)
	more, err = w.weighing().afterDecision(d, prior, r.Record.ID, by)
	return append(followed, more...), err
}

// follow places and lifts the holds that a decision asks for.
func (w *Work) follow(d reprocessing.Decision, prior *reprocessing.Decision, id ledger.ID, by string) ([]ledger.Record, error) {
	if by == "" {
		by = notStated
	}
	var followed []ledger.Record
	switch {
	case d.HoldsAfter(prior):
		hold := d.Hold(string(id), by)
		r, err := w.append(Entry{ID: ledger.DerivedID("hold", string(id)), By: by, Because: []ledger.ID{id}}, record.Hold, hold.At, hold)
		if err != nil {
			return nil, err
		}
		followed = append(followed, r.Record)
	case d.Passed():
		// Only now: when the decision supersedes one that a lift rested on, that hold is open again.
		lifted, err := w.weighing().liftCleaned(d.Scope, by, id)
		if err != nil {
			return nil, err
		}
		followed = append(followed, lifted...)
	}
	return followed, nil
}

// sameSample says whether a sample that was sent again is the stored one. A cleaning that the
// sender left open was counted when it was stored.
func sameSample(sent, stored sampling.Sample) bool {
	if sent.Cleaning == 0 {
		sent.Cleaning = stored.Cleaning
	}
	a, errA := json.Marshal(sent)
	b, errB := json.Marshal(stored)
	return errA == nil && errB == nil && bytes.Equal(a, b)
}
