package reprocessing

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// A scope's history is told by a computer's clock, and that can be wrong: it is set by hand, by a time server or
// by an empty battery. What was right is not asked of the clock itself. A step is found out by a clock that
// nobody sets, or by the records, which were written one after the other. After a large one nothing is ready
// until people have compared another clock; what was written meanwhile proves nothing, and what speaks against
// a scope counts as if it had happened as late as it can have.

// The limits (common practice for time that is kept by time servers: they correct seconds, not minutes).
const (
	// MostBack and MostAhead are how far the clock may step without anybody being asked.
	MostBack  = time.Minute
	MostAhead = 10 * time.Minute
	// MostApart is how far another clock may be from this computer's for the two to agree: it is read in whole
	// minutes, and typed.
	MostApart = 2 * time.Minute
	// ClockSlack is how far the clock may be from what was expected before it counts as a step at all.
	ClockSlack = 2 * time.Second
)

// Noticed is how something about the clock came to be known.
type Noticed string

// The ways. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	ByElapsed  Noticed = "elapsed"  // by a clock that nobody sets, while the program ran
	ByRecords  Noticed = "records"  // by the time of the record before
	ByCompared Noticed = "compared" // by people, with another clock
)

// OtherClock is what this computer's clock was compared with.
type OtherClock string

// The other clocks. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	Phone         OtherClock = "phone"
	RadioClock    OtherClock = "radio-clock"
	OtherComputer OtherClock = "other-computer"
	SpokenTime    OtherClock = "spoken-time"
	WallClock     OtherClock = "wall-clock"
)

// OtherClocks lists the other clocks.
var OtherClocks = []OtherClock{Phone, RadioClock, OtherComputer, SpokenTime, WallClock}

// Words says the other clock to people.
func (c OtherClock) Words() string {
	switch c {
	case Phone:
		return "a phone on its network"
	case RadioClock:
		return "a clock set by radio"
	case OtherComputer:
		return "another computer"
	case SpokenTime:
		return "the spoken time by telephone or radio"
	case WallClock:
		return "a clock on the wall"
	}
	return string(c)
}

// ClockNote is one thing that is on record about the computer's clock: that it stepped, or that people compared it.
type ClockNote struct {
	// From is what the clock had shown, To what it showed then.
	From unit.Instant `json:"from"`
	To   unit.Instant `json:"to"`
	// Elapsed is how much time had passed from the one to the other by a clock that nobody sets; zero where
	// nobody knows, as when the program did not run.
	Elapsed unit.Span `json:"elapsed,omitzero"`
	Noticed Noticed   `json:"noticed"`
	// Other is the clock that it was compared with, Saw what that showed, By and Second who looked.
	Other  OtherClock   `json:"other,omitempty"`
	Saw    unit.Instant `json:"saw,omitzero"`
	By     string       `json:"by,omitempty"`
	Second string       `json:"second,omitempty"`

	// Place is that of its record in the ledger.
	Place int64 `json:"-"`
}

// expected is what the clock should have shown.
func (n ClockNote) expected() unit.Instant { return n.From.Add(n.Elapsed.Duration()) }

// Step is how far the clock stepped, ahead or below zero back.
func (n ClockNote) Step() time.Duration {
	switch step := n.To.Sub(n.expected()); n.Noticed {
	case ByElapsed:
		return step
	case ByRecords: // between two records any time may pass
		return min(step, 0)
	case ByCompared:
	}
	return 0
}

// Large says whether people have to look at another clock.
func (n ClockNote) Large() bool { return n.Step() < -MostBack || n.Step() > MostAhead }

// Words says in a line what it is.
func (n ClockNote) Words() string {
	switch step := n.Step(); {
	case n.Noticed == ByCompared:
		return "the computer's clock was compared with " + n.Other.Words()
	case step < 0:
		return "the computer's clock was set back by " + inWords(-step)
	default:
		return "the computer's clock was set ahead by " + inWords(step)
	}
}

// inWords says how long something is, to the second.
func inWords(d time.Duration) string { return unit.SpanOf(d.Round(time.Second)).String() }

// Check refuses a note that contradicts itself.
func (n ClockNote) Check() error {
	switch {
	case !slices.Contains([]Noticed{ByElapsed, ByRecords, ByCompared}, n.Noticed):
		return fmt.Errorf("clock: %q is no way to notice a step", n.Noticed)
	case n.Noticed != ByCompared:
		return nil
	case !slices.Contains(OtherClocks, n.Other):
		return fmt.Errorf("comparison of the clock: which other clock was it? One of: %s", scope.Words(OtherClocks))
	case !n.Saw.Known():
		return fmt.Errorf("comparison of the clock: what did the other clock show?")
	case n.By == "":
		return fmt.Errorf("comparison of the clock: who looked?")
	}
	if apart := n.To.Sub(n.Saw).Abs(); apart > MostApart {
		return fmt.Errorf("this computer's clock is %s from the other one: set it right first, then compare again", inWords(apart))
	}
	return nil
}

