package quality

import (
	"fmt"
	"slices"

	"rinsate/internal/domain/scope"
)

// Rule is a control rule. z is how many standard deviations a control lies from the mean of its
// target; "beyond" is strict, so that a z of exactly 2 is not beyond 2, and a z of exactly 0 is on
// no side of the mean.
type Rule string

// The rules: J. O. Westgard, P. L. Barry, M. R. Hunt & T. Groth, Clin Chem 1981;27:493-501.
// Consecutive means consecutive controls of one target, however many runs they come from. 2-2s
// also looks at consecutive controls of any target within one run; 4-1s and 10-x look at the
// consecutive controls of all targets together, across runs, if [Rules.AcrossLevels] is set.
const (
	// OneTwo: one control is beyond 2 on either side. A warning, which rejects nothing.
	OneTwo Rule = "1-2s"
	// OneThree: one control is beyond 3 on either side.
	OneThree Rule = "1-3s"
	// TwoTwo: two consecutive controls are beyond 2 on the same side.
	TwoTwo Rule = "2-2s"
	// RFour: in one run, one control is above 2 and another below −2, so that they are more than 4
	// apart. Two controls that are 4 apart in another way do not count, nor do two runs.
	RFour Rule = "R-4s"
	// FourOne: four consecutive controls are beyond 1 on the same side.
	FourOne Rule = "4-1s"
	// TenX: ten consecutive controls are on the same side of the mean.
	TenX Rule = "10-x"
	// OutsideLimits: a control is outside the limits of its target in RLU. It is not one of the
	// multi-rules and always in use.
	OutsideLimits Rule = "limits"
)

// MultiRules lists the rules that can be switched.
var MultiRules = []Rule{OneTwo, OneThree, TwoTwo, RFour, FourOne, TenX}

// ErrorKind is which kind of error a broken rule points to.
type ErrorKind string

// The kinds of error.
const (
	RandomError     ErrorKind = "random"     // this reading went wrong, or readings vary more than they did
	SystematicError ErrorKind = "systematic" // all readings moved the same way
	BackgroundError ErrorKind = "background" // light where there should be none
	UnknownError    ErrorKind = "unknown"    // limits alone do not tell
)

// Rules is how a facility judges its controls.
type Rules struct {
	// Use lists the multi-rules in use. None leaves the limits of the targets.
	Use []Rule `yaml:"use,omitempty" json:"use,omitempty"`
	// WarningFirst looks at the rejecting rules only in a run in which a control is beyond 2, as
	// the authors first proposed for charts kept by hand. It saves work and false signals, and sees
	// slow drifts late; needs 1-2s in Use.
	WarningFirst bool `yaml:"warning_first,omitempty" json:"warning_first,omitempty"`
	// AcrossLevels also counts 4-1s and 10-x over the controls of all targets together.
	AcrossLevels bool `yaml:"across_levels,omitempty" json:"across_levels,omitempty"`
	// Required lists the kinds of control without which a run does not show that a meter is in
	// order.
	Required []ControlKind `yaml:"required,omitempty" json:"required,omitempty"`
}

// Check refuses rules that are not known, twice in the list or without what they rest on.
func (r Rules) Check() error {
	for i, rule := range r.Use {
		if !slices.Contains(MultiRules, rule) {
			return fmt.Errorf("control rule %q is not known; allowed: %s", rule, scope.Words(MultiRules))
		}
		if slices.Contains(r.Use[:i], rule) {
			return fmt.Errorf("control rule %q is listed twice", rule)
		}
	}
	if r.WarningFirst && !r.uses(OneTwo) {
		return fmt.Errorf("the warning %s comes first but is not in use: add it, or let every rule reject by itself", OneTwo)
	}
	for _, kind := range r.Required {
		if !slices.Contains(ControlKinds, kind) {
			return fmt.Errorf("kind of control %q is not known; allowed: %s", kind, scope.Words(ControlKinds))
		}
	}
	return nil
}

func (r Rules) uses(rule Rule) bool { return slices.Contains(r.Use, rule) }

// streak counts consecutive controls on one side: above as a positive number, below as a negative.
// It stops at the longest that a rule asks for.
type streak int8

// next returns the streak after a control on a side: 1 above, −1 below, 0 neither, which ends it.
func (s streak) next(side int) streak {
	switch {
	case side > 0:
		return min(max(s, 0)+1, tenLength)
	case side < 0:
		return max(min(s, 0)-1, -tenLength)
	}
	return 0
}

// reaches says whether the streak is at least n long.
func (s streak) reaches(n int) bool { return int(s) >= n || int(s) <= -n }

// side says on which side z is beyond a limit: 1, −1, or 0 for neither.
func side(z, limit float64) int {
	switch {
	case z > limit:
		return 1
	case z < -limit:
		return -1
	}
	return 0
}

// streaks are what the rules of consecutive controls remember of one sequence of controls.
type streaks struct {
	two, four, ten streak
}

func (s streaks) next(z float64) streaks {
	return streaks{s.two.next(side(z, 2)), s.four.next(side(z, 1)), s.ten.next(side(z, 0))}
}

// The lengths that the rules of consecutive controls reject at.
const (
	twoLength  = 2
	fourLength = 4
	tenLength  = 10
)
