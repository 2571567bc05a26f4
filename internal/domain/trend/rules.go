package trend

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"
)

// Rule is a run rule on standardised values, by the numbers of L. S. Nelson, J Qual Technol
// 1984;16:237-239. A rule signals at a value that completes its pattern, and that value is part of
// the pattern. A value exactly on a line is not beyond it: 3.0 is no signal of rule 1, a value on
// the centre line lies on neither side, a tie is neither a rise nor a fall.
type Rule int

// The rules.
const (
	BeyondThree Rule = 1 // one value beyond 3 sigma
	SameSide    Rule = 2 // nine values in a row on one side of the centre line
	Monotone    Rule = 3 // six values in a row rising, or falling: five steps
	Alternating Rule = 4 // fourteen values in a row, up and down by turns
	TwoOfThree  Rule = 5 // two of three values beyond 2 sigma on the same side
	FourOfFive  Rule = 6 // four of five values beyond 1 sigma on the same side
	Hugging     Rule = 7 // fifteen values in a row within 1 sigma of the centre line
	Avoiding    Rule = 8 // eight values in a row beyond 1 sigma, on either side
)

// AllRules lists the rules in their order.
var AllRules = []Rule{BeyondThree, SameSide, Monotone, Alternating, TwoOfThree, FourOfFive, Hugging, Avoiding}

// Pattern says in words what a rule looks for.
func (r Rule) Pattern() string {
	switch r {
	case BeyondThree:
		return "a reading more than 3 standard deviations from the baseline"
	case SameSide:
		return "a long run of readings on one side of the baseline"
	case Monotone:
		return "six readings in a row each further than the one before"
	case Alternating:
		return "fourteen readings in a row that go up and down by turns"
	case TwoOfThree:
		return "two of three readings more than 2 standard deviations from the baseline on the same side"
	case FourOfFive:
		return "four of five readings more than 1 standard deviation from the baseline on the same side"
	case Hugging:
		return "fifteen readings in a row closer to the baseline than chance allows"
	case Avoiding:
		return "eight readings in a row that avoid the middle of the baseline"
	}
	return "no known pattern"
}

// RuleSet is a set of run rules. Its text is the numbers with commas, "1,2,5".
type RuleSet uint8

// RulesOf returns the set of the rules given; numbers outside 1 to 8 are left out.
func RulesOf(rules ...Rule) RuleSet {
	var s RuleSet
	for _, r := range rules {
		if BeyondThree <= r && r <= Avoiding {
			s |= 1 << (r - 1)
		}
	}
	return s
}

// Has says whether r is in the set.
func (s RuleSet) Has(r Rule) bool { return s&RulesOf(r) != 0 }

// Len returns how many rules are in the set.
func (s RuleSet) Len() int { return bits.OnesCount8(uint8(s)) }

// String prints the numbers of the rules.
func (s RuleSet) String() string {
	var numbers []string
	for _, r := range AllRules {
		if s.Has(r) {
			numbers = append(numbers, strconv.Itoa(int(r)))
		}
	}
	return strings.Join(numbers, ",")
}

// MarshalText writes the numbers of the rules.
func (s RuleSet) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the numbers of the rules.
func (s *RuleSet) UnmarshalText(text []byte) error {
	var set RuleSet
	for part := range strings.SplitSeq(string(text), ",") {
		if len(text) == 0 {
			break
		}
		n, err := strconv.Atoi(part)
		if err != nil || n < 1 || n > 8 {
			return fmt.Errorf("%q is not a run rule: write numbers from 1 to 8 with commas, such as 1,2,5", part)
		}
		set |= RulesOf(Rule(n))
	}
	*s = set
	return nil
}

// Rules are the run rules that are switched on.
type Rules struct {
	On RuleSet `json:"on,omitempty"`
	// Run is the length of rule 2; 0 means nine (Nelson), and eight is the older choice (Western
	// Electric, Statistical Quality Control Handbook, 1956).
	Run int `json:"run,omitempty"`
}

const (
	monotonePoints    = 6
	alternatingPoints = 14
	huggingPoints     = 15
	avoidingPoints    = 8
)

func (r Rules) run() int {
	if r.Run == 0 {
		return 9
	}
	return r.Run
}

// check says what is wrong with the rules.
func (r Rules) check() error {
	if r.run() < 2 || r.run() > 100 {
		return argument("rule 2 with a run of %d values: want 2 to 100", r.Run)
	}
	return nil
}

// RuleState is the memory of the run rules. Counts stop at the length that signals. What belongs
// to a rule that is off stays 0.
type RuleState struct {
	// Side counts the last values on one side of the centre line, negative below it.
	Side int8 `json:"side"`
	// Trend counts the last values that rise, negative when they fall; 1 after a first value or a
	// tie, 0 before the first.
	Trend int8 `json:"trend"`
	// Turns counts the last values that alternate, positive after a rise, negative after a fall; 1
	// after a first value or a tie, 0 before the first.
	Turns int8 `json:"turns"`
	// Last is the previous value, for Trend and Turns.
	Last float64 `json:"last"`
	// High2 and Low2 have a bit for each of the last two values beyond ±2 sigma, High1 and Low1
	// for each of the last four beyond ±1 sigma; the lowest bit is the latest.
	High2   uint8 `json:"high2"`
	Low2    uint8 `json:"low2"`
	High1   uint8 `json:"high1"`
	Low1    uint8 `json:"low1"`
	Inside  int8  `json:"inside"`  // the last values within 1 sigma
	Outside int8  `json:"outside"` // the last values beyond 1 sigma
}

