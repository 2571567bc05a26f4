package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Best returns the cut with the largest Youden index, and of several such cuts the highest one,
// which calls the fewest cases positive. A ROC without cases gives the cut at +Inf.
func (r ROC) Best() Cut {
	var best Cut
	// tp/m − fp/n compared as whole numbers tp·n − fp·m, so that a tie is a tie.
	most := int64(math.MinInt64)
	for c := range r.Cuts() {
		index := int64(c.TruePositive)*int64(r.negatives) - int64(c.FalsePositive)*int64(r.positives)
		if index > most {
			best, most = c, index
		}
	}
	return best
}

// BestCut is the cut of the largest Youden index with percentile bootstrap intervals.
type BestCut struct {
	Cut         Cut
	Index       Estimate
	At          Estimate // the cut-off
	Sensitivity Estimate
	Specificity Estimate
	Resamples   int
}

// MaxResamples is the largest number of bootstrap resamples that this package draws.
const MaxResamples = 1_000_000

// BestInterval returns [ROC.Best] with what it would be in other samples: positive and negative
// cases are drawn anew within their class, as often as there are, and the best cut is looked for
// again. The limits are the resamples' order statistics (B+1)·(1−c)/2 and (B+1)·(1−(1−c)/2),
// rounded outwards. The index is largest in the sample that chose the cut: all four figures flatter,
// the more so the fewer the cases. The limits of the cut-off may be +Inf, where a resample finds no
// cut better than calling nobody positive. resamples is 100 to [MaxResamples]; the same source state
// gives the same result. Errors: [ErrArgument] outside these conditions or for a ROC without cases.
//
// Source: J. Carpenter & J. Bithell, Stat Med 2000;19:1141-1164 for the percentile method; R.
// Fluss, D. Faraggi & B. Reiser, Biom J 2005;47:458-472 for its use here.
func (r ROC) BestInterval(resamples int, c Confidence, source rand.Source) (BestCut, error) {
	if resamples < 100 || resamples > MaxResamples || !c.Known() || source == nil || r.positives == 0 || r.negatives == 0 {
		return BestCut{}, fmt.Errorf("%d resamples of %d and %d cases: want 100 to %d resamples, cases of both classes, a confidence and a source: %w",
			resamples, r.positives, r.negatives, MaxResamples, ErrArgument)
	}
	rng := rand.New(source)
	again := ROC{ties: slices.Clone(r.ties), positives: r.positives, negatives: r.negatives}
	ofPositive, ofNegative := r.rows()
	index, at := make([]float64, resamples), make([]float64, resamples)
	se, sp := make([]float64, resamples), make([]float64, resamples)
	for b := range resamples {
		for i := range again.ties {
			again.ties[i].positive, again.ties[i].negative = 0, 0
		}
		for range ofPositive {
			again.ties[ofPositive[rng.IntN(len(ofPositive))]].positive++
		}
		for range ofNegative {
			again.ties[ofNegative[rng.IntN(len(ofNegative))]].negative++
		}
		cut := again.Best()
		index[b], at[b] = cut.Youden(), cut.At
		se[b], sp[b] = share(cut.TruePositive, r.positives), share(cut.TrueNegative, r.negatives)
	}
	best := r.Best()
	limits := func(value float64, drawn []float64) Estimate {
		slices.Sort(drawn)
		k := max(1, int(math.Floor(float64(resamples+1)*c.tail())))
		return Estimate{Value: value, Interval: Interval{Lo: drawn[k-1], Hi: drawn[resamples-k]}}
	}
	return BestCut{
		Cut:         best,
		Index:       limits(best.Youden(), index),
		At:          limits(best.At, at),
		Sensitivity: limits(share(best.TruePositive, r.positives), se),
		Specificity: limits(share(best.TrueNegative, r.negatives), sp),
		Resamples:   resamples,
	}, nil
}

// rows returns for each positive and each negative case which tie it belongs to.
func (r ROC) rows() (positive, negative []int32) {
	positive, negative = make([]int32, 0, r.positives), make([]int32, 0, r.negatives)
	for i, t := range r.ties {
		for range t.positive {
			positive = append(positive, int32(i))
		}
		for range t.negative {
			negative = append(negative, int32(i))
		}
	}
	return positive, negative
}
