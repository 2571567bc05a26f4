package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// Answer is what a comparison comes to.
type Answer string

// The answers. There is no answer that converts one scale into another.
const (
	SameLevel Answer = "same level may stay"
	NewLevel  Answer = "new level needed"
	TooFew    Answer = "too few pairs"
)

// Pair is one sample or standard read with both setups, in RLU.
type Pair struct {
	Sample string      `json:"sample,omitempty"`
	Old    unit.Number `json:"old"`
	New    unit.Number `json:"new"`
}

// Finding is the answer of a comparison and what it rests on.
type Finding struct {
	Answer Answer
	// More is how many more pairs, or readings in each group, to take; 0 unless TooFew.
	More int
	// Why is the sentence for a person.
	Why string
	// Ratio is the ratio of the geometric means, new to old, and RatioCI its interval: evidence on
	// whether a level may stay, never a factor to convert readings with.
	Ratio   float64
	RatioCI stats.Interval
	// Equivalence is the test of the difference of the mean log10, new − old, against the margin on
	// log10; its interval has the confidence 1 − 2·Alpha.
	Equivalence stats.Equivalence
}

// Paired is the comparison of readings of the same samples.
type Paired struct {
	Finding
	// Agreement is that of log10; bias and limits of it as ratios are Ratio, and Limits, LowerCI and
	// UpperCI here.
	Agreement                Agreement
	Limits, LowerCI, UpperCI stats.Interval
}

// Unpaired is the comparison of two groups of readings, each of one and the same standard or of
// samples taken alike.
type Unpaired struct {
	Finding
	OldN, NewN   int
	OldSD, NewSD float64 // of log10
	// SDRatio is NewSD/OldSD and SDRatioCI its interval by the F distribution, exact for normal
	// log10: above 1 the new setup varies more.
	SDRatio   float64
	SDRatioCI stats.Interval
}

// Paired compares two setups by pairs of readings of the same samples, on log10.
//
// The level may stay when the mean ratio is shown to lie within 1/Margin to Margin (TOST at Alpha),
// the setups count on one scale, and no proportional bias leads out of the margin within the range
// that was read. A new level is needed when the scales differ (another meter system or kit),
// whatever the ratio; when the mean ratio or its interval is outside the margin; when a
// proportional bias leads out; or when not even MostPairs would show equivalence at the ratio and
// spread seen. Else there are too few pairs, and More says how many are missing: up to MinPairs,
// or to the number that [Plan.Pairs] gives for the ratio and spread seen. With fewer than 3 pairs
// the numbers are left at zero.
//
// The values must be over 0, since a ratio to nothing is no ratio, and samples that are named must
// differ, else the error wraps [stats.ErrArgument], as it does for a plan that does not pass its
// check and for pairs that all have the same ratio. The order of the pairs does not matter; old and
// new exchanged give the inverse ratio and the same answer.
func (p Plan) Paired(old, new Setup, pairs []Pair) (Paired, error) {
	if err := p.ready(old, new); err != nil {
		return Paired{}, err
	}
	oldLogs, newLogs, err := logsOf(pairs)
	if err != nil {
		return Paired{}, err
	}
	n := len(pairs)
	if n < 3 {
		return Paired{Finding: p.hardlyAny(old, new, n, "pairs")}, nil
	}
	a, err := Agree(oldLogs, newLogs, p.Confidence)
	if err != nil {
		return Paired{}, err
	}
	e, err := stats.PairedEquivalence(newLogs, oldLogs, p.margin(), p.assurance())
	if err != nil {
		return Paired{}, err
	}
	c := Paired{
		Finding:   Finding{Ratio: tenTo(a.Bias), RatioCI: asRatio(a.BiasCI), Equivalence: e},
		Agreement: a, Limits: asRatio(a.Limits), LowerCI: asRatio(a.LowerCI), UpperCI: asRatio(a.UpperCI),
	}
	needed, _, err := p.Pairs(a.SD, c.Ratio)
	if err != nil {
		return Paired{}, err
	}
	c.decide(p, old, new, n, needed, "pairs")
	if n >= p.MinPairs && c.Answer != NewLevel && !a.SlopeCI.Contains(0) {
		c.climb(p)
	}
	return c, nil
}

