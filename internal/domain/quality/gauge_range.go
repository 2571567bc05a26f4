package quality

import (
	"fmt"
	"slices"

	"rinsate/internal/base/stats"
)

// The factors of the range method, printed to four decimals: 1/d2 for the repeats of a reading, and
// 1/d2* for the range of one group of appraisers or of parts. Indexed by the number of them.
//
// Source: AIAG, Measurement Systems Analysis, 4th ed. 2010, form of the gauge repeatability and
// reproducibility report.
var (
	trialFactors     = []float64{2: 0.8862, 3: 0.5908}
	appraiserFactors = []float64{2: 0.7071, 3: 0.5231}
	partFactors      = []float64{2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 6: 0.3742, 7: 0.3534, 8: 0.3375, 9: 0.3249, 10: 0.3146}
)

// ByRange estimates repeatability, appraiser and part variation from ranges, for checking against a
// form filled in by hand; the analysis of variance uses the data better and sees the interaction,
// which this method does not. It has factors for 2 or 3 repeats, 2 or 3 appraisers and 2 to 10
// parts, else the error wraps [stats.ErrArgument]. It gives no intervals.
//
// Source: AIAG, Measurement Systems Analysis, 4th ed. 2010, average and range method.
func (s Study) ByRange() (Gauge, error) {
	p, o, r := len(s.parts), len(s.appraisers), s.trials
	if r < 2 || r >= len(trialFactors) || o >= len(appraiserFactors) || p >= len(partFactors) {
		return Gauge{}, fmt.Errorf("the range method has no factors for %d parts, %d appraisers and %d repeats: use the analysis of variance: %w",
			p, o, r, stats.ErrArgument)
	}
	var meanRange float64
	for _, row := range s.values {
		for _, cell := range row {
			meanRange += spread(cell) / float64(p*o)
		}
	}
	_, parts, appraisers, _ := s.means()
	ev := meanRange * trialFactors[r]
	av := square(spread(appraisers)*appraiserFactors[o]) - ev*ev/float64(p*r)
	pv := spread(parts) * partFactors[p]
	var g Gauge
	g.Repeatability = component(ev*ev, stats.Interval{})
	g.Appraisers = component(av, stats.Interval{})
	g.Parts = component(pv*pv, stats.Interval{})
	g.complete()
	return g, nil
}

func spread(values []float64) float64 { return slices.Max(values) - slices.Min(values) }
