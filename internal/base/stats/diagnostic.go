package stats

import (
	"fmt"
	"math"
)

// Crossing counts cases by what a test said and by what was true.
type Crossing struct {
	TruePositive  int `json:"true_positive"`
	FalseNegative int `json:"false_negative"`
	FalsePositive int `json:"false_positive"`
	TrueNegative  int `json:"true_negative"`
}

// Positives returns how many cases were truly positive, Negatives how many were not.
func (x Crossing) Positives() int { return x.TruePositive + x.FalseNegative }

// Negatives returns how many cases were truly negative.
func (x Crossing) Negatives() int { return x.FalsePositive + x.TrueNegative }

// Youden returns sensitivity + specificity − 1, from −1 to 1; a class without cases contributes 0
// to the sum.
//
// Source: W. J. Youden, Cancer 1950;3:32-35.
func (x Crossing) Youden() float64 {
	return share(x.TruePositive, x.Positives()) + share(x.TrueNegative, x.Negatives()) - 1
}

func share(k, n int) float64 {
	if n == 0 {
		return 0
	}
	return float64(k) / float64(n)
}

// check refuses negative counts and a class without cases.
func (x Crossing) check() error {
	if min(x.TruePositive, x.FalseNegative, x.FalsePositive, x.TrueNegative) < 0 {
		return fmt.Errorf("counts %+v: none may be negative: %w", x, ErrArgument)
	}
	if x.Positives() == 0 || x.Negatives() == 0 {
		return fmt.Errorf("%d positive and %d negative cases: both classes are needed: %w", x.Positives(), x.Negatives(), ErrArgument)
	}
	return nil
}

// Estimate is a number with its interval.
type Estimate struct {
	Value    float64
	Interval Interval
}

// ProportionMethod is one of the interval estimates for k of n, such as [Wilson] or
// [ClopperPearson].
type ProportionMethod func(k, n int, c Confidence) (Interval, error)

// Sensitivity returns the share of positive cases that the test called positive, with the interval
// of the method. Without positive cases, or with a negative count, it returns [ErrArgument].
func (x Crossing) Sensitivity(method ProportionMethod, c Confidence) (Estimate, error) {
	return proportion("sensitivity", x.TruePositive, x.Positives(), method, c)
}

// Specificity returns the share of negative cases that the test called negative, with the interval
// of the method. Without negative cases, or with a negative count, it returns [ErrArgument].
func (x Crossing) Specificity(method ProportionMethod, c Confidence) (Estimate, error) {
	return proportion("specificity", x.TrueNegative, x.Negatives(), method, c)
}

func proportion(what string, k, n int, method ProportionMethod, c Confidence) (Estimate, error) {
	if n == 0 {
		return Estimate{}, fmt.Errorf("%s without a case: %w", what, ErrArgument)
	}
	i, err := method(k, n, c)
	if err != nil {
		return Estimate{}, fmt.Errorf("%s: %w", what, err)
	}
	return Estimate{Value: float64(k) / float64(n), Interval: i}, nil
}

// Predictive holds the predictive values of a test at a stated prevalence.
type Predictive struct {
	// Positive is the probability that a case called positive is positive.
	Positive Estimate
	// Negative is the probability that a case called negative is negative.
	Negative Estimate
	// Adjusted says that z²/2 was added to each of the four counts, values and intervals alike,
	// because one of them was 0.
	Adjusted bool
}

// Predictive returns the predictive values at a prevalence that does not come from the same cases
// (cases were chosen by their truth, or another place has another prevalence), with intervals by
// the delta method on the logit scale: logit PPV = ln(se·π/((1−sp)(1−π))) with variance
// (1−se)/(se·m) + sp/((1−sp)·n); logit NPV = ln(sp(1−π)/((1−se)π)) with variance
// se/((1−se)·m) + (1−sp)/(sp·n); π is taken as known. Where a count is 0 the logit has no value,
// and z²/2 is added to every count. A prevalence of 0 or 1, a missing confidence, a class without
// cases or a negative count give [ErrArgument].
//
// Source: N. D. Mercaldo, K. F. Lau & X. H. Zhou, Stat Med 2007;26:2170-2183.
func (x Crossing) Predictive(prevalence Probability, c Confidence) (Predictive, error) {
	if err := x.check(); err != nil {
		return Predictive{}, err
	}
	pi, rest := prevalence.Float(), toFloat(prevalence.complement())
	if !c.Known() || pi <= 0 || rest <= 0 {
		return Predictive{}, fmt.Errorf("prevalence %q at confidence %q: want a prevalence over 0 and below 1 and a confidence: %w", prevalence, c, ErrArgument)
	}
	tp, fn, fp, tn := float64(x.TruePositive), float64(x.FalseNegative), float64(x.FalsePositive), float64(x.TrueNegative)
	z := normalZ(c)
	adjusted := min(tp, fn, fp, tn) == 0
	if adjusted {
		half := z * z / 2
		tp, fn, fp, tn = tp+half, fn+half, fp+half, tn+half
	}
	m, n := tp+fn, fp+tn
	on := func(odds, variance float64) Estimate {
		spread := math.Exp(z * math.Sqrt(variance))
		return Estimate{Value: odds / (1 + odds), Interval: Interval{
			Lo: odds / spread / (1 + odds/spread),
			Hi: odds * spread / (1 + odds*spread),
		}}
	}
	// (1−se)/(se·m) = fn/(tp·m), and so on.
	return Predictive{
		Positive: on(tp/m*pi/(fp/n*rest), fn/(tp*m)+tn/(fp*n)),
		Negative: on(tn/n*rest/(fn/m*pi), tp/(fn*m)+fp/(tn*n)),
		Adjusted: adjusted,
	}, nil
}

// Likelihood holds the likelihood ratios of a test.
type Likelihood struct {
	// Positive is se/(1−sp): by how much a positive test multiplies the odds of a positive case.
	Positive Estimate
	// Negative is (1−se)/sp.
	Negative Estimate
	// Adjusted says that ½ was added to each of the four counts, because one of them was 0.
	Adjusted bool
}

// LikelihoodRatios returns both ratios with intervals on the logarithmic scale: the variance of
// ln(LR+) is fn/(tp·m) + tn/(fp·n), of ln(LR−) tp/(fn·m) + fp/(tn·n). Where a count is 0, ½ is
// added to every count. A missing confidence, a class without cases or a negative count give
// [ErrArgument].
//
// Source: D. L. Simel, G. P. Samsa & D. B. Matchar, J Clin Epidemiol 1991;44:763-770.
func (x Crossing) LikelihoodRatios(c Confidence) (Likelihood, error) {
	if err := x.check(); err != nil {
		return Likelihood{}, err
	}
	if !c.Known() {
		return Likelihood{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	tp, fn, fp, tn := float64(x.TruePositive), float64(x.FalseNegative), float64(x.FalsePositive), float64(x.TrueNegative)
	adjusted := min(tp, fn, fp, tn) == 0
	if adjusted {
		tp, fn, fp, tn = tp+0.5, fn+0.5, fp+0.5, tn+0.5
	}
	m, n, z := tp+fn, fp+tn, normalZ(c)
	on := func(ratio, variance float64) Estimate {
		spread := math.Exp(z * math.Sqrt(variance))
		return Estimate{Value: ratio, Interval: Interval{Lo: ratio / spread, Hi: ratio * spread}}
	}
	return Likelihood{
		Positive: on(tp/m/(fp/n), fn/(tp*m)+tn/(fp*n)),
		Negative: on(fn/m/(tn/n), tp/(fn*m)+fp/(tn*n)),
		Adjusted: adjusted,
	}, nil
}