// climb takes a proportional bias into the answer.
func (c *Paired) climb(p Plan) {
	a := c.Agreement
	climbs := fmt.Sprintf("the ratio changes with the height of the reading, from %.3g at the lowest to %.3g at the highest", tenTo(a.AtLow), tenTo(a.AtHigh))
	if max(math.Abs(a.AtLow), math.Abs(a.AtHigh)) > c.Equivalence.Margin {
		c.Answer, c.More = NewLevel, 0
		c.Why = fmt.Sprintf("%s, and leaves the margin of %s", climbs, p.Margin)
		return
	}
	c.Why += "; " + climbs + ", within the margin"
}

// Unpaired compares two setups by groups of readings where the same sample cannot be read twice.
// Answer and conditions are those of [Plan.Paired], with readings in each group in place of pairs;
// groups may differ in size, and the smaller one counts. The difference of the mean log10 is
// judged with Welch's standard error and degrees of freedom (B. L. Welch, Biometrika
// 1947;34:28-35). With fewer than 2 readings in a group the numbers are left at zero.
func (p Plan) Unpaired(old, new Setup, oldValues, newValues []unit.Number) (Unpaired, error) {
	if err := p.ready(old, new); err != nil {
		return Unpaired{}, err
	}
	x, err := logGroup("old", oldValues)
	if err != nil {
		return Unpaired{}, err
	}
	y, err := logGroup("new", newValues)
	if err != nil {
		return Unpaired{}, err
	}
	c := Unpaired{OldN: len(x), NewN: len(y)}
	n := min(len(x), len(y))
	if n < 2 {
		c.Finding = p.hardlyAny(old, new, n, "readings in each group")
		return c, nil
	}
	xSD, ySD := stat.StdDev(x, nil), stat.StdDev(y, nil)
	if !scattered(xSD, x) || !scattered(ySD, y) {
		return Unpaired{}, fmt.Errorf("all readings of a group are equal: a spread of 0 tells nothing, look at how they were made: %w", stats.ErrArgument)
	}
	c.OldSD, c.NewSD, c.SDRatio = xSD, ySD, ySD/xSD
	c.SDRatioCI = spreadInterval(c.SDRatio, len(x), len(y), p.Confidence)
	test, err := stats.WelchT(y, x, p.Confidence)
	if err != nil {
		return Unpaired{}, err
	}
	c.Ratio, c.RatioCI = tenTo(test.Difference), asRatio(test.Interval)
	if c.Equivalence, err = stats.WelchEquivalence(y, x, p.margin(), p.assurance()); err != nil {
		return Unpaired{}, err
	}
	needed, _, err := p.PerGroup(math.Hypot(xSD, ySD)/math.Sqrt2, c.Ratio)
	if err != nil {
		return Unpaired{}, err
	}
	c.decide(p, old, new, n, needed, "readings in each group")
	if !c.SDRatioCI.Contains(1) {
		c.Why += fmt.Sprintf("; the new readings vary %.3g times as much as the old", c.SDRatio)
	}
	return c, nil
}

// spreadInterval returns the interval of a ratio of standard deviations, new to old.
func spreadInterval(ratio float64, oldN, newN int, c stats.Confidence) stats.Interval {
	tail := tailOf(c)
	a, b := float64(oldN-1), float64(newN-1)
	// The upper quantile as the inverse of the lower one with exchanged degrees of freedom, which
	// makes old and new exchanged give exactly the inverse interval.
	return stats.Interval{
		Lo: ratio * math.Sqrt(distuv.F{D1: a, D2: b}.Quantile(tail)),
		Hi: ratio / math.Sqrt(distuv.F{D1: b, D2: a}.Quantile(tail)),
	}
}

