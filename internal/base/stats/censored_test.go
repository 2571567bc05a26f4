package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

var (
	noLower = math.Inf(-1)
	noUpper = math.Inf(1)
)

func exactly(x float64) stats.Observation { return stats.Between(x, x) }

func observations(pairs ...[2]float64) []stats.Observation {
	var o []stats.Observation
	for _, p := range pairs {
		o = append(o, stats.Observation{Lo: p[0], Hi: p[1]})
	}
	return o
}

// leftCensored are twenty readings of which five lie below 10.
func leftCensored() []stats.Observation {
	var o []stats.Observation
	for range 5 {
		o = append(o, stats.Below(10))
	}
	for _, x := range []float64{12, 15, 18, 22, 27, 31, 40, 46, 58, 75, 90, 130, 21, 35, 64} {
		o = append(o, exactly(x))
	}
	return o
}

// mixed has several limits of every kind and rounded readings.
func mixed() []stats.Observation {
	return observations(
		[2]float64{0, 5}, [2]float64{noLower, 5}, [2]float64{0, 10}, [2]float64{-1, 20},
		[2]float64{11.5, 12.5}, [2]float64{13.5, 14.5}, [2]float64{17, 17}, [2]float64{21.5, 22.5},
		[2]float64{20, 30}, [2]float64{31, 31}, [2]float64{33.5, 34.5}, [2]float64{41, 41},
		[2]float64{46, 46}, [2]float64{55, 65}, [2]float64{200, noUpper}, [2]float64{300, noUpper},
		[2]float64{88, 88}, [2]float64{90, 91}, [2]float64{2.5, 3.5},
	)
}

func censoredNormal() []stats.Observation {
	return observations(
		[2]float64{noLower, 10}, [2]float64{noLower, 20}, [2]float64{12, 12}, [2]float64{30, 40},
		[2]float64{35.5, 36.5}, [2]float64{41, 41}, [2]float64{44, 44}, [2]float64{52, 52},
		[2]float64{60, noUpper}, [2]float64{55, noUpper},
	)
}

func limitsOnly() []stats.Observation {
	return []stats.Observation{
		stats.Below(15), stats.Below(25), stats.Below(35), stats.Below(50), stats.Below(60),
		stats.Above(10), stats.Above(20), stats.Above(30), stats.Above(15), stats.Above(40),
	}
}

