package reading

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Retest says which points are sampled again after a verification over the action level.
type Retest string

// The rules for a re-test.
const (
	AllPoints     Retest = "all-points"
	FailingPoints Retest = "failing-points"
)

// Rules are the part of a rule set that verifications are judged by.
type Rules struct {
	// Cleanings is how often a scope is cleaned and sampled in one cycle before it is on hold for
	// a lead to decide. No guideline fixes a number; 3 is common practice.
	Cleanings int     `yaml:"cleanings" json:"cleanings"`
	Retest    Retest  `yaml:"retest" json:"retest"`
	Combine   Combine `yaml:"combine" json:"combine"`
	// Duplicate says that a point whose reading lies near a level is complete only with a second.
	Duplicate bool `yaml:"duplicate_near_level" json:"duplicate_near_level"`
	// Recovery is the fraction of residue that sampling brings off the wall, used for µg/cm².
	Recovery unit.Number `yaml:"recovery,omitempty" json:"recovery,omitzero"`
}

// Check refuses rules that leave a verification undecided.
func (r Rules) Check() error {
	switch {
	case r.Cleanings < 1:
		return fmt.Errorf("reading: cleanings must be 1 or more")
	case r.Retest != AllPoints && r.Retest != FailingPoints:
		return fmt.Errorf("reading: retest %q is not known; allowed: %s, %s", r.Retest, AllPoints, FailingPoints)
	case !slices.Contains(Combines, r.Combine):
		return fmt.Errorf("reading: combine %q is not known; allowed: %s", r.Combine, scope.Words(Combines))
	case r.Recovery < 0 || r.Recovery > 1:
		return fmt.Errorf("reading: recovery %s must be a fraction over 0 and at most 1", r.Recovery)
	}
	return nil
}

// PointResult is what is known of one point in a verification.
type PointResult struct {
	Point scope.PointKind `json:"point"`
	// Readings are the outcomes of its readings, in order.
	Readings []Judgement `json:"-"`
	// NotApplicable is set when the point was recorded as such.
	NotApplicable string `json:"not_applicable,omitempty"`
	// Pending says that a sample is taken and not yet read.
	Pending bool `json:"pending,omitempty"`
	// Outcome is filled in by Judge.
	Outcome Outcome `json:"outcome"`
	// Carried says that the outcome is that of an earlier cleaning, of which only the failing points
	// were sampled again.
	Carried bool `json:"carried,omitempty"`
}

// Verification is the decision on all samples of one scope after one cleaning.
type Verification struct {
	Cleaning int           `json:"cleaning"`
	Outcome  Outcome       `json:"outcome"`
	Complete bool          `json:"complete"`
	Points   []PointResult `json:"points"`
	// Missing lists the points that still lack a result.
	Missing []scope.PointKind `json:"missing,omitempty"`
	Next    Next              `json:"next"`
	Why     string            `json:"why"`
}

// Act is what is to be done after a verification.
type Act string

// The acts.
const (
	GoOn       Act = "go-on"
	Complete   Act = "complete-the-verification"
	CleanAgain Act = "clean-and-sample-again"
	HoldScope  Act = "hold-and-escalate"
)

// Next is the act that a verification asks for.
type Next struct {
	Act Act `json:"act"`
	// Points are what is to be sampled, for Complete and CleanAgain.
	Points []scope.PointKind `json:"points,omitempty"`
	Words  string            `json:"words"`
}

// Judge decides a verification: its outcome is the worst of its points. A required point without a result
// makes the verification incomplete, and an incomplete verification never passes; one point over the action
// level decides at once, without waiting for the others. required are the points that the model
// and the occasion ask for; results may hold more.
func (r Rules) Judge(cleaning int, required []scope.PointKind, results []PointResult) Verification {
	verification := Verification{Cleaning: cleaning, Outcome: OK, Complete: true}
	judged := 0
	for _, kind := range scope.PointKinds {
		i := slices.IndexFunc(results, func(p PointResult) bool { return p.Point == kind })
		wanted := slices.Contains(required, kind)
		if i < 0 && !wanted {
			continue
		}
		p := PointResult{Point: kind, Outcome: None}
		if i >= 0 {
			p = results[i]
		}
		if p.NotApplicable == "" && !p.Carried {
			p.Outcome = r.point(p)
		}
		verification.Points = append(verification.Points, p)
		if p.NotApplicable != "" {
			continue
		}
		judged++
		open := p.Outcome == None || p.Outcome == Void || p.Pending || r.wantsDuplicate(p)
		if open && p.Outcome != Action {
			verification.Missing = append(verification.Missing, kind)
			verification.Complete = false
		}
		if p.Outcome.Severity() > verification.Outcome.Severity() {
			verification.Outcome = p.Outcome
		}
	}
	if judged == 0 { // nothing was measured, so nothing is shown
		verification.Complete = false
	}
	if !verification.Complete && verification.Outcome != Action {
		verification.Outcome = None
	}
	verification.Next = r.next(verification)
	verification.Why = verification.sentence()
	return verification
}

