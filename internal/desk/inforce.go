package desk

import (
	"fmt"

	"rinsate/internal/base/unit"
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

// lotFault says why a lot must not have been used at an instant; empty when it may have been. A recall that was on record
// then keeps its word for that time, although it was taken back since: what was read meanwhile was read with a lot that
// nobody trusted.
func lotFault(v View, now quality.Lot, used unit.Instant) (string, error) {
	if why := now.Fault(used); why != "" {
		return why, nil
	}
	then, ok, err := edition[quality.Lot](v, record.Lot, now.Key(), used, store.Forever)
	if err != nil || !ok || !then.Recalled.Known() || then.Recalled > used {
		return "", err
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