// Fitted with R 4.2.2, package survival, relative tolerance 1e-15: its iteration stops with about
// nine digits in the parameters and all of them in the likelihood. The covariance is of μ and ln σ.
// The limits of the profiles come from nested one-dimensional searches with tolerance 1e-12, which
// leave seven digits.
func TestCensoredReference(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name                        string
		observations                []stats.Observation
		family                      stats.Family
		mu, sigma, logLik           float64
		seMu, seLogSigma, cov       float64
		profileMu, profileQ95       stats.Interval // both on the normal scale
		profileLogSigma             stats.Interval
		exceeded                    float64
		profileExceedance           stats.Interval
		exact, left, right, between int
	}{
		{
			name: "left-censored", observations: leftCensored(), family: stats.LogNormal,
			mu: 3.1262823669216, sigma: 1.0274718474706, logLik: -80.643918137427,
			seMu: .2397615159407, seLogSigma: .19510683807881, cov: -0.00773249001813,
			profileMu:       stats.Interval{Lo: 2.584702940, Hi: 3.600210628},
			profileQ95:      stats.Interval{Lo: 4.230082470, Hi: 5.814267893},
			profileLogSigma: stats.Interval{Lo: -0.3141429190, Hi: 0.4609371434},
			exceeded:        100, profileExceedance: stats.Interval{Lo: 0.0173515680, Hi: 0.2110164873},
			exact: 15, left: 5,
		},
		{
			name: "mixed", observations: mixed(), family: stats.LogNormal,
			mu: 3.15111873281568, sigma: 1.62514442121804, logLik: -69.2925753754127,
			seMu: 0.388127364574, seLogSigma: 0.213134125752, cov: -0.00710267132722,
			profileMu:       stats.Interval{Lo: 2.285838535, Hi: 3.953796799},
			profileQ95:      stats.Interval{Lo: 4.819227068, Hi: 7.663498469},
			profileLogSigma: stats.Interval{Lo: 0.1157779128, Hi: 0.9639400022},
			exceeded:        100, profileExceedance: stats.Interval{Lo: 0.06996563324, Hi: 0.37094114740},
			exact: 5, left: 4, right: 2, between: 8,
		},
		{
			name: "normal", observations: censoredNormal(), family: stats.Normal,
			mu: 36.5159820729176, sigma: 25.9023997470854, logLik: -29.7845276180682,
			seMu: 8.587640783921, seLogSigma: 0.323272057617, cov: 0.00137546513362,
			profileMu:       stats.Interval{Lo: 15.62588482, Hi: 57.41794531},
			profileQ95:      stats.Interval{Lo: 57.24407672, Hi: 135.88115578},
			profileLogSigma: stats.Interval{Lo: 2.722035074, Hi: 4.028403350},
			exceeded:        60, profileExceedance: stats.Interval{Lo: 0.03580947032, Hi: 0.47352749638},
			exact: 4, left: 2, right: 2, between: 2,
		},
		{
			name: "limits only", observations: limitsOnly(), family: stats.Normal,
			mu: 29.239312712162633, sigma: 22.842372111967279, logLik: -5.796226130650513,
			seMu: 9.784874123907869, seLogSigma: 0.727127310181824, cov: math.NaN(),
			left: 5, right: 5,
		},
	} {
		t.Run(test.name, func(t *testing.T) {
			before := slices.Clone(test.observations)
			fit := must[stats.CensoredFit](t)(stats.FitCensored(test.observations, test.family))
			if !slices.Equal(test.observations, before) {
				t.Error("the observations were changed")
			}
			const digits = 1e-8
			wantNear(t, "μ", fit.Mu, test.mu, digits)
			wantNear(t, "σ", fit.Sigma, test.sigma, digits)
			wantNear(t, "log-likelihood", fit.LogLik, test.logLik, close12)
			wantNear(t, "SE μ", fit.SEMu(), test.seMu, digits)
			wantNear(t, "SE ln σ", fit.SELogSigma(), test.seLogSigma, digits)
			if !math.IsNaN(test.cov) {
				wantNear(t, "covariance", fit.Covariance[0][1], test.cov, 1e-6)
			}
			if fit.Exact != test.exact || fit.Left != test.left || fit.Right != test.right || fit.Interval != test.between {
				t.Errorf("%d exact, %d left, %d right, %d between", fit.Exact, fit.Left, fit.Right, fit.Interval)
			}
			if test.exceeded == 0 {
				return
			}
			c := stats.MustConfidence("0.95")
			check := func(what string, got, want stats.Interval) {
				t.Helper()
				wantNear(t, what+", lower", got.Lo, want.Lo, 3e-7)
				wantNear(t, what+", upper", got.Hi, want.Hi, 3e-7)
			}
			mu := must[stats.Estimate](t)(fit.EstimateMu(c, stats.ProfileLimits))
			check("profile of μ", mu.Interval, test.profileMu)
			q := must[stats.Estimate](t)(fit.Quantile(stats.MustProbability("0.95"), c, stats.ProfileLimits))
			want := test.profileQ95
			if test.family == stats.LogNormal {
				want = stats.Interval{Lo: math.Exp(want.Lo), Hi: math.Exp(want.Hi)}
			}
			check("profile of the 95th percentile", q.Interval, want)
			s := must[stats.Estimate](t)(fit.EstimateSigma(c, stats.ProfileLimits))
			check("profile of σ", s.Interval, stats.Interval{Lo: math.Exp(test.profileLogSigma.Lo), Hi: math.Exp(test.profileLogSigma.Hi)})
			e := must[stats.Estimate](t)(fit.Exceedance(test.exceeded, c, stats.ProfileLimits))
			check("profile of the exceedance", e.Interval, test.profileExceedance)
		})
	}
}