func (r Rules) point(p PointResult) Outcome {
	outcomes := make([]Outcome, len(p.Readings))
	for i, j := range p.Readings {
		outcomes[i] = j.Outcome
	}
	return r.Combine.Point(outcomes)
}

// wantsDuplicate says whether the only counted reading of a point lies near a level.
func (r Rules) wantsDuplicate(p PointResult) bool {
	counted, near := 0, false
	for _, j := range p.Readings {
		if j.Outcome != Void {
			counted++
			near = near || j.Near
		}
	}
	return r.Duplicate && counted == 1 && near
}

func (r Rules) next(verification Verification) Next {
	switch {
	case verification.Outcome == Action && verification.Cleaning >= r.Cleanings:
		return Next{
			Act: HoldScope,
			Words: fmt.Sprintf("keep the scope on hold and call the lead: the %s, the last that the rules provide for, was over the action level. "+
				"Inspect inside, leak-test, consider repair or culture", Test(verification.Cleaning)),
		}
	case verification.Outcome == Action:
		points := []scope.PointKind{}
		for _, p := range verification.Points {
			if p.NotApplicable == "" && (r.Retest != FailingPoints || p.Outcome == Action) {
				points = append(points, p.Point)
			}
		}
		return Next{Act: CleanAgain, Points: points, Words: fmt.Sprintf("clean the scope again, then sample: %s", words(points))}
	case !verification.Complete && len(verification.Missing) == 0:
		return Next{Act: Complete, Words: "sample and read: no point has a result"}
	case !verification.Complete:
		return Next{Act: Complete, Points: verification.Missing, Words: fmt.Sprintf("sample and read: %s", words(verification.Missing))}
	}
	return Next{Act: GoOn, Words: "go on to high-level disinfection or sterilization"}
}

func (verification Verification) sentence() string {
	var parts []string
	for _, p := range verification.Points {
		switch {
		case p.NotApplicable != "":
			parts = append(parts, fmt.Sprintf("%s not applicable", p.Point.Words())) // why stands with the point: it may be free text
		case p.Pending && p.Outcome != Action:
			parts = append(parts, fmt.Sprintf("%s taken, not yet read", p.Point.Words()))
		case p.Outcome == None && len(p.Readings) == 0:
			parts = append(parts, fmt.Sprintf("%s missing", p.Point.Words()))
		case p.Outcome == None:
			parts = append(parts, fmt.Sprintf("%s read, no level to judge it by", p.Point.Words()))
		case slices.Contains(verification.Missing, p.Point) && p.Outcome.Passed():
			parts = append(parts, fmt.Sprintf("%s %s, near a level: duplicate awaited", p.Point.Words(), p.Outcome.Brief()))
		default:
			parts = append(parts, fmt.Sprintf("%s %s", p.Point.Words(), p.Outcome.Brief()))
		}
	}
	return strings.Join(parts, "; ")
}

func words(kinds []scope.PointKind) string { return scope.Named(kinds) }

// Test names the cleaning verification after the nth cleaning of a cycle, counted from 1.
func Test(cleaning int) string {
	if cleaning <= 1 {
		return "first test"
	}
	ending := "th"
	if tens := cleaning % 100 / 10; tens != 1 {
		switch cleaning % 10 {
		case 1:
			ending = "st"
		case 2:
			ending = "nd"
		case 3:
			ending = "rd"
		}
	}
	return fmt.Sprintf("re-test after the %d%s cleaning", cleaning, ending)
}

// Words names the verification and says what came of it.
func (verification Verification) Words() string {
	return Test(verification.Cleaning) + ": " + verification.Outcome.Words()
}
