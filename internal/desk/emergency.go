package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// A patient who cannot wait is treated whatever the release check says. What is left to a record is that it happened, who
// decided and why, while they stand there: so the beginning of such a use is recorded by anybody, in one act that names a
// scope and now, and can name nothing else. It says nothing for the scope: the use is weighed as every other one.

// pressedTwice is for how long a second press is the same emergency use, not another one (common practice).
const pressedTwice = 10 * time.Minute

// RecordEmergency records that a scope goes on a patient now, whatever the release check says.
func (w EmergencyWork) RecordEmergency(e Entry, tag string, m reprocessing.Emergency) (Receipt, error) {
	if err := w.may(ToRecordEmergency, &e); err != nil {
		return Receipt{}, err
	}
	if e.Corrects != "" || len(e.Because) > 0 || e.Reason != "" {
		return Receipt{}, invalid("an emergency use takes the place of no other record")
	}
	if err := w.registered(tag); err != nil {
		return Receipt{}, err
	}
	m.Words, m.Decided = strings.TrimSpace(m.Words), strings.TrimSpace(m.Decided)
	r, ok, err := again(w.Work, e.ID, record.Use, func(u reprocessing.Use) bool {
		return u.Scope == tag && u.Emergency.Reason == m.Reason && u.Emergency.Words == m.Words && u.Emergency.Decided == m.Decided
	})
	if ok || err != nil {
		return r, err
	}
	a, err := w.Day().AnswerNow(tag, w.tx.Now, store.Forever)
	if err != nil {
		return Receipt{}, err
	}
	m.State, m.Short, m.First, m.Unsigned = string(a.State), a.Short.Words, "", w.actor.Code() == "" && !w.actor.OnBehalf()
	u := reprocessing.Use{Scope: tag, Start: w.tx.Now, Emergency: m}
	if err := u.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := w.pressedOnce(tag); err != nil {
		return Receipt{}, err
	}
	return w.weighing().use(e, u)
}

// pressedOnce refuses a second emergency use of a scope moments after the first one, while that goes on.
func (w EmergencyWork) pressedOnce(tag string) error {
	open, ok, err := emergenciesOf(w.View).open(tag, w.tx.Now.Add(-pressedTwice), w.tx.Now)
	if err != nil || !ok {
		return err
	}
	return &fault.Error{
		Code: fault.Conflict, Message: fmt.Sprintf("an emergency use of %s is on record since %s, and goes on", tag, open.Start.In(w.Zone())),
		Hint: "nothing more has to be pressed; the rest is recorded when the use has ended",
	}
}

// emergencies looks for emergency uses.
type emergencies struct{ View }

func emergenciesOf(v View) emergencies { return emergencies{v} }

// open returns the emergency use of a scope that began between two instants and whose end is not on record.
func (v emergencies) open(tag string, from, to unit.Instant) (open reprocessing.Use, ok bool, err error) {
	err = v.tx.Numbers().Emergencies(from, to+1, func(k store.Kept) error {
		return fold(k, func(u reprocessing.Use) {
			if u.Scope == tag && !u.End.Known() {
				u.Stamp = stampOf(k)
				open, ok = u, true
			}
		})
	})
	return open, ok, err
}

// Rest is what is recorded of an emergency use once it has ended.
type Rest struct {
	End             unit.Instant
	Procedure, Room string
	// Patient is the facility's number of the patient.
	Patient string
	// EndNotKnown and PatientNotKnown say that nobody can say it any more.
	EndNotKnown, PatientNotKnown bool
}

