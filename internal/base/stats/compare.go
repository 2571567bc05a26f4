package stats

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// TTest is a comparison of means by Student's t.
type TTest struct {
	Difference float64 // mean, or difference of means, less the value tested
	SE         float64
	T          float64 // Difference / SE
	DF         float64
	P          float64  // two-sided
	Interval   Interval // for the difference before the value tested is subtracted
}

// OneSampleT tests whether the mean is mu: T = (mean − mu)/(SD/√n) with n−1 degrees of freedom. The
// interval is for the mean. Conditions: at least 2 finite values, mu finite, a given confidence,
// else a [TooFewError] or [ErrArgument]; [ErrNotEstimable] if all values are equal.
//
// Source: Student, Biometrika 1908;6:1-25.
func OneSampleT(x []float64, mu float64, c Confidence) (TTest, error) {
	if math.IsNaN(mu) || math.IsInf(mu, 0) {
		return TTest{}, fmt.Errorf("mean to test %v: want a finite number: %w", mu, ErrArgument)
	}
	m, err := meanOf(x)
	if err != nil {
		return TTest{}, err
	}
	return m.tTest(mu, c)
}

// PairedT tests whether the mean of the differences x − y of pairs is 0, as [OneSampleT] of the
// differences. Conditions as there, and as many values in x as in y.
func PairedT(x, y []float64, c Confidence) (TTest, error) {
	m, err := meanOfDifferences(x, y)
	if err != nil {
		return TTest{}, err
	}
	return m.tTest(0, c)
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
	return m.tTest(0, c)
}

// PooledT tests whether two samples of one variance have the same mean; the difference is
// mean(x) − mean(y), with nx+ny−2 degrees of freedom. Conditions and errors as for [WelchT], which is
// the safer choice. Source: NIST/SEMATECH e-Handbook 1.3.5.3.
func PooledT(x, y []float64, c Confidence) (TTest, error) {
	m, err := pooled(x, y)
	if err != nil {
		return TTest{}, err
	}
	return m.tTest(0, c)
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

func pooled(x, y []float64) (studentMean, error) {
	d, vx, vy, err := twoVariances(x, y)
	if err != nil {
		return studentMean{}, err
	}
	nx, ny := float64(len(x)), float64(len(y))
	df := nx + ny - 2
	variance := ((nx-1)*vx + (ny-1)*vy) / df
	return studentMean{value: d, se: math.Sqrt(variance * (1/nx + 1/ny)), df: df}, nil
}

func (m studentMean) tTest(mu float64, c Confidence) (TTest, error) {
	if !c.Known() {
		return TTest{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	t := (m.value - mu) / m.se
	return TTest{
		Difference: m.value - mu, SE: m.se, T: t, DF: m.df,
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

// VarianceTest is a comparison of the variances of several groups.
type VarianceTest struct {
	Statistic float64
	DF1       int // groups − 1
	DF2       int // values − groups; 0 for Bartlett's test, which has no second
	P         float64
}

// Levene tests whether groups have the same variance by an analysis of variance of the distances
// from each group's median (the form of Brown & Forsythe), which holds its level for skewed
// readings. The statistic has an F distribution. Conditions: at least 2 groups of at least 2 finite
// values, else [ErrArgument] or a [TooFewError]; [ErrNotEstimable] if the distances do not vary
// within any group, as happens with two values in each.
//
// Source: M. B. Brown & A. B. Forsythe, J Am Stat Assoc 1974;69:364-367; NIST/SEMATECH e-Handbook
// 1.3.5.10.
func Levene(groups ...[]float64) (VarianceTest, error) {
	if err := checkGroups(groups); err != nil {
		return VarianceTest{}, err
	}
	n, total := 0, 0.0
	means, within := make([]float64, len(groups)), 0.0
	varies := false
	for i, g := range groups {
		z := fromMedian(g)
		varies = varies || !allEqual(z)
		mean, variance := stat.MeanVariance(z, nil)
		means[i], within = mean, within+variance*float64(len(g)-1)
		n, total = n+len(g), total+mean*float64(len(g))
	}
	if !varies {
		return VarianceTest{}, fmt.Errorf("the distances from the median do not vary within any group: %w", ErrNotEstimable)
	}
	between := 0.0
	for i, g := range groups {
		d := means[i] - total/float64(n)
		between += float64(len(g)) * d * d
	}
	t := VarianceTest{DF1: len(groups) - 1, DF2: n - len(groups)}
	d1, d2 := float64(t.DF1), float64(t.DF2)
	t.Statistic = (between / d1) / (within / d2)
	t.P = fSurvival(t.Statistic, d1, d2)
	return t, nil
}

// fromMedian returns the distances from the median.
func fromMedian(x []float64) []float64 {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	n := len(sorted)
	if n == 2 { // the two are equally far, which rounding of the median might hide
		half := (sorted[1] - sorted[0]) / 2
		return []float64{half, half}
	}
	median := sorted[(n-1)/2] + (sorted[n/2]-sorted[(n-1)/2])/2
	for i, v := range sorted {
		sorted[i] = math.Abs(v - median)
	}
	return sorted
}

// Bartlett tests whether groups of normal values have the same variance. The statistic has a
// chi-squared distribution. It reacts to skewness as much as to unequal variances; see [Levene].
// Conditions: at least 2 groups of at least 2 finite values, else [ErrArgument] or a [TooFewError];
// [ErrNotEstimable] if a group does not vary.
//
// Source: M. S. Bartlett, Proc R Soc A 1937;160:268-282; NIST/SEMATECH e-Handbook 1.3.5.7.
func Bartlett(groups ...[]float64) (VarianceTest, error) {
	if err := checkGroups(groups); err != nil {
		return VarianceTest{}, err
	}
	var pooled, logs, inverse, df float64
	for _, g := range groups {
		_, sd, err := meanSD(g)
		if err != nil {
			return VarianceTest{}, err
		}
		f := float64(len(g) - 1)
		pooled, logs, inverse, df = pooled+f*sd*sd, logs+2*f*math.Log(sd), inverse+1/f, df+f
	}
	k := float64(len(groups) - 1)
	t := VarianceTest{DF1: len(groups) - 1}
	t.Statistic = max(0, df*math.Log(pooled/df)-logs) / (1 + (inverse-1/df)/(3*k))
	t.P = chiSquaredSurvival(t.Statistic, k)
	return t, nil
}

func checkGroups(groups [][]float64) error {
	if len(groups) < 2 {
		return fmt.Errorf("%d groups: want at least 2: %w", len(groups), ErrArgument)
	}
	for i, g := range groups {
		if err := checkSample(g, 2); err != nil {
			return fmt.Errorf("group %d: %w", i+1, err)
		}
	}
	return nil
}