// Ticked is what two clocks showed at one moment: the computer's clock, and one that nobody sets, which counts
// from some beginning of its own and goes on while the computer sleeps.
type Ticked struct {
	Wall    unit.Instant
	Elapsed time.Duration
}

// Stepped says whether the computer's clock stepped between two looks at it, and by how much.
func Stepped(before, now Ticked) (n ClockNote, ok bool) {
	passed := now.Elapsed - before.Elapsed
	n = ClockNote{From: before.Wall, To: now.Wall, Elapsed: unit.SpanOf(passed), Noticed: ByElapsed}
	return n, n.Step().Abs() > ClockSlack
}

// Behind says whether the clock shows less than a record has that was written already, and by how much.
func Behind(recorded, now unit.Instant) (n ClockNote, ok bool) {
	n = ClockNote{From: recorded, To: now, Noticed: ByRecords}
	return n, n.Step() < -ClockSlack
}

// Clock is what is known of the computer's clock.
type Clock struct {
	// Notes are those on record, in the order of the ledger.
	Notes []ClockNote
	// Newest is when the newest record was written, by the clock that the computer had then.
	Newest unit.Instant
}

// episode is the time from a large step to the comparison that settled it, by the places in the ledger.
type episode struct {
	// from is the place of the first large step; until that of the comparison, which was at the instant settled:
	// both are zero while there is none.
	from, until int64
	settled     unit.Instant
	steps       []ClockNote
}

// episodes returns the times when nobody knew what the clock is worth, the earliest first.
func (c Clock) episodes() (all []episode) {
	var now *episode
	for _, n := range c.Notes {
		switch {
		case n.Noticed == ByCompared && now != nil:
			now.until, now.settled = n.Place, n.To
			all, now = append(all, *now), nil
		case n.Large():
			if now == nil {
				now = &episode{from: n.Place}
			}
			now.steps = append(now.steps, n)
		}
	}
	if now != nil {
		all = append(all, *now)
	}
	return all
}

// Stepped says whether the clock has ever made a large step that is on record.
func (c Clock) Stepped() bool { return slices.ContainsFunc(c.Notes, ClockNote.Large) }

// Unsettled returns the large steps that no comparison has followed, the earliest first; the last may not be on
// record yet, where the clock shows less than the newest record at now.
func (c Clock) Unsettled(now unit.Instant) (steps []ClockNote) {
	if all := c.episodes(); len(all) > 0 && all[len(all)-1].until == 0 {
		steps = all[len(all)-1].steps
	}
	if n, ok := Behind(c.Newest, now); ok && n.Large() {
		steps = append(slices.Clone(steps), n)
	}
	return steps
}

// Never is the Unsure of what no comparison has settled yet.
const Never = unit.Instant(1<<63 - 1)

// Unsure says of a record whether it was written while nobody knew what the clock is worth: zero when it was not,
// else the instant of the comparison that settled it, by which everything in it had happened for sure; Never while
// there is none.
//
// That is so between the first large step and the comparison, by place in the ledger. It is so as well before a
// step where the record has a later time than the clock should have shown at the step: then the clock had been
// wrong for a while before anybody noticed.
func (c Clock) Unsure(place int64, recorded unit.Instant) unit.Instant {
	for _, e := range c.episodes() {
		if e.until != 0 && place >= e.until {
			continue
		}
		if place < e.from && !slices.ContainsFunc(e.steps, func(n ClockNote) bool { return recorded > min(n.To, n.expected()) }) {
			continue
		}
		if e.until == 0 {
			return Never
		}
		return e.settled
	}
	return 0
}

// Doubts returns why nothing is ready at the present instant, ok = false when the clock is not in doubt.
func (c Clock) Doubts(now unit.Instant, zone *time.Location) (why, next string, ok bool) {
	steps := c.Unsettled(now)
	if len(steps) == 0 {
		return "", "", false
	}
	first, last := steps[0], steps[len(steps)-1]
	why = fmt.Sprintf("%s: it showed %s, then %s", first.Words(), first.From.In(zone), first.To.In(zone))
	if len(steps) > 1 {
		why += fmt.Sprintf("; at last %s, to %s", last.Words(), last.To.In(zone))
	}
	return why + "; nobody has compared it with another clock since", "compare this computer's clock with another one, and say so: " +
		"the lead, or two people on duty", true
}

// bound returns the instant by which something had happened for sure, as far as it is asked about at now.
func (s Stamp) bound(now unit.Instant) unit.Instant {
	if s.Unsure.Known() {
		return min(s.Unsure, now)
	}
	return now
}

// atLatest returns when something adverse happened at the latest: what it says itself where the clock was right
// and has come to that time, else the bound. Zero stays zero.
func (s Stamp) atLatest(at, now unit.Instant) unit.Instant {
	switch {
	case !at.Known():
		return 0
	case s.Unsure.Known():
		return s.bound(now)
	}
	return min(at, now)
}

// proves says whether a record can prove something that happened at an instant.
func (s Stamp) proves(at, now unit.Instant) bool { return !s.Unsure.Known() && at <= now }

