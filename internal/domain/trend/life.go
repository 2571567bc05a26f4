package trend

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Identity is what a signal is called by as long as the same reading begins it: the series, the reading
// of its first signal, and which way that signal pointed.
type Identity struct {
	Series    Key          `json:"series"`
	Reading   ledger.ID    `json:"reading"`
	Signalled unit.Instant `json:"signalled"` // when the reading was taken
	Direction Direction    `json:"direction"` // of the first signal
}

// ID returns the id of the signal, which depends on nothing but the identity.
func (i Identity) ID() ledger.ID {
	k := i.Series
	return ledger.DerivedID("signal", k.Scope, string(k.Point), k.System, k.Kit, string(i.Reading), string(i.Direction))
}

// Identity returns what the signal is called by. Signals that join it later do not change it.
func (a Signal) Identity() Identity {
	return Identity{Series: a.Key, Reading: a.First.ID, Signalled: a.First.At, Direction: a.First.Direction}
}

// Begin returns the earliest instant at which the change can have come: the start of its interval, or the
// first signal where it has no date.
func (a Signal) Begin() unit.Instant {
	if a.Since != nil {
		return min(a.Since.After, a.First.At)
	}
	return a.First.At
}

// Act is what somebody does about a signal. The words are in the ledger: never rename one, only add.
type Act string

// The acts.
const (
	Seen      Act = "seen"      // somebody has looked at it
	Explained Act = "explained" // somebody says what was behind it
	Linked    Act = "linked"    // a record of what was done about it
	Closed    Act = "closed"    // nothing is left to do
	Reopened  Act = "reopened"  // the explanation does not hold
)

// Acts lists every act.
var Acts = []Act{Seen, Explained, Linked, Closed, Reopened}

// Cause is the category of an explanation. The words are in the ledger: never rename one, only add.
type Cause string

// The causes.
const (
	ScopeCause    Cause = "scope"    // wear, damage or residue of the scope
	CleaningCause Cause = "cleaning" // how it was cleaned
	TrainingCause Cause = "training" // a person, or the training
	LotCause      Cause = "lot"
	MeterCause    Cause = "meter"
	SamplingCause Cause = "sampling" // how, where or when the sample was taken
	NoCause       Cause = "none"     // looked for and not found
)

// Causes lists every cause.
var Causes = []Cause{ScopeCause, CleaningCause, TrainingCause, LotCause, MeterCause, SamplingCause, NoCause}

// Words names a cause for a person.
func (c Cause) Words() string {
	switch c {
	case ScopeCause:
		return "the scope: wear, damage"
	case CleaningCause:
		return "the cleaning"
	case TrainingCause:
		return "a person, training"
	case LotCause:
		return "a lot of the kit"
	case MeterCause:
		return "the meter"
	case SamplingCause:
		return "the sampling"
	case NoCause:
		return "no cause found"
	}
	return string(c)
}

// LifeError says why something cannot be done about a signal, for a person.
type LifeError struct{ message string }

func (e *LifeError) Error() string { return e.message }

func lifeError(format string, args ...any) error {
	return &LifeError{fmt.Sprintf(format, args...)}
}

// mostWords is how long an explanation or a reason may be, in bytes.
const mostWords = 2000

// Handling is one act about a signal, as it is recorded.
type Handling struct {
	Signal ledger.ID `json:"signal"`
	Identity
	// Begin and Last bound the signal as it was when somebody acted: the earliest instant of the change and
	// the last signal.
	Begin unit.Instant `json:"began"`
	Last  unit.Instant `json:"last"`
	Act   Act          `json:"act"`
	At    unit.Instant `json:"at"`
	// Words explain, or say why the signal is closed or opened again.
	Words string `json:"words,omitempty"`
	// Cause is the category of an explanation, Record what is linked.
	Cause  Cause     `json:"cause,omitempty"`
	Record ledger.ID `json:"record,omitempty"`
}

// Check refuses an act that does not say what it has to: an explanation its cause and words, a link its
// record, closing and opening again their reasons. The error is a LifeError.
func (h Handling) Check() error {
	switch {
	case h.Signal == "" || h.Series.Scope == "" || h.Reading == "" || !h.Signalled.Known():
		return lifeError("an act about a signal must name the signal, its series and the reading that began it")
	case !slices.Contains(Acts, h.Act):
		return lifeError("%q is nothing that is done about a signal; allowed: seen, explained, linked, closed, reopened", h.Act)
	case len(h.Words) > mostWords:
		return lifeError("the words have %d bytes, at most %d are allowed", len(h.Words), mostWords)
	case h.Act == Explained && !slices.Contains(Causes, h.Cause):
		return lifeError("choose a cause: %s", causeList())
	case h.Act != Explained && h.Cause != "":
		return lifeError("only an explanation has a cause")
	case h.Act == Linked && h.Record == "":
		return lifeError("name the record of what was done")
	case h.Act != Linked && h.Record != "":
		return lifeError("only a link names a record")
	}
	if empty := strings.TrimSpace(h.Words) == ""; empty {
		switch h.Act {
		case Explained:
			return lifeError("say what was behind the signal")
		case Closed:
			return lifeError("say why the signal can be closed")
		case Reopened:
			return lifeError("say why the signal is opened again")
		case Seen, Linked:
		}
	}
	return nil
}

