package level

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// Pair is one reading of a scope and what a culture, or another reference test, said of the same
// scope at the same cycle.
type Pair struct {
	ID string `json:"id"`
	// Value is in RLU.
	Value    int  `json:"value"`
	Positive bool `json:"positive"`
}

// Range is an interval.
type Range struct {
	Lo unit.Number `json:"lo"`
	Hi unit.Number `json:"hi"`
}

func rangeOf(i stats.Interval) Range { return Range{unit.Number(i.Lo), unit.Number(i.Hi)} }

// Figure is a number with its interval.
type Figure struct {
	Value    unit.Number `json:"value"`
	Interval Range       `json:"interval"`
}

func figureOf(e stats.Estimate) Figure { return Figure{unit.Number(e.Value), rangeOf(e.Interval)} }

// Reference says how well readings and a level tell positive from negative scopes.
type Reference struct {
	Positives  int              `json:"positives"`
	Negatives  int              `json:"negatives"`
	Confidence stats.Confidence `json:"confidence"`
	// Area is the area under the receiver operating characteristic, ½ for a coin.
	Area       Figure           `json:"area"`
	AreaMethod stats.AreaMethod `json:"area_method"`
	// Discriminates says that the interval of the area lies above ½.
	Discriminates bool `json:"discriminates"`
	// Best is the cut "at or over" with the largest Youden index in these data; zero when no cut is
	// better than calling nobody positive. It flatters.
	Best *Best `json:"best_cut,omitempty"`
	// AtLevel says what the level does: positive is an outcome over the action level.
	AtLevel AtLevel `json:"at_level"`
	// Sentence is the finding for a person, Warnings what to keep in mind.
	Sentence string   `json:"sentence"`
	Warnings []string `json:"warnings,omitempty"`
}

// Best is the cut of the largest Youden index.
type Best struct {
	Cut         unit.Number `json:"cut"`
	Index       Figure      `json:"youden_index"`
	Sensitivity Figure      `json:"sensitivity"`
	Specificity Figure      `json:"specificity"`
	Resamples   int         `json:"resamples"`
	Seed        string      `json:"seed"`
}

// AtLevel crosses the outcome at a level with the truth.
type AtLevel struct {
	Alert       unit.Number        `json:"alert,omitzero"`
	Action      unit.Number        `json:"action"`
	Comparison  reading.Comparison `json:"comparison"`
	Counts      stats.Crossing     `json:"counts"`
	Sensitivity Figure             `json:"sensitivity"`
	Specificity Figure             `json:"specificity"`
	// Positive and Negative are the predictive values at the facility's prevalence; nil without one.
	Prevalence stats.Probability `json:"prevalence,omitzero"`
	Positive   *Figure           `json:"positive_predictive_value,omitempty"`
	Negative   *Figure           `json:"negative_predictive_value,omitempty"`
	// Adjusted says that a count is 0, so that the predictive values rest on adjusted counts.
	Adjusted bool `json:"adjusted,omitempty"`
}

// Question is what pairs are asked.
type Question struct {
	Level      reading.Level
	Confidence stats.Confidence
	// Prevalence is the share of positive scopes in the facility; not given when it is not known. The
	// share among the pairs is not it if scopes were chosen for a culture because of their readings.
	Prevalence stats.Probability
	// Resamples and Seed are for the interval of the best cut.
	Resamples int
	Seed      string
}

// Discriminate judges readings and a level by a reference test. All readings are of the level's
// scale and point; the caller answers for it. Intervals: the area as stats.ROC.Interval chooses,
// sensitivity and specificity by Wilson, predictive values by Mercaldo, Lau & Zhou 2007, the best cut
// by bootstrap. Both positive and negative pairs are needed, else an error says which are missing;
// errors wrap stats.ErrArgument.
func Discriminate(pairs []Pair, q Question) (Reference, error) {
	found, err := limitsOf(q.Level)
	if err != nil {
		return Reference{}, errors.Join(err, stats.ErrArgument)
	}
	values, truth := make([]float64, len(pairs)), make([]bool, len(pairs))
	var at stats.Crossing
	for i, p := range pairs {
		if p.Value < 0 || p.Value > reading.MaxRLU {
			return Reference{}, fmt.Errorf("reading %q: %d RLU is not within 0–%d: %w", p.ID, p.Value, reading.MaxRLU, stats.ErrArgument)
		}
		values[i], truth[i] = float64(p.Value), p.Positive
		v, _ := found.judge(int32(p.Value))
		switch {
		case v == action && p.Positive:
			at.TruePositive++
		case v == action:
			at.FalsePositive++
		case p.Positive:
			at.FalseNegative++
		default:
			at.TrueNegative++
		}
	}
	if at.Positives() == 0 || at.Negatives() == 0 {
		return Reference{}, fmt.Errorf("%d positive and %d negative scopes: whether readings tell them apart can be said only with both; go on collecting: %w",
			at.Positives(), at.Negatives(), stats.ErrArgument)
	}
	roc, err := stats.NewROC(values, truth)
	if err != nil {
		return Reference{}, err
	}
	area, method, err := roc.Interval(q.Confidence)
	if err != nil {
		return Reference{}, err
	}
	r := Reference{
		Positives: at.Positives(), Negatives: at.Negatives(), Confidence: q.Confidence,
		Area: Figure{unit.Number(roc.Area()), rangeOf(area)}, AreaMethod: method, Discriminates: area.Lo > 0.5,
	}
	if r.Best, err = best(roc, q); err != nil {
		return Reference{}, err
	}
	if r.AtLevel, err = atLevel(at, q); err != nil {
		return Reference{}, err
	}
	r.Sentence = r.sentence()
	r.Warnings = r.warnings()
	return r, nil
}

