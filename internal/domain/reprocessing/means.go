package reprocessing

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
)

// What a scope was disinfected with it shares with others: the run of a reprocessor, the solution in it, the lot that the
// solution is of. So what is on record of these elsewhere ([History.Shared]) speaks of it too, whenever that arrives: of two
// results of one run the bad one counts, of two dates of one lot the earlier one, and a solution is as old as its first use
// on record says.

// means looks at what is on record of the means of a disinfection, wherever that is.
func (g *release) means(s Step, d Disinfectant, fail func(source sampling.Source, format string, args ...any)) {
	if x := g.failedRun(s); x != nil {
		fail(d.Source, "the run of %s failed by the record of %s at %s: a failed result counts for every scope that was in it",
			s.Reprocessor, x.Scope, x.Start.In(g.zone))
	}
	if x := g.earlierDate(s, d); x != nil {
		fail(d.Source, "lot %q expired at %s by the record of %s at %s: of two dates the earlier one counts",
			s.DisinfectantLot, x.DisinfectantExpires.In(g.zone), x.Scope, x.Start.In(g.zone))
		return
	}
	if d.ReuseDays == 0 || !s.DisinfectantExpires.Known() || s.DisinfectantLot == "" { // what is missing is said already
		return
	}
	life := d.life(g.zone)
	if s.DisinfectantFilled.Known() {
		if life(s.DisinfectantFilled) <= s.last() {
			fail(d.Source, "the solution was filled at %s; %s is used for %d days", s.DisinfectantFilled.In(g.zone), d.Name, d.ReuseDays)
		}
		return
	}
	if s.DisinfectantExpires > life(s.last()) {
		fail(d.Source, "when the solution was filled is not on record, and %s is the date of its lot; %s is used for %d days",
			s.DisinfectantExpires.In(g.zone), d.Name, d.ReuseDays)
		return
	}
	if x := g.firstUse(s); x != nil && life(x.Begun()) <= s.last() {
		fail(d.Source, "lot %q%s is in use since %s by the record of %s, and when it was filled anew is not on record; %s is used for %d days",
			s.DisinfectantLot, in(s.Reprocessor), x.Begun().In(g.zone), x.Scope, d.Name, d.ReuseDays)
	}
}

func in(reprocessor string) string {
	if reprocessor == "" {
		return ""
	}
	return " in " + reprocessor
}

// life returns when a solution that began at an instant is over, by the days of its label.
func (d Disinfectant) life(zone *time.Location) func(unit.Instant) unit.Instant {
	return func(begun unit.Instant) unit.Instant { return begun.AddDays(d.ReuseDays, zone) }
}

// others visits the disinfections that share means with one.
func (h History) others(s Step, visit func(x *Step)) {
	for _, all := range [][]Step{h.Steps, h.Shared} {
		for i := range all {
			if x := &all[i]; x.Kind == Disinfection && x.ID != s.ID {
				visit(x)
			}
		}
	}
}

// failedRun returns a failed result of the run of the reprocessor that a disinfection was done in, nil when there is none.
func (g *trip) failedRun(s Step) (found *Step) {
	if s.Reprocessor == "" || s.Result == Fail || s.MEC == Fail {
		return nil
	}
	g.h.others(s, func(x *Step) {
		if (x.Result == Fail || x.MEC == Fail) && s.SameRun(*x) && (found == nil || x.Start < found.Start) {
			found = x
		}
	})
	return found
}

// SameRun says whether two disinfections were one run of a reprocessor: both name its cycle, and their times overlap to
// the minute; or one does not name it, and they began in the same minute.
func (s Step) SameRun(x Step) bool {
	if strings.TrimSpace(s.Reprocessor) == "" || !sameName(s.Reprocessor, x.Reprocessor) {
		return false
	}
	minute := func(at unit.Instant) unit.Instant { return at - at%unit.Instant(unit.Minute) }
	if strings.TrimSpace(s.CycleNumber) == "" || strings.TrimSpace(x.CycleNumber) == "" {
		return minute(s.Start) == minute(x.Start)
	}
	return sameName(s.CycleNumber, x.CycleNumber) && minute(s.Start) <= minute(x.last()) && minute(x.Start) <= minute(s.last())
}

