package trend

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// PooledSigma is the common spread of several series of the same sampling point on the same meter
// system with the same kit.
type PooledSigma struct {
	Point  scope.PointKind `json:"point"`
	System string          `json:"system"`
	Kit    string          `json:"kit"`
	Sigma  unit.Number     `json:"sigma"`
	DF     int             `json:"df"`
	Series int             `json:"series"`
	// P is the p-value of Bartlett's test that the series have one sigma (M. S. Bartlett, Proc R
	// Soc A 1937;160:268-282), 1 for a single series. Below 0.05 the series had better keep their
	// own.
	P unit.Number `json:"p"`
}

// PoolSigma returns √(Σ DF·Sigma² / Σ DF) with Σ DF degrees of freedom. A sigma of many degrees of
// freedom allows much tighter limits ([NewDesign]) than that of one baseline. Baselines of different
// points, meter systems or kits, or that hold a pooled sigma already, give stats.ErrArgument, as
// do none.
func PoolSigma(baselines []Baseline) (PooledSigma, error) {
	if len(baselines) == 0 {
		return PooledSigma{}, argument("no baseline to pool")
	}
	key := baselines[0].Key
	p := PooledSigma{Point: key.Point, System: key.System, Kit: key.Kit, Series: len(baselines), P: 1}
	var squares, logs, inverse float64
	for _, b := range baselines {
		if err := b.check(); err != nil {
			return PooledSigma{}, err
		}
		if err := p.sameSeries(b.Key); err != nil {
			return PooledSigma{}, err
		}
		if b.DF != b.N-1 {
			return PooledSigma{}, argument("the sigma of %s is pooled already", b.Key)
		}
		df, s := float64(b.DF), float64(b.Sigma)
		squares += df * s * s
		logs += df * 2 * math.Log(s)
		inverse += 1 / df
		p.DF += b.DF
	}
	df := float64(p.DF)
	variance := squares / df
	p.Sigma = unit.Number(math.Sqrt(variance))
	if k := float64(len(baselines)); k > 1 {
		statistic := (df*math.Log(variance) - logs) / (1 + (inverse-1/df)/(3*(k-1)))
		p.P = unit.Number(mathext.GammaIncRegComp((k-1)/2, max(0, statistic)/2))
	}
	return p, nil
}

// sameSeries refuses a series of another sampling point or scale.
func (p PooledSigma) sameSeries(k Key) error {
	if k.Point != p.Point {
		return argument("the spread of %s and of %s cannot be pooled", p.Point, k.Point)
	}
	if err := reading.SameScale(Key{System: p.System, Kit: p.Kit}.Scale(), k.Scale()); err != nil {
		return fmt.Errorf("%w: %w", err, stats.ErrArgument)
	}
	return nil
}

// WithSigma returns the baseline with a pooled sigma and its degrees of freedom in place of its own.
// A sigma of another sampling point or scale, or with fewer degrees of freedom, gives
// stats.ErrArgument.
func (b Baseline) WithSigma(p PooledSigma) (Baseline, error) {
	if err := p.sameSeries(b.Key); err != nil {
		return Baseline{}, err
	}
	if p.DF < b.DF || !(p.Sigma > 0) {
		return Baseline{}, argument("a pooled sigma %v with %d degrees of freedom for a baseline with %d", p.Sigma, p.DF, b.DF)
	}
	b.Sigma, b.DF = p.Sigma, p.DF
	return b, nil
}
