package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"

	"rinsate/internal/base/stats"
)

// The average run length (ARL) of a chart is the expected number of values up to and with its first
// signal, from its starting state, when the values are independent and normal. Throughout, shift =
// (true mean − assumed mean)/assumed sigma and scale = true sigma/assumed sigma: shift 0 and scale
// 1 is the process in control with known parameters. A length that float64 arithmetic cannot tell
// from never (1e14 and more for EWMA and run rules) is +Inf. Conditions: finite shift, scale over 0
// and parameters within the conditions of the chart, else stats.ErrArgument.

// ARL returns 1/P(|z| > Limit).
func (c Individuals) ARL(shift, scale float64) (float64, error) {
	if err := checkProcess(shift, scale); err != nil {
		return 0, err
	}
	if !(c.Limit > 0) {
		return 0, argument("a limit of %v for single values: want more than 0", c.Limit)
	}
	return 1 / (stats.NormalSurvival((c.Limit-shift)/scale) + stats.NormalSurvival((c.Limit+shift)/scale)), nil
}

// Between returns the mean number of values between two signals, 1/P(|z−previous| > Limit): the
// chart is not restarted, so that this and not a run length is what a person meets. A shift of the
// mean does not change it.
func (c MovingRange) Between(scale float64) (float64, error) {
	if err := checkProcess(0, scale); err != nil {
		return 0, err
	}
	if !(c.Limit > 0) {
		return 0, argument("a limit of %v for the moving range: want more than 0", c.Limit)
	}
	return 0.5 / stats.NormalSurvival(c.Limit/(scale*math.Sqrt2)), nil
}

// ARL solves the integral equation of the run length by Gauss–Legendre quadrature (Nyström), to
// about 1e-10 relative where the length is below 1e5; each tenfold length costs a digit. With
// time-varying limits the equation is carried backward from the long run to the start.
//
// Source: S. V. Crowder, Technometrics 1987;29:401-407.
func (c EWMA) ARL(shift, scale float64) (float64, error) {
	if err := checkProcess(shift, scale); err != nil {
		return 0, err
	}
	if err := c.check(); err != nil {
		return 0, err
	}
	half := c.Limit / scale
	eq := newEquation(ewmaNodes(c.Lambda, half, fine))
	arl := eq.ewma(c.Lambda, half, shift/scale)
	if c.TimeVarying {
		arl = eq.ewmaStart(c.Lambda, half, shift/scale)
	}
	return arl, nil
}

// ARL combines the two one-sided run lengths, see [CUSUM.OneSided]: without head start 1/ARL =
// 1/ARL⁺ + 1/ARL⁻, and with it ARL = (L⁺·l⁻ + l⁺·L⁻ − l⁺·l⁻)/(l⁺ + l⁻), where L is the length from the
// head start and l from 0. Both are exact, since the other sum is 0 whenever one signals.
//
// Source: Lucas & Crosier 1982, section 4; K. W. Kemp, Appl Stat 1971;20:9-14.
func (c CUSUM) ARL(shift, scale float64) (float64, error) {
	if err := checkProcess(shift, scale); err != nil {
		return 0, err
	}
	if err := c.check(); err != nil {
		return 0, err
	}
	return newEquation(cusumNodes(c.H/scale, fine)).cusumBoth(c.K/scale, c.H/scale, c.HeadStart, shift/scale), nil
}

// OneSided returns the run lengths of the upper sum alone, from its head start and from 0. It
// solves the integral equations of one cycle of the sum by Gauss–Legendre quadrature (Nyström), to
// about 1e-10 relative however long the run.
//
// Source: Page 1954; A. L. Goel & S. M. Wu, Technometrics 1971;13:221-230.
func (c CUSUM) OneSided(shift, scale float64) (fromHeadStart, fromZero float64, err error) {
	if err := checkProcess(shift, scale); err != nil {
		return 0, 0, err
	}
	if err := c.check(); err != nil {
		return 0, 0, err
	}
	h := c.H / scale
	o := newEquation(cusumNodes(h, fine)).cusum(c.K/scale, h, c.HeadStart*h, shift/scale)
	return o.ratio * o.fromZero, o.fromZero, nil
}

