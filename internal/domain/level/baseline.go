package level

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Sample is one reading of a baseline.
type Sample struct {
	ID       string          `json:"id"`
	System   string          `json:"system"`
	Kit      string          `json:"kit"`
	Scope    string          `json:"scope"`
	Kind     scope.Kind      `json:"kind"`
	Point    scope.PointKind `json:"point"`
	At       unit.Instant    `json:"at"`
	Cleaning int             `json:"cleaning"`
	// Value is in RLU.
	Value int `json:"value"`
	// Excluded says why the reading must not count, such as "meter check failed", "lot expired",
	// "void" or "known fault"; empty when it counts.
	Excluded string `json:"excluded,omitempty"`
}

// Exclusion is one reading that was left out, and why.
type Exclusion struct {
	ID  string `json:"id"`
	Why string `json:"why"`
}

// Take says which figure becomes the level.
type Take string

// The figures. UpperBound, the usual one, is a tolerance limit: with the stated confidence at least
// the stated share of readings of a process like the baseline lies at or below it. It is the laxer
// the fewer readings there are, and a warning says so. Estimate is the percentile itself; about half
// of such levels flag more readings than the share says.
const (
	UpperBound Take = "upper-bound"
	Estimate   Take = "estimate"
)

// Plan says how candidates are derived. It is part of the result.
type Plan struct {
	Target Target `json:"target"`
	// Alert and Action are the percentiles, as fractions.
	Alert      stats.Probability  `json:"alert_percentile"`
	Action     stats.Probability  `json:"action_percentile"`
	Confidence stats.Confidence   `json:"confidence"`
	Take       Take               `json:"take"`
	Comparison reading.Comparison `json:"comparison"`
	// Detection is the largest count that the meter cannot tell from nothing. Counts up to it are
	// known only to lie somewhere below. A count of 0 always is.
	Detection int `json:"detection_limit"`
	// Outliers is how many readings at most may be left out as outliers; 0, the usual number, leaves
	// none out. A baseline without its highest readings gives lower levels than the process can keep.
	Outliers int `json:"outliers_at_most"`
	// Significance is that of the outlier test and of the test for the log-normal distribution.
	Significance stats.Probability `json:"significance"`
	// Resamples is how often scopes are drawn anew, 200 to 100,000.
	Resamples int `json:"resamples"`
	// Seed is any text; the same text draws the same samples.
	Seed string `json:"seed"`
}

// Usual returns the plan to start from: alert level at the 95th and action level at the 99th
// percentile, upper bounds with 95 % confidence. No guideline fixes these; they are this program's
// choice (a one-sided 95/95 tolerance limit is the most usual one in industry, ISO 16269-6), and a
// facility settles them for itself.
func Usual(target Target) Plan {
	return Plan{
		Target:       target,
		Alert:        stats.MustProbability("0.95"),
		Action:       stats.MustProbability("0.99"),
		Confidence:   stats.MustConfidence("0.95"),
		Take:         UpperBound,
		Comparison:   reading.AtOrOver,
		Significance: stats.MustProbability("0.05"),
		Resamples:    1999,
		Seed:         "baseline",
	}
}

// Check refuses a plan that cannot be carried out.
func (p Plan) Check() error {
	problems := []error{p.Target.Check()}
	fail := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	half, one := 0.5, 1.0
	if a, b := p.Alert.Float(), p.Action.Float(); !(half <= a && a <= b && b < one) {
		fail("percentiles %q and %q: want at least 0.5, below 1, and the alert percentile not over the action percentile", p.Alert, p.Action)
	}
	if p.Confidence.Float() < half {
		fail("confidence %q: want at least 0.5 and below 1", p.Confidence)
	}
	if p.Take != UpperBound && p.Take != Estimate {
		fail("take %q is not known; allowed: %s, %s", p.Take, UpperBound, Estimate)
	}
	if p.Comparison != reading.Over && p.Comparison != reading.AtOrOver {
		fail("comparison %q is not known; allowed: %s, %s", p.Comparison, reading.Over, reading.AtOrOver)
	}
	if p.Detection < 0 || p.Detection > reading.MaxRLU || p.Outliers < 0 {
		fail("detection limit %d and at most %d outliers: neither may be below 0", p.Detection, p.Outliers)
	}
	if s := p.Significance.Float(); s <= 0 || s >= half {
		fail("significance %q: want over 0 and below 0.5", p.Significance)
	}
	if p.Resamples < 200 || p.Resamples > 100_000 {
		fail("%d resamples: want 200 to 100000", p.Resamples)
	}
	if err := errors.Join(problems...); err != nil {
		return fmt.Errorf("plan for a level: %w", err)
	}
	return nil
}

// MaxBaseline is the largest number of readings in a baseline.
const MaxBaseline = 100_000

