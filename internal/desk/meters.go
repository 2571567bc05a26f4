package desk

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// reach is how many earlier checks of a meter the rules of consecutive controls can look back to: ten
// in a row, with room for checks without a charted control.
const reach = 40

// Check is what somebody read to check a meter.
type Check struct {
	Meter    string
	Controls []quality.Control
	// Serviced says what was done to the meter just before; earlier checks then do not count any more.
	Serviced string
}

// RegisterTarget records what a control should show, in force from its Adopted instant on.
func (w MeterWork) RegisterTarget(e Entry, t quality.Target) (Receipt, error) {
	if err := w.may(ToRegisterTarget, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.inName(&t.Adopter); err != nil {
		return Receipt{}, err
	}
	if err := w.mayBeTarget(e, &t); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Target, min(t.Adopted, w.tx.Now), t)
}

// mayBeTarget refuses a target that could not be defended, and one that asks for less than before, and that nobody else has
// signed.
func (w MeterWork) mayBeTarget(e Entry, t *quality.Target) error {
	if err := t.Check(); err != nil {
		return refuse(err)
	}
	var less []string
	if !w.sentBefore(e) {
		standing, err := w.Measuring().Targets()
		if err != nil {
			return err
		}
		replaced := t.Replaces(standing, w.tx.Now)
		if len(replaced) == 0 {
			if replaced, err = w.goneTargets(*t); err != nil {
				return err
			}
		}
		less = lessOfAny(replaced, func(old quality.Target) []string { return quality.LaxerTarget(old, *t) })
	}
	return byTwoOf(w.Work).agreed(ToRegisterTarget, e, &t.Second,
		lessThanBefore(ToRegisterTarget, fmt.Sprintf("target of %s control %s", t.Kind, t.Material), less))
}

// goneTargets returns the last target of a control that was taken back.
func (w MeterWork) goneTargets(t quality.Target) (last []quality.Target, err error) {
	err = w.tx.Editions(record.Target, t.System+"|"+string(t.Kind)+"|"+t.Material, func(k store.Kept) error {
		old, err := record.Body[quality.Target](k.Record)
		if err == nil && len(t.Replaces([]quality.Target{old}, w.tx.Now)) > 0 {
			last = []quality.Target{old}
		}
		return err
	})
	return last, err
}

// Targets returns every target that was adopted and not voided.
func (v MetersView) Targets() ([]quality.Target, error) {
	all, err := v.tx.Entities(record.Target)
	if err != nil {
		return nil, err
	}
	var targets []quality.Target
	for _, kept := range all {
		if kept.Replaced.Known() {
			continue
		}
		t, err := record.Body[quality.Target](kept.Record)
		if err != nil {
			return nil, err
		}
		targets = append(targets, t)
	}
	return targets, nil
}

// Meters returns the latest edition of every meter, in the order of their codes.
func (v MetersView) Meters() ([]quality.Meter, error) {
	all, err := v.tx.Entities(record.Meter)
	if err != nil {
		return nil, err
	}
	latest := map[string]quality.Meter{}
	for _, kept := range all {
		if kept.Replaced.Known() {
			continue
		}
		m, err := record.Body[quality.Meter](kept.Record)
		if err != nil {
			return nil, err
		}
		latest[m.Code] = m
	}
	return sortedByKey(latest), nil
}

func (v MetersView) meter(code string) (quality.Meter, error) {
	m, ok, err := edition[quality.Meter](v.View, record.Meter, code, store.Forever, store.Forever)
	if err == nil && !ok {
		err = notFound("register the meter with its system first", "meter %q is not known, so nobody can say on which scale it counts", code)
	}
	return m, err
}

