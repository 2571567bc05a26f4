package mixed_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

// Tolerances against references of 15 digits. A fit ends within 1e-9 standard errors of the maximum,
// so that variances have at least 9 digits; the deviance is level there.
const (
	closeVariance = 1e-9
	closeDeviance = 1e-12
)

// The standard errors of a logistic model come from differences of the gradient over 1e-4.
const closeCurvature = 1e-7

// The four tables of testdata/README.md, every value of them.
func TestReferences(t *testing.T) {
	t.Parallel()
	tests := []struct {
		file string
		fit  func(t *testing.T) found
	}{
		{"crossed_reml.csv", func(t *testing.T) found {
			t.Helper()
			return ofLinear(must(mixed.FitLinear(crossedRows(t), mixed.REML)))
		}},
		{"crossed_ml.csv", func(t *testing.T) found {
			t.Helper()
			return ofLinear(must(mixed.FitLinear(crossedRows(t), mixed.ML)))
		}},
		{"cbpp_ml.csv", func(t *testing.T) found {
			t.Helper()
			return ofLogistic(must(mixed.FitLogistic(cattle(t))))
		}},
		{"failures_ml.csv", func(t *testing.T) found {
			t.Helper()
			return ofLogistic(must(mixed.FitLogistic(failures(t))))
		}},
	}
	for _, test := range tests {
		t.Run(test.file, func(t *testing.T) {
			t.Parallel()
			got, reference := test.fit(t), readTable(t, test.file)
			for i, want := range reference.numbers("value") {
				quantity := reference["quantity"][i]
				key := strings.Join([]string{quantity, reference["term"][i], reference["level"][i]}, "|")
				value, ok := got.values[key]
				if !ok {
					t.Errorf("%s was not estimated", key)
					continue
				}
				tolerance := closeVariance
				switch {
				case quantity == "mode": // compared with the size of modes, since some are nearly 0
					tolerance *= max(1, 0.1/math.Abs(want))
				case quantity == "deviance":
					tolerance = closeDeviance
				case got.logistic && (quantity == "fixed_se" || quantity == "se"):
					tolerance = closeCurvature
				}
				wantNear(t, key, value, want, tolerance)
				delete(got.values, key)
			}
			for key := range got.values {
				t.Errorf("there is no reference for %s", key)
			}
		})
	}
}

// found is a fit by the names of the reference tables.
type found struct {
	logistic bool
	values   map[string]float64
}

func ofLinear(fit *mixed.Linear) found {
	f := found{values: map[string]float64{"deviance||": fit.Deviance, "variance|residual|": fit.Residual.Variance}}
	f.add(fit.Terms, fit.Fixed)
	return f
}

func ofLogistic(fit *mixed.Logistic) found {
	f := found{logistic: true, values: map[string]float64{"deviance||": fit.Deviance}}
	f.add(fit.Terms, fit.Fixed)
	return f
}

func (f found) add(terms []mixed.Term, fixed []mixed.Coefficient) {
	for _, term := range terms {
		f.values["variance|"+term.Name+"|"] = term.Variance
		for _, e := range term.Effects {
			key := "|" + term.Name + "|" + e.Level
			f.values["mode"+key], f.values["se"+key], f.values["conditional_sd"+key] = e.Mode, e.SE, e.ConditionalSD
		}
	}
	for _, c := range fixed {
		key := "|" + c.Term + "|" + c.Level
		f.values["fixed"+key], f.values["fixed_se"+key] = c.Estimate, c.SE
	}
}

// Davies & Goldsmith's and Box & Tiao's data. All are balanced, so that the values have closed forms:
// the mean squares, or for the two-way layout under ML the solution of three equations in them at 30
// digits. The deviances are reference values of R's lme4 too.
func TestPublishedData(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name          string
		design        mixed.Design
		criterion     mixed.Criterion
		deviance      float64
		variances     map[string]float64
		intercept, se float64
	}{
		{
			"one-way", dyestuff(t, "dyestuff.csv"), mixed.REML, 319.654276842257,
			map[string]float64{"Batch": 1764.05, "residual": 2451.25},
			1527.5, math.Sqrt(11271.5 / 30), // mean square between batches over 30
		},
		{
			"one-way", dyestuff(t, "dyestuff.csv"), mixed.ML, 327.327059881135,
			map[string]float64{"Batch": 4165. / 3, "residual": 2451.25},
			1527.5, math.Sqrt(11271.5 * 5 / 6 / 30),
		},
		{
			"two-way", penicillin(t), mixed.REML, 330.860588991086,
			map[string]float64{"plate": .716908212560386, "sample": 3.730917874396127, "residual": .302415458937193},
			3308. / 144, .808573390985486,
		},
		{
			"two-way", penicillin(t), mixed.ML, 332.188348668501,
			map[string]float64{"plate": .714992328163123, "sample": 3.135188245701777, "residual": .302425420674753},
			3308. / 144, .744595794926945,
		},
		{
			"no variance", dyestuff(t, "dyestuff2.csv"), mixed.REML, 161.828277812288,
			map[string]float64{"Batch": 0, "residual": 13.806309627586206},
			5.6656, .678388031232524,
		},
		{
			"no variance", dyestuff(t, "dyestuff2.csv"), mixed.ML, 162.873036653826,
			map[string]float64{"Batch": 0, "residual": 13.346099306666666},
			5.6656, .666985739644326,
		},
	}
	for _, test := range tests {
		t.Run(fmt.Sprint(test.name, " ", test.criterion), func(t *testing.T) {
			t.Parallel()
			fit := must(mixed.FitLinear(test.design, test.criterion))
			wantNear(t, "deviance", fit.Deviance, test.deviance, closeDeviance)
			wantNear(t, "log-likelihood", fit.LogLikelihood, -test.deviance/2, closeDeviance)
			wantNear(t, "residual", fit.Residual.Variance, test.variances["residual"], closeVariance)
			shares := fit.Residual.Share
			for _, term := range fit.Terms {
				want := test.variances[term.Name]
				wantNear(t, term.Name, term.Variance, want, closeVariance)
				if want == 0 && (term.Variance != 0 || term.SD != 0 || term.Effects[0].Mode != 0) {
					t.Errorf("%s is not exactly zero: %+v", term.Name, term)
				}
				shares += term.Share
			}
			wantNear(t, "sum of shares", shares, 1, 1e-14)
			wantNear(t, "intercept", fit.Fixed[0].Estimate, test.intercept, 1e-12)
			wantNear(t, "its standard error", fit.Fixed[0].SE, test.se, closeVariance)
		})
	}
}

