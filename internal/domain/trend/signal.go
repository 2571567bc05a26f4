package trend

import (
	"fmt"
	"math"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Direction says which way a series went.
type Direction string

// The directions.
const (
	Higher Direction = "higher" // more residue than before: deteriorating
	Lower  Direction = "lower"  // less than before: suspect the meter or the kit first
	Spread Direction = "spread" // not a level but a pattern: wider, narrower, by turns
)

// directionOf names the sign of a signal.
func directionOf(sign int) Direction {
	switch {
	case sign > 0:
		return Higher
	case sign < 0:
		return Lower
	}
	return Spread
}

// sign is the inverse of directionOf.
func (d Direction) sign() int {
	switch d {
	case Higher:
		return 1
	case Lower:
		return -1
	case Spread:
	}
	return 0
}

// Crossing is one chart over its limit at one reading.
type Crossing struct {
	Chart     ChartName    `json:"chart"`
	Rule      Rule         `json:"rule,omitempty"`
	Direction Direction    `json:"direction"`
	Index     int          `json:"index"` // of the reading, counted from 0 since the baseline
	ID        ledger.ID    `json:"id"`
	At        unit.Instant `json:"at"`
	Value     unit.Number  `json:"value"` // of the reading, in RLU
	// Statistic and Limit are in sigma: the standardised reading, the moving range, the weighted
	// mean, the cumulative sum. A run rule shows the reading and no limit.
	Statistic unit.Number `json:"statistic"`
	Limit     unit.Number `json:"limit,omitempty"`
	// Run is, for the CUSUM chart, how many readings ago the sum left 0: Page's estimate of how
	// long the change has lasted.
	Run   int    `json:"run,omitempty"`
	Words string `json:"words"`
}

// Signal is the crossings of one series that belong together, so that a person has one thing to look
// into: they go in the same direction (Spread goes with any), and no more than [Quiet] readings
// pass between one and the next.
type Signal struct {
	Key       Key       `json:"key"`
	Direction Direction `json:"direction"`
	First     Crossing  `json:"first"`
	// Joined are the first crossings of the other charts and rules.
	Joined []Crossing `json:"joined,omitempty"`
	// Crossings counts all of them, Last is when the last came.
	Crossings int          `json:"crossings"`
	Last      unit.Instant `json:"last"`
	// Open says that fewer than [Quiet] readings have followed.
	Open bool `json:"open"`
	// Since dates the change of level from the readings up to the last crossing; a Spread signal has
	// none.
	Since *Since `json:"since,omitempty"`
	Words string `json:"words"`

	lastIndex int
}

// Quiet is how many readings without a crossing end a signal: about what the charts take to find a
// shift of one sigma again after they were restarted.
const Quiet = 20

// Watched is what the charts made of the readings since the baseline.
type Watched struct {
	Signals   []Signal // in order of their first crossings
	Crossings int      // of all charts
	State     State    // to go on with
}

// Run runs the charts over all readings since the baseline, in order of time and of id, and groups their
// crossings into signals. Signals are dated by [ChangeSince] over all readings since the baseline, also
// those of earlier signals: to begin anew, after a repair for example, make a new baseline. Readings
// out of order or from before the end of the baseline give [ErrReadings]. No readings, no signals.
func (m *Monitor) Run(points []Point) (Watched, error) {
	if err := checkPoints(points); err != nil {
		return Watched{}, err
	}
	if len(points) > 0 && points[0].At < m.baseline.Last {
		return Watched{}, unreadable("reading %s at %s is older than the end of the baseline at %s", points[0].ID, points[0].At, m.baseline.Last)
	}
	w := Watched{State: m.Start()}
	for i, p := range points {
		z := m.Z(p.Value)
		before := w.State
		next, reached, flags := m.Step(before, z)
		w.State = next
		if flags.Any() {
			w.Crossings += flags.Count()
			for _, s := range m.crossings(p, i, before, reached, flags) {
				w.take(m.baseline.Key, s)
			}
		}
	}
	for i := range w.Signals {
		a := &w.Signals[i]
		a.Open = len(points)-1-a.lastIndex < Quiet
		if a.Direction != Spread {
			if since, err := changeSince(m.baseline, points[:a.lastIndex+1], a.Direction.sign()); err == nil {
				a.Since = &since
			}
		}
		a.Words = a.sentence(m.baseline)
	}
	return w, nil
}

// take adds a crossing to the signal that it belongs to, or begins one.
func (w *Watched) take(key Key, s Crossing) {
	for i := len(w.Signals) - 1; i >= 0; i-- {
		a := &w.Signals[i]
		if s.Index-a.lastIndex > Quiet {
			continue
		}
		if a.Direction != s.Direction && a.Direction != Spread && s.Direction != Spread {
			continue
		}
		a.join(s)
		return
	}
	w.Signals = append(w.Signals, Signal{Key: key, Direction: s.Direction, First: s, Crossings: 1, Last: s.At, lastIndex: s.Index})
}

func (a *Signal) join(s Crossing) {
	a.Crossings++
	a.Last, a.lastIndex = s.At, s.Index
	if a.Direction == Spread {
		a.Direction = s.Direction
	}
	if a.First.Chart == s.Chart && a.First.Rule == s.Rule {
		return
	}
	for _, j := range a.Joined {
		if j.Chart == s.Chart && j.Rule == s.Rule {
			return
		}
	}
	a.Joined = append(a.Joined, s)
}

// sentence says what a signal means.
func (a *Signal) sentence(b Baseline) string {
	text := "The readings vary more or less than in the baseline. " + a.First.Words
	switch a.Direction {
	case Higher:
		text = "The readings are higher than in the baseline: find out what changed in the cleaning of this scope. " + a.First.Words
	case Lower:
		text = "The readings are lower than in the baseline: check the meter and the kit before believing it. " + a.First.Words
	case Spread:
	}
	if s := a.Since; s != nil {
		text += fmt.Sprintf(" Most likely since the reading of %s (%.0f %% confidence: after %s, not later than %s), from about %.0f to about %.0f RLU.",
			s.At, 100*SinceConfidence, sinceStart(s.After), s.Until, float64(s.Before), float64(s.Now))
	}
	if n := len(b.Notes); n > 0 {
		text += " The baseline was not beyond doubt; see its notes."
	}
	return text
}

func sinceStart(at unit.Instant) string {
	if !at.Known() {
		return "an unknown time"
	}
	return at.String()
}

// signals spells out the flags of one reading, from the states before and after it.
func (m *Monitor) crossings(p Point, index int, before, reached State, f Flags) []Crossing {
	z := m.Z(p.Value)
	var out []Crossing
	add := func(chart ChartName, rule Rule, sign int, statistic, limit float64, run int, words string) {
		s := Crossing{
			Chart: chart, Rule: rule, Direction: directionOf(sign), Index: index, ID: p.ID, At: p.At, Value: unit.Number(p.Value),
			Statistic: unit.Number(statistic), Limit: unit.Number(limit), Run: run, Words: words,
		}
		out = append(out, s)
	}
	side := func(sign int8) string {
		if sign > 0 {
			return "above"
		}
		return "below"
	}
	if f.Individuals != 0 {
		add(IndividualsChart, 0, int(f.Individuals), z, m.individuals.Limit, 0,
			fmt.Sprintf("The reading of %.0f RLU is %.1f standard deviations %s the baseline (limit %.1f).", p.Value, math.Abs(z),
				side(f.Individuals), m.individuals.Limit))
	}
	if f.MovingRange {
		_, moving := before.Moving.Step(z)
		add(MovingRangeChart, 0, 0, moving, m.moving.Limit, 0,
			fmt.Sprintf("The reading of %.0f RLU differs from the one before by %.1f standard deviations (limit %.1f).", p.Value, moving, m.moving.Limit))
	}
	if f.EWMA != 0 {
		add(EWMAChart, 0, int(f.EWMA), reached.EWMA.Mean, m.ewmaBound, 0,
			fmt.Sprintf("The weighted mean of the latest readings is %.1f standard deviations %s the baseline (limit %.1f).",
				math.Abs(reached.EWMA.Mean), side(f.EWMA), m.ewmaBound))
	}
	if f.CUSUM != 0 {
		sum, run := reached.CUSUM.Up, reached.CUSUM.UpRun
		if f.CUSUM < 0 {
			sum, run = reached.CUSUM.Down, reached.CUSUM.DownRun
		}
		add(CUSUMChart, 0, int(f.CUSUM), sum, m.cusum.H, run,
			fmt.Sprintf("Deviations %s the baseline have added up to %.1f standard deviations over %d readings (limit %.1f).", side(f.CUSUM), sum, run, m.cusum.H))
	}
	for _, rule := range AllRules {
		if f.Rules.Has(rule) {
			sign := ruleSign(rule, z, reached.Rules)
			add(RuleChart, rule, sign, z, 0, 0, fmt.Sprintf("Run rule %d: %s.", rule, rule.Pattern()))
		}
	}
	return out
}

// ruleSign returns which way a run rule points; some point to neither side.
func ruleSign(rule Rule, z float64, s RuleState) int {
	switch rule {
	case BeyondThree, SameSide, TwoOfThree, FourOfFive:
		return beyond(z, 0)
	case Monotone:
		return int(s.Trend)
	case Alternating, Hugging, Avoiding:
	}
	return 0
}
