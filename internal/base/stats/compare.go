package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// TTest is a comparison of means by Student's t.
type TTest struct {
	Difference float64 // mean of the differences, or difference of the means
	SE         float64
	T          float64 // Difference / SE
	DF         float64
	P          float64  // two-sided
	Interval   Interval // for the difference
}

// PairedT tests whether the mean of the differences x − y of pairs is 0, with n−1 degrees
// of freedom. Conditions: as many finite values in x as in y, at least 2, a given confidence, else a
// [TooFewError] or [ErrArgument]; [ErrNotEstimable] if all differences are equal.
//
// Source: Student, Biometrika 1908;6:1-25.
func PairedT(x, y []float64, c Confidence) (TTest, error) {
	m, err := meanOfDifferences(x, y)
	if err != nil {
		return TTest{}, err
	}
	return m.tTest(c)
}

// WelchT tests whether two samples have the same mean, without supposing the same variance. The
// difference is mean(x) − mean(y); the degrees of freedom are Satterthwaite's. Conditions: at least
// 2 finite values in each, a given confidence, else a [TooFewError] or [ErrArgument];
// [ErrNotEstimable] if neither sample varies.
//
// Source: B. L. Welch, Biometrika 1947;34:28-35; F. E. Satterthwaite, Biometrics Bull 1946;2:110-114.
func WelchT(x, y []float64, c Confidence) (TTest, error) {
	m, err := welch(x, y)
	if err != nil {
		return TTest{}, err
	}
	return m.tTest(c)
}

// Equivalence is the result of two one-sided t tests against a margin.
type Equivalence struct {
	Difference float64
	SE         float64
	DF         float64
	Margin     float64
	Above      float64 // (Difference + Margin)/SE, against a difference of −Margin or less
	Below      float64 // (Difference − Margin)/SE, against a difference of Margin or more
	P          float64 // the larger of the two one-sided values
	// Interval has the confidence 2c−1 (90 % for c = 0.95).
	Interval Interval
	// Equivalent says that P ≤ 1−c, which is when the interval lies within ±Margin.
	Equivalent bool
}

// PairedEquivalence asks whether the mean of the differences x − y lies within ±margin, which must
// be stated before the data are seen. Not to find a difference is no evidence that there is none;
// this is. Conditions: as [PairedT], margin > 0 and finite, c > ½.
//
// Source: D. J. Schuirmann, J Pharmacokinet Biopharm 1987;15:657-680.
func PairedEquivalence(x, y []float64, margin float64, c Confidence) (Equivalence, error) {
	m, err := meanOfDifferences(x, y)
	if err != nil {
		return Equivalence{}, err
	}
	return m.equivalence(margin, c)
}

// WelchEquivalence asks whether mean(x) − mean(y) lies within ±margin. Conditions: as [WelchT],
// margin > 0 and finite, c > ½. Source: as [PairedEquivalence].
func WelchEquivalence(x, y []float64, margin float64, c Confidence) (Equivalence, error) {
	m, err := welch(x, y)
	if err != nil {
		return Equivalence{}, err
	}
	return m.equivalence(margin, c)
}

// studentMean is an estimate with its standard error and degrees of freedom.
type studentMean struct {
	value, se, df float64
}

func meanOf(x []float64) (studentMean, error) {
	if err := checkSample(x, 2); err != nil {
		return studentMean{}, err
	}
	mean, sd, err := meanSD(x)
	if err != nil {
		return studentMean{}, err
	}
	n := float64(len(x))
	return studentMean{value: mean, se: sd / math.Sqrt(n), df: n - 1}, nil
}

func meanOfDifferences(x, y []float64) (studentMean, error) {
	if len(x) != len(y) {
		return studentMean{}, fmt.Errorf("%d and %d values are not pairs: %w", len(x), len(y), ErrArgument)
	}
	d := make([]float64, len(x))
	for i := range x {
		d[i] = x[i] - y[i]
	}
	return meanOf(d)
}

// twoVariances returns the difference of the means and the two variances.
func twoVariances(x, y []float64) (difference, vx, vy float64, err error) {
	for _, sample := range [][]float64{x, y} {
		if err := checkSample(sample, 2); err != nil {
			return 0, 0, 0, err
		}
	}
	if allEqual(x) && allEqual(y) {
		return 0, 0, 0, fmt.Errorf("neither of the two samples varies: %w", ErrNotEstimable)
	}
	mx, vx := stat.MeanVariance(x, nil)
	my, vy := stat.MeanVariance(y, nil)
	if v := vx + vy; !(v > 0) || math.IsInf(v, 1) {
		return 0, 0, 0, fmt.Errorf("the variances %v and %v cannot be represented: %w", vx, vy, ErrNotEstimable)
	}
	return mx - my, vx, vy, nil
}

func welch(x, y []float64) (studentMean, error) {
	d, vx, vy, err := twoVariances(x, y)
	if err != nil {
		return studentMean{}, err
	}
	nx, ny := float64(len(x)), float64(len(y))
	a, b := vx/nx, vy/ny
	// (a+b)²/(a²/(nx−1) + b²/(ny−1)), by shares so that small variances do not underflow.
	share := a / (a + b)
	df := 1 / (share*share/(nx-1) + (1-share)*(1-share)/(ny-1))
	return studentMean{value: d, se: math.Sqrt(a + b), df: df}, nil
}

func (m studentMean) tTest(c Confidence) (TTest, error) {
	if !c.Known() {
		return TTest{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	t := m.value / m.se
	return TTest{
		Difference: m.value, SE: m.se, T: t, DF: m.df,
		P:        2 * TSurvival(math.Abs(t), m.df),
		Interval: m.interval(c.tail()),
	}, nil
}

// interval returns the interval that misses on each side with probability tail.
func (m studentMean) interval(tail float64) Interval {
	half := -TQuantile(tail, m.df) * m.se
	return Interval{Lo: m.value - half, Hi: m.value + half}
}

func (m studentMean) equivalence(margin float64, c Confidence) (Equivalence, error) {
	switch {
	case !(margin > 0) || math.IsInf(margin, 1):
		return Equivalence{}, fmt.Errorf("margin %v: want a finite number above 0: %w", margin, ErrArgument)
	case !c.Known() || c.Float() <= 0.5:
		return Equivalence{}, fmt.Errorf("confidence %q: want more than 0.5: %w", c, ErrArgument)
	}
	risk := toFloat(c.risk())
	e := Equivalence{
		Difference: m.value, SE: m.se, DF: m.df, Margin: margin,
		Above:    (m.value + margin) / m.se,
		Below:    (m.value - margin) / m.se,
		Interval: m.interval(risk),
	}
	e.P = max(TSurvival(e.Above, m.df), TCDF(e.Below, m.df))
	e.Equivalent = e.P <= risk
	return e, nil
}
