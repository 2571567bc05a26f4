package desk

import (
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// made is a reading that passed, with what it was made with.
type made struct {
	meter string
	at    unit.Instant
	doing doing
}

// lacks says of every sample of a history that passed why that proves nothing by itself.
func lacks(v View, h *reprocessing.History, passed map[int][]made, people *doers, to unit.Instant) error {
	known := people.known
	checks := meterChecks{v: v, to: to, known: known, people: people, of: map[string]*checked{}}
	for i, readings := range passed {
		t := &h.Samples[i]
		rules, err := v.Registry().Rules(readings[0].at, known)
		if err != nil {
			return err
		}
		protocol, _ := sampling.For(rules.Sample.ProtocolsFor(h.Model.Name), t.Point)
		var gaps []reprocessing.Lack
		for _, gap := range rules.Sample.Clocks.Gaps(t.Sample, protocol.Flush()) {
			gaps = append(gaps, reprocessing.Lack{Why: gap})
		}
		if t.Edited {
			gaps = append(gaps, reprocessing.Lack{Why: "it " + reprocessing.SetRight})
		}
		if late := reprocessing.WrittenLate(t.Collected, t.Recorded); late != "" {
			gaps = append(gaps, reprocessing.Lack{Why: "it " + late})
		}
		if t.Stranger != "" {
			gaps = append(gaps, reprocessing.Lack{Why: "it " + t.Stranger})
		}
		// One reading on a meter that was good, by somebody who may, is enough.
		var without []reprocessing.Lack
		for j, r := range readings {
			lacks, err := checks.lacks(r)
			if err != nil {
				return err
			}
			if len(lacks) == 0 {
				without = nil
				break
			}
			if j == 0 || !final(lacks) {
				without = lacks
			}
		}
		t.Lacks = slices.Concat(gaps, without)
	}
	return nil
}

// meterChecks says whether readings were made on a meter that was good then.
type meterChecks struct {
	v         View
	to, known unit.Instant
	people    *doers
	of        map[string]*checked
}

// checked is what was loaded of the checks of one meter.
type checked struct {
	from, to unit.Instant
	verdicts []quality.Verdict
	// late are the good checks that were written down too late to prove anything by themselves, and when.
	late map[unit.Instant]unit.Instant
}

// inTime returns the verdicts without the good ones that were written down late.
func (x *checked) inTime() []quality.Verdict {
	if len(x.late) == 0 {
		return x.verdicts
	}
	return slices.DeleteFunc(slices.Clone(x.verdicts), func(v quality.Verdict) bool {
		_, late := x.late[v.At]
		return late && v.Outcome.Good()
	})
}

// lateUpTo returns when the last of the good checks up to an instant that were written down late was; zero without any.
func (x *checked) lateUpTo(at unit.Instant) (recorded unit.Instant) {
	for checked, when := range x.late {
		if checked <= at {
			recorded = max(recorded, when)
		}
	}
	return recorded
}

// around returns the checks of a meter from an instant to another at least. What is read on it belongs to a few days, so
// that a day more on both sides is mostly one query for all of it.
func (c *meterChecks) around(meter string, from, to unit.Instant) (*checked, error) {
	const more = 24 * time.Hour
	if x := c.of[meter]; x != nil && x.from <= from && to <= x.to {
		return x, nil
	}
	x := &checked{from: from.Add(-more), to: min(to.Add(more), c.to), late: map[unit.Instant]unit.Instant{}}
	c.of[meter] = x
	err := c.v.tx.Numbers().ChecksKnown(meter, x.from, x.to, c.known, func(k store.Kept) error {
		body, err := record.Body[record.CheckBody](k.Record)
		if err != nil {
			return err
		}
		v := quality.Verdict{Meter: meter, At: body.Verdict.At, Outcome: body.Verdict.Outcome}
		if v.Outcome.Good() {
			if stranger, err := c.people.of(doing{by: k.By, at: k.Recorded, what: access.CheckMeter}); err != nil || stranger != "" {
				return err
			}
			if reprocessing.WrittenLate(v.At, k.Recorded) != "" {
				x.late[v.At] = max(x.late[v.At], k.Recorded)
			}
		}
		x.verdicts = append(x.verdicts, v)
		return nil
	})
	return x, err
}

// lacks says what is missing that would show that a reading is one to go by: somebody who may read, who wrote it
// down in time, and a good meter.
func (c *meterChecks) lacks(r made) (all []reprocessing.Lack, err error) {
	stranger, err := c.people.of(r.doing)
	if err != nil {
		return nil, err
	}
	if stranger != "" {
		all = append(all, reprocessing.Lack{Why: "its reading " + stranger})
	}
	if late := reprocessing.WrittenLate(r.at, r.doing.at); late != "" {
		all = append(all, reprocessing.Lack{Why: "its reading " + late + ", and a value counts only with the display pictured", Value: true})
	}
	lack, err := c.lack(r)
	if lack != nil {
		all = append(all, *lack)
	}
	return all, err
}

// final says whether nobody's word can stand for one of some lacks.
func final(lacks []reprocessing.Lack) bool {
	return slices.ContainsFunc(lacks, func(l reprocessing.Lack) bool { return l.Final })
}

// lack says why nothing shows that the meter of a reading was good, nil where something does or where the rules of
// its time say nothing about meters.
func (c *meterChecks) lack(r made) (*reprocessing.Lack, error) {
	if r.meter == "" { // a strip that is read by eye
		return nil, nil
	}
	rules, err := c.v.Registry().Rules(r.at, c.known)
	if err != nil || rules.Meters == nil {
		return nil, err
	}
	within := min(r.at.Add(quality.BracketedWithin), c.to)
	checks, err := c.around(r.meter, rules.Meters.Holds.Back(r.at), within)
	if err != nil {
		return nil, err
	}
	state, err := rules.Meters.Holds.State(checks.inTime(), r.at, c.v.Zone())
	if err != nil || state.Condition == quality.Checked {
		return nil, refuse(err)
	}
	why := fmt.Sprintf("meter %s had no good check that counted at %s", r.meter, r.at.In(c.v.Zone()))
	if state, err = rules.Meters.Holds.State(checks.verdicts, r.at, c.v.Zone()); err != nil {
		return nil, refuse(err)
	}
	if state.Condition == quality.Checked {
		why += fmt.Sprintf("; its good check at %s %s", state.Since.In(c.v.Zone()), reprocessing.WrittenLate(state.Since, checks.late[state.Since]))
		return &reprocessing.Lack{Why: why, Since: checks.lateUpTo(r.at)}, nil
	}
	bracketed, err := quality.Bracketed(checks.verdicts, r.at)
	if err != nil {
		return nil, refuse(err)
	}
	if bracketed {
		why += "; it was good before and after"
	}
	return &reprocessing.Lack{Why: why, Final: !bracketed, Since: checks.lateUpTo(within)}, nil
}
