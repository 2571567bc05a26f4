package level

import "rinsate/internal/base/stats"

// The numerics that Derive rests on, for tests against published values.
var (
	ClusterBy  = clustering
	Resampled  = resampled
	FitCounts  = fitCounts
	Calibrated = calibrated
	UpperDrop  = upperDrop
	PercentOf  = percentOf
)

// LogLik returns the highest log-likelihood.
func (f Fit) LogLik() float64 { return f.censored.LogLik }

// UpperLogNormal returns the log-normal upper bound of a percentile, without the rest of a
// derivation. drop is that of UpperDrop.
func UpperLogNormal(counts []int, detection int, p stats.Probability, drop float64) (float64, error) {
	f, err := fitCounts(counts, detection)
	if err != nil {
		return 0, err
	}
	i, err := f.limits(p, drop)
	return i.Hi, err
}