// CompleteEmergency records the rest of an emergency use: its end, which finishes it, and afterwards what was missing,
// which corrects it. What is not given stays as it was.
func (w EmergencyWork) CompleteEmergency(e Entry, use ledger.ID, rest Rest) (Receipt, error) {
	if err := w.may(ToCompleteEmergency, &e); err != nil {
		return Receipt{}, err
	}
	kept, u, err := emergenciesOf(w.View).of(use)
	if err != nil {
		return Receipt{}, err
	}
	if replaced, err := w.tx.Replaced(kept.Record); err != nil {
		return Receipt{}, err
	} else if replaced.Known() && !emergenciesOf(w.View).stored(e.ID) {
		return Receipt{}, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("record %s was voided, corrected or finished since", use), Hint: "complete the record that took its place",
		}
	}
	next := reprocessing.Use{
		Scope: u.Scope, Start: u.Start, End: cmp.Or(u.End, rest.End), Procedure: cmp.Or(strings.TrimSpace(rest.Procedure), u.Procedure),
		Room: cmp.Or(strings.TrimSpace(rest.Room), u.Room),
	}
	patient := strings.TrimSpace(rest.Patient)
	next.EndNotKnown = !next.End.Known() && (rest.EndNotKnown || u.EndNotKnown)
	next.PatientNotKnown = patient == "" && u.Patient == "" && (rest.PatientNotKnown || u.PatientNotKnown)
	switch {
	case rest.EndNotKnown && rest.End.Known():
		return Receipt{}, invalid("when did the emergency use of %s end? There is a time, and that it is not known", u.Scope)
	case rest.PatientNotKnown && patient != "":
		return Receipt{}, invalid("who was the patient of the emergency use of %s? There is a number, and that it is not known", u.Scope)
	case !next.Over():
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("when did the emergency use of %s end?", u.Scope), Hint: "where nobody can say, record that it is not known",
		}
	case !u.Over():
		next.Finishes = string(use)
	case rest.End.Known() && u.End.Known() && rest.End != u.End:
		return Receipt{}, invalid("the emergency use of %s ended at %s by what is on record", u.Scope, u.End.In(w.Zone()))
	default:
		next.Finishes, e.Corrects = u.Finishes, use
		e.Reason = cmp.Or(e.Reason, "what was missing is added")
	}
	return w.RecordUse(e, next, patient)
}

// stored says whether there is a record with an id.
func (v emergencies) stored(id ledger.ID) bool {
	_, err := v.tx.Record(id)
	return id != "" && err == nil
}

// of returns an emergency use by its record.
func (v emergencies) of(id ledger.ID) (kept store.Kept, u reprocessing.Use, err error) {
	if kept, err = v.tx.Record(id); err != nil {
		return kept, u, err
	}
	if kept.Kind() != record.Use {
		return kept, u, invalid("record %s is %s, not a use", id, record.Called(kept.Kind()))
	}
	if u, err = record.Body[reprocessing.Use](kept.Record); err == nil && !u.Emergency.Known() {
		err = invalid("the use of %s at %s is no emergency use", u.Scope, u.Start.In(v.Zone()))
	}
	return kept, u, err
}

