package desk

import (
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Exposure counts what a scope has been through. Instants are zero where the thing never happened, and
// a count since such an instant is one since the scope came into service.
type Exposure struct {
	At        unit.Instant `json:"at"`
	InService unit.Instant `json:"in_service"`
	// LastUse is the start of the last use, DaysSince how many calendar days ago it was.
	LastUse   unit.Instant `json:"last_use,omitzero"`
	DaysSince int          `json:"days_since_use"`
	// Repaired is the last return from repair, Passed the reading of the last verification that passed.
	Repaired unit.Instant `json:"repaired,omitzero"`
	Passed   unit.Instant `json:"passed,omitzero"`
	// Uses are those since the scope came into service.
	Uses         int `json:"uses"`
	SinceRepair  int `json:"uses_since_repair"`
	SincePassed  int `json:"uses_since_passed"`
	ThisMonth    int `json:"uses_this_month"`
	Repairs      int `json:"repairs"`
	OpenRequests int `json:"open_requests"`
	// Actions are the ATP readings over the action level in the 365 days before At.
	Actions int `json:"actions_in_a_year"`
}

// Exposure counts what a scope has been through by an instant. Uses count by their start; what was
// voided or corrected does not count. A request is open until a verification passes.
func (v NumbersView) Exposure(tag string, at unit.Instant) (Exposure, error) {
	x := Exposure{At: at}
	i, ok, err := edition[scope.Instrument](v.View, record.Instrument, tag, at, store.Forever)
	if err == nil && !ok {
		err = v.registered(tag)
	}
	if err != nil {
		return x, err
	}
	x.InService = i.InService
	if err := v.lastOf(&x, tag); err != nil {
		return x, err
	}
	for _, c := range []struct {
		n     *int
		typ   record.Kind
		since unit.Instant
	}{
		{&x.Uses, record.Use, x.InService},
		{&x.SinceRepair, record.Use, max(x.InService, x.Repaired)},
		{&x.SincePassed, record.Use, max(x.InService, x.Passed)},
		{&x.ThisMonth, record.Use, monthOf(at, v.Zone())},
		{&x.Repairs, record.Repair, x.InService},
		{&x.OpenRequests, record.Request, max(x.InService, x.Passed)},
	} {
		if *c.n, err = v.tx.CountEvents(tag, c.typ, c.since-1, at+1, store.Forever); err != nil {
			return x, err
		}
	}
	x.Actions, err = v.tx.Numbers().CountActions(tag, at.AddDays(-365, v.Zone()), at+1)
	return x, err
}

// lastOf finds the last use, the last return from repair and the last verification that passed.
func (v NumbersView) lastOf(x *Exposure, tag string) error {
	use, ok, err := v.tx.LastEvent(tag, record.Use, "", x.At, store.Forever)
	if err != nil {
		return err
	}
	if ok {
		x.LastUse, x.DaysSince = use.At, daysBetween(use.At, x.At, v.Zone())
	}
	err = v.tx.Events(tag, 0, x.At, store.Forever, func(k store.Kept) error {
		return fold(k, func(r record.RepairBody) {
			if r.Returned <= x.At {
				x.Repaired = max(x.Repaired, r.Returned)
			}
		})
	}, record.Repair)
	if err != nil {
		return err
	}
	return v.tx.VerificationsBefore(tag, x.At, store.Forever, func(k store.Kept) (bool, error) {
		err := fold(k, func(d reprocessing.Decision) {
			if d.Passed() {
				x.Passed = d.Last
			}
		})
		return !x.Passed.Known(), err
	})
}

// monthOf returns when the calendar month of an instant began.
func monthOf(at unit.Instant, zone *time.Location) unit.Instant {
	t := at.Time().In(zone)
	return unit.At(time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, zone))
}

// daysBetween counts the midnights of the calendar between two instants.
func daysBetween(from, to unit.Instant, zone *time.Location) int {
	noon := func(i unit.Instant) time.Time {
		t := i.Time().In(zone)
		return time.Date(t.Year(), t.Month(), t.Day(), 12, 0, 0, 0, time.UTC)
	}
	return int(noon(to).Sub(noon(from)).Hours()) / 24
}