// CheckMeter records a check of a meter with its verdict. What follows from it, the trust in the
// meter's readings and the verifications that rest on them, is recorded with it.
func (w MeterWork) CheckMeter(e Entry, c Check) (Receipt, quality.Verdict, error) {
	if err := w.may(ToCheckMeter, &e); err != nil {
		return Receipt{}, quality.Verdict{}, err
	}
	same := func(x record.CheckBody) bool {
		return x.Meter == c.Meter && x.Serviced == c.Serviced && slices.Equal(x.Controls, w.filled(e, c).Controls)
	}
	if r, ok, err := again(w.Work, e.ID, record.Check, same); ok || err != nil {
		if err != nil {
			return r, quality.Verdict{}, err
		}
		body, err := record.Body[record.CheckBody](r.Record)
		return r, body.Verdict, err
	}
	c = w.filled(e, c)
	verdict, rules, err := w.judgeCheck(c)
	if err != nil {
		return Receipt{}, verdict, err
	}
	if e.Corrects != "" {
		if old, err := w.tx.Record(e.Corrects); err != nil {
			return Receipt{}, verdict, err
		} else if old.Kind() != record.Check {
			return Receipt{}, verdict, invalid("a check record cannot take the place of %s record", record.Called(old.Kind()))
		}
	}
	body := record.CheckBody{Meter: c.Meter, Controls: c.Controls, Verdict: verdict, Rules: rules.Cite(), Serviced: c.Serviced}
	as, err := asked(w.Work, e, record.Check, &body)
	if err != nil {
		return Receipt{}, verdict, err
	}
	r, err := w.append(as, record.Check, verdict.At, body)
	if err != nil || !r.Fresh {
		return r, verdict, err
	}
	if r.Followed, err = w.settle(c.Meter, verdict.At, e.By, r.Record.ID); err != nil || !verdict.Outcome.Good() {
		return r, verdict, err
	}
	lifts, err := w.provenOn(c.Meter, verdict.At, e.By, r.Record.ID)
	r.Followed = append(r.Followed, lifts...)
	return r, verdict, err
}

// filled gives the controls of a check the meter and, where they name none, the person.
func (w MeterWork) filled(e Entry, c Check) Check {
	c.Controls = slices.Clone(c.Controls)
	for i := range c.Controls {
		x := &c.Controls[i]
		x.Meter, x.Person = c.Meter, cmp.Or(x.Person, e.By)
		x.ID = "" // not part of the record
	}
	return c
}

// judgeCheck judges a check after those before it, by the rules and targets in force.
func (w MeterWork) judgeCheck(c Check) (quality.Verdict, policy.RuleSet, error) {
	var none quality.Verdict
	if len(c.Controls) == 0 {
		return none, policy.RuleSet{}, invalid("a check of meter %q needs at least one control", c.Meter)
	}
	first := c.Controls[0].At
	for _, x := range c.Controls {
		first = min(first, x.At)
	}
	rules, err := w.Registry().Rules(first, store.Forever)
	if err != nil {
		return none, rules, err
	}
	m, err := w.Measuring().meter(c.Meter)
	if err != nil {
		return none, rules, err
	}
	targets, err := w.Measuring().Targets()
	if err != nil {
		return none, rules, err
	}
	var earlier []record.CheckBody
	err = w.tx.Numbers().LastChecks(c.Meter, first, reach, func(k store.Kept) error {
		return fold(k, func(x record.CheckBody) { earlier = append(earlier, numbered(x, string(k.ID))) })
	})
	if err != nil {
		return none, rules, err
	}
	slices.Reverse(earlier)
	watch, err := quality.NewWatch(m, targets, meterRules(rules))
	if err != nil {
		return none, rules, refuse(err)
	}
	for _, x := range append(earlier, numbered(record.CheckBody{Controls: c.Controls, Serviced: c.Serviced}, "")) {
		if x.Serviced != "" {
			watch.Restart()
		}
		if none, err = watch.Next(x.Controls); err != nil {
			return none, rules, refuse(err)
		}
	}
	return none, rules, nil
}

// meterRules returns how checks are judged; a rule set that does not say leaves the limits alone.
func meterRules(rules policy.RuleSet) quality.Rules {
	if rules.Meters == nil {
		return quality.Rules{}
	}
	return rules.Meters.Rules
}

// numbered gives the controls of a check names: their numbers, and before these, in a check that is
// reached back to, its record.
func numbered(c record.CheckBody, id string) record.CheckBody {
	c.Controls = slices.Clone(c.Controls)
	for i := range c.Controls {
		name := strconv.Itoa(i + 1)
		if id != "" {
			name = id + "/" + name
		}
		c.Controls[i].ID = ledger.ID(name)
	}
	return c
}

