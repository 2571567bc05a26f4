package sampling

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Sample is what a person took from one point, with the instants of its life. An instant that is
// zero was not recorded.
type Sample struct {
	Scope string          `json:"scope"`
	Point scope.PointKind `json:"point"`
	// Cleaning counts the cleanings of the same cycle that were sampled, from 1.
	Cleaning int `json:"cleaning"`
	// NotApplicable says why nothing was taken although the point exists; such a sample has no
	// clocks and no reading.
	NotApplicable string       `json:"not_applicable,omitempty"`
	Kit           string       `json:"kit,omitempty"`
	Lot           string       `json:"lot,omitempty"`
	By            string       `json:"by,omitempty"`
	Collected     unit.Instant `json:"collected"`
	// Capped and Uncapped bound the time that a rinsate stood in its closed container.
	Capped   unit.Instant `json:"capped,omitzero"`
	Uncapped unit.Instant `json:"uncapped,omitzero"`
	// Dipped is when the device went into the rinsate.
	Dipped    unit.Instant `json:"dipped,omitzero"`
	Activated unit.Instant `json:"activated,omitzero"`
	// Shaken is how long the activated device was shaken.
	Shaken unit.Span    `json:"shaken,omitzero"`
	Read   unit.Instant `json:"read,omitzero"`
	// Flushed went in, Recovered came out.
	Flushed   unit.Millilitres `json:"flushed_ml,omitzero"`
	Recovered unit.Millilitres `json:"recovered_ml,omitzero"`
}

// Ended returns when the sample was read, or taken where no reading is on record.
func (s Sample) Ended() unit.Instant { return max(s.Collected, s.Read) }

// Method returns how the sample was taken.
func (s Sample) Method() Method { return MethodOf(s.Point) }

// Check refuses a sample that contradicts itself.
func (s Sample) Check() error {
	fail := func(format string, args ...any) error {
		return fmt.Errorf("sample of %s at %s: "+format, append([]any{s.Scope, s.Point}, args...)...)
	}
	switch {
	case s.Scope == "":
		return fmt.Errorf("sample: the scope is missing")
	case !slices.Contains(scope.PointKinds, s.Point):
		return fmt.Errorf("sample of %s: point %q is not known; allowed: %s", s.Scope, s.Point, scope.Words(scope.PointKinds))
	case !s.Collected.Known():
		return fail("when was it collected?")
	case s.Cleaning < 1:
		return fail("the cleaning is counted from 1")
	case s.Flushed < 0 || s.Recovered < 0 || s.Shaken < 0:
		return fail("a volume or a time is below zero")
	case s.Flushed > 0 && s.Recovered > s.Flushed:
		return fail("%s mL recovered of %s mL flushed: more came out than went in", s.Recovered, s.Flushed)
	case s.NotApplicable == "" && (s.Kit == "" || s.Lot == ""):
		return fail("the kit and its lot are missing")
	}
	last, lastName := s.Collected, Collected
	for _, mark := range Marks[1:] {
		at := s.At(mark)
		if !at.Known() {
			continue
		}
		if at < last {
			return fail("it was %s before it was %s", mark, lastName)
		}
		last, lastName = at, mark
	}
	return nil
}

// Mark names an instant in the life of a sample.
type Mark string

// The marks, in the order in which they happen.
const (
	Collected Mark = "collected"
	Capped    Mark = "capped"
	Uncapped  Mark = "uncapped"
	Dipped    Mark = "dipped"
	Activated Mark = "activated"
	Read      Mark = "read"
	// Shaken ends the shaking of the activated device. It is kept as how long that took, so that no
	// clock runs from or to it.
	Shaken Mark = "shaken"
)

// Marks lists the marks that clocks run between, in order.
var Marks = []Mark{Collected, Capped, Uncapped, Dipped, Activated, Read}

// At returns the instant of a mark, zero when it was not recorded.
func (s Sample) At(m Mark) unit.Instant {
	switch m {
	case Collected:
		return s.Collected
	case Capped:
		return s.Capped
	case Uncapped:
		return s.Uncapped
	case Dipped:
		return s.Dipped
	case Activated:
		return s.Activated
	case Read:
		return s.Read
	case Shaken:
		if s.Shaken > 0 {
			return s.Activated.Add(s.Shaken.Duration())
		}
	}
	return 0
}

// Set returns the sample with one instant more.
func (s Sample) Set(m Mark, at unit.Instant) (Sample, error) {
	switch m {
	case Collected:
		s.Collected = at
	case Capped:
		s.Capped = at
	case Uncapped:
		s.Uncapped = at
	case Dipped:
		s.Dipped = at
	case Activated:
		s.Activated = at
	case Read:
		s.Read = at
	case Shaken:
		if !s.Activated.Known() || at < s.Activated {
			return s, fmt.Errorf("sample of %s at %s: shaking ends after the device was activated", s.Scope, s.Point)
		}
		s.Shaken = unit.SpanOf(at.Sub(s.Activated))
	default:
		return s, fmt.Errorf("mark %q is not known; allowed: %s, %s", m, scope.Words(Marks), Shaken)
	}
	return s, s.Check()
}