// The same twenty readings: 95th percentile with Wald limits on the log scale, and the share above
// 100; R 4.2.2, package survival, relative tolerance 1e-14.
func TestCensoredWald(t *testing.T) {
	t.Parallel()
	fit := must[stats.CensoredFit](t)(stats.FitCensored(leftCensored(), stats.LogNormal))
	c := stats.MustConfidence("0.95")
	q := must[stats.Estimate](t)(fit.Quantile(stats.MustProbability("0.95"), c, stats.WaldLimits))
	wantNear(t, "P95", q.Value, 123.51012812615, 1e-11)
	wantNear(t, "P95 lower", q.Interval.Lo, 59.30959663266, 1e-9)
	wantNear(t, "P95 upper", q.Interval.Hi, 257.20545435876, 1e-9)
	e := must[stats.Estimate](t)(fit.Exceedance(100, c, stats.WaldLimits))
	wantNear(t, "P(X > 100)", e.Value, .075026213093702, 1e-11)
	if !e.Interval.Contains(e.Value) {
		t.Errorf("P(X > 100): %+v", e)
	}
	s := must[stats.Estimate](t)(fit.EstimateSigma(c, stats.WaldLimits))
	wantNear(t, "σ lower · upper", s.Interval.Lo*s.Interval.Hi, fit.Sigma*fit.Sigma, close12)
	wantNear(t, "SE σ", fit.SESigma(), fit.Sigma*fit.SELogSigma(), close12)
}

// Without censoring the fit is the mean and the standard deviation with divisor n, SE(μ) = σ/√n and
// SE(ln σ) = 1/√(2n), and the profile of μ is mean ± σ·√(n(e^(z²/n)−1))/√n.
func TestCensoredWithoutCensoring(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfNDistinct(rapid.IntRange(-10000, 10000), 3, 50, func(i int) int { return i }).Draw(t, "x")
		offset := rapid.Float64Range(-1e6, 1e6).Draw(t, "offset")
		n := float64(len(x))
		var o []stats.Observation
		mean, squares := 0.0, 0.0
		for _, v := range x {
			o = append(o, exactly(offset+float64(v)))
			mean += float64(v) / n
		}
		for _, v := range x {
			squares += (float64(v) - mean) * (float64(v) - mean)
		}
		sigma := math.Sqrt(squares / n)
		fit := must[stats.CensoredFit](t)(stats.FitCensored(o, stats.Normal))
		if math.Abs(fit.Mu-offset-mean) > 1e-9*sigma || !near(fit.Sigma, sigma, 1e-9) {
			t.Fatalf("μ %v, σ %v, want %v, %v", fit.Mu, fit.Sigma, offset+mean, sigma)
		}
		logLik := -n / 2 * (math.Log(2*math.Pi*sigma*sigma) + 1)
		if !near(fit.LogLik, logLik, 1e-9) || !near(fit.SEMu(), sigma/math.Sqrt(n), 1e-9) ||
			!near(fit.SELogSigma(), 1/math.Sqrt(2*n), 1e-9) || math.Abs(fit.Covariance[0][1]) > 1e-9*sigma {
			t.Fatalf("log-likelihood %v, want %v; covariance %v", fit.LogLik, logLik, fit.Covariance)
		}
		const z = 1.959963984540054 // normal quantile of 0.975
		mu := must[stats.Estimate](t)(fit.EstimateMu(stats.MustConfidence("0.95"), stats.ProfileLimits))
		half := sigma * math.Sqrt(math.Expm1(z*z/n))
		if !near(mu.Interval.Hi-fit.Mu, half, 1e-7) || !near(fit.Mu-mu.Interval.Lo, half, 1e-7) {
			t.Fatalf("profile of μ %+v, want ± %v", mu, half)
		}
	})
}

