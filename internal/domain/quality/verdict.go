package quality

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Outcome is what a check of a meter came to.
type Outcome string

// The outcomes of a check.
const (
	Accepted Outcome = "accepted"
	Warning  Outcome = "warning"  // accepted, with a control beyond two standard deviations
	Rejected Outcome = "rejected" // the meter must not be used
	// Unjudged is a check that shows nothing: a control has no target, or one that is required was
	// not read. It is never a good check.
	Unjudged Outcome = "unjudged"
)

// Outcomes lists every outcome.
var Outcomes = []Outcome{Accepted, Warning, Rejected, Unjudged}

// Good says whether the check shows that the meter is in order.
func (o Outcome) Good() bool { return o == Accepted || o == Warning }

// Hit is a rule that a run broke.
type Hit struct {
	Rule Rule `json:"rule"`
	// Controls that broke it, in the order in which they were judged; for a rule of consecutive
	// controls they may reach back into earlier runs.
	Controls []ledger.ID `json:"controls"`
	Points   ErrorKind   `json:"points_to"`
	// Why is the sentence for a person.
	Why string `json:"why"`
}

// Verdict is what one run of controls says about its meter.
type Verdict struct {
	Meter string `json:"meter"`
	Run   string `json:"run,omitempty"`
	// From and At are the instants of the first and the last control; the check stands from At.
	From     unit.Instant `json:"from"`
	At       unit.Instant `json:"at"`
	Controls []ledger.ID  `json:"controls"`
	Outcome  Outcome      `json:"outcome"`
	Hits     []Hit        `json:"hits,omitempty"`
	// Why is the sentence for a person, Next what to do; Next is empty when there is nothing to do.
	Why  string `json:"why"`
	Next string `json:"next,omitempty"`
	// Place orders checks by when they came to be on record; equal where that is not known.
	Place int64 `json:"-"`
}

// judge fills in the outcome and the words from the hits and from what is missing.
func (v *Verdict) judge(missing []string) {
	var why []string
	random, systematic, background, unknown := false, false, false, false
	for _, h := range v.Hits {
		why = append(why, h.Why)
		if h.Rule == OneTwo {
			continue
		}
		random = random || h.Points == RandomError
		systematic = systematic || h.Points == SystematicError
		background = background || h.Points == BackgroundError
		unknown = unknown || h.Points == UnknownError
	}
	switch {
	case random || systematic || background || unknown:
		v.Outcome = Rejected
		why = append(why, missing...)
	case len(missing) > 0:
		v.Outcome = Unjudged
		why = append(missing, why...)
	case len(v.Hits) > 0:
		v.Outcome = Warning
	default:
		v.Outcome = Accepted
		why = []string{"every control is within its limits"}
	}
	v.Why = strings.Join(why, "; ")
	v.Next = next(v.Outcome, random, systematic, background)
}

// next says what to do about a check. The advice is common practice in laboratories.
func next(o Outcome, random, systematic, background bool) string {
	var steps []string
	switch o {
	case Accepted:
		return ""
	case Warning:
		return "the meter may be used; watch the next checks"
	case Unjudged:
		return "adopt the missing target or read the missing control, then check again before the meter is used"
	case Rejected:
		steps = append(steps, "do not use the meter")
	}
	if background {
		steps = append(steps, "light without a sample: clean the chamber, take an unused device and read the negative or blank again")
	}
	if random {
		steps = append(steps, "random error: look at the handling (temperature, shaking, time from activation to reading, device) and read the "+
			"control again with a fresh device")
	}
	if systematic {
		steps = append(steps, "systematic error: all readings have moved, so look for what changed (lot of the control or kit, storage, "+
			"temperature, age of the light source, the meter's own calibration) before reading again")
	}
	if !background && !random && !systematic {
		steps = append(steps, "read the control again with a fresh device; a second failure is a matter for the meter's service")
	}
	return strings.Join(append(steps, "readings since the last good check are in doubt"), "; ")
}

// hit makes a hit of the observations that broke a rule; what names the sequence they belong to.
func hit(rule Rule, what string, broke []observation) Hit {
	h := Hit{Rule: rule, Points: pointsTo(rule, broke)}
	shown := make([]string, len(broke))
	for i, o := range broke {
		h.Controls = append(h.Controls, o.id)
		if rule == OutsideLimits {
			shown[i] = fmt.Sprintf("%s RLU, limits %s", o.value, o.target.limits())
		} else {
			shown[i] = fmt.Sprintf("%+.2f", o.z)
		}
	}
	h.Why = fmt.Sprintf("%s: %s (%s)", rule, what, strings.Join(shown, ", "))
	return h
}

func (t Target) limits() string {
	if t.Low > 0 {
		return t.Low.String() + " to " + t.High.String()
	}
	return "at most " + t.High.String()
}

func pointsTo(rule Rule, broke []observation) ErrorKind {
	switch rule {
	case OneTwo, OneThree, RFour:
		return RandomError
	case TwoTwo, FourOne, TenX:
		return SystematicError
	case OutsideLimits:
		if slices.ContainsFunc(broke, func(o observation) bool { return o.target.Kind != Positive }) {
			return BackgroundError
		}
	}
	return UnknownError
}