func best(roc stats.ROC, q Question) (*Best, error) {
	b, err := roc.BestInterval(q.Resamples, q.Confidence, rand.NewChaCha8(seed(q.Seed, "best cut")))
	if err != nil {
		return nil, err
	}
	if b.Cut.Youden() <= 0 {
		return nil, nil
	}
	return &Best{
		Cut:         unit.Number(b.Cut.At),
		Index:       figureOf(b.Index),
		Sensitivity: figureOf(b.Sensitivity),
		Specificity: figureOf(b.Specificity),
		Resamples:   q.Resamples,
		Seed:        q.Seed,
	}, nil
}

func atLevel(counts stats.Crossing, q Question) (AtLevel, error) {
	a := AtLevel{Alert: q.Level.Alert, Action: q.Level.Action, Comparison: q.Level.Comparison, Counts: counts}
	se, err := counts.Sensitivity(stats.Wilson, q.Confidence)
	if err != nil {
		return AtLevel{}, err
	}
	sp, err := counts.Specificity(stats.Wilson, q.Confidence)
	if err != nil {
		return AtLevel{}, err
	}
	a.Sensitivity, a.Specificity = figureOf(se), figureOf(sp)
	if !q.Prevalence.Known() {
		return a, nil
	}
	p, err := counts.Predictive(q.Prevalence, q.Confidence)
	if err != nil {
		return AtLevel{}, err
	}
	positive, negative := figureOf(p.Positive), figureOf(p.Negative)
	a.Prevalence, a.Positive, a.Negative, a.Adjusted = q.Prevalence, &positive, &negative, p.Adjusted
	return a, nil
}

func (r Reference) sentence() string {
	area := fmt.Sprintf("area under the curve %.2f, %s %% interval %.2f–%.2f, %d positive and %d negative scopes",
		float64(r.Area.Value), percent(r.Confidence), float64(r.Area.Interval.Lo), float64(r.Area.Interval.Hi), r.Positives, r.Negatives)
	switch {
	case r.Discriminates:
		return fmt.Sprintf("ATP readings are higher in culture-positive than in culture-negative scopes here (%s); a reading below the level "+
			"still does not show that a scope is free of microbes", area)
	case r.Area.Interval.Hi < 0.5:
		return fmt.Sprintf("ATP readings are lower in culture-positive than in culture-negative scopes here (%s): they must not be taken for a "+
			"sign of contamination or its absence", area)
	}
	return fmt.Sprintf("ATP does not discriminate culture-positive from culture-negative scopes here (%s)", area)
}

// fewCases is below how many positive or negative scopes a warning is given; common practice.
const fewCases = 10

func (r Reference) warnings() []string {
	var w []string
	if few := min(r.Positives, r.Negatives); few < fewCases {
		w = append(w, fmt.Sprintf("only %d scopes of one class: the figures can change with each further culture", few))
	}
	if r.Best != nil {
		w = append(w, "the best cut was chosen on the same scopes by which it is judged: elsewhere it does worse")
	}
	if missed := r.AtLevel.Counts.FalseNegative; missed > 0 {
		w = append(w, fmt.Sprintf("%d of %d culture-positive scopes were not over the action level", missed, r.Positives))
	}
	return w
}

// percent writes a confidence as a percentage, exactly.
func percent(c stats.Confidence) string { return percentOf(c.String()) }

// percentOf moves the point of a decimal two places: 0.95 becomes 95, 0.995 becomes 99.5.
func percentOf(decimal string) string {
	whole, places, _ := strings.Cut(decimal, ".")
	for len(places) < 2 {
		places += "0"
	}
	text := strings.TrimLeft(whole+places[:2], "0")
	if text == "" {
		text = "0"
	}
	if len(places) > 2 {
		text += "." + places[2:]
	}
	return text
}