// SeeEmergency records that infection prevention has seen an emergency use. It settles nothing else: the hold of the
// scope ends as holds do.
func (w EmergencyWork) SeeEmergency(e Entry, use ledger.ID, note string) (Receipt, error) {
	if err := w.may(ToSeeEmergency, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.prevention(e.By); err != nil {
		return Receipt{}, err
	}
	_, u, err := emergenciesOf(w.View).of(use)
	if err != nil {
		return Receipt{}, err
	}
	first := cmp.Or(u.Emergency.First, string(use))
	seen := record.SeenBody{Scope: u.Scope, Use: ledger.ID(first), At: w.tx.Now, By: e.By, Note: strings.TrimSpace(note)}
	r, ok, err := again(w.Work, e.ID, record.Seen, func(x record.SeenBody) bool {
		return x.Use == seen.Use && x.By == seen.By && x.Note == seen.Note
	})
	if ok || err != nil {
		return r, err
	}
	before, err := emergenciesOf(w.View).seen()
	if err != nil {
		return Receipt{}, err
	}
	for _, x := range before[seen.Use] {
		if access.Key(x.By) == access.Key(e.By) {
			return Receipt{}, &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s has seen it at %s", x.By, x.At.In(w.Zone()))}
		}
	}
	e.Because = append(e.Because, use)
	return w.append(e, record.Seen, seen.At, seen)
}

// prevention refuses whoever is not infection prevention. At the machine it goes by what is on record of the
// person.
func (w EmergencyWork) prevention(code string) error {
	roles := w.actor.Roles()
	if w.actor.Vouched() {
		var err error
		if roles, err = rolesOf(w.View, code, access.Actor{}); err != nil {
			return err
		}
	}
	if slices.Contains(roles, access.InfectionPrevention) {
		return nil
	}
	return &fault.Error{
		Code: fault.Forbidden, Message: "that an emergency use was seen is signed by infection prevention",
		Hint: code + " has no such role on record",
	}
}

// EmergencyUse is an emergency use as it stands.
type EmergencyUse struct {
	// Record is what stands of it, First the record that first said so.
	Record   ledger.ID    `json:"record"`
	First    ledger.ID    `json:"first"`
	Scope    string       `json:"scope"`
	Start    unit.Instant `json:"start"`
	End      unit.Instant `json:"end,omitzero"`
	Recorded unit.Instant `json:"recorded"`
	// By is who recorded it, empty where nobody had signed in.
	By        string                 `json:"by,omitempty"`
	Emergency reprocessing.Emergency `json:"emergency"`
	Procedure string                 `json:"procedure,omitempty"`
	Room      string                 `json:"room,omitempty"`
	// EndNotKnown says that nobody can say when it ended.
	EndNotKnown bool `json:"end_not_known,omitempty"`
	// Lacking is what is not on record of it yet.
	Lacking []string        `json:"lacking"`
	Holds   []EmergencyHold `json:"holds"`
	Seen    []EmergencySeen `json:"seen"`
	// TakenBack says who took it back; nil while it stands.
	TakenBack *EmergencyTakenBack `json:"taken_back,omitempty"`
}

// EmergencyTakenBack is that an emergency use was voided, by one or two, and why.
type EmergencyTakenBack struct {
	Record ledger.ID    `json:"record"`
	By     string       `json:"by"`
	Second string       `json:"second,omitempty"`
	At     unit.Instant `json:"at"`
	Why    string       `json:"why"`
}

// Who names those who took it back.
func (t EmergencyTakenBack) Who() string {
	if t.Second == "" {
		return t.By
	}
	return t.By + " and " + t.Second
}

// NoHold says why an emergency use has placed no hold that stands; empty where it has placed one.
func (u EmergencyUse) NoHold() string {
	switch {
	case len(u.Holds) > 0:
		return ""
	case u.Emergency.State == string(reprocessing.Ready):
		return "none: the scope was ready by all that was on record"
	case u.Emergency.State == string(reprocessing.NothingAgainst):
		return "none: nothing was against it here, and what is released elsewhere is not checked"
	}
	return "none: it began while the site was on trial and paper decided, or proof of the time before it was on record when it was weighed"
}

// EmergencyHold is a hold that an emergency use placed, and where it stands.
type EmergencyHold struct {
	Record ledger.ID             `json:"record"`
	Kind   reprocessing.HoldKind `json:"kind"`
	Open   bool                  `json:"open"`
	// Next is what ends it, while it is open.
	Next string `json:"next,omitempty"`
}

// EmergencySeen is that infection prevention has seen an emergency use.
type EmergencySeen struct {
	Record ledger.ID    `json:"record"`
	By     string       `json:"by"`
	At     unit.Instant `json:"at"`
	Note   string       `json:"note,omitempty"`
}

// Emergencies returns the emergency uses that began between two instants, the latest first, also those that were taken
// back; unseen leaves out those, and the ones that infection prevention has seen.
func (v DayView) Emergencies(from, to unit.Instant, unseen bool) ([]EmergencyUse, error) {
	seen, err := emergenciesOf(v.View).seen()
	if err != nil {
		return nil, err
	}
	all := []EmergencyUse{}
	stands := map[ledger.ID]bool{}
	err = v.tx.Numbers().Emergencies(from, to, func(k store.Kept) error {
		return fold(k, func(u reprocessing.Use) {
			x := emergencyUse(k, u, seen)
			stands[x.First] = true
			if !unseen || len(x.Seen) == 0 {
				all = append(all, x)
			}
		})
	})
	if err == nil && !unseen {
		err = emergenciesOf(v.View).takenBack(from, to, func(x EmergencyUse) {
			x.Seen = append(x.Seen, seen[x.First]...)
			if !stands[x.First] { // else it was recorded anew
				all = append(all, x)
			}
		})
	}
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(all, func(a, b EmergencyUse) int { return cmp.Compare(a.Start, b.Start) })
	for i := range all {
		if err := emergenciesOf(v.View).holds(&all[i]); err != nil {
			return nil, err
		}
	}
	slices.Reverse(all)
	return all, nil
}

// emergencyUse is an emergency use by a record of it.
func emergencyUse(k store.Kept, u reprocessing.Use, seen map[ledger.ID][]EmergencySeen) EmergencyUse {
	x := EmergencyUse{
		Record: k.ID, First: ledger.ID(cmp.Or(u.Emergency.First, string(k.ID))), Scope: u.Scope, Start: u.Start, End: u.End, Recorded: k.Recorded,
		By: k.By, Emergency: u.Emergency, Procedure: u.Procedure, Room: u.Room, EndNotKnown: u.EndNotKnown, Lacking: u.Lacking(), Holds: []EmergencyHold{},
	}
	x.Seen = append([]EmergencySeen{}, seen[x.First]...)
	return x
}

// takenBack calls add for the emergency uses between two instants that were voided. They are found by the voids, of which
// there are few.
func (v emergencies) takenBack(from, to unit.Instant, add func(EmergencyUse)) error {
	var voids []store.Kept
	err := v.tx.Numbers().Between(record.Void, "", from, store.Forever, func(void store.Kept) error {
		voids = append(voids, void)
		return nil
	})
	if err != nil {
		return err
	}
	for _, void := range voids {
		k, err := v.tx.Record(void.Corrects)
		if err != nil {
			return err
		}
		if k.Kind() != record.Use {
			continue
		}
		u, err := record.Body[reprocessing.Use](k.Record)
		if err != nil {
			return err
		}
		body, err := record.Body[record.VoidBody](void.Record)
		if err != nil {
			return err
		}
		if u.Emergency.Known() && u.Start >= from && u.Start < to {
			x := emergencyUse(k, u, nil)
			x.Lacking = []string{}
			x.TakenBack = &EmergencyTakenBack{Record: void.ID, By: void.By, Second: body.Second, At: void.Recorded, Why: void.Reason}
			add(x)
		}
	}
	return nil
}

// holds fills in the holds that followed from an emergency use, and who recorded that first.
func (v emergencies) holds(x *EmergencyUse) error {
	if x.First != x.Record {
		first, err := v.tx.Record(x.First)
		if err != nil {
			return err
		}
		x.By, x.Recorded = first.By, first.Recorded
	}
	placed, err := v.lifting().placed(x.Scope, x.Start, x.Record)
	if err != nil {
		return err
	}
	for _, h := range placed {
		hold := EmergencyHold{Record: ledger.ID(h.ID), Kind: h.Of(), Open: h.open}
		if h.open {
			hold.Next = h.Next()
		}
		x.Holds = append(x.Holds, hold)
	}
	return nil
}

// PendingEmergencies are how many emergency uses somebody still has to look into.
type PendingEmergencies struct {
	// Unseen are those that infection prevention has not seen, Incomplete those of which something is not on record yet.
	Unseen, Incomplete int
}

// PendingEmergencies counts the emergency uses that are not settled.
func (v DayView) PendingEmergencies() (p PendingEmergencies, err error) {
	seen, err := emergenciesOf(v.View).seen()
	if err != nil {
		return p, err
	}
	err = v.tx.Numbers().Emergencies(0, store.Forever, func(k store.Kept) error {
		return fold(k, func(u reprocessing.Use) {
			if len(seen[ledger.ID(cmp.Or(u.Emergency.First, string(k.ID)))]) == 0 {
				p.Unseen++
			}
			if len(u.Lacking()) > 0 {
				p.Incomplete++
			}
		})
	})
	return p, err
}

// seen returns who has seen which emergency use, by the record that first said so.
func (v emergencies) seen() (map[ledger.ID][]EmergencySeen, error) {
	seen := map[ledger.ID][]EmergencySeen{}
	err := v.tx.Numbers().Between(record.Seen, "", 0, store.Forever, func(k store.Kept) error {
		return fold(k, func(x record.SeenBody) {
			seen[x.Use] = append(seen[x.Use], EmergencySeen{Record: k.ID, By: x.By, At: x.At, Note: x.Note})
		})
	})
	return seen, err
}

// AnswerNow is ReleaseNow with how far from ready the scope is.
func (v DayView) AnswerNow(tag string, now, known unit.Instant) (reprocessing.Answer, error) {
	a, h, rules, err := releaseNow(v.View, tag, now, known)
	if err != nil {
		return a, err
	}
	return withShort(a, h.ShortNow(a, rules.Reprocessing, now, v.Zone())), nil
}

// AnswerAt is Release with how far from ready the scope was. Of the present minute, and of later, it answers as of now: what
// is on record of a later time, and a clock that is in doubt, count there whatever the clock shows.
func (v DayView) AnswerAt(tag string, at, known unit.Instant) (reprocessing.Answer, error) {
	if !v.passed(at) {
		return v.AnswerNow(tag, max(at, v.Now()), known)
	}
	a, h, rules, err := releaseAt(v.View, tag, at, known)
	if err != nil {
		return a, err
	}
	return withShort(a, h.ShortAt(a, rules.Reprocessing, at, v.Zone())), nil
}

func withShort(a reprocessing.Answer, s reprocessing.Short) reprocessing.Answer {
	a.Short = &s
	return a
}