// Step takes the next value in and returns the rules that signal at it. A pattern that goes on
// signals again at the next value, unless the rule is restarted ([RuleState.Restart]).
func (r Rules) Step(s RuleState, z float64) (RuleState, RuleSet) {
	var hit RuleSet
	if r.On.Has(BeyondThree) && beyond(z, 3) != 0 {
		hit |= RulesOf(BeyondThree)
	}
	if r.On.Has(SameSide) {
		s.Side = sideRun(s.Side, z, int8(r.run()))
		if int(max(s.Side, -s.Side)) >= r.run() {
			hit |= RulesOf(SameSide)
		}
	}
	if r.On&RulesOf(Monotone, Alternating) != 0 {
		if r.On.Has(Monotone) {
			s.Trend = trendRun(s.Trend, beyond(z-s.Last, 0))
			if max(s.Trend, -s.Trend) >= monotonePoints {
				hit |= RulesOf(Monotone)
			}
		}
		if r.On.Has(Alternating) {
			s.Turns = turnRun(s.Turns, beyond(z-s.Last, 0))
			if max(s.Turns, -s.Turns) >= alternatingPoints {
				hit |= RulesOf(Alternating)
			}
		}
		s.Last = z
	}
	if r.On.Has(TwoOfThree) {
		var up, down bool
		s.High2, up = window(s.High2, z > 2, 2, 3)
		s.Low2, down = window(s.Low2, z < -2, 2, 3)
		if up || down {
			hit |= RulesOf(TwoOfThree)
		}
	}
	if r.On.Has(FourOfFive) {
		var up, down bool
		s.High1, up = window(s.High1, z > 1, 4, 5)
		s.Low1, down = window(s.Low1, z < -1, 4, 5)
		if up || down {
			hit |= RulesOf(FourOfFive)
		}
	}
	if r.On.Has(Hugging) {
		s.Inside = count(s.Inside, -1 < z && z < 1, huggingPoints)
		if s.Inside >= huggingPoints {
			hit |= RulesOf(Hugging)
		}
	}
	if r.On.Has(Avoiding) {
		s.Outside = count(s.Outside, beyond(z, 1) != 0, avoidingPoints)
		if s.Outside >= avoidingPoints {
			hit |= RulesOf(Avoiding)
		}
	}
	return s, hit
}

// Restart forgets what the rules of the set have seen, so that they begin anew with the next value.
func (s RuleState) Restart(set RuleSet) RuleState {
	if set.Has(SameSide) {
		s.Side = 0
	}
	if set.Has(Monotone) {
		s.Trend = 0
	}
	if set.Has(Alternating) {
		s.Turns = 0
	}
	if set.Has(TwoOfThree) {
		s.High2, s.Low2 = 0, 0
	}
	if set.Has(FourOfFive) {
		s.High1, s.Low1 = 0, 0
	}
	if set.Has(Hugging) {
		s.Inside = 0
	}
	if set.Has(Avoiding) {
		s.Outside = 0
	}
	return s
}

// sideRun continues the run of values on one side of the centre line.
func sideRun(run int8, z float64, most int8) int8 {
	switch {
	case z > 0:
		return min(max(run, 0)+1, most)
	case z < 0:
		return max(min(run, 0)-1, -most)
	}
	return 0
}

// trendRun continues the run of values that rise or fall; step is the sign of the last step.
func trendRun(run int8, step int) int8 {
	switch {
	case run == 0 || step == 0:
		return 1
	case step > 0:
		return min(max(run, 1)+1, monotonePoints)
	}
	return max(min(run, -1)-1, -monotonePoints)
}

// turnRun continues the run of values that go up and down by turns.
func turnRun(run int8, step int) int8 {
	switch {
	case run == 0 || step == 0:
		return 1
	case step > 0:
		return min(max(-run, 1)+1, alternatingPoints)
	}
	return -min(max(run, 1)+1, alternatingPoints)
}

// window shifts a value into the bits of the last width−1 and says whether it is itself beyond the
// line and at least need of the last width are.
func window(past uint8, beyond bool, need, width int) (next uint8, hit bool) {
	now := past << 1
	if beyond {
		now |= 1
	}
	return now & (1<<(width-1) - 1), beyond && bits.OnesCount8(now&(1<<width-1)) >= need
}

// count continues the run of values for which going on holds.
func count(run int8, goesOn bool, most int8) int8 {
	if !goesOn {
		return 0
	}
	return min(run+1, most)
}