func checkProcess(shift, scale float64) error {
	if !finite(shift) || !(scale > 0) || !finite(scale) {
		return argument("a process with shift %v and scale %v: want a number and a number over 0", shift, scale)
	}
	return nil
}

// A fineness says how many nodes a quadrature gets per standard deviation of the integrand.
type fineness struct{ base, perSigma float64 }

var (
	fine   = fineness{base: 20, perSigma: 2.2} // 1e-10 and better
	coarse = fineness{base: 7, perSigma: 1.15} // enough for a mean over many processes; see design.go
)

func (f fineness) nodes(width float64) int {
	return int(min(f.base+f.perSigma*width, 600))
}

// ewmaNodes and cusumNodes return the nodes that an equation needs: its kernel is a normal density
// and its domain so many standard deviations wide.
func ewmaNodes(lambda, half float64, f fineness) int {
	return f.nodes(2 * half / math.Sqrt(lambda*(2-lambda)))
}

func cusumNodes(h float64, f fineness) int { return f.nodes(h) }

// equation is the work space for L(u) = 1 + ∫L(x)·k(u,x)dx on n nodes, with one state more if it has a
// probability of its own.
type equation struct {
	x, w  []float64 // Gauss–Legendre nodes and weights on −1 to 1
	at    []float64 // the states
	a, b  []float64
	pivot []int
}

func newEquation(nodes int) *equation {
	x, w := legendre(nodes, -1, 1)
	n := len(x) + 1
	return &equation{x: x, w: w, at: make([]float64, n), a: make([]float64, n*n), b: make([]float64, 2*n), pivot: make([]int, n)}
}

// system returns the matrix, size×size, and the right sides of a system to fill in.
func (e *equation) system(size, sides int) (a, b blas64.General) {
	return blas64.General{Rows: size, Cols: size, Stride: size, Data: e.a[:size*size]},
		blas64.General{Rows: size, Cols: sides, Stride: sides, Data: e.b[:size*sides]}
}

// solve puts the solution in the place of the right sides, and returns false where there is none. The
// condition of the matrix, which costs as much as the solution, is not asked for: [asLength] knows
// what a length can be.
func (e *equation) solve(a, b blas64.General) bool {
	ok := lapack64.Getrf(a, e.pivot[:a.Rows])
	if ok {
		lapack64.Getrs(blas.NoTrans, a, b, e.pivot[:a.Rows])
	}
	return ok
}

// never is where the arithmetic cannot tell a run length from infinity any more.
const never = 1e14

func asLength(l float64, ok bool) float64 {
	if !ok || !(1-1e-6 <= l && l < never) {
		return math.Inf(1)
	}
	return max(l, 1)
}

// oneSided is the run length of an upper sum from 0, and that from a head start as a multiple of it.
type oneSided struct{ fromZero, ratio float64 }

// cusum returns the run lengths of S ← max(0, S+X−k) > h, X ~ N(shift, 1), from 0 and from start. Let
// N(u) be the expected number of steps from u until the sum is 0 or over h, and r(u) the probability
// that it is then over h. Both solve an integral equation on 0 to h that is well conditioned
// however long the run; L(0) = N(0)/r(0), and L(u) = N(u) + (1−r(u))·L(0).
func (e *equation) cusum(k, h, start, shift float64) oneSided {
	n := len(e.x)
	for i := range n {
		e.at[i] = h / 2 * (1 + e.x[i])
	}
	a, b := e.system(n, 2)
	for i := range n {
		row, u := a.Data[i*n:(i+1)*n], e.at[i]
		for j := range n {
			row[j] = -h / 2 * e.w[j] * density(e.at[j]-u+k-shift)
		}
		row[i]++
		b.Data[2*i], b.Data[2*i+1] = 1, stats.NormalSurvival(h-u+k-shift)
	}
	if !e.solve(a, b) {
		return oneSided{fromZero: math.Inf(1), ratio: 1}
	}
	from := func(u float64) (steps, over float64) {
		steps, over = 1, stats.NormalSurvival(h-u+k-shift)
		for j := range n {
			w := h / 2 * e.w[j] * density(e.at[j]-u+k-shift)
			steps += w * b.Data[2*j]
			over += w * b.Data[2*j+1]
		}
		return steps, over
	}
	steps, over := from(0)
	o := oneSided{fromZero: steps / over, ratio: 1}
	if start > 0 {
		steps, over = from(start)
		o.ratio = steps/o.fromZero + 1 - over
	}
	return o
}

