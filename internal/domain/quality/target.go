package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// MinRuns is how many own control runs a mean and standard deviation need before rules of
// standard deviations rest on them: at least 20 (CLSI C24, from memory).
const MinRuns = 20

// Target is what a control should show, as the manufacturer states it, as own runs show it, or
// both. A positive control is judged by limits in RLU, both included, and by multi-rules on
// log10(RLU+1), where the spread of readings does not depend on their height. A negative or blank
// control is judged by an upper limit in RLU alone: close to zero a mean and standard deviation
// describe nothing.
type Target struct {
	System string `json:"system"`
	// Meter narrows the target to one meter; empty means every meter of the system.
	Meter    string      `json:"meter,omitempty"`
	Kind     ControlKind `json:"kind"`
	Material string      `json:"material"`
	Lot      string      `json:"lot,omitempty"`
	// Low and High are the limits in RLU. High is zero when a positive control has no limits; for
	// the other kinds zero lets only 0 pass.
	Low  unit.Number `json:"low,omitzero"`
	High unit.Number `json:"high,omitzero"`
	// Mean and SD of log10(RLU+1) come from so many own Runs; all are zero when there are none.
	Mean unit.Number `json:"mean_log10,omitzero"`
	SD   unit.Number `json:"sd_log10,omitzero"`
	Runs int         `json:"runs,omitempty"`
	// Source says where the limits or the runs come from.
	Source  string       `json:"source"`
	Edition string       `json:"edition"`
	Adopter string       `json:"adopted_by"`
	Adopted unit.Instant `json:"adopted"`
	// Second is who else signed; empty where one was enough.
	Second string `json:"second,omitempty"`
}

// Check refuses a target that could not be defended.
func (t Target) Check() error {
	var problems []error
	fail := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	if t.System == "" || t.Material == "" {
		fail("a target belongs to one meter system and one material; name both")
	}
	if !slices.Contains(ControlKinds, t.Kind) {
		fail("kind %q is not known; allowed: %s", t.Kind, scope.Words(ControlKinds))
	}
	for _, v := range []unit.Number{t.Low, t.High, t.Mean, t.SD} {
		if !(v >= 0) || math.IsInf(float64(v), 1) {
			fail("%v is not a number from 0 up", float64(v))
		}
	}
	if t.Kind == Positive {
		if !t.limited() && !t.Charted() {
			fail("give limits, or the mean and standard deviation of at least %d own runs", MinRuns)
		}
		if t.Low > 0 && t.High <= t.Low {
			fail("the upper limit %s must be over the lower limit %s", t.High, t.Low)
		}
		if (t.Mean > 0 || t.SD > 0 || t.Runs != 0) && (t.Mean <= 0 || t.SD <= 0 || t.Runs < MinRuns) {
			fail("own runs need a mean and a standard deviation over 0 from at least %d runs, not %d", MinRuns, t.Runs)
		}
	} else if t.Low != 0 || t.Mean != 0 || t.SD != 0 || t.Runs != 0 {
		fail("a %s control has an upper limit only", t.Kind)
	}
	if t.Source == "" || t.Edition == "" || t.Adopter == "" || !t.Adopted.Known() {
		fail("source, edition, who adopted it and when must be given")
	}
	if err := errors.Join(problems...); err != nil {
		return fmt.Errorf("target of %s control %q lot %q: %w", t.Kind, t.Material, t.Lot, err)
	}
	return nil
}

// Charted says whether the target has a mean and a standard deviation, so that multi-rules apply.
func (t Target) Charted() bool { return t.SD > 0 }

// Z returns how many standard deviations log10(v+1) lies above the mean; NaN when the target is
// not [Target.Charted].
func (t Target) Z(v unit.Number) float64 {
	if !t.Charted() {
		return math.NaN()
	}
	return (Log10RLU(v) - float64(t.Mean)) / float64(t.SD)
}

// limited says whether values are held against limits in RLU.
func (t Target) limited() bool { return t.Kind != Positive || t.High > 0 }

// within says whether a value keeps the limits; a value at a limit does.
func (t Target) within(v unit.Number) bool { return !t.limited() || v >= t.Low && v <= t.High }

// OwnTarget returns the target with Mean, SD and Runs from own controls: the mean and the sample
// standard deviation (divisor n−1) of log10(RLU+1). There must be at least [MinRuns] controls, all
// positive, of the target's material and lot and, if it names one, of its meter; the caller answers
// for their being in order and made on different days. The rest of the target is kept as it is.
func OwnTarget(t Target, controls []Control) (Target, error) {
	if t.Kind != Positive {
		return t, fmt.Errorf("a %s control is judged by its limits; a mean and a standard deviation are worked out for positive controls", t.Kind)
	}
	if len(controls) < MinRuns {
		return t, fmt.Errorf("%d control runs are too few for a mean and standard deviation: take %d more", len(controls), MinRuns-len(controls))
	}
	logs := make([]float64, len(controls))
	for i, c := range controls {
		if err := c.Check(); err != nil {
			return t, err
		}
		if !t.covers(c) {
			return t, fmt.Errorf("the %s control %q lot %q of meter %q at %s does not belong to the target of %s control %q lot %q",
				c.Kind, c.Material, c.Lot, c.Meter, c.At, t.Kind, t.Material, t.Lot)
		}
		logs[i] = Log10RLU(c.Value)
	}
	// Summed in one order, so that the order in which records are read changes no digit.
	slices.Sort(logs)
	mean, sd := stat.MeanStdDev(logs, nil)
	if !scattered(sd, logs) {
		return t, fmt.Errorf("all %d controls read the same: a standard deviation of 0 judges nothing", len(controls))
	}
	t.Mean, t.SD, t.Runs = unit.Number(mean), unit.Number(sd), len(controls)
	return t, nil
}

// covers says whether a control of the target's system is what the target is for.
func (t Target) covers(c Control) bool {
	return t.Kind == c.Kind && t.Material == c.Material && t.Lot == c.Lot && (t.Meter == "" || t.Meter == c.Meter)
}

// FindTarget returns the target that was in force for a control of a meter when it was read: the
// one for this meter before the one for its system, the latest adopted before earlier ones, of two
// adopted at the same instant the later in the list.
func FindTarget(targets []Target, m Meter, c Control) (Target, bool) {
	var found *Target
	for i := range targets {
		t := &targets[i]
		if t.System != m.System || !t.covers(c) || t.Adopted > c.At {
			continue
		}
		if found == nil || t.Meter != "" && found.Meter == "" ||
			(t.Meter == "") == (found.Meter == "") && t.Adopted >= found.Adopted {
			found = t
		}
	}
	if found == nil {
		return Target{}, false
	}
	return *found, true
}
