package desk

import (
	"fmt"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// actsFrom returns since when an edition counts that says it holds since an instant: never before it was signed, which
// is when it was recorded. Where the computer's clock was in doubt then, it is when another clock had been compared:
// by then it had been signed for sure. While nobody has, the clock is all there is; nothing is ready then.
func actsFrom(clock reprocessing.Clock, seq int64, at, recorded unit.Instant) unit.Instant {
	signed := recorded
	if settled := clock.Unsure(seq, recorded); settled.Known() && settled != reprocessing.Never {
		signed = settled
	}
	if at <= recorded { // at once, whatever the clock said
		return signed
	}
	return max(at, signed)
}

// inForce returns the edition of a thing in force at an instant as known then: the last one written of those that counted
// by then, or the first one there is. ok is false when there is none.
func inForce(v View, typ record.Kind, key string, at, known unit.Instant) (k store.Kept, ok bool, err error) {
	if at == store.Forever {
		return v.tx.Entity(typ, key, at, known)
	}
	all, err := store.Standing(v.tx, typ, key)
	if err != nil || len(all) == 0 {
		return k, false, err
	}
	var clock reprocessing.Clock
	if len(all) > 1 { // else there is nothing to choose
		if clock, err = clockNotes(v, known); err != nil {
			return k, false, err
		}
	}
	var found store.Stands
	for s := range store.KnownAt(all, known) {
		if !ok || actsFrom(clock, s.Seq, s.At, s.Recorded) <= at {
			found, ok = s, true
		}
	}
	if !ok {
		return k, false, nil
	}
	k, err = store.Edition(v.tx, found)
	return k, err == nil, err
}

// rulesFor returns the rules in force at an instant, as known then, for a scope with a history, with the editions that
// count besides. An edition that asks for less serves only what begins after it: those that were in force since the last
// use of the scope ended, or since it arrived, and that ask for more than the one in force now, are asked as well, also one
// that was taken back since. Not those that two people who adopted another took for a slip.
func (v View) rulesFor(h reprocessing.History, at, known unit.Instant) (policy.RuleSet, error) {
	all, err := store.Standing(v.tx, record.Rules, "rules")
	if err != nil {
		return policy.RuleSet{}, err
	}
	if len(all) <= 1 { // nothing to choose
		return v.Registry().Rules(at, known)
	}
	clock, err := clockNotes(v, known)
	if err != nil {
		return policy.RuleSet{}, err
	}
	type stand struct {
		store.Stands
		from, until unit.Instant
	}
	var times []stand
	now := -1
	for _, s := range all {
		if s.Recorded > known {
			continue
		}
		x := stand{s, actsFrom(clock, s.Seq, s.At, s.Recorded), store.Forever}
		if gone := s.Replaced.Known() && s.Replaced <= known; gone {
			x.until = s.Replaced
		} else {
			if now < 0 { // the first one also judges what was before
				x.from = 0
			}
			for i := range times {
				times[i].until = max(times[i].from, min(times[i].until, x.from))
			}
			if now < 0 || x.from <= at {
				now = len(times)
			}
		}
		times = append(times, x)
	}
	if now < 0 {
		return v.Registry().Rules(at, known)
	}
	rules, err := v.editionOf(times[now].Stands)
	if err != nil {
		return rules, err
	}
	begun := reprocessing.Begun(h, at)
	slips := map[string]bool{}
	var earlier []parsedRules
	for i, x := range slices.Backward(times) { // a slip is named by a later one
		if x.from > at || x.until <= begun && i != now || x.from >= x.until {
			continue
		}
		kept, err := store.Edition(v.tx, x.Stands)
		if err != nil {
			return rules, err
		}
		p, err := v.Registry().parsed(kept)
		if err != nil {
			return rules, err
		}
		gone := x.Replaced.Known() && x.Replaced <= known
		if p.slip != "" && !gone {
			slips[p.slip] = true
		}
		if i != now && !slips[string(kept.ID)] && v.asksMore(p.rules, rules) {
			earlier = append(earlier, p)
		}
	}
	slices.Reverse(earlier)
	rules.Reprocessing.Earlier = nil
	for _, p := range earlier {
		rules.Reprocessing.Earlier = append(rules.Reprocessing.Earlier, p.rules.Reprocessing)
	}
	return rules, nil
}

// editionOf reads the rule set of an edition.
func (v View) editionOf(s store.Stands) (policy.RuleSet, error) {
	kept, err := store.Edition(v.tx, s)
	if err != nil {
		return policy.RuleSet{}, err
	}
	p, err := v.Registry().parsed(kept)
	return p.rules, err
}

// asksMore says whether one edition asks a release for more than another.
func (v View) asksMore(then, now policy.RuleSet) bool {
	key := [2]string{then.Digest, now.Digest}
	v.desk.mu.Lock()
	defer v.desk.mu.Unlock()
	more, known := v.desk.laxer[key]
	if !known {
		more = len(policy.LaxerCycle(then, now)) > 0
		v.desk.laxer[key] = more
	}
	return more
}

// lotFault says why a lot must not have been used at an instant; empty when it may have been. A recall and an expiry that
// were on record then keep their word for that time, although they were taken back since: what was read meanwhile was
// read with a lot that nobody trusted.
func lotFault(v View, now quality.Lot, used unit.Instant) (string, error) {
	if why := now.Fault(used); why != "" {
		return why, nil
	}
	then, ok, err := edition[quality.Lot](v, record.Lot, now.Key(), used, store.Forever)
	if err != nil || !ok || then.Fault(used) == "" {
		return "", err
	}
	if !then.Recalled.Known() || then.Recalled > used {
		return fmt.Sprintf("lot %s of kit %s had expired by what was on record then", now.Lot, now.Kit), nil
	}
	return fmt.Sprintf("lot %s of kit %s was recalled then", now.Lot, now.Kit), nil
}

// edition returns the edition of an entity in force at an instant, or the first one there is.
func edition[T any](v View, typ record.Kind, key string, at, known unit.Instant) (body T, ok bool, err error) {
	kept, ok, err := inForce(v, typ, key, at, known)
	if err != nil || !ok {
		return body, false, err
	}
	body, err = record.Body[T](kept.Record)
	return body, true, err
}

// clockNotes returns what was on record of the computer's clock at an instant.
func clockNotes(v View, known unit.Instant) (c reprocessing.Clock, err error) {
	kept, err := v.tx.Entities(record.Clock)
	if err != nil {
		return c, err
	}
	for _, k := range kept {
		if k.Recorded > known {
			continue
		}
		n, err := record.Body[reprocessing.ClockNote](k.Record)
		if err != nil {
			return c, err
		}
		n.Place = k.Seq
		c.Notes = append(c.Notes, n)
	}
	return c, nil
}
