package trend

import "math"

// Count is the failures in one period: Failures of Trials, which are whole.
type Count struct {
	Failures int
	Trials   float64
}

// AttributePoint is one period on a chart of counts.
type AttributePoint struct {
	Value        float64 // failures by trials
	Lower, Upper float64 // limits; Lower is 0 where the formula is negative
	Crossing     int     // +1 above Upper, −1 below Lower, else 0
}

// AttributeChart is a chart of counts over the periods that it was made from.
type AttributeChart struct {
	Centre float64 // all failures by all trials
	// SigmaZ is how many times wider the values vary than a binomial variable would: Laney's
	// σ_z; 1 where nothing or everything failed.
	SigmaZ float64
	Points []AttributePoint
}

// LaneyPChart is the p′ chart of proportions, p̄ ± 3·σ_z·√(p̄(1−p̄)/n_i), σ_z being the mean moving
// range of the standardised proportions over d2 = 2/√π. Without σ_z the chart would assume that nothing
// but chance moves the proportion; with large n_i that is never so and nearly all points would signal.
// Conditions: at least two periods (stats.TooFewError), 0 ≤ Failures ≤ Trials with whole Trials over 0
// ([ErrReadings]).
//
// Source: D. B. Laney, Qual Eng 2002;14:531-537; without σ_z, NIST/SEMATECH e-Handbook 6.3.3.2.
func LaneyPChart(counts []Count) (AttributeChart, error) {
	if len(counts) < 2 {
		return AttributeChart{}, tooFew(len(counts), 2)
	}
	failures, trials := 0.0, 0.0
	for i, c := range counts {
		if err := c.check(i); err != nil {
			return AttributeChart{}, err
		}
		failures += float64(c.Failures)
		trials += c.Trials
	}
	chart := AttributeChart{Centre: failures / trials, SigmaZ: 1}
	variance := chart.Centre * (1 - chart.Centre)
	sigma := func(c Count) float64 { return math.Sqrt(variance / c.Trials) }
	if variance > 0 {
		z := make([]float64, len(counts))
		for i, c := range counts {
			z[i] = (float64(c.Failures)/c.Trials - chart.Centre) / sigma(c)
		}
		chart.SigmaZ = meanMovingRange(z) / rangeD2
	}
	for _, c := range counts {
		value, half := float64(c.Failures)/c.Trials, 3*chart.SigmaZ*sigma(c)
		p := AttributePoint{Value: value, Lower: max(0, chart.Centre-half), Upper: min(1, chart.Centre+half)}
		// A value on the limit up to rounding is no signal.
		p.Crossing = beyond(value-chart.Centre, half*(1+1e-12))
		chart.Points = append(chart.Points, p)
	}
	return chart, nil
}

// check says what is wrong with the count of period i.
func (c Count) check(i int) error {
	switch {
	case c.Failures < 0 || !(c.Trials > 0) || !finite(c.Trials):
		return unreadable("period %d has %d failures in %v: want 0 or more in more than 0", i, c.Failures, c.Trials)
	case float64(c.Failures) > c.Trials || math.Floor(c.Trials) < c.Trials:
		return unreadable("period %d has %d failures in %v: not a proportion", i, c.Failures, c.Trials)
	}
	return nil
}