// Reference values, R's lme4 with a tight optimiser, which has 8 digits.
func TestPublishedEffects(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		design mixed.Design
		term   int
		want   []float64
	}{
		{"batch", dyestuff(t, "dyestuff.csv"), 0, []float64{
			-17.6068513085, .3912633624, 28.5622254560, -23.0845383822, 56.7331875496, -44.9952866772,
		}},
		{"sample", penicillin(t), 1, []float64{
			2.18705796904, -1.01047615027, 1.93789946624, -.096894973321, -.0138421390532, -3.00374417269,
		}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			for i, e := range must(mixed.FitLinear(test.design, mixed.REML)).Terms[test.term].Effects {
				wantNear(t, e.Level, e.Mode, test.want[i], 1e-8)
			}
		})
	}
}

// Profile limits at 95 % of crossed.csv: reference values, independent program that minimises the
// deviance of the full covariance matrix and solves for its rise; 11 digits. Those of the published
// data: lme4, which interpolates its profiles, so that 5 digits agree.
func TestProfile(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name      string
		design    mixed.Design
		criterion mixed.Criterion
		tolerance float64
		want      map[string]stats.Interval
	}{
		{"crossed", crossedRows(t), mixed.REML, 1e-10, map[string]stats.Interval{
			"scope":    {Lo: 0.12391432028234578, Hi: 0.34586940790300996},
			"person":   {Lo: 0.18646917157517504, Hi: 0.6502518156562287},
			"lot":      {Lo: 0.04211451516865371, Hi: 0.3252756543545714},
			"residual": {Lo: 0.2786813009039363, Hi: 0.35784841656674155},
		}},
		{"crossed", crossedRows(t), mixed.ML, 1e-10, map[string]stats.Interval{
			"scope":    {Lo: 0.12338156463929856, Hi: 0.33917183204730833},
			"person":   {Lo: 0.18055081699439013, Hi: 0.5788140557409279},
			"lot":      {Lo: 0.04167401522160496, Hi: 0.2966642360125036},
			"residual": {Lo: 0.2758850857300368, Hi: 0.3533270076872045},
		}},
		{"one-way", dyestuff(t, "dyestuff.csv"), mixed.ML, 2e-4, map[string]stats.Interval{
			"Batch": {Lo: 12.19853521, Hi: 84.06304671}, "residual": {Lo: 38.22998488, Hi: 67.65769624},
		}},
		{"two-way", penicillin(t), mixed.ML, 5e-5, map[string]stats.Interval{
			"plate":    {Lo: 0.6335659660, Hi: 1.1821039851},
			"sample":   {Lo: 1.0957893965, Hi: 3.5562917781},
			"residual": {Lo: 0.4858454001, Hi: 0.6294534786},
		}},
	}
	for _, test := range tests {
		t.Run(fmt.Sprint(test.name, " ", test.criterion), func(t *testing.T) {
			t.Parallel()
			fit := must(mixed.FitLinear(test.design, test.criterion))
			for name, want := range test.want {
				got := must(fit.Profile(name, stats.MustConfidence("0.95")))
				wantNear(t, name+" lower limit", got.Lo, want.Lo, test.tolerance)
				wantNear(t, name+" upper limit", got.Hi, want.Hi, test.tolerance)
			}
		})
	}
}

// Where the estimate is zero, or not far from it, the interval begins at zero.
func TestProfileIsOpenToZero(t *testing.T) {
	t.Parallel()
	fit := must(mixed.FitLinear(dyestuff(t, "dyestuff2.csv"), mixed.REML))
	previous := 0.0
	for _, c := range []string{"0.5", "0.9", "0.95", "0.99"} {
		got := must(fit.Profile("Batch", stats.MustConfidence(c)))
		if got.Lo != 0 || !(got.Hi > previous) || math.IsInf(got.Hi, 1) {
			t.Errorf("at %s the interval is %v after one up to %g", c, got, previous)
		}
		previous = got.Hi
	}
	fit = must(mixed.FitLinear(dyestuff(t, "dyestuff.csv"), mixed.REML))
	if got := must(fit.Profile("Batch", stats.MustConfidence("0.95"))); got.Lo == 0 {
		t.Errorf("the 95 %% interval %v holds zero", got)
	}
	if got := must(fit.Profile("Batch", stats.MustConfidence("0.9999"))); got.Lo != 0 {
		t.Errorf("the 99.99 %% interval %v does not hold zero", got)
	}
}