// draw makes a sample of which some are censored, with at least three values known.
func drawObservations(t *rapid.T) []stats.Observation {
	exact := rapid.SliceOfNDistinct(rapid.IntRange(1, 500), 3, 12, func(i int) int { return i }).Draw(t, "exact")
	others := rapid.SliceOfN(rapid.IntRange(1, 500), 0, 12).Draw(t, "others")
	var o []stats.Observation
	for _, x := range exact {
		o = append(o, exactly(float64(x)))
	}
	for i, x := range others {
		v := float64(x)
		switch i % 4 {
		case 0:
			o = append(o, stats.Below(v))
		case 1:
			o = append(o, stats.Above(v))
		case 2:
			o = append(o, stats.Between(v-0.5, v+0.5))
		default:
			o = append(o, stats.Between(v, 3*v))
		}
	}
	return o
}

// logLik is the likelihood written down from its definition.
func logLik(observations []stats.Observation, mu, sigma float64) float64 {
	sum := 0.0
	for _, o := range observations {
		if o.Lo == o.Hi {
			z := (math.Log(o.Lo) - mu) / sigma
			sum += -z*z/2 - math.Log(math.Sqrt(2*math.Pi)*sigma*o.Lo)
			continue
		}
		a, b := math.Inf(-1), (math.Log(o.Hi)-mu)/sigma
		if o.Lo > 0 {
			a = (math.Log(o.Lo) - mu) / sigma
		}
		if a > 0 {
			sum += math.Log(stats.NormalSurvival(a) - stats.NormalSurvival(b))
		} else {
			sum += math.Log(stats.NormalCDF(b) - stats.NormalCDF(a))
		}
	}
	return sum
}

// highest returns the maximum of a function with one peak between −6 and 6, by thirds.
func highest(f func(float64) float64) float64 {
	lo, hi := -6.0, 6.0
	for range 80 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if fa, fb := f(a), f(b); fa < fb || math.IsInf(fa, -1) {
			lo = a
		} else {
			hi = b
		}
	}
	return f((lo + hi) / 2)
}

// The fit is a maximum of the likelihood, its value there is LogLik, the profile limits lie z²/2
// below it and nothing with the same quantile does better.
func TestCensoredIsTheMaximum(t *testing.T) {
	t.Parallel()
	p95, c := stats.MustProbability("0.95"), stats.MustConfidence("0.95")
	const z95, drop = 1.6448536269514722, 1.9207294103470354 // normal quantile; half the χ² quantile of one degree
	rapid.Check(t, func(t *rapid.T) {
		o := drawObservations(t)
		fit := must[stats.CensoredFit](t)(stats.FitCensored(o, stats.LogNormal))
		if got := logLik(o, fit.Mu, fit.Sigma); !near(got, fit.LogLik, 1e-9) {
			t.Fatalf("log-likelihood %v, by definition %v", fit.LogLik, got)
		}
		for _, d := range [][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, 1}, {1, -1}, {-1, -1}} {
			for _, size := range []float64{1e-4, 0.1, 1} {
				mu, sigma := fit.Mu+size*d[0]*fit.SEMu(), fit.Sigma*math.Exp(size*d[1]*fit.SELogSigma())
				if got := logLik(o, mu, sigma); got > fit.LogLik+1e-10 {
					t.Fatalf("log-likelihood %v at %v, %v, more than %v", got, mu, sigma, fit.LogLik)
				}
			}
		}
		q := must[stats.Estimate](t)(fit.Quantile(p95, c, stats.ProfileLimits))
		for _, end := range []float64{q.Interval.Lo, q.Interval.Hi} {
			best := highest(func(v float64) float64 {
				sigma := fit.Sigma * math.Exp(v)
				return logLik(o, math.Log(end)-z95*sigma, sigma)
			})
			if math.Abs(fit.LogLik-best-drop) > 1e-7 { // ln(Φ(b) − Φ(a)) of narrow limits, by definition
				t.Fatalf("profile at %v is %v below the maximum, want %v", end, fit.LogLik-best, drop)
			}
		}
		if !q.Interval.Contains(q.Value) {
			t.Fatalf("%+v does not contain its estimate", q)
		}
	})
}