// Clock is one limit on the life of a sample, as data of the rule set.
type Clock struct {
	Name   string `yaml:"name" json:"name"`
	Method Method `yaml:"method,omitempty" json:"method,omitempty"` // empty: both
	From   Mark   `yaml:"from" json:"from"`
	To     Mark   `yaml:"to" json:"to"`
	// Within is the longest time allowed between the two marks.
	Within unit.Span `yaml:"within" json:"within"`
	// CappedWithin is the longest time in a closed container, which does not count towards Within;
	// zero means that capping does not pause this clock.
	CappedWithin unit.Span `yaml:"capped_within,omitempty" json:"capped_within,omitzero"`
	Source       `yaml:",inline"`
}

// Clocks are the limits of a rule set on samples.
type Clocks struct {
	Limits []Clock `yaml:"limits" json:"limits"`
	// Shake is the shortest time an activated device is shaken.
	Shake unit.Span `yaml:"shake" json:"shake"`
}

// Check refuses clocks that cannot run.
func (c Clocks) Check() error {
	for _, l := range c.Limits {
		switch {
		case slices.Index(Marks, l.From) < 0 || slices.Index(Marks, l.To) < 0:
			return fmt.Errorf("clock %q: from %q to %q: allowed: %s", l.Name, l.From, l.To, scope.Words(Marks))
		case slices.Index(Marks, l.From) >= slices.Index(Marks, l.To):
			return fmt.Errorf("clock %q: %s comes before %s", l.Name, l.To, l.From)
		case l.Within <= 0 || l.CappedWithin < 0:
			return fmt.Errorf("clock %q: the limits must be longer than zero", l.Name)
		case l.Method != "" && !slices.Contains(Methods, l.Method):
			return fmt.Errorf("clock %q: method %q is not known; allowed: %s", l.Name, l.Method, scope.Words(Methods))
		case l.Citation == "":
			return fmt.Errorf("clock %q: the citation is missing", l.Name)
		}
	}
	if c.Shake < 0 {
		return fmt.Errorf("clocks: the shortest time of shaking is below zero")
	}
	return nil
}

// State is where a sample stands.
type State string

// The states of a sample.
const (
	Open   State = "open"   // taken, not yet read, no clock has run out
	Done   State = "done"   // read in time
	Void   State = "void"   // a clock ran out or a step made it invalid: take a new sample
	Absent State = "absent" // not applicable on this scope
)

// Standing is where a sample stands at an instant.
type Standing struct {
	State State
	// Why says what made the sample void, or what is awaited.
	Why string
	// Deadline is when the running clock runs out; zero when none runs.
	Deadline unit.Instant
	// Unproven lists the limits that cannot be judged because an instant was not recorded.
	Unproven []string
}

// Judge returns where a sample stands at now. A clock whose limit has passed voids the sample; the
// limit itself is still in time.
func (c Clocks) Judge(s Sample, now unit.Instant) Standing {
	if s.NotApplicable != "" {
		return Standing{State: Absent, Why: s.NotApplicable}
	}
	st := Standing{State: Open}
	if s.Read.Known() {
		st.State = Done
	}
	for _, l := range c.Limits {
		if l.Method != "" && l.Method != s.Method() {
			continue
		}
		from, to := s.At(l.From), s.At(l.To)
		if !from.Known() {
			// A mark that was skipped leaves a gap in the proof; one still to come does not.
			if to.Known() || s.passed(l.To) {
				st.Unproven = append(st.Unproven, l.Name)
			}
			continue
		}
		end := to
		switch {
		case to.Known():
		case s.passed(l.To):
			// Not recorded, yet it must lie between two instants that were.
			st.Unproven = append(st.Unproven, l.Name)
			continue
		default:
			end = now
		}
		deadline, closed := l.deadline(s, end)
		if end > deadline {
			return Standing{State: Void, Why: l.missed(s, end, closed)}
		}
		switch {
		case to.Known() && l.pauses(s) && !s.Uncapped.Known():
			// Nobody knows how long it stood open again before it was used.
			st.Unproven = append(st.Unproven, l.Name)
		case !to.Known() && (!st.Deadline.Known() || deadline < st.Deadline):
			st.Deadline, st.Why = deadline, l.Name
		}
	}
	if total, bounded := c.longest(s.Method()); bounded && len(st.Unproven) > 0 {
		end := s.Read
		if !end.Known() {
			end = max(now, s.Collected, s.Capped, s.Uncapped, s.Dipped, s.Activated)
		}
		if age := end.Sub(s.Collected); age > total.Duration() {
			return Standing{State: Void, Why: fmt.Sprintf("%s since collection; all clocks together allow %s", unit.SpanOf(age), total)}
		}
	}
	if s.Activated.Known() && s.Shaken > 0 && s.Shaken < c.Shake {
		return Standing{State: Void, Why: fmt.Sprintf("shaken for %s; at least %s is needed", s.Shaken, c.Shake)}
	}
	if s.Activated.Known() && s.Read.Known() && s.Shaken == 0 && c.Shake > 0 {
		st.Unproven = append(st.Unproven, "shake")
	}
	return st
}

