package level

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/reading"
)

// Trial is one scope of known cleanliness under one level: each cleaning cleans it to the same true
// median, ln x = ln Median + c + e, with c ~ N(0, Shared²) common to the points of one cleaning and
// e ~ N(0, Spread²) of each single sample. A count is x rounded to a whole number. Each point is
// read once.
type Trial struct {
	Level reading.Level
	// Median is the true median in RLU.
	Median float64
	// Spread is the standard deviation of ln RLU of single samples, cleaning given; over 0. A
	// coefficient of variation cv is a spread of √ln(1+cv²).
	Spread float64
	// Shared is the standard deviation of ln RLU between cleanings; 0 to five times Spread.
	Shared float64
	// Points is how many points belong to a verification, 1 to 100; all have this level and median.
	Points int
	// Cleanings and Retest are as in reading.Rules; at most 100 cleanings.
	Cleanings int
	Retest    reading.Retest
	// SampleMinutes is the cost of one sample, CleaningMinutes that of one more cleaning.
	SampleMinutes   float64
	CleaningMinutes float64
}

// Operation is what becomes of the scope of a trial.
type Operation struct {
	// Over is the probability that the first test is over the action level, so that the scope is
	// cleaned again; Alert that it passes with a point at or over the alert level.
	Over  float64 `json:"over_action"`
	Alert float64 `json:"alert"`
	// Hold is the probability that all cleanings are over the action level.
	Hold float64 `json:"hold"`
	// Cleanings, Samples and Minutes are expected numbers per cycle; the first cleaning is not
	// counted in Minutes.
	Cleanings float64 `json:"cleanings"`
	Samples   float64 `json:"samples"`
	Minutes   float64 `json:"minutes"`
}

// Operate returns the operating characteristic of a level at one true median. With Shared = 0 the
// points are independent and the probabilities are closed forms, such as Hold = (1−(1−p)^k)^cleanings
// where all k points are sampled again; otherwise the common part is integrated out by Gauss–Hermite
// quadrature, to about 1e-10. How many points are over the action level is followed from cleaning to
// cleaning as a Markov chain.
//
// Source: the operating characteristic of a sampling plan as in ISO 2859-1 and ISO 3951-1; the
// quadrature is that of M. Abramowitz & I. A. Stegun, Handbook of Mathematical Functions, 25.4.46.
func Operate(t Trial) (Operation, error) {
	found, err := t.check()
	if err != nil {
		return Operation{}, err
	}
	cleanings := t.cleanings()
	var o Operation
	// sampled[j] is the probability that j points are sampled in this cleaning; what is missing to 1 is
	// that a verification before passed.
	sampled := make([]float64, t.Points+1)
	sampled[t.Points] = 1
	over := make([]float64, t.Points+1)
	for cleaning := 1; cleaning <= t.Cleanings; cleaning++ {
		clear(over)
		for i := 1; i <= t.Points; i++ {
			if sampled[i] == 0 {
				continue
			}
			o.Cleanings += sampled[i]
			o.Samples += sampled[i] * float64(i)
			for _, c := range cleanings {
				single := distuv.Binomial{N: float64(i), P: t.exceeds(found.action, c.shift)}
				for j := 1; j <= i; j++ {
					over[j] += sampled[i] * c.weight * binomial(single, j)
				}
			}
		}
		clear(sampled)
		o.Hold = 0
		for j := 1; j <= t.Points; j++ {
			o.Hold += over[j]
			again := j
			if t.Retest == reading.AllPoints {
				again = t.Points
			}
			sampled[again] += over[j]
		}
		o.Hold = min(o.Hold, 1) // rounding
		if cleaning == 1 {
			o.Over = o.Hold
		}
	}
	for _, c := range cleanings {
		k := float64(t.Points)
		passes, quiet := 1-t.exceeds(found.action, c.shift), 1-t.exceeds(found.alert, c.shift)
		o.Alert += c.weight * (math.Pow(passes, k) - math.Pow(quiet, k))
	}
	o.Minutes = o.Samples*t.SampleMinutes + (o.Cleanings-1)*t.CleaningMinutes
	return o, nil
}

// binomial returns P(X = j), also for a probability of 0 or 1.
func binomial(b distuv.Binomial, j int) float64 {
	switch b.P {
	case 0:
		return 0 // j is 1 or more
	case 1:
		if float64(j) == b.N {
			return 1
		}
		return 0
	}
	return b.Prob(float64(j))
}

func (t Trial) check() (limits, error) {
	positive := func(x float64) bool { return x > 0 && !math.IsInf(x, 1) }
	atLeast0 := func(x float64) bool { return x == 0 || positive(x) }
	switch {
	case !positive(t.Median) || !positive(t.Spread) || !atLeast0(t.Shared) || t.Shared > 5*t.Spread:
		return limits{}, fmt.Errorf("median %g RLU, spread %g, shared spread %g: the first two must be over 0, the third 0 to five times the second: %w",
			t.Median, t.Spread, t.Shared, stats.ErrArgument)
	case t.Points < 1 || t.Points > 100 || t.Cleanings < 1 || t.Cleanings > 100:
		return limits{}, fmt.Errorf("%d points and %d cleanings: want 1 to 100 of each: %w", t.Points, t.Cleanings, stats.ErrArgument)
	case t.Retest != reading.AllPoints && t.Retest != reading.FailingPoints:
		return limits{}, fmt.Errorf("retest %q is not known; allowed: %s, %s: %w", t.Retest, reading.AllPoints, reading.FailingPoints, stats.ErrArgument)
	case !atLeast0(t.SampleMinutes) || !atLeast0(t.CleaningMinutes):
		return limits{}, fmt.Errorf("%g minutes a sample, %g a cleaning: neither may be below 0: %w", t.SampleMinutes, t.CleaningMinutes, stats.ErrArgument)
	}
	return limitsOf(t.Level)
}

// exceeds returns the probability that one sample counts from or more when the cleaning shifts
// ln RLU by shift. A count is from or more when x is from − ½ or more.
func (t Trial) exceeds(from int32, shift float64) float64 {
	return stats.NormalCDF((math.Log(t.Median) + shift - math.Log(float64(from)-0.5)) / t.Spread)
}

// cleaning is one node of the integral over cleanings.
type cleaning struct{ shift, weight float64 }

// cleanings returns the nodes. The integrand is a normal distribution function of scale Spread
// under a normal density of scale Shared; 128 nodes hold 12 digits up to twice the spread, 600 up
// to five times.
func (t Trial) cleanings() []cleaning {
	if t.Shared == 0 {
		return []cleaning{{weight: 1}}
	}
	n := 128
	if t.Shared > 2*t.Spread {
		n = 600
	}
	x, w := make([]float64, n), make([]float64, n)
	quad.Hermite{}.FixedLocations(x, w, math.Inf(-1), math.Inf(1))
	nodes := make([]cleaning, n)
	for i := range nodes {
		nodes[i] = cleaning{math.Sqrt2 * t.Shared * x[i], w[i] / math.SqrtPi}
	}
	return nodes
}