// Another unit multiplies quantiles and leaves exceedances alone.
func TestCensoredInOtherUnits(t *testing.T) {
	t.Parallel()
	p90, c := stats.MustProbability("0.9"), stats.MustConfidence("0.9")
	rapid.Check(t, func(t *rapid.T) {
		o := drawObservations(t)
		unit := math.Exp(rapid.Float64Range(-20, 20).Draw(t, "ln unit"))
		var scaled []stats.Observation
		for _, v := range o {
			scaled = append(scaled, stats.Observation{Lo: v.Lo * unit, Hi: v.Hi * unit})
		}
		a := must[stats.CensoredFit](t)(stats.FitCensored(o, stats.LogNormal))
		b := must[stats.CensoredFit](t)(stats.FitCensored(scaled, stats.LogNormal))
		if math.Abs(b.Mu-a.Mu-math.Log(unit)) > 1e-8*a.Sigma || !near(b.Sigma, a.Sigma, 1e-8) {
			t.Fatalf("μ %v and %v, σ %v and %v", a.Mu, b.Mu, a.Sigma, b.Sigma)
		}
		for _, method := range []stats.LimitsMethod{stats.WaldLimits, stats.ProfileLimits} {
			qa := must[stats.Estimate](t)(a.Quantile(p90, c, method))
			qb := must[stats.Estimate](t)(b.Quantile(p90, c, method))
			if !near(qb.Value, unit*qa.Value, 1e-7) || !near(qb.Interval.Lo, unit*qa.Interval.Lo, 1e-6) || !near(qb.Interval.Hi, unit*qa.Interval.Hi, 1e-6) {
				t.Fatalf("method %d: quantile %+v and %+v", method, qa, qb)
			}
			ea := must[stats.Estimate](t)(a.Exceedance(100, c, method))
			eb := must[stats.Estimate](t)(b.Exceedance(100*unit, c, method))
			if math.Abs(eb.Value-ea.Value) > 1e-8 || math.Abs(eb.Interval.Hi-ea.Interval.Hi) > 1e-7 {
				t.Fatalf("method %d: exceedance %+v and %+v", method, ea, eb)
			}
		}
	})
}

// Values turned round have their quantiles turned round, whatever the tail and the method.
func TestCensoredMirrored(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.9")
	rapid.Check(t, func(t *rapid.T) {
		o := drawObservations(t)
		var mirrored []stats.Observation
		for _, v := range o {
			mirrored = append(mirrored, stats.Observation{Lo: -v.Hi, Hi: -v.Lo})
		}
		a := must[stats.CensoredFit](t)(stats.FitCensored(o, stats.Normal))
		b := must[stats.CensoredFit](t)(stats.FitCensored(mirrored, stats.Normal))
		p := must[stats.Probability](t)(probabilityOf(float64(rapid.IntRange(1, 99).Draw(t, "p %")) / 100))
		for _, method := range []stats.LimitsMethod{stats.WaldLimits, stats.ProfileLimits} {
			qa := must[stats.Estimate](t)(a.Quantile(p, c, method))
			qb := must[stats.Estimate](t)(b.Quantile(p.Complement(), c, method))
			slack := 1e-7 * (a.Sigma + math.Abs(a.Mu))
			if math.Abs(qa.Value+qb.Value) > slack || math.Abs(qa.Interval.Lo+qb.Interval.Hi) > slack || math.Abs(qa.Interval.Hi+qb.Interval.Lo) > slack {
				t.Fatalf("method %d, quantile %s: %+v and %+v", method, p, qa, qb)
			}
			ea := must[stats.Estimate](t)(a.Exceedance(qa.Value, c, method))
			if math.Abs(ea.Value-p.Complement().Float()) > 1e-9 {
				t.Fatalf("exceedance of the quantile %s is %v", p, ea.Value)
			}
		}
	})
}