// belong refuses samples that are not of the target: they are a slip in what was asked for, not
// something to leave out quietly.
func (t Target) belong(samples []Sample) error {
	if len(samples) > MaxBaseline {
		return fmt.Errorf("%d readings: a baseline has at most %d", len(samples), MaxBaseline)
	}
	seen := make(map[string]bool, len(samples))
	for _, s := range samples {
		if err := reading.SameScale(t.Scale(), reading.Scale{System: s.System, Kit: s.Kit, Analyte: reading.ATP}); err != nil {
			return fmt.Errorf("reading %q: %w", s.ID, err)
		}
		switch {
		case s.Point != t.Point || t.Kind != "" && s.Kind != t.Kind:
			return fmt.Errorf("reading %q is of the %s of a %s, the level is for %s", s.ID, s.Point, s.Kind, t)
		case s.ID == "" || seen[s.ID]:
			return fmt.Errorf("reading %q: each reading needs an identifier of its own", s.ID)
		case s.Scope == "":
			return fmt.Errorf("reading %q: which scope it is of is missing", s.ID)
		case s.Value < 0 || s.Value > reading.MaxRLU:
			return fmt.Errorf("reading %q: %d RLU is not within 0–%d", s.ID, s.Value, reading.MaxRLU)
		case s.Cleaning < 1:
			return fmt.Errorf("reading %q: cleanings count from 1", s.ID)
		}
		seen[s.ID] = true
	}
	return nil
}

// inOrder returns the samples by value and identifier, whatever order they came in.
func inOrder(samples []Sample) []Sample {
	sorted := slices.Clone(samples)
	slices.SortFunc(sorted, func(a, b Sample) int {
		if a.Value != b.Value {
			return a.Value - b.Value
		}
		return strings.Compare(a.ID, b.ID)
	})
	return sorted
}

// exclude separates the readings that count from those that do not. Readings after a further
// cleaning are left out: they are taken because the first was over a level and show another process.
func exclude(samples []Sample) (counted []Sample, excluded []Exclusion) {
	excluded = []Exclusion{}
	for _, s := range samples {
		switch {
		case s.Excluded != "":
			excluded = append(excluded, Exclusion{s.ID, s.Excluded})
		case s.Cleaning > 1:
			excluded = append(excluded, Exclusion{s.ID, reading.Test(s.Cleaning) + ": the scope had been cleaned again"})
		default:
			counted = append(counted, s)
		}
	}
	return counted, excluded
}

// digest is described at Summary.Digest.
func digest(samples []Sample) string {
	sorted := slices.Clone(samples)
	slices.SortFunc(sorted, func(a, b Sample) int { return strings.Compare(a.ID, b.ID) })
	h := sha256.New()
	for _, s := range sorted {
		fmt.Fprintf(h, "%q %q %q %d %d %d %q\n", s.ID, s.Scope, s.Kind, int64(s.At), s.Cleaning, s.Value, s.Excluded)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// logs returns ln RLU, of censored readings that of the detection limit and of 0 that of ½.
func logs(samples []Sample, detection int) []float64 {
	x := make([]float64, len(samples))
	for i, s := range samples {
		x[i] = math.Log(max(float64(s.Value), float64(detection), 0.5))
	}
	return x
}

// Summary describes the readings of a baseline.
type Summary struct {
	Given    int `json:"given"`
	Counted  int `json:"counted"`
	Censored int `json:"at_or_below_detection"`
	Scopes   int `json:"scopes"`
	// First and Last are the instants of the first and last reading that counted.
	First unit.Instant `json:"first,omitzero"`
	Last  unit.Instant `json:"last,omitzero"`
	// Lowest, Median and Highest are in RLU.
	Lowest  int         `json:"lowest"`
	Median  unit.Number `json:"median"`
	Highest int         `json:"highest"`
	// Digest is the SHA-256 of the readings given, so that one can show that the same readings were
	// used again: a line each in order of identifier, with identifier, scope and kind quoted, the
	// instant in microseconds, cleaning and value, and the reason for exclusion quoted.
	Digest string `json:"sha256"`
}

// summarize takes the counted samples in order of value.
func summarize(given, counted []Sample, detection int) Summary {
	s := Summary{Given: len(given), Counted: len(counted), Digest: digest(given)}
	if len(counted) == 0 {
		return s
	}
	scopes := make(map[string]bool)
	for _, c := range counted {
		scopes[c.Scope] = true
		if c.Value <= detection {
			s.Censored++
		}
		if c.At.Known() && (s.First == 0 || c.At < s.First) {
			s.First = c.At
		}
		s.Last = max(s.Last, c.At)
	}
	n := len(counted)
	s.Scopes = len(scopes)
	s.Lowest, s.Highest = counted[0].Value, counted[n-1].Value
	s.Median = unit.Number(counted[(n-1)/2].Value+counted[n/2].Value) / 2
	return s
}