// cusumBoth returns the run length of the two-sided chart, both sums from headStart·h.
func (e *equation) cusumBoth(k, h, headStart, shift float64) float64 {
	up := e.cusum(k, h, headStart*h, shift)
	down := up
	if shift != 0 {
		down = e.cusum(k, h, headStart*h, -shift)
	}
	// The formula of [CUSUM.ARL] divided by l⁺·l⁻, so that infinite lengths do no harm.
	return (up.ratio + down.ratio - 1) / (1/up.fromZero + 1/down.fromZero)
}

// ewma returns the run length of E ← λX + (1−λ)E, |E| > half·√(λ/(2−λ)), X ~ N(shift, 1), from 0.
// The last unknown is L(0).
func (e *equation) ewma(lambda, half, shift float64) float64 {
	lengths, ok := e.ewmaSystem(lambda, half*math.Sqrt(lambda/(2-lambda)), shift)
	return asLength(lengths[len(e.x)], ok)
}

func (e *equation) ewmaSystem(lambda, limit, shift float64) (lengths []float64, ok bool) {
	n := len(e.x)
	for i := range n {
		e.at[i] = limit * e.x[i]
	}
	e.at[n] = 0
	a, b := e.system(n+1, 1)
	for i, u := range e.at {
		row := a.Data[i*(n+1) : (i+1)*(n+1)]
		for j := range n {
			row[j] = -limit / lambda * e.w[j] * density((e.at[j]-(1-lambda)*u)/lambda-shift)
		}
		row[n] = 0
		row[i]++
		b.Data[i] = 1
	}
	ok = e.solve(a, b)
	return b.Data, ok
}

// ewmaStart returns the run length with limits that widen from the start. Once (1−λ)^2t is below
// rounding the limits are those of the long run; from there the expected lengths are carried back
// to the start, L_t(u) = 1 + ∫L_t+1(x)·k(u,x)dx over the limits of step t+1.
func (e *equation) ewmaStart(lambda, half, shift float64) float64 {
	variance := lambda / (2 - lambda)
	square := (1 - lambda) * (1 - lambda)
	steps := 1
	if lambda < 1 {
		steps += int(math.Log(1e-16) / math.Log(square))
	}
	n := len(e.x)
	lengths, ok := e.ewmaSystem(lambda, half*math.Sqrt(variance), shift)
	later := slices.Clone(lengths[:n])
	limit := half * math.Sqrt(variance)
	for t := steps - 1; ; t-- {
		// later holds L_t+1 on the nodes of ±limit; find L_t on those of ±before.
		before := half * math.Sqrt(variance*-math.Expm1(float64(t)*math.Log(square)))
		if t == 0 {
			before = 0
		}
		now := make([]float64, n)
		for i := range n {
			u := before * e.x[i]
			now[i] = 1
			for j := range n {
				now[i] += limit / lambda * e.w[j] * density((limit*e.x[j]-(1-lambda)*u)/lambda-shift) * later[j]
			}
		}
		if t == 0 {
			return asLength(now[0], ok)
		}
		later, limit = now, before
	}
}

func density(z float64) float64 { return math.Exp(-z*z/2) * (1 / (math.Sqrt2 * 1.7724538509055160273)) }
