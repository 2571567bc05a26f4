package reading

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Retest says which points are sampled again after a round over the action level.
type Retest string

// The rules for a re-test.
const (
	AllPoints     Retest = "all-points"
	FailingPoints Retest = "failing-points"
)

// Rules are the part of a rule set that rounds are judged by.
type Rules struct {
	// Attempts is how often a scope is cleaned and sampled in one turnaround before it is held for
	// a lead to decide. No guideline fixes a number; 3 is common practice.
	Attempts int     `yaml:"attempts" json:"attempts"`
	Retest   Retest  `yaml:"retest" json:"retest"`
	Combine  Combine `yaml:"combine" json:"combine"`
	// Duplicate says that a point whose reading lies near a level is complete only with a second.
	Duplicate bool `yaml:"duplicate_near_level" json:"duplicate_near_level"`
	// Recovery is the fraction of residue that sampling brings off the wall, used for µg/cm².
	Recovery unit.Number `yaml:"recovery,omitempty" json:"recovery,omitzero"`
}

// Check refuses rules that leave a round undecided.
func (r Rules) Check() error {
	switch {
	case r.Attempts < 1:
		return fmt.Errorf("reading: attempts must be 1 or more")
	case r.Retest != AllPoints && r.Retest != FailingPoints:
		return fmt.Errorf("reading: retest %q is not known; allowed: %s, %s", r.Retest, AllPoints, FailingPoints)
	case !slices.Contains(Combines, r.Combine):
		return fmt.Errorf("reading: combine %q is not known; allowed: %s", r.Combine, scope.Words(Combines))
	case r.Recovery < 0 || r.Recovery > 1:
		return fmt.Errorf("reading: recovery %s must be a fraction over 0 and at most 1", r.Recovery)
	}
	return nil
}

// PointResult is what is known of one point in a round.
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
	// Carried says that the outcome is that of an earlier attempt, of which only the failing points
	// were sampled again.
	Carried bool `json:"carried,omitempty"`
}

// Round is the decision on all samples of one scope in one attempt.
type Round struct {
	Attempt  int           `json:"attempt"`
	Outcome  Outcome       `json:"outcome"`
	Complete bool          `json:"complete"`
	Points   []PointResult `json:"points"`
	// Missing lists the points that still lack a result.
	Missing []scope.PointKind `json:"missing,omitempty"`
	Next    Next              `json:"next"`
	Why     string            `json:"why"`
}

// Act is what is to be done after a round.
type Act string

// The acts.
const (
	GoOn       Act = "go-on"
	Complete   Act = "complete-the-round"
	CleanAgain Act = "clean-and-sample-again"
	HoldScope  Act = "hold-and-escalate"
)

// Next is the act that a round asks for.
type Next struct {
	Act Act `json:"act"`
	// Points are what is to be sampled, for Complete and CleanAgain.
	Points []scope.PointKind `json:"points,omitempty"`
	Words  string            `json:"words"`
}

// Judge decides a round: its outcome is the worst of its points. A required point without a result
// makes the round incomplete, and an incomplete round never passes; one point over the action
// level decides at once, without waiting for the others. required are the points that the model
// and the occasion ask for; results may hold more.
func (r Rules) Judge(attempt int, required []scope.PointKind, results []PointResult) Round {
	round := Round{Attempt: attempt, Outcome: Below, Complete: true}
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
		round.Points = append(round.Points, p)
		if p.NotApplicable != "" {
			continue
		}
		judged++
		open := p.Outcome == None || p.Outcome == Void || p.Pending || r.wantsDuplicate(p)
		if open && p.Outcome != Action {
			round.Missing = append(round.Missing, kind)
			round.Complete = false
		}
		if p.Outcome.Severity() > round.Outcome.Severity() {
			round.Outcome = p.Outcome
		}
	}
	if judged == 0 { // nothing was measured, so nothing is shown
		round.Complete = false
	}
	if !round.Complete && round.Outcome != Action {
		round.Outcome = None
	}
	round.Next = r.next(round)
	round.Why = round.sentence()
	return round
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

func (r Rules) next(round Round) Next {
	switch {
	case round.Outcome == Action && round.Attempt >= r.Attempts:
		return Next{
			Act: HoldScope,
			Words: fmt.Sprintf("hold the scope and call the lead: attempt %d of %d was over the action level. Inspect inside, leak-test, consider "+
				"repair or culture", round.Attempt, r.Attempts),
		}
	case round.Outcome == Action:
		points := []scope.PointKind{}
		for _, p := range round.Points {
			if p.NotApplicable == "" && (r.Retest != FailingPoints || p.Outcome == Action) {
				points = append(points, p.Point)
			}
		}
		return Next{Act: CleanAgain, Points: points, Words: fmt.Sprintf("clean the scope again, then sample: %s", words(points))}
	case !round.Complete && len(round.Missing) == 0:
		return Next{Act: Complete, Words: "sample and read: no point has a result"}
	case !round.Complete:
		return Next{Act: Complete, Points: round.Missing, Words: fmt.Sprintf("sample and read: %s", words(round.Missing))}
	}
	return Next{Act: GoOn, Words: "go on to high-level disinfection or sterilization"}
}

func (round Round) sentence() string {
	var parts []string
	for _, p := range round.Points {
		switch {
		case p.NotApplicable != "":
			parts = append(parts, fmt.Sprintf("%s not applicable", p.Point)) // why stands with the point: it may be free text
		case p.Pending && p.Outcome != Action:
			parts = append(parts, fmt.Sprintf("%s taken, not yet read", p.Point))
		case p.Outcome == None && len(p.Readings) == 0:
			parts = append(parts, fmt.Sprintf("%s missing", p.Point))
		case p.Outcome == None:
			parts = append(parts, fmt.Sprintf("%s read, no level to judge it by", p.Point))
		case slices.Contains(round.Missing, p.Point) && p.Outcome.Passed():
			parts = append(parts, fmt.Sprintf("%s %s, near a level: duplicate awaited", p.Point, p.Outcome))
		default:
			parts = append(parts, fmt.Sprintf("%s %s", p.Point, p.Outcome))
		}
	}
	return strings.Join(parts, "; ")
}

func words(kinds []scope.PointKind) string { return scope.Words(kinds) }
