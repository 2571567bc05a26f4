package trend

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// Every rule that the package may ask for, since one of the library's is wrong: the weights and the
// integral of e^x over −1 to 1, to rounding.
func TestLegendreRules(t *testing.T) {
	for n := 1; n <= 604; n++ {
		x, w := legendre(n, -1, 1)
		if len(x) < n || len(x) == 26 {
			t.Fatalf("%d nodes for %d", len(x), n)
		}
		sum, integral := 0.0, 0.0
		for i := range x {
			sum += w[i]
			integral += w[i] * math.Exp(x[i])
		}
		if math.Abs(sum-2) > 1e-13 || len(x) > 8 && math.Abs(integral-2*math.Sinh(1)) > 1e-13 {
			t.Errorf("%d nodes: weights sum to %v, the integral is off by %g", len(x), sum, integral-2*math.Sinh(1))
		}
	}
}

// The law of the errors of a baseline with a pooled sigma: weights of sum 1, E a² = 1 in units of
// 1/n, E b² = 1, Var b² = 2/df, and E e^(−cb²) = (1+2c/df)^(−df/2).
func TestEstimatedMoments(t *testing.T) {
	for _, df := range []int{30, 199, 5000, 1_000_000} {
		var one, a2, b2, b4, tilted float64
		for _, column := range newEstimated(30, df, usual) {
			for _, c := range column {
				one += c.weight
				a2 += c.weight * c.shift * c.shift * 30
				b2 += c.weight * c.scale * c.scale
				b4 += c.weight * math.Pow(c.scale, 4)
				tilted += c.weight * math.Exp(-4*c.scale*c.scale)
			}
		}
		n := float64(df)
		for what, off := range map[string]float64{
			"sum of weights": one - 1, "E a²": a2 - 1, "E b²": b2 - 1, "Var b²": (b4 - b2*b2 - 2/n) * n / 2,
			"E e^(−4b²)": tilted*math.Pow(1+8/n, n/2) - 1,
		} {
			// Var b² is the small difference of two numbers near 1.
			if !(math.Abs(off) < 1e-9+1e-14*n) {
				t.Errorf("df %d: %s is off by %g", df, what, off)
			}
		}
	}
}

// What screening does to a clean sample, against simulation: how often the most extreme reading is
// beyond the critical value, and the mean of what is left of sigma and of the mean's move then.
func TestScreenedExtremes(t *testing.T) {
	t.Parallel()
	const n, samples = 30, 150_000
	random := rand.New(rand.NewPCG(30, 30))
	var screened, shrinks, moves float64
	x := make([]float64, n)
	for range samples {
		for i := range x {
			x[i] = random.NormFloat64()
		}
		mean, sigma := stat.MeanStdDev(x, nil)
		at := 0
		for i := range x {
			if math.Abs(x[i]-mean) > math.Abs(x[at]-mean) {
				at = i
			}
		}
		// Critical value for the first of 30 at level 0.01 by the formula of Rosner 1983, with a t
		// quantile of 25 digits.
		if math.Abs(x[at]-mean) > 3.23607830143085039*sigma {
			x[0], x[at] = x[at], x[0]
			left, rest := stat.MeanStdDev(x[1:], nil)
			screened++
			shrinks += rest / sigma
			moves += math.Abs(left-mean) / sigma
		}
	}
	var weight, wantShrinks, wantMoves float64
	for _, r := range screenedExtremes(n, n-1, 2) {
		weight += r.weight
		wantShrinks += r.weight * r.shrinks / OutlierAlpha
		wantMoves += r.weight * r.moves / OutlierAlpha
	}
	// Four standard errors of a count of 1500; the two means vary by a few percent only.
	if math.Abs(screened/samples-weight) > 4*math.Sqrt(weight/samples) {
		t.Errorf("%.5f of samples are screened, want %.5f", screened/samples, weight)
	}
	if math.Abs(shrinks/screened-wantShrinks) > 0.004 || math.Abs(moves/screened-wantMoves) > 0.001 {
		t.Errorf("sigma shrinks to %.4f, want %.4f; the mean moves by %.4f, want %.4f", shrinks/screened, wantShrinks, moves/screened, wantMoves)
	}
}

// The usual quadrature of a design against a fine one, near the limits of a promise of one false signal
// in 4,800 readings.
func TestDesignQuadrature(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n           int
		ewma, cusum float64
	}{{20, 5.1, 26}, {30, 4.6, 15.5}, {100, 3.9, 8.8}} {
		rate := func(k nodes, f fineness) (ewma, cusum float64) {
			e := newEstimated(c.n, c.n-1, k)
			ewma = e.mean(1e-12, func(shift, scale float64) float64 {
				return 1 / newEquation(ewmaNodes(0.2, c.ewma*scale, f)).ewma(0.2, c.ewma*scale, shift)
			})
			cusum = e.mean(1e-12, func(shift, scale float64) float64 {
				return 1 / newEquation(cusumNodes(c.cusum*scale, f)).cusumBoth(0.5*scale, c.cusum*scale, 0, shift)
			})
			return ewma, cusum
		}
		ewma, cusum := rate(usual, coarse)
		fineEWMA, fineCUSUM := rate(nodes{mean: 20, sigma: 24, extreme: 8}, fine)
		t.Logf("n %d: EWMA rate %.5g, off by %.1e, CUSUM rate %.5g, off by %.1e", c.n, fineEWMA, ewma/fineEWMA-1, fineCUSUM, cusum/fineCUSUM-1)
		if math.Abs(ewma/fineEWMA-1) > 3e-3 || math.Abs(cusum/fineCUSUM-1) > 3e-3 {
			t.Errorf("n %d: the EWMA rate is off by %g, the CUSUM rate by %g", c.n, ewma/fineEWMA-1, cusum/fineCUSUM-1)
		}
	}
}

// Expected rate of the EWMA chart λ 0.2 with limit 4.482 and an unscreened baseline of 30: 2.7782e-4
// by a Markov chain of 201 states with Richardson extrapolation over a grid of 24×24 baselines, an
// independent method good for four digits.
func TestEWMARateAgainstMarkovChain(t *testing.T) {
	e := newEstimated(30, 29, nodes{mean: usual.mean, sigma: usual.sigma})
	rate := e.mean(1e-12, func(shift, scale float64) float64 {
		return 1 / newEquation(ewmaNodes(0.2, 4.482*scale, coarse)).ewma(0.2, 4.482*scale, shift)
	})
	if math.Abs(rate/2.7782e-4-1) > 3e-4 {
		t.Errorf("rate %.6g, want 2.7782e-4", rate)
	}
}

// The probability of a long run of heads or tails, by counting all sequences of 12.
func TestLongRunChance(t *testing.T) {
	for run := 1; run <= 13; run++ {
		count := 0
		for bits := range 1 << 12 {
			longest, now := 1, 1
			for i := 1; i < 12; i++ {
				if bits>>i&1 == bits>>(i-1)&1 {
					now++
				} else {
					now = 1
				}
				longest = max(longest, now)
			}
			if longest >= run {
				count++
			}
		}
		if got := longRunChance(run, 12); math.Abs(got-float64(count)/4096) > 1e-15 {
			t.Errorf("run of %d: %v, want %d/4096", run, got, count)
		}
	}
}
