package level

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

// Shape says whether the readings look log-normal.
type Shape struct {
	// Correlation is that of a normal probability plot of ln RLU: ordered logarithms against the
	// normal scores Φ⁻¹((i−⅜)/(n+¼)), over the readings above the detection limit.
	Correlation unit.Number `json:"plot_correlation"`
	// P is the share of simulated baselines, log-normal, rounded to whole counts and censored alike,
	// whose correlation is no higher.
	P unit.Number `json:"p"`
	// Fits is false when P is below the plan's significance. It is true as well when the readings are
	// too few to tell.
	Fits bool `json:"fits"`
	// Known is false when fewer than five readings lie above the detection limit or all are alike.
	Known bool `json:"known"`
}

// simulatedReadings bounds the work of simulating baselines.
const simulatedReadings = 5_000_000

// shape compares the counts, in rising order, with the log-normal distribution. The reference
// distribution is simulated from the line through the plot, because tables of critical values hold
// neither for whole numbers nor for censored ones; 999 baselines, or fewer of large ones.
//
// Source: the plot correlation of J. J. Filliben, Technometrics 1975;17:111-117, with the scores of
// G. Blom, Statistical Estimates and Transformed Beta-Variables, 1958; simulated p values as in A. C.
// Davison & D. V. Hinkley 1997, section 4.2.
func shape(counts []int, detection int, significance float64, rng *rand.Rand) Shape {
	n := len(counts)
	plot := newPlot(n, detection)
	r, line, ok := plot.correlate(counts)
	if !ok {
		return Shape{Fits: true}
	}
	runs := min(999, max(99, simulatedReadings/n))
	atMost := 1
	drawn := make([]int, n)
	for range runs {
		for i := range drawn {
			drawn[i] = int(min(math.Round(math.Exp(line.at+line.slope*rng.NormFloat64())), math.MaxInt32))
		}
		slices.Sort(drawn)
		if s, _, ok := plot.correlate(drawn); ok && s <= r {
			atMost++
		}
	}
	p := float64(atMost) / float64(runs+1)
	return Shape{Correlation: unit.Number(r), P: unit.Number(p), Fits: p >= significance, Known: true}
}

// plot holds the normal scores of n values.
type plot struct {
	scores    []float64
	detection int
	logs      []float64
}

// line is ln RLU = at + slope·score.
type line struct{ at, slope float64 }

func newPlot(n, detection int) *plot {
	p := &plot{scores: make([]float64, n), detection: detection}
	for i := range p.scores {
		p.scores[i] = stats.NormalQuantile((float64(i) + 0.625) / (float64(n) + 0.25))
	}
	return p
}

// correlate returns the correlation over the counts above the detection limit and the line through
// them. ok is false where there is none.
func (p *plot) correlate(counts []int) (r float64, l line, ok bool) {
	first := 0
	for first < len(counts) && counts[first] <= p.detection {
		first++
	}
	p.logs = p.logs[:0]
	for _, c := range counts[first:] {
		p.logs = append(p.logs, math.Log(float64(c)))
	}
	if len(p.logs) < 5 || p.logs[0] == p.logs[len(p.logs)-1] {
		return 0, line{}, false
	}
	scores := p.scores[first:]
	r = stat.Correlation(p.logs, scores, nil)
	l.at, l.slope = stat.LinearRegression(scores, p.logs, nil, false)
	return r, l, true
}
