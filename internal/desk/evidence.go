package desk

import (
	"fmt"
	"slices"

	"rinsate/internal/base/unit"
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
}

// lacks says of every sample of a history that passed why that proves nothing by itself.
func lacks(v View, h *reprocessing.History, passed map[int][]made, to, known unit.Instant) error {
	checks := meterChecks{v: v, to: to, known: known, of: map[string][]quality.Verdict{}}
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
		// One reading on a meter that was good is enough.
		var without []reprocessing.Lack
		for j, r := range readings {
			lack, err := checks.lack(r)
			if err != nil {
				return err
			}
			if lack == nil {
				without = nil
				break
			}
			if j == 0 || !lack.Final {
				without = []reprocessing.Lack{*lack}
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
	of        map[string][]quality.Verdict
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
	key := fmt.Sprint(r.meter, r.at)
	verdicts, looked := c.of[key]
	if !looked {
		to := min(r.at.Add(quality.BracketedWithin), c.to)
		err := c.v.tx.Numbers().ChecksKnown(r.meter, rules.Meters.Holds.Back(r.at), to, c.known, func(k store.Kept) error {
			x, err := record.Body[record.CheckBody](k.Record)
			if err == nil {
				verdicts = append(verdicts, quality.Verdict{Meter: r.meter, At: x.Verdict.At, Outcome: x.Verdict.Outcome})
			}
			return err
		})
		if err != nil {
			return nil, err
		}
		c.of[key] = verdicts
	}
	state, err := rules.Meters.Holds.State(verdicts, r.at, c.v.Zone())
	if err != nil || state.Condition == quality.Checked {
		return nil, refuse(err)
	}
	bracketed, err := quality.Bracketed(verdicts, r.at)
	if err != nil {
		return nil, refuse(err)
	}
	why := fmt.Sprintf("meter %s had no good check that counted at %s", r.meter, r.at.In(c.v.Zone()))
	if bracketed {
		why += "; it was good before and after"
	}
	return &reprocessing.Lack{Why: why, Final: !bracketed}, nil
}