// SharedName is what a reprocessor, a disinfectant or a lot is found by, whatever the case of its letters and the spaces
// around it.
func SharedName(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// sameName says whether two texts name one thing.
func sameName(a, b string) bool { return SharedName(a) == SharedName(b) }

// sameLot says whether two disinfections were done with one lot.
func (s Step) sameLot(x Step) bool {
	return sameName(s.Disinfectant, x.Disinfectant) && strings.TrimSpace(s.DisinfectantLot) != "" && sameName(s.DisinfectantLot, x.DisinfectantLot)
}

// earlierDate returns the disinfection whose date of the same lot, or of the same solution, is the earliest of those by
// which the lot had expired, where the one of the disinfection itself does not say so; nil when there is none.
func (g *trip) earlierDate(s Step, d Disinfectant) (found *Step) {
	if s.DisinfectantExpires.Known() && s.DisinfectantExpires <= s.last() {
		return nil
	}
	life := d.life(g.zone)
	g.h.others(s, func(x *Step) {
		date := x.DisinfectantExpires
		if !date.Known() || date > s.last() || !s.sameLot(*x) || found != nil && found.DisinfectantExpires <= date {
			return
		}
		// A date within the life of a solution may be that of the solution alone.
		ofLot := d.ReuseDays == 0 || date > life(x.last())
		if ofLot || sameName(s.Reprocessor, x.Reprocessor) && s.sameFilling(*x) {
			found = x
		}
	})
	return found
}

// sameFilling says whether the solution of two disinfections, of one lot in one reprocessor or basin, may have been the
// same: nothing says that it was filled anew between them.
func (s Step) sameFilling(x Step) bool {
	switch {
	case s.DisinfectantFilled.Known() && x.DisinfectantFilled.Known():
		return s.DisinfectantFilled == x.DisinfectantFilled
	case s.DisinfectantFilled.Known():
		return x.Start >= s.DisinfectantFilled
	case x.DisinfectantFilled.Known():
		return s.Start >= x.DisinfectantFilled
	}
	return true
}

// Begun is since when the solution of a disinfection is known to be in use.
func (s Step) Begun() unit.Instant {
	if s.DisinfectantFilled.Known() {
		return min(s.Start, s.DisinfectantFilled)
	}
	return s.Start
}

// firstUse returns the disinfection by which a lot was in use in the same reprocessor or basin for the longest, nil where
// that is this one.
func (g *trip) firstUse(s Step) (first *Step) {
	g.h.others(s, func(x *Step) {
		if x.Begun() < s.Begun() && s.sameLot(*x) && sameName(s.Reprocessor, x.Reprocessor) &&
			(first == nil || x.Begun() < first.Begun()) {
			first = x
		}
	})
	return first
}

// temperatures says what is wrong with the temperatures of a disinfection, empty when nothing is.
func (d Disinfectant) temperatures(s Step) string {
	switch {
	case d.Coldest == 0 && d.Warmest == 0:
	case !s.HasTemperature:
		return fmt.Sprintf("the temperature is not on record; %s needs at least %s °C", d.Name, d.Coldest)
	case s.Coldest < d.Coldest:
		return fmt.Sprintf("coldest %s °C; %s needs at least %s °C", s.Coldest, d.Name, d.Coldest)
	case d.Warmest == 0:
	case max(s.Coldest, s.Warmest) > d.Warmest:
		return fmt.Sprintf("warmest %s °C; %s allows at most %s °C", max(s.Coldest, s.Warmest), d.Name, d.Warmest)
	case s.Warmest == 0:
		return fmt.Sprintf("the warmest temperature is not on record; %s allows at most %s °C", d.Name, d.Warmest)
	}
	return ""
}
