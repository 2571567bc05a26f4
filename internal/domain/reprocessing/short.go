package reprocessing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// ShortNow says how far the scope of an answer of [ReleaseNow] is from ready.
func (h History) ShortNow(a Answer, rules Rules, now unit.Instant, zone *time.Location) Short {
	return shortOf(h.present(now), a, rules, now, zone).fits()
}

// ShortAt says how far the scope of an answer of [Release] was from ready.
func (h History) ShortAt(a Answer, rules Rules, at unit.Instant, zone *time.Location) Short {
	return shortOf(h.until(at), a, rules, at, zone).fits()
}

// ShortBefore says how far a scope was from ready when a use began, by all that is known now.
func (h History) ShortBefore(rules Rules, start unit.Instant, zone *time.Location) (Answer, Short) {
	at := BeforeUse(start)
	past := h.before(at)
	a := past.judged(rules, h.Restores, at, zone)
	return a, shortOf(past, a, rules, at, zone).fits()
}

// mostWords is how long the line may be, in characters: it goes into a record, and nothing about it may keep somebody from
// recording an emergency.
const mostWords = 1000

// fits cuts the line where it is too long.
func (s Short) fits() Short {
	if r := []rune(s.Words); len(r) > mostWords {
		s.Words = string(r[:mostWords-1]) + "…"
	}
	return s
}

// shortOf is ShortAt for a history that holds nothing later than the instant.
func shortOf(h History, a Answer, rules Rules, at unit.Instant, zone *time.Location) Short {
	if a.State.Clear() || a.State == PaperDecides {
		return Short{Grade: Nothing, Words: "nothing is lacking by what is on record"}
	}
	// What people see first is what speaks against the scope, however much of the rest is done.
	switch holds := h.OpenHolds(); {
	case a.State == OutOfService:
		return Short{Grade: NotHere, Words: a.first() + ": it is not here, or should not be"}
	case len(holds) > 0:
		return Short{Grade: Held, Words: heldFor(holds, zone) + "; " + stepsOf(a)}
	case a.State == NotKnown:
		s := Short{Grade: Unclear, Words: "nobody can say what was done with it: " + a.first()}
		// Whoever has to choose between two of them asks what they have behind them.
		if slices.ContainsFunc(a.Steps, func(p Progress) bool { return p.Record != "" }) {
			s.Words += "; by the records, " + stepsOf(a)
		}
		return s
	case len(h.Unfinished()) > 0:
		return Short{Grade: AtPatient, Words: "it is not reprocessed since a patient: " + a.first()}
	}
	if over := ranOutAt(h, rules, at, zone); over.Known() {
		return Short{
			Grade: OnlyTime, Over: over,
			Words: fmt.Sprintf("everything that is asked for was done and on record; only time is over, since %s", over.In(zone)),
		}
	}
	lacking := lackingOf(a)
	lacks := func(kinds ...StepKind) bool {
		return slices.ContainsFunc(lacking, func(p Progress) bool { return slices.Contains(kinds, p.Step) })
	}
	s := Short{Words: stepsOf(a)}
	switch {
	case len(a.Steps) == 0 || lacks(ManualCleaning, Soak):
		s.Grade = NotCleaned
	case lacks(LeakTest, Disinfection):
		s.Grade = NotDisinfected
	case lacks(FinalRinse, Drying, Inspection, PointOfUse, Transport, Storage, Issue):
		s.Grade = NotDry
	case lacks(Verification):
		s.Grade = NotVerified
	default:
		s.Grade, s.Words = OnlyRecord, stepsOf(a)+". What is lacking: "+a.first()
	}
	return s
}

// ranOutAt returns when the scope ceased to be ready through time alone: it was ready at the last act on record, and
// nothing has happened since. Zero where it was not.
func ranOutAt(h History, rules Rules, at unit.Instant, zone *time.Location) unit.Instant {
	last := lastAct(h)
	if !last.Known() || last > at {
		return 0
	}
	then := h.until(last)
	if b := then.judged(rules, then.Restores, last, zone); b.State == Ready && b.Until.Known() && b.Until <= at {
		return b.Until
	}
	return 0
}

// lastAct returns the last instant of the history at which somebody did something.
func lastAct(h History) (last unit.Instant) {
	for _, u := range h.Uses {
		last = max(last, u.last())
	}
	for _, s := range h.Steps {
		last = max(last, s.last())
	}
	for _, t := range h.Samples {
		last = max(last, t.Collected, t.Read)
	}
	for _, d := range h.Decisions {
		last = max(last, d.last())
	}
	for _, x := range h.Holds {
		last = max(last, x.At)
	}
	for _, l := range h.Lifts {
		last = max(last, l.At)
	}
	for _, r := range h.Repairs {
		last = max(last, r.Sent, r.Returned)
	}
	for _, q := range h.Requests {
		last = max(last, q.At)
	}
	for _, n := range h.Restores {
		last = max(last, n.At)
	}
	for _, a := range h.Attestations {
		last = max(last, a.At)
	}
	return last
}

// first returns the first reason that blocks, without what a person said.
func (a Answer) first() string {
	for _, r := range a.Reasons {
		if r.Blocks {
			return r.Text
		}
	}
	return "no reason is on record"
}

// lackingOf returns the steps of an answer that are not done, in their order.
func lackingOf(a Answer) []Progress {
	return keep(a.Steps, func(p Progress) bool { return p.Status != DoneStep && p.Status != NotDueStep })
}

// stepsOf says in a line which steps are done and which are not.
func stepsOf(a Answer) string {
	var done, unproven, lacking []string
	for _, p := range a.Steps {
		switch {
		case p.Status == DoneStep:
			done = append(done, p.Step.Words())
		case p.Status == MissingStep && p.Record != "":
			unproven = append(unproven, p.Step.Words())
		case p.Status == MissingStep:
			lacking = append(lacking, p.Step.Words())
		case p.Status != NotDueStep:
			lacking = append(lacking, fmt.Sprintf("%s (%s)", p.Step.Words(), p.Status))
		}
	}
	switch {
	case len(a.Steps) == 0:
		return "no step of reprocessing is on record since"
	case len(lacking)+len(unproven) == 0:
		return "every step is on record"
	case len(done)+len(unproven) == 0:
		return "lacking: " + strings.Join(lacking, ", ") + "; nothing of it is on record"
	}
	var all []string
	say := func(what string, steps []string) {
		if len(steps) > 0 {
			all = append(all, what+": "+strings.Join(steps, ", "))
		}
	}
	say("lacking", lacking)
	say("on record, but not proven", unproven)
	say("on record", done)
	return strings.Join(all, "; ")
}

// heldFor says what open holds are for, the strictest first.
func heldFor(holds []Hold, zone *time.Location) string {
	holds = slices.Clone(holds)
	slices.SortStableFunc(holds, func(a, b Hold) int {
		return cmp.Or(cmp.Compare(slices.Index(HoldKinds, b.Of()), slices.Index(HoldKinds, a.Of())), cmp.Compare(a.At, b.At))
	})
	var all []string
	told := make(map[HoldKind]bool)
	for _, x := range holds { // each kind once, since when the first of it stands: there may be hundreds
		if told[x.Of()] {
			continue
		}
		told[x.Of()] = true
		all = append(all, fmt.Sprintf("%s, since %s", x.Of().Words(), x.At.In(zone)))
	}
	return "it is on hold: " + strings.Join(all, "; ")
}
