package mixed_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/mixed"
)

// drawTrials draws counts of yes by two crossed random factors, a fixed factor and a covariate.
func drawTrials(t *rapid.T) mixed.Design {
	d := drawDesign(t)
	random := source(t)
	d.Trials = make([]int32, d.Rows())
	mean := 0.0
	for _, y := range d.Response {
		mean += y / float64(d.Rows())
	}
	for row, y := range d.Response {
		p := 1 / (1 + math.Exp(-.4*(y-mean)))
		d.Trials[row] = 2 + random.Int32N(4)
		d.Response[row] = 0
		for range d.Trials[row] {
			if random.Float64() < p {
				d.Response[row]++
			}
		}
	}
	return d
}

// fitTrials fits drawn counts; those that no model can be fitted to are thrown away.
func fitTrials(t *rapid.T, d mixed.Design) *mixed.Logistic {
	t.Helper()
	fit, err := mixed.FitLogistic(d)
	if errors.Is(err, mixed.ErrSeparation) {
		t.Skip("separated")
	}
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

// wantSame compares two fits that differ in deviance by a constant and in the sign of the log odds.
// Ten standard errors' tolerance of the search, and the curvature by differences.
func wantSame(t *rapid.T, got, want *mixed.Logistic, constant, sign float64) {
	t.Helper()
	wantNear(t, "deviance", got.Deviance, want.Deviance+constant, 1e-9)
	for i, c := range want.Fixed {
		if math.Abs(got.Fixed[i].Estimate-sign*c.Estimate) > 1e-7*(c.SE+math.Abs(c.Estimate)) {
			t.Errorf("%v: %.12g, want %.12g", c.Column, got.Fixed[i].Estimate, sign*c.Estimate)
		}
		wantNear(t, "standard error", got.Fixed[i].SE, c.SE, 1e-5)
	}
	for i, term := range want.Terms {
		if math.Abs(got.Terms[i].Variance-term.Variance) > 1e-6*(1+term.Variance) {
			t.Errorf("%s: %.12g, want %.12g", term.Name, got.Terms[i].Variance, term.Variance)
		}
		for level, e := range term.Effects {
			if math.Abs(got.Terms[i].Effects[level].Mode-sign*e.Mode) > 1e-6*(1+term.SD) {
				t.Errorf("%s %s: %.12g, want %.12g", term.Name, e.Level, got.Terms[i].Effects[level].Mode, sign*e.Mode)
			}
		}
	}
}

// Trials one by one, and in one row, say the same except for the number of orders.
func TestTrialsMayBeSplit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawTrials(t)
		fit := fitTrials(t, d)
		var rows []int32
		var answers []float64
		constant := 0.0
		for row, m := range d.Trials {
			for k := range m {
				rows = append(rows, int32(row))
				answers = append(answers, 0)
				if float64(k) < d.Response[row] {
					answers[len(answers)-1] = 1
				}
			}
			n, _ := math.Lgamma(float64(m) + 1)
			a, _ := math.Lgamma(d.Response[row] + 1)
			b, _ := math.Lgamma(float64(m) - d.Response[row] + 1)
			constant += 2 * (n - a - b)
		}
		split := must(d.Subset(rows))
		split.Response, split.Trials = answers, nil
		wantSame(t, must(mixed.FitLogistic(split)), fit, constant, 1)
	})
}

func TestYesAndNoMayBeSwapped(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawTrials(t)
		fit := fitTrials(t, d)
		rows := make([]int32, d.Rows())
		for i, row := range source(t).Perm(d.Rows()) {
			rows[i] = int32(row)
		}
		swapped := must(d.Subset(rows))
		for row, m := range swapped.Trials {
			swapped.Response[row] = float64(m) - swapped.Response[row]
		}
		wantSame(t, must(mixed.FitLogistic(swapped)), fit, 0, -1)
	})
}

// Where all groups have the same proportions the variance is zero and the model is a table: log
// odds of the proportions, with the standard error √(1/yes + 1/no) (B. Woolf, Ann Hum Genet
// 1955;19:251-253).
func TestLogisticWithoutVariance(t *testing.T) {
	t.Parallel()
	d := mixed.Design{
		Fixed:  []mixed.Factor{{Name: "kind", Levels: []string{"flat", "wide"}, Reference: "wide"}},
		Random: []mixed.Factor{{Name: "scope", Levels: levelsOf(6)}, {Name: "person", Levels: levelsOf(3)}},
	}
	for scope := range int32(6) {
		for kind := range int32(2) {
			d.Response = append(d.Response, float64(2+2*kind))
			d.Trials = append(d.Trials, 10)
			d.Fixed[0].Index = append(d.Fixed[0].Index, kind)
			d.Random[0].Index = append(d.Random[0].Index, scope)
			d.Random[1].Index = append(d.Random[1].Index, scope%3)
		}
	}
	fit := must(mixed.FitLogistic(d))
	for _, term := range fit.Terms {
		if term.Variance != 0 || term.Share != 0 {
			t.Errorf("%s has variance %g, want exactly 0", term.Name, term.Variance)
		}
	}
	odds, log := func(yes float64) float64 { return math.Log(yes / (60 - yes)) }, math.Log
	wantNear(t, "intercept", fit.Fixed[0].Estimate, odds(24), 1e-9)
	wantNear(t, "its standard error", fit.Fixed[0].SE, math.Sqrt(1./24+1./36), 1e-7)
	wantNear(t, "difference", fit.Fixed[1].Estimate, odds(12)-odds(24), 1e-9)
	wantNear(t, "its standard error", fit.Fixed[1].SE, math.Sqrt(1./24+1./36+1./12+1./48), 1e-7)
	choose := log(45) + log(210) // 10 over 2 and 10 over 4
	want := 6*choose + 12*log(.2) + 48*log(.8) + 24*log(.4) + 36*log(.6)
	wantNear(t, "log-likelihood", fit.LogLikelihood, want, 1e-10)
}

// An effect of each row is estimable if rows have several trials (over-dispersion).
func TestEffectOfEachRow(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 1))
	d := mixed.Design{Random: []mixed.Factor{{Name: "row", Levels: levelsOf(400)}}}
	for row := range int32(400) {
		p := 1 / (1 + math.Exp(1-random.NormFloat64()))
		yes := 0.
		for range 20 {
			if random.Float64() < p {
				yes++
			}
		}
		d.Response, d.Trials = append(d.Response, yes), append(d.Trials, 20)
		d.Random[0].Index = append(d.Random[0].Index, row)
	}
	fit := must(mixed.FitLogistic(d))
	// Standard error of the SD about 0.05.
	wantNear(t, "standard deviation", fit.Terms[0].SD, 1, .15)
	wantNear(t, "share", fit.Terms[0].Share, fit.Terms[0].Variance/(fit.Terms[0].Variance+math.Pi*math.Pi/3), 1e-14)
}
