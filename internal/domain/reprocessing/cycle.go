package reprocessing

import (
	"slices"
	"time"

	"rinsate/internal/base/unit"
)

// Cause is what begins a cycle, and so ends the one before it.
type Cause string

// The causes.
const (
	AfterUse    Cause = "use"
	AfterRepair Cause = "repair"
	OnArrival   Cause = "arrival" // the scope came into service
)

// Cycle is one cycle as it went: everything from the beginning of the use or repair that it
// follows to End. Cycles of one scope that follow each other, each retraced at the instant before the
// From of the next, have no entry in common and leave none out.
type Cycle struct {
	// From is when that use or repair began; zero for the first cycle of a scope.
	From unit.Instant
	// Start is when the cycle itself began, Record the record that shows it.
	Start  unit.Instant
	Cause  Cause
	Record string
	// End is the last instant that is told, Answer what the release check said then.
	End    unit.Instant
	Answer Answer

	Uses      []Use
	Steps     []Step
	Samples   []Taken
	Decisions []Decision
	Holds     []Hold
	Lifts     []Lift
	Repairs   []Repair
}

// Retrace tells the cycle that a scope was in at an instant, as it had gone until then. The
// history must hold what [Release] needs, and every entry since From that is to be told; entries come out
// in the order in which they went in. The rules are those that were in force then.
func Retrace(h History, rules Rules, at unit.Instant, zone *time.Location) Cycle {
	past := h.until(at)
	t := Cycle{Cause: OnArrival, End: at, Answer: Release(h, rules, at, zone)}
	t.Start, _, t.Record = Start(past)
	if i := slices.IndexFunc(past.Uses, func(u Use) bool { return u.ID == t.Record }); t.Record != "" && i >= 0 {
		t.Cause, t.From = AfterUse, past.Uses[i].Start
	}
	if i := slices.IndexFunc(past.Repairs, func(r Repair) bool { return r.ID == t.Record }); t.Record != "" && i >= 0 {
		t.Cause, t.From = AfterRepair, past.Repairs[i].Sent
	}
	t.Uses = keep(past.Uses, func(u Use) bool { return u.Start >= t.From })
	t.Steps = keep(past.Steps, func(s Step) bool { return s.Start >= t.From })
	t.Samples = keep(past.Samples, func(s Taken) bool { return s.Collected >= t.From })
	t.Decisions = keep(past.Decisions, func(d Decision) bool { return d.last() >= t.From })
	t.Holds = keep(past.Holds, func(x Hold) bool { return x.At >= t.From })
	t.Lifts = keep(past.Lifts, func(l Lift) bool { return l.At >= t.From })
	t.Repairs = keep(past.Repairs, func(r Repair) bool { return r.Sent >= t.From })
	return t
}
