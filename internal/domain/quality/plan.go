package quality

import (
	"fmt"
	"math"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// Setup is what readings are made with.
type Setup struct {
	Meter Meter  `json:"meter"`
	Kit   string `json:"kit"`
	Lot   string `json:"lot,omitempty"`
}

func (s Setup) scale() reading.Scale {
	return reading.Scale{System: s.Meter.System, Kit: s.Kit, Analyte: reading.ATP}
}

// Plan is how a new lot or meter is compared with the old one, decided before any pair is read.
type Plan struct {
	// Margin is the largest ratio of new to old, and of old to new, that a level may stay with;
	// over 1. How much a level can bear is for the facility to say.
	Margin unit.Number `json:"margin"`
	// Alpha is the probability of letting a level stay at a true ratio of Margin or more.
	Alpha stats.Probability `json:"alpha"`
	// Power is the wanted probability of showing equivalence, from which the number of pairs
	// follows.
	Power stats.Probability `json:"power"`
	// Confidence is that of the intervals shown.
	Confidence stats.Confidence `json:"confidence"`
	// MinPairs is how many pairs, or readings in each group, are asked for in any case, MostPairs
	// how many a facility is ready to read.
	MinPairs  int `json:"min_pairs"`
	MostPairs int `json:"most_pairs"`
}

// DefaultPlan returns a plan to start from: margin 1.25 (the convention of 80 to 125 % for average
// bioequivalence, Schuirmann 1987; no limit is published for relative light units), α 0.05, power
// 0.9, confidence 0.95, 20 to 200 pairs (common practice).
func DefaultPlan() Plan {
	return Plan{
		Margin: 1.25, Alpha: stats.MustProbability("0.05"), Power: stats.MustProbability("0.9"),
		Confidence: stats.MustConfidence("0.95"), MinPairs: 20, MostPairs: 200,
	}
}

// Check refuses a plan that cannot answer; the error wraps [stats.ErrArgument].
func (p Plan) Check() error {
	fail := func(format string, args ...any) error {
		return fmt.Errorf("comparison plan: "+format+": %w", append(args, stats.ErrArgument)...)
	}
	switch {
	case !(p.Margin > 1) || math.IsInf(float64(p.Margin), 1):
		return fail("the margin %v must be a ratio over 1, such as 1.25", float64(p.Margin))
	case !p.Alpha.Known() || p.Alpha.Float() <= 0 || p.Alpha.Float() >= 0.5:
		return fail("alpha %q must be over 0 and below 0.5", p.Alpha)
	case !p.Power.Known() || p.Power.Float() < 0.5 || p.Power.Float() >= 1:
		return fail("the power %q must be from 0.5 to below 1", p.Power)
	case !p.Confidence.Known():
		return fail("no confidence given")
	case p.MinPairs < 3 || p.MostPairs < p.MinPairs || p.MostPairs > stats.MaxCount:
		return fail("%d to %d pairs: want at least 3, and no fewer at most than at least", p.MinPairs, p.MostPairs)
	}
	return nil
}

// assurance returns 1 − Alpha, which a plan that passed its check has.
func (p Plan) assurance() stats.Confidence {
	return stats.MustConfidence(p.Alpha.Complement().String())
}

// margin returns the margin on log10.
func (p Plan) margin() float64 { return math.Log10(float64(p.Margin)) }

// Pairs returns how many pairs show equivalence with the plan's power, at a true ratio of new to
// old and a true standard deviation sd of the differences of log10; at least 3, whatever MinPairs
// says. ok is false, and n 0, when not even MostPairs do, as always at or beyond the margin.
func (p Plan) Pairs(sd, ratio float64) (n int, ok bool, err error) {
	return p.size(sd, ratio, 3, func(n float64) (se, df float64) { return sd / math.Sqrt(n), n - 1 })
}

// PairsPower returns the probability that n pairs show equivalence at a true ratio of new to old and a
// true standard deviation sd of the differences of log10; 0 for fewer than 3 pairs, which show nothing.
func (p Plan) PairsPower(n int, sd, ratio float64) (float64, error) {
	if err := p.Check(); err != nil {
		return 0, err
	}
	if err := checkTruth(sd, ratio); err != nil {
		return 0, err
	}
	if n < 3 {
		return 0, nil
	}
	return equivalencePower(math.Abs(math.Log10(ratio)), sd/math.Sqrt(float64(n)), float64(n-1), p.margin(), p.Alpha.Float()), nil
}

// PerGroup returns how many readings in each of two groups show equivalence with the plan's power,
// at a true ratio of new to old and a true standard deviation sd of log10 within each group; at
// least 2. ok is false, and n 0, when not even MostPairs do.
func (p Plan) PerGroup(sd, ratio float64) (n int, ok bool, err error) {
	return p.size(sd, ratio, 2, func(n float64) (se, df float64) { return sd * math.Sqrt(2/n), 2 * (n - 1) })
}

func (p Plan) size(sd, ratio float64, least int, precision func(n float64) (se, df float64)) (n int, ok bool, err error) {
	if err := p.Check(); err != nil {
		return 0, false, err
	}
	if err := checkTruth(sd, ratio); err != nil {
		return 0, false, err
	}
	// By symmetry, and so that a ratio and its inverse need exactly the same number.
	theta := math.Abs(math.Log10(ratio))
	n, ok = smallest(least, p.MostPairs, p.Power.Float(), func(n int) float64 {
		se, df := precision(float64(n))
		return equivalencePower(theta, se, df, p.margin(), p.Alpha.Float())
	})
	return n, ok, nil
}