// Forty values within a few percent and two limits twelve powers of ten apart; and limits that are
// only just in the order that gives a maximum. R 4.2.2, package survival, relative tolerance 1e-14.
func TestCensoredFarFromTheStart(t *testing.T) {
	t.Parallel()
	far := []stats.Observation{stats.Above(1e6), stats.Below(1e-6)}
	for i := 1; i <= 40; i++ {
		far = append(far, exactly(50+float64(i)/10))
	}
	fit := must[stats.CensoredFit](t)(stats.FitCensored(far, stats.LogNormal))
	wantNear(t, "μ", fit.Mu, 3.771855324508942, 1e-9)
	wantNear(t, "σ", fit.Sigma, 3.281867638022628, 1e-9)
	wantNear(t, "log-likelihood", fit.LogLik, -266.230183812645805, close12)
	wantNear(t, "SE μ", fit.SEMu(), 0.506995823342448, 1e-9)
	wantNear(t, "SE ln σ", fit.SELogSigma(), 0.114163708382359, 1e-9)
	fit = must[stats.CensoredFit](t)(stats.FitCensored([]stats.Observation{
		stats.Below(11), stats.Below(19.6), stats.Below(30), stats.Above(10), stats.Above(20), stats.Above(29.5),
	}, stats.Normal))
	wantNear(t, "hardly in order, μ", fit.Mu, 20.01762689881414, 1e-9)
	wantNear(t, "hardly in order, σ", fit.Sigma, 269.19943098458390, 1e-9)
	wantNear(t, "hardly in order, log-likelihood", fit.LogLik, -4.15725334661554, close12)
	wantNear(t, "hardly in order, SE ln σ", fit.SELogSigma(), 17.52030593359312, 1e-9)
}

// A narrow interval is the density times its width.
func TestCensoredNarrowIntervals(t *testing.T) {
	t.Parallel()
	var exact, rounded []stats.Observation
	const half = 1e-7
	for _, x := range []float64{12, 15, 18, 22, 27, 31, 40, 46} {
		exact = append(exact, exactly(x))
		rounded = append(rounded, stats.Between(x-half, x+half))
	}
	a := must[stats.CensoredFit](t)(stats.FitCensored(exact, stats.Normal))
	b := must[stats.CensoredFit](t)(stats.FitCensored(rounded, stats.Normal))
	wantNear(t, "μ", b.Mu, a.Mu, 1e-12)
	wantNear(t, "σ", b.Sigma, a.Sigma, 1e-12)
	wantNear(t, "log-likelihood", b.LogLik, a.LogLik+8*math.Log(2*half), 1e-9) // 1e-7 is off by rounding x ± 1e-7
	wantNear(t, "SE μ", b.SEMu(), a.SEMu(), 1e-10)
}

func TestCensoredNotEstimable(t *testing.T) {
	t.Parallel()
	exactly, below, above, between := exactly, stats.Below, stats.Above, stats.Between
	type sample = []stats.Observation
	for _, test := range []struct {
		reason string
		o      sample
		want   error
	}{
		{"nothing", nil, stats.ErrNotEstimable},
		{"one value", sample{exactly(5)}, stats.ErrNotEstimable},
		{"all equal", sample{exactly(5), exactly(5), exactly(5)}, stats.ErrNotEstimable},
		{"all below", sample{below(5), below(10), below(7)}, stats.ErrNotEstimable},
		{"all above", sample{above(5), above(10)}, stats.ErrNotEstimable},
		{"one value and limits that it meets", sample{exactly(5), below(5), below(10), above(3)}, stats.ErrNotEstimable},
		{"intervals with a common point", sample{between(1, 5), between(4, 8), between(5, 6)}, stats.ErrNotEstimable},
		{"limits in the wrong order", sample{below(10), below(12), above(20), above(15)}, stats.ErrNotEstimable},
		{"NaN", sample{exactly(5), exactly(6), exactly(math.NaN())}, stats.ErrArgument},
		{"upside down", sample{exactly(5), exactly(6), between(3, 2)}, stats.ErrArgument},
		{"nothing known", sample{exactly(5), exactly(6), between(noLower, noUpper)}, stats.ErrArgument},
		{"infinite", sample{exactly(5), exactly(6), exactly(noUpper)}, stats.ErrArgument},
		{"zero", sample{exactly(5), exactly(6), exactly(0)}, stats.ErrArgument},
		{"below zero", sample{exactly(5), exactly(6), below(0)}, stats.ErrArgument},
	} {
		if fit, err := stats.FitCensored(test.o, stats.LogNormal); !errors.Is(err, test.want) {
			t.Errorf("%s: %+v, %v, want %v", test.reason, fit, err, test.want)
		}
	}
	if _, err := stats.FitCensored(leftCensored(), 0); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no family: %v, want ErrArgument", err)
	}
	// One value and a limit that it does not meet is the least that will do.
	if fit, err := stats.FitCensored(sample{exactly(5), above(6)}, stats.LogNormal); err != nil {
		t.Errorf("one value and a limit: %+v, %v", fit, err)
	}
}