// passed says whether a mark later than m was recorded.
func (s Sample) passed(m Mark) bool {
	later := Marks[slices.Index(Marks, m)+1:]
	return slices.ContainsFunc(later, func(m Mark) bool { return s.At(m).Known() })
}

// pauses says whether the sample was put into a closed container while the clock ran.
func (l Clock) pauses(s Sample) bool {
	return l.CappedWithin > 0 && s.Capped.Known() && s.Capped >= s.At(l.From)
}

// deadline returns when the clock of a sample runs out. A closed container stops the clock and has
// its own limit; closed says that it is that one which counts.
func (l Clock) deadline(s Sample, end unit.Instant) (at unit.Instant, closed bool) {
	at = s.At(l.From).Add(l.Within.Duration())
	if !l.pauses(s) || s.Capped > at {
		return at, false
	}
	limit := s.Capped.Add(l.CappedWithin.Duration())
	if !s.Uncapped.Known() {
		return limit, true
	}
	if s.Uncapped > limit {
		return min(limit, end-1), true // it stood too long, whenever it was used
	}
	return at.Add(s.Uncapped.Sub(s.Capped)), false
}

// missed is the sentence for a sample that went past its deadline.
func (l Clock) missed(s Sample, end unit.Instant, closed bool) string {
	if closed {
		opened := end
		if s.Uncapped.Known() {
			opened = s.Uncapped
		}
		return fmt.Sprintf("%s: the closed container stood %s; at most %s is allowed", l.Name, unit.SpanOf(opened.Sub(s.Capped)), l.CappedWithin)
	}
	return fmt.Sprintf("%s: %s after it was %s; at most %s is allowed", l.Name, unit.SpanOf(end.Sub(s.At(l.From))), l.From, l.Within)
}

// longest returns the sum of all limits of a method: no valid sample can be older when it is read.
func (c Clocks) longest(m Method) (unit.Span, bool) {
	var total unit.Span
	for _, l := range c.Limits {
		if l.Method == "" || l.Method == m {
			total += l.Within + l.CappedWithin
		}
	}
	return total, total > 0
}

// Limits that do not follow from clocks.

// Flaws lists what makes a sample void besides its clocks, given the point of the model that it was taken from
// and the flush that its protocol asks for, zero where it asks for none: fluid that never was in contact with the
// whole channel shows nothing, and a level holds for one volume alone, since a larger one thins what is read.
// How far a volume may be off is common practice.
func (s Sample) Flaws(p scope.Point, flush unit.Millilitres) []string {
	var flaws []string
	if s.NotApplicable == "" && p.NotApplicable != "" {
		flaws = append(flaws, fmt.Sprintf("a sample of a point that cannot be sampled: %s", p.NotApplicable))
	}
	switch {
	case s.Flushed > 0 && p.DeadVolume > 0 && s.Flushed < p.DeadVolume:
		flaws = append(flaws, fmt.Sprintf("%s mL flushed is less than the %.1f mL that the channel holds", s.Flushed, float64(p.DeadVolume)))
	case s.Flushed > 0 && flush > 0 && (s.Flushed*10 < flush*9 || s.Flushed*10 > flush*11):
		flaws = append(flaws, fmt.Sprintf("%s mL flushed; the protocol asks for %s mL, give or take a tenth", s.Flushed, flush))
	}
	if s.Recovered > 0 && p.DeadVolume > 0 && s.Recovered < p.DeadVolume {
		flaws = append(flaws, fmt.Sprintf("%s mL recovered is less than the %.1f mL that the channel holds", s.Recovered, float64(p.DeadVolume)))
	}
	return flaws
}

// Gaps lists what a sample that was read needs on record to prove that it was taken as its protocol asks, and does not
// have: moments without which a clock cannot be judged, and the volume where the protocol has a flush, zero where it
// asks for none.
func (c Clocks) Gaps(s Sample, flush unit.Millilitres) (gaps []string) {
	if unproven := c.Judge(s, s.Read).Unproven; len(unproven) > 0 {
		gaps = append(gaps, "not every moment is on record that these limits need: "+strings.Join(unproven, ", "))
	}
	if flush > 0 && s.Flushed == 0 {
		gaps = append(gaps, "how much was flushed is not on record")
	}
	return gaps
}

// Moment is one mark of a sample, recorded on its own when it happens.
type Moment struct {
	Sample string       `json:"sample"`
	Scope  string       `json:"scope"`
	Mark   Mark         `json:"mark"`
	At     unit.Instant `json:"at"`
	// Shaken is how long the device was shaken, with the mark Activated when somebody counted it;
	// otherwise the mark Shaken ends it.
	Shaken unit.Span `json:"shaken,omitzero"`
	By     string    `json:"by,omitempty"`
}

// Add returns the sample with the moment.
func (s Sample) Add(m Moment) (Sample, error) {
	if m.Shaken > 0 {
		s.Shaken = m.Shaken
	}
	return s.Set(m.Mark, m.At)
}