// decide fills in the answer for n pairs of which needed would do; needed is 0 if no number does.
func (f *Finding) decide(p Plan, old, new Setup, n, needed int, what string) {
	e := f.Equivalence
	seen := fmt.Sprintf("%d %s show a ratio of %.3g (%.3g to %.3g)", n, what, f.Ratio, tenTo(e.Interval.Lo), tenTo(e.Interval.Hi))
	other, differ := otherScale(old, new)
	switch {
	case differ:
		f.Answer, f.Why = other.Answer, other.Why
	case n < p.MinPairs:
		*f = f.wanting(max(p.MinPairs, needed)-n, seen+fmt.Sprintf("; the plan asks for at least %d", p.MinPairs))
	case e.Equivalent:
		f.Answer, f.Why = SameLevel, fmt.Sprintf("%s, within the margin of %s", seen, p.Margin)
	case math.Abs(math.Log10(f.Ratio)) >= e.Margin:
		f.Answer, f.Why = NewLevel, fmt.Sprintf("%s, which is outside the margin of %s", seen, p.Margin)
	case needed == 0:
		f.Answer, f.Why = NewLevel, fmt.Sprintf("%s; with such a ratio and spread not even %d would show it to lie within the margin of %s",
			seen, p.MostPairs, p.Margin)
	default:
		*f = f.wanting(max(1, needed-n), fmt.Sprintf("%s, which does not settle whether it lies within the margin of %s", seen, p.Margin))
	}
}

// wanting returns the finding with the answer that more are needed.
func (f Finding) wanting(more int, why string) Finding {
	f.Answer, f.More = TooFew, more
	f.Why = fmt.Sprintf("%s: take %d more", why, more)
	return f
}

// hardlyAny returns the finding on so few readings that they have no spread.
func (p Plan) hardlyAny(old, new Setup, n int, what string) Finding {
	if f, differ := otherScale(old, new); differ {
		return f
	}
	return Finding{}.wanting(p.MinPairs-n, fmt.Sprintf("%d %s show nothing yet", n, what))
}

// otherScale returns the finding on setups that count on different scales, if they do.
func otherScale(old, new Setup) (Finding, bool) {
	err := reading.SameScale(old.scale(), new.scale())
	if err == nil {
		return Finding{}, false
	}
	return Finding{Answer: NewLevel, Why: fmt.Sprintf("%v; adopt a level for the new one, whatever the ratio", err)}, true
}

// ready refuses a plan or setups that do not pass their checks.
func (p Plan) ready(setups ...Setup) error {
	if err := p.Check(); err != nil {
		return err
	}
	for _, s := range setups {
		if err := s.Meter.Check(); err != nil {
			return err
		}
		if s.Kit == "" {
			return fmt.Errorf("name the kit that was read with meter %q", s.Meter.Code)
		}
	}
	return nil
}

// logsOf returns the log10 of both values of each pair, in rising order of the pairs, so that their
// order changes no digit.
func logsOf(pairs []Pair) (old, new []float64, err error) {
	seen := map[string]bool{}
	for i, pair := range pairs {
		for _, v := range []unit.Number{pair.Old, pair.New} {
			if !(v > 0) || !finite(float64(v)) {
				return nil, nil, fmt.Errorf("pair %d (%s) holds %v RLU: a ratio needs readings over 0, so take a sample or standard with more light: %w",
					i+1, pair.Sample, float64(v), stats.ErrArgument)
			}
		}
		if pair.Sample != "" && seen[pair.Sample] {
			return nil, nil, fmt.Errorf("sample %q is paired twice: pairs must be of different samples: %w", pair.Sample, stats.ErrArgument)
		}
		seen[pair.Sample] = true
	}
	pairs = slices.Clone(pairs)
	slices.SortFunc(pairs, func(a, b Pair) int { return cmp.Or(cmp.Compare(a.Old, b.Old), cmp.Compare(a.New, b.New)) })
	for _, pair := range pairs {
		old, new = append(old, math.Log10(float64(pair.Old))), append(new, math.Log10(float64(pair.New)))
	}
	return old, new, nil
}

// logGroup returns the log10 of the values in rising order, so that their order changes no digit.
func logGroup(name string, values []unit.Number) ([]float64, error) {
	logs := make([]float64, len(values))
	for i, v := range values {
		if !(v > 0) || !finite(float64(v)) {
			return nil, fmt.Errorf("%s reading %d is %v RLU: a ratio needs readings over 0: %w", name, i+1, float64(v), stats.ErrArgument)
		}
		logs[i] = math.Log10(float64(v))
	}
	slices.Sort(logs)
	return logs, nil
}

func tenTo(x float64) float64 { return math.Pow(10, x) }

func asRatio(i stats.Interval) stats.Interval {
	return stats.Interval{Lo: tenTo(i.Lo), Hi: tenTo(i.Hi)}
}