func TestCensoredArguments(t *testing.T) {
	t.Parallel()
	fit := must[stats.CensoredFit](t)(stats.FitCensored(leftCensored(), stats.LogNormal))
	half, c := stats.MustProbability("0.5"), stats.MustConfidence("0.95")
	var zero stats.CensoredFit
	for name, f := range map[string]func() (stats.Estimate, error){
		"no confidence":  func() (stats.Estimate, error) { return fit.EstimateMu(stats.Confidence{}, stats.WaldLimits) },
		"no method":      func() (stats.Estimate, error) { return fit.EstimateSigma(c, 0) },
		"p 0":            func() (stats.Estimate, error) { return fit.Quantile(stats.MustProbability("0"), c, stats.WaldLimits) },
		"no p":           func() (stats.Estimate, error) { return fit.Quantile(stats.Probability{}, c, stats.WaldLimits) },
		"exceedance 0":   func() (stats.Estimate, error) { return fit.Exceedance(0, c, stats.WaldLimits) },
		"exceedance NaN": func() (stats.Estimate, error) { return fit.Exceedance(math.NaN(), c, stats.WaldLimits) },
		"exceedance ∞":   func() (stats.Estimate, error) { return fit.Exceedance(noUpper, c, stats.WaldLimits) },
		"zero fit":       func() (stats.Estimate, error) { return zero.EstimateMu(c, stats.WaldLimits) },
		"zero quantile":  func() (stats.Estimate, error) { return zero.Quantile(half, c, stats.ProfileLimits) },
	} {
		if e, err := f(); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %+v, %v, want ErrArgument", name, e, err)
		}
	}
}

// With nothing but limits the likelihood need not fall far enough: then an end is open.
func TestCensoredOpenProfile(t *testing.T) {
	t.Parallel()
	fit := must[stats.CensoredFit](t)(stats.FitCensored(limitsOnly(), stats.Normal))
	s := must[stats.Estimate](t)(fit.EstimateSigma(stats.MustConfidence("0.95"), stats.ProfileLimits))
	if !math.IsInf(s.Interval.Hi, 1) || s.Interval.Lo < 0 || s.Interval.Lo > fit.Sigma {
		t.Errorf("σ from ten limits: %+v, want no upper end", s)
	}
}

func ExampleFitCensored() {
	readings := []stats.Observation{stats.Below(10), stats.Below(10)}
	for _, x := range []float64{12, 18, 25, 31, 47, 60, 88, 140} {
		readings = append(readings, stats.Between(x, x))
	}
	fit, err := stats.FitCensored(readings, stats.LogNormal)
	if err != nil {
		fmt.Println(err)
		return
	}
	q, err := fit.Quantile(stats.MustProbability("0.9"), stats.MustConfidence("0.95"), stats.ProfileLimits)
	fmt.Printf("90th percentile %.0f, from %.0f to %.0f, error %v\n", q.Value, q.Interval.Lo, q.Interval.Hi, err)
	// Output: 90th percentile 104, from 51 to 415, error <nil>
}

func BenchmarkFitCensored(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{50, 10_000, 1_000_000} {
		o := make([]stats.Observation, n)
		for i := range o {
			if x := math.Round(math.Exp(3 + rng.NormFloat64())); x < 10 {
				o[i] = stats.Below(10)
			} else {
				o[i] = stats.Between(x-0.5, x+0.5)
			}
		}
		b.Run(fmt.Sprintf("n %d", n), func(b *testing.B) {
			for b.Loop() {
				fit, err := stats.FitCensored(o, stats.LogNormal)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := fit.Quantile(stats.MustProbability("0.95"), stats.MustConfidence("0.95"), stats.ProfileLimits); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