// settle brings the trust in a meter's readings in line with its checks after something changed at an
// instant: readings between a failed check and the good ones around it lose it, others have it. The
// verifications that rest on a reading that lost or regained it are decided again. cause is the record of
// the change.
func (w MeterWork) settle(meter string, changed unit.Instant, by string, cause ledger.ID) ([]ledger.Record, error) {
	verdicts, failed, from, to, err := w.Measuring().around(meter, changed)
	if err != nil {
		return nil, err
	}
	marks, err := w.Measuring().marks(meter, from, to)
	if err != nil {
		return nil, err
	}
	if len(failed) == 0 && len(marks) == 0 {
		return nil, nil
	}
	kept := map[ledger.ID]store.Kept{}
	var readings []quality.Reading
	if len(failed) > 0 {
		err = w.tx.Numbers().ReadWith(meter, from, to, func(k store.Kept) error {
			kept[k.ID] = k
			readings = append(readings, quality.Reading{ID: k.ID, At: k.At})
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	suspects, err := quality.Suspects(verdicts, readings)
	if err != nil {
		return nil, refuse(err)
	}
	wanted := map[ledger.ID]quality.Suspect{}
	for _, s := range suspects {
		wanted[s.ID] = s
	}
	followed, touched, err := remarked(w, marks, wanted, by, cause, "the checks of the meter are seen differently now", func(m mark) bool {
		return !slices.ContainsFunc(m.body.Readings, func(id ledger.ID) bool {
			s, still := wanted[id]
			return !still || s.Failed != m.body.At || failed[s.Failed] != m.body.Check
		})
	})
	if err != nil {
		return nil, err
	}
	added, err := w.mark(meter, by, cause, wanted, kept, failed)
	if err != nil {
		return nil, err
	}
	for _, r := range added {
		body, err := record.Body[record.SuspectBody](r)
		if err != nil {
			return nil, err
		}
		for _, id := range body.Readings {
			touched[id] = true
		}
	}
	followed = append(followed, added...)
	again, err := w.decideReadings(touched, by, cause)
	return append(followed, again...), err
}

// around returns the checks of a meter from the last good one before an instant to the first good one
// after it that no doubt reaches across, which bound what a change at the instant can touch; and the record of the failed
// one at each instant between. Zero and Forever say that there is no such good check.
func (v MetersView) around(meter string, at unit.Instant) (all []quality.Verdict, failed map[unit.Instant]ledger.ID, from, to unit.Instant, err error) {
	failed, to = map[unit.Instant]ledger.ID{}, store.Forever
	before, after, err := v.tx.Numbers().GoodChecks(meter, at)
	if err != nil {
		return nil, nil, 0, 0, err
	}
	if before.Known() {
		from = before
	}
	if after.Known() {
		to = after
	}
	err = v.tx.Numbers().ChecksOf(meter, from, to, func(c store.Checked) error {
		x := quality.Verdict{Meter: meter, At: c.At, Outcome: c.Outcome, Place: c.Seq}
		if c.Outcome == quality.Rejected {
			failed[c.At] = c.ID
			if x.Place, err = v.failedSince(c.ID); err != nil {
				return err
			}
		}
		all = append(all, x)
		return nil
	})
	return all, failed, from, to, err
}

// failedSince returns the place in the ledger since which it is on record that a check failed, also where that was corrected.
func (v MetersView) failedSince(id ledger.ID) (place int64, err error) {
	for id != "" {
		k, err := v.tx.Record(id)
		if err != nil {
			return place, err
		}
		x, err := record.Body[record.CheckBody](k.Record)
		if err != nil || x.Verdict.Outcome != quality.Rejected {
			return place, err
		}
		place, id = k.Seq, k.Corrects
	}
	return place, nil
}

// mark is a record that took the trust from readings and still stands.
type mark struct {
	id   ledger.ID
	body record.SuspectBody
}

// remarked takes back the marks of readings that do not stand any more, and takes the readings of those that do from what
// is still to be marked. It returns what it recorded and which readings it touched.
func remarked[T any](
	w MeterWork, marks []mark, wanted map[ledger.ID]T, by string, cause ledger.ID, why string, stands func(mark) bool,
) (followed []ledger.Record, touched map[ledger.ID]bool, err error) {
	touched = map[ledger.ID]bool{}
	for _, m := range marks {
		if stands(m) {
			for _, id := range m.body.Readings {
				delete(wanted, id)
			}
			continue
		}
		r, err := w.append(Entry{
			ID: ledger.DerivedID("trust", string(cause), string(m.id)), By: by, Because: []ledger.ID{cause}, Corrects: m.id, Reason: why,
		}, record.Void, w.tx.Now, record.VoidBody{Scope: m.body.Scope})
		if err != nil {
			return nil, nil, err
		}
		followed = append(followed, r.Record)
		for _, id := range m.body.Readings {
			touched[id] = true
		}
	}
	return followed, touched, nil
}

// marks returns the standing marks of a meter that rest on failed checks of a time.
func (v MetersView) marks(meter string, from, to unit.Instant) ([]mark, error) {
	var all []mark
	err := v.tx.Numbers().Between(record.Suspect, "", from, to, func(k store.Kept) error {
		return fold(k, func(x record.SuspectBody) {
			if x.Meter == meter {
				all = append(all, mark{k.ID, x})
			}
		})
	})
	return all, err
}

// mark records that readings lost the trust, one record for each scope and failed check.
func (w MeterWork) mark(
	meter, by string,
	cause ledger.ID,
	suspects map[ledger.ID]quality.Suspect,
	kept map[ledger.ID]store.Kept,
	failed map[unit.Instant]ledger.ID,
) ([]ledger.Record, error) {
	type group struct {
		scope string
		check ledger.ID
	}
	groups := map[group]*record.SuspectBody{}
	for id, s := range suspects {
		x, err := readingOf(kept[id])
		if err != nil {
			return nil, err
		}
		key := group{x.Scope, failed[s.Failed]}
		if groups[key] == nil {
			groups[key] = &record.SuspectBody{
				Scope: x.Scope, Meter: meter, Check: key.check, At: s.Failed, Since: s.After,
				Reason: doubt(meter, s, w.Work),
			}
		}
		groups[key].Readings = append(groups[key].Readings, id)
	}
	keys := slices.SortedFunc(maps.Keys(groups), func(a, b group) int {
		return cmp.Or(cmp.Compare(a.scope, b.scope), cmp.Compare(a.check, b.check))
	})
	var records []ledger.Record
	for _, key := range keys {
		body := *groups[key]
		slices.Sort(body.Readings)
		r, err := w.append(Entry{
			ID: ledger.DerivedID("suspect", string(cause), key.scope, string(key.check)), By: by, Because: []ledger.ID{cause, key.check},
		}, record.Suspect, body.At, body)
		if err != nil {
			return nil, err
		}
		records = append(records, r.Record)
	}
	return records, nil
}

func doubt(meter string, s quality.Suspect, w *Work) string {
	if !s.After.Known() {
		return fmt.Sprintf("meter %s failed its check at %s and had no good check before", meter, s.Failed.In(w.Zone()))
	}
	return fmt.Sprintf("meter %s failed its check at %s; its last good check was at %s", meter, s.Failed.In(w.Zone()), s.After.In(w.Zone()))
}

// decideReadings decides the verifications again that readings belong to: in the order of time, so that no decision
// on a cleaning rests on one before it that is about to change.
func (w MeterWork) decideReadings(ids map[ledger.ID]bool, by string, cause ledger.ID) (followed []ledger.Record, err error) {
	readings := make([]store.Kept, 0, len(ids))
	for id := range ids {
		kept, err := w.tx.Record(id)
		if err != nil {
			return nil, err
		}
		readings = append(readings, kept)
	}
	slices.SortFunc(readings, func(a, b store.Kept) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.ID, b.ID)) })
	for _, kept := range readings {
		x, err := readingOf(kept)
		if err != nil {
			return nil, err
		}
		s, _, err := w.sample(ledger.ID(x.Sample))
		if fault.CodeOf(err) == fault.Conflict {
			continue // the sample was voided since
		}
		if err != nil {
			return nil, err
		}
		again, err := w.decideAs(ledger.DerivedID("verification", string(cause), string(kept.ID)), x.Scope, s.Collected, x.Cleaning, by, cause)
		if err != nil {
			return nil, err
		}
		followed = append(followed, again...)
	}
	return followed, nil
}