// present returns the history as it stands at the present instant, whatever the clock said when something was
// written. What speaks against the scope, or opens a duty, counts even when it claims to lie ahead; then, as when
// the clock was in doubt, it counts from as late as it can have happened. What proves something counts only from
// its own time on, and never when the clock was in doubt.
func (h History) present(now unit.Instant) History {
	var past History
	past.Instrument, past.Model, past.Earlier, past.Shared = h.Instrument, h.Model, h.Earlier, h.Shared
	for _, u := range h.Uses {
		if u.Unsure.Known() || u.Start > now {
			ended := u.End.Known()
			u.Start, u.End = u.atLatest(u.Start, now), 0
			if ended {
				u.End = u.Start
			}
		} else if u.End > now {
			u.End = 0
		}
		past.Uses = append(past.Uses, u)
	}
	for _, s := range h.Steps {
		switch {
		case s.proves(s.Start, now):
			if s.End > now && s.Result == Fail {
				s.End = now
			} else if s.End > now {
				s.End, s.Result = 0, NotStated
			}
		case s.Result == Fail || s.MEC == Fail || s.Kind == Issue: // what was issued may be at a patient
			s.Start, s.End = s.atLatest(s.Start, now), s.atLatest(s.End, now)
			if s.Kind != Issue {
				s.Result = Fail
			}
		case s.Kind.wets(): // who began it took the scope from where it waited, and nothing shows how that ended
			s.Start, s.End, s.Result = s.atLatest(s.Start, now), 0, NotStated
		default:
			continue
		}
		past.Steps = append(past.Steps, s)
	}
	past.Samples = keep(h.Samples, func(t Taken) bool { return t.proves(t.Collected, now) })
	for _, d := range h.Decisions {
		switch proves := d.proves(d.last(), now); {
		case !proves && d.Passed():
			continue
		case !proves:
			d.Cycle, d.First, d.Last = d.atLatest(d.Cycle, now), d.atLatest(d.First, now), d.atLatest(d.Last, now)
		case d.Passed() && h.restsOnUnsure(d):
			d.Verification.Complete, d.Verification.Why = false, "a sample was taken or read while the computer's clock was in doubt"
			d.Verification.Next.Words = "clean the scope again, then sample it again"
		}
		past.Decisions = append(past.Decisions, d)
	}
	for _, x := range h.Holds {
		x.At = x.atLatest(x.At, now)
		past.Holds = append(past.Holds, x)
	}
	for _, l := range h.Lifts {
		if l.Counts(now) {
			past.Lifts = append(past.Lifts, l)
		}
	}
	for _, r := range h.Repairs {
		back := r.Returned.Known() && (r.Unsure.Known() || r.Returned <= now)
		r.Sent, r.Returned = r.atLatest(r.Sent, now), r.atLatest(r.Returned, now)
		if !back {
			r.Returned = 0
		}
		past.Repairs = append(past.Repairs, r)
	}
	for _, q := range h.Requests {
		q.At = q.atLatest(q.At, now)
		past.Requests = append(past.Requests, q)
	}
	for _, n := range h.Restores {
		if n.Restores() { // what two people say is no reading of a clock
			n.At = n.atLatest(n.At, now)
		}
		past.Restores = append(past.Restores, n)
	}
	past.Attestations = keep(h.Attestations, func(a Attestation) bool { return a.proves(a.At, now) })
	if h.Listable() == "" { // by everything on record, also by what is left out above since it proves nothing
		past.StockTakes = keep(h.StockTakes, func(t StockTake) bool { return t.proves(t.At, now) })
	}
	return past
}

// Counts says whether the lift counts at the present instant: two people who agree are no reading of a clock, and a
// lift names its hold and so comes after it.
func (l Lift) Counts(now unit.Instant) bool { return l.Two() || l.proves(l.At, now) }

// restsOnUnsure says whether a sample of the verification was taken, handled or read while the clock was in doubt.
func (h History) restsOnUnsure(d Decision) bool {
	return slices.ContainsFunc(h.Samples, func(t Taken) bool {
		return t.Unsure.Known() && t.Cleaning == d.Verification.Cleaning && t.Collected >= d.Cycle && t.Collected <= d.last()
	})
}

// ReleaseNow answers whether a scope may be used on a patient at the present instant: what is on record counts
// whatever the clock says. The history holds everything that is on record of the scope, also what claims to lie
// ahead, and each entry says whether it was written while the clock was in doubt (Clock.Unsure).
func ReleaseNow(h History, rules Rules, c Clock, now unit.Instant, zone *time.Location) Answer {
	present := h.present(now)
	a := present.judged(rules, present.Restores, now, zone)
	why, next, doubted := c.Doubts(now, zone)
	if !doubted {
		return a
	}
	a = a.NotKnown(Reason{Text: why})
	a.Next = slices.Insert(a.Next, 0, next)
	return a
}

// Present returns the history as [ReleaseNow] sees it, in the order of time.
func (h History) Present(now unit.Instant) History {
	p := h.present(now)
	slices.SortStableFunc(p.Holds, func(a, b Hold) int { return cmp.Compare(a.At, b.At) })
	return p
}
