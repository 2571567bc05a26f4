package stats_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

func wantEstimate(t *testing.T, what string, got stats.Estimate, lo, value, hi float64) {
	t.Helper()
	wantNear(t, what, got.Value, value, close12)
	wantInterval(t, what, got.Interval, stats.Interval{Lo: lo, Hi: hi})
}

// The formulas of the cited papers evaluated in decimal arithmetic of 30 digits.
func TestDiagnosticReference(t *testing.T) {
	c := stats.MustConfidence("0.95")
	x := stats.Crossing{TruePositive: 80, FalseNegative: 20, FalsePositive: 30, TrueNegative: 170}
	p := must[stats.Predictive](t)(x.Predictive(stats.MustProbability("0.05"), c))
	wantEstimate(t, "PPV", p.Positive, 0.16594804892999734, 0.21917808219178082, 0.28367511734393983)
	wantEstimate(t, "NPV", p.Negative, 0.98192642221773074, 0.98776758409785933, 0.9917368393193849)
	l := must[stats.Likelihood](t)(x.LikelihoodRatios(c))
	wantEstimate(t, "LR+", l.Positive, 3.7803555589372568, 5.3333333333333333, 7.5242775450573807)
	wantEstimate(t, "LR−", l.Negative, 0.15830817885058491, 0.23529411764705882, 0.34971864499534925)
	if p.Adjusted || l.Adjusted {
		t.Error("adjusted although no count is 0")
	}

	y := stats.Crossing{TruePositive: 10, FalsePositive: 2, TrueNegative: 28}
	p = must[stats.Predictive](t)(y.Predictive(stats.MustProbability("0.2"), c))
	wantEstimate(t, "adjusted PPV", p.Positive, 0.41709002145581411, 0.65015601805614684, 0.82837880235173344)
	wantEstimate(t, "adjusted NPV", p.Negative, 0.87214289500984032, 0.96224396119139587, 0.98960730618269583)
	l = must[stats.Likelihood](t)(y.LikelihoodRatios(c))
	wantEstimate(t, "adjusted LR+", l.Positive, 3.5810108228799788, 11.836363636363636, 39.122893244862718)
	wantEstimate(t, "adjusted LR−", l.Negative, 0.0032894168972641336, 0.049441786283891547, 0.74313785916742028)
	if !p.Adjusted || !l.Adjusted {
		t.Error("not adjusted although a count is 0")
	}
}

func TestSensitivityAndSpecificity(t *testing.T) {
	c := stats.MustConfidence("0.95")
	x := stats.Crossing{TruePositive: 3, FalseNegative: 47, FalsePositive: 1, TrueNegative: 99}
	// 3/50 and 1/100 by R 4.2.2, as in TestProportionReference.
	wantEstimate(t, "sensitivity", must[stats.Estimate](t)(x.Sensitivity(stats.ClopperPearson, c)), .0125485878353341, .06, .165481946603773)
	wantEstimate(t, "specificity", must[stats.Estimate](t)(x.Specificity(stats.Wilson, c)), 1-.0544861961787053, .99, 1-.00176743206414065)
	wantNear(t, "Youden", x.Youden(), 0.05, close12)
}

func TestDiagnosticRefuses(t *testing.T) {
	c := stats.MustConfidence("0.95")
	full := stats.Crossing{TruePositive: 1, FalseNegative: 1, FalsePositive: 1, TrueNegative: 1}
	half := stats.MustProbability("0.5")
	tests := []struct {
		reason     string
		x          stats.Crossing
		prevalence stats.Probability
		c          stats.Confidence
	}{
		{"no positive case", stats.Crossing{TrueNegative: 3}, half, c},
		{"no negative case", stats.Crossing{TruePositive: 3}, half, c},
		{"a negative count", stats.Crossing{TruePositive: 3, FalsePositive: -1, TrueNegative: 5}, half, c},
		{"no prevalence", full, stats.Probability{}, c},
		{"prevalence 0", full, stats.MustProbability("0"), c},
		{"prevalence 1", full, stats.MustProbability("1"), c},
		{"no confidence", full, half, stats.Confidence{}},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			if got, err := test.x.Predictive(test.prevalence, test.c); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %+v, %v; want ErrArgument", got, err)
			}
		})
	}
	if got, err := full.LikelihoodRatios(stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("got %+v, %v; want ErrArgument", got, err)
	}
	if got, err := (stats.Crossing{TrueNegative: 3}).LikelihoodRatios(c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("got %+v, %v; want ErrArgument", got, err)
	}
	if got, err := (stats.Crossing{TrueNegative: 3}).Sensitivity(stats.Wilson, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("got %+v, %v; want ErrArgument", got, err)
	}
	if got, err := (stats.Crossing{TruePositive: 3}).Specificity(stats.Wilson, c); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("got %+v, %v; want ErrArgument", got, err)
	}
}

// Bayes' theorem through likelihood ratios gives the same predictive values; both rise with the
// prevalence the way they must; intervals hold their values.
func TestPredictiveProperties(t *testing.T) {
	c := stats.MustConfidence("0.95")
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 300)
		x := stats.Crossing{
			TruePositive: count.Draw(t, "tp"), FalseNegative: count.Draw(t, "fn"),
			FalsePositive: count.Draw(t, "fp"), TrueNegative: count.Draw(t, "tn"),
		}
		thousandths := rapid.IntRange(1, 998).Draw(t, "prevalence × 1000")
		at := func(k int) stats.Predictive {
			prevalence, err := probabilityOf(float64(k) / 1000)
			if err != nil {
				t.Fatal(err)
			}
			return must[stats.Predictive](t)(x.Predictive(prevalence, c))
		}
		p, more := at(thousandths), at(thousandths+1)
		l := must[stats.Likelihood](t)(x.LikelihoodRatios(c))
		odds := float64(thousandths) / float64(1000-thousandths)
		if got, want := p.Positive.Value/(1-p.Positive.Value), odds*l.Positive.Value; !near(got, want, 1e-9) {
			t.Fatalf("odds after a positive test %v, by the likelihood ratio %v", got, want)
		}
		if got, want := (1-p.Negative.Value)/p.Negative.Value, odds*l.Negative.Value; math.Abs(got-want) > 1e-9*max(1, want) {
			t.Fatalf("odds after a negative test %v, by the likelihood ratio %v", got, want)
		}
		if more.Positive.Value <= p.Positive.Value || more.Negative.Value >= p.Negative.Value {
			t.Fatalf("with more prevalence %+v becomes %+v", p, more)
		}
		for _, e := range []stats.Estimate{p.Positive, p.Negative, l.Positive, l.Negative} {
			if !e.Interval.Contains(e.Value) {
				t.Fatalf("%v is not within %v", e.Value, e.Interval)
			}
		}
	})
}