// trust settles a reading that was just recorded: made with a meter in doubt, it does not count.
func (w MeterWork) trust(x reading.Reading, id ledger.ID, by string) ([]ledger.Record, error) {
	if x.Meter == "" {
		return nil, nil
	}
	before, after, err := w.tx.Numbers().ChecksAround(x.Meter, x.With.At)
	if err != nil {
		return nil, err
	}
	failed := func(c *store.Checked) bool { return c != nil && c.Outcome == quality.Rejected }
	bound := after // a doubt that reaches the reading from later on reaches across it
	if before != nil && before.At == x.With.At && before.Outcome.Good() {
		bound = before
	} else if failed(before) || failed(after) {
		return w.settle(x.Meter, x.With.At, by, id)
	}
	if bound == nil {
		return nil, nil
	}
	if good, err := w.tx.Numbers().GoodCheckAt(x.Meter, bound.At); err != nil || good {
		return nil, err
	}
	return w.settle(x.Meter, x.With.At, by, id)
}

// provenOn lifts what verifications end whose readings a good check of their meter proves, where it comes to be on
// record after them.
func (w MeterWork) provenOn(meter string, checked unit.Instant, by string, cause ledger.ID) (followed []ledger.Record, err error) {
	var scopes []string
	from, to := checked.Add(-quality.BracketedWithin), checked.Add(quality.BracketedWithin)
	err = w.tx.Numbers().ReadWith(meter, from, to, func(k store.Kept) error {
		return fold(k, func(x reading.Reading) {
			if !slices.Contains(scopes, x.Scope) {
				scopes = append(scopes, x.Scope)
			}
		})
	})
	for _, tag := range scopes {
		if err != nil {
			return followed, err
		}
		var lifts []ledger.Record
		lifts, err = w.weighing().liftCleaned(tag, cmp.Or(by, notStated), cause)
		followed = append(followed, lifts...)
	}
	return followed, err
}