func causeList() string {
	words := make([]string, len(Causes))
	for i, c := range Causes {
		words[i] = string(c)
	}
	return strings.Join(words, ", ")
}

// LifeState is how far people are with a signal.
type LifeState string

// The states of a signal's life.
const (
	LifeNew       LifeState = "new"       // nobody has looked at it
	LifeSeen      LifeState = "seen"      // somebody has, or it was opened again
	LifeExplained LifeState = "explained" // it is known, or thought, what was behind it
	LifeClosed    LifeState = "closed"
)

// LifeStates lists every state, in the order in which a signal goes through them.
var LifeStates = []LifeState{LifeNew, LifeSeen, LifeExplained, LifeClosed}

// Next returns the state after an act. It refuses, with a LifeError, what cannot be done in this one:
// a signal is closed only after an explanation, and after it was opened again only after a new one; of a
// closed signal nothing is said any more until it is opened again.
func (s LifeState) Next(a Act) (LifeState, error) {
	switch {
	case s == LifeClosed && a != Reopened:
		return s, lifeError("the signal is closed: open it again first")
	case s != LifeClosed && a == Reopened:
		return s, lifeError("the signal is not closed")
	}
	switch a {
	case Seen:
		if s != LifeNew {
			return s, lifeError("the signal was seen before")
		}
		return LifeSeen, nil
	case Explained:
		return LifeExplained, nil
	case Linked:
		if s == LifeNew { // whoever did something about it has seen it
			return LifeSeen, nil
		}
		return s, nil
	case Closed:
		if s != LifeExplained {
			return s, lifeError("say first what was behind the signal: closing needs an explanation")
		}
		return LifeClosed, nil
	case Reopened:
		return LifeSeen, nil
	}
	return s, lifeError("%q is nothing that is done about a signal", a)
}

// Live returns the state that acts, in the order in which they were recorded, have brought a signal to, and
// which of them count. One that rests on an act that was taken back does not count any more: the signal is
// as if it had not been done.
func Live(acts []Act) (state LifeState, counts []bool) {
	state, counts = LifeNew, make([]bool, len(acts))
	for i, a := range acts {
		if next, err := state.Next(a); err == nil {
			state, counts[i] = next, true
		} else if a == Seen && state != LifeClosed {
			counts[i] = true // somebody else saw it as well
		}
	}
	return state, counts
}

// Past is a signal that somebody has acted on, as far as the records tell.
type Past struct {
	ID ledger.ID
	Identity
	// Begin and Last bound it as in [Handling], at the latest act.
	Begin, Last unit.Instant
}

// Carry says which signals, as they compute now, carry on those that people have acted on: for each of past
// the index of the signal, −1 when nothing signals any more that could be it. A late reading, a voided one
// or other limits can move the first signal to another reading. So the one that begins with the same
// reading and direction comes first; else the signal of the same series that goes the same way (Spread goes
// with any) and whose time, from the earliest instant of the change to the last signal, overlaps; of several
// the one whose first signal lies nearest. No signal carries on two.
func Carry(past []Past, signals []Signal) []int {
	carried := make([]int, len(past))
	taken := make([]bool, len(signals))
	byID := make(map[ledger.ID]int, len(signals))
	bySeries := map[Key][]int{}
	for i, a := range signals {
		byID[a.Identity().ID()] = i
		bySeries[a.Key] = append(bySeries[a.Key], i)
	}
	var moved []int
	for i, p := range past {
		j, same := byID[p.Identity.ID()]
		if same && !taken[j] {
			carried[i], taken[j] = j, true
			continue
		}
		carried[i] = -1
		moved = append(moved, i)
	}
	slices.SortStableFunc(moved, func(i, j int) int { return cmp.Compare(past[i].Signalled, past[j].Signalled) })
	for _, i := range moved {
		best := -1
		for _, j := range bySeries[past[i].Series] {
			if !taken[j] && past[i].goesOnIn(signals[j]) && (best < 0 || past[i].far(signals[j]) < past[i].far(signals[best])) {
				best = j
			}
		}
		if best >= 0 {
			carried[i], taken[best] = best, true
		}
	}
	return carried
}

func (p Past) goesOnIn(a Signal) bool {
	along := p.Direction == a.Direction || p.Direction == a.First.Direction || p.Direction == Spread || a.Direction == Spread
	return along && a.Begin() <= p.Last && p.Begin <= a.Last
}

// far returns how far apart the first signals are.
func (p Past) far(a Signal) unit.Instant {
	return max(p.Signalled-a.First.At, a.First.At-p.Signalled)
}

// String prints the identity for a message.
func (i Identity) String() string {
	return fmt.Sprintf("%s, %s since the reading %s", i.Series, i.Direction, i.Reading)
}