// MeterState says whether a meter may be used at an instant.
func (v MetersView) MeterState(meter string, at unit.Instant) (quality.State, error) {
	rules, err := v.Registry().Rules(at, store.Forever)
	if err != nil {
		return quality.State{}, err
	}
	m, err := v.meter(meter)
	if err != nil {
		return quality.State{}, err
	}
	if m.Retired.Known() && m.Retired <= at {
		return quality.State{Condition: quality.Unchecked, Why: fmt.Sprintf("meter %s is out of service since %s", m.Code, m.Retired.In(v.Zone()))}, nil
	}
	if rules.Meters == nil {
		return quality.State{Condition: quality.Unchecked, Why: fmt.Sprintf("%s does not say how meters are checked", rules.Cite())}, nil
	}
	var verdicts []quality.Verdict
	var ids []ledger.ID
	err = v.tx.Numbers().ChecksOf(meter, 0, at, func(c store.Checked) error {
		verdicts, ids = append(verdicts, quality.Verdict{Meter: meter, At: c.At, Outcome: c.Outcome}), append(ids, c.ID)
		return nil
	})
	if err != nil {
		return quality.State{}, err
	}
	state, err := rules.Meters.Holds.State(verdicts, at, v.Zone())
	if err != nil || state.Condition == quality.Checked {
		return state, refuse(err)
	}
	// The table of checks has no words; those of the last ones are what the state can quote.
	for i := max(0, len(ids)-reach); i < len(ids); i++ {
		if verdicts[i].Outcome.Good() {
			continue
		}
		k, err := v.tx.Record(ids[i])
		if err == nil {
			err = fold(k, func(x record.CheckBody) { verdicts[i].Why = x.Verdict.Why })
		}
		if err != nil {
			return state, err
		}
	}
	state, err = rules.Meters.Holds.State(verdicts, at, v.Zone())
	return state, refuse(err)
}

// Checks returns the checks of a meter with from <= at <= to, the earliest first.
func (v MetersView) Checks(meter string, from, to unit.Instant) ([]CheckLine, error) {
	var lines []CheckLine
	err := v.tx.Numbers().ChecksOf(meter, from, to, func(c store.Checked) error {
		k, err := v.tx.Record(c.ID)
		if err != nil {
			return err
		}
		return fold(k, func(x record.CheckBody) { lines = append(lines, CheckLine{ID: k.ID, By: k.By, CheckBody: x}) })
	})
	return lines, err
}

// CheckLine is a check with its record.
type CheckLine struct {
	ID ledger.ID `json:"id"`
	By string    `json:"by,omitempty"`
	record.CheckBody
}
