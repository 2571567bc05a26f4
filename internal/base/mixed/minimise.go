package mixed

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// objective returns the value at x and stores the gradient; +Inf where there is none.
type objective func(x, gradient []float64) float64

// minimum is where a search ended. The decrement, g'H⁻¹g, is how much further a quadratic would
// fall, twice; in a deviance it is the squared distance to the minimum in standard errors.
type minimum struct {
	x, gradient []float64
	value       float64
	decrement   float64
	iterations  int
}

// Search constants. Steps are in parameters whose natural size is 1.
const (
	longestStep    = 3
	differenceStep = 1e-5
	maxIterations  = 200
	// arrived is the decrement at which a search ends: 1e-9 standard errors.
	arrived = 1e-18
	// settled is the decrement above which a search has failed: 1e-6 standard errors.
	settled = 1e-12
)

// minimise searches from a start by the quasi-Newton method of Broyden, Fletcher, Goldfarb and
// Shanno (J. Nocedal & S. J. Wright, Numerical Optimization, 2nd ed. 2006, section 6.1), begun with
// the curvature by differences of the gradient. Near the minimum, where values differ by rounding
// only, a step is judged by the gradient, which keeps its digits.
//
// Noise bounds the rounding error of a value.
func minimise(f objective, start []float64, noise float64) minimum {
	s := search{f: f, noise: noise, at: minimum{x: slices.Clone(start), gradient: make([]float64, len(start))}}
	s.at.value = f(s.at.x, s.at.gradient)
	if math.IsInf(s.at.value, 1) || math.IsNaN(s.at.value) {
		s.at.decrement = math.Inf(1)
		return s.at
	}
	s.measure()
	for s.at.iterations < maxIterations && s.at.decrement > arrived {
		s.at.iterations++
		if s.step() {
			continue
		}
		if s.fresh {
			break
		}
		s.measure()
	}
	return s.at
}

// search is the state of minimise.
type search struct {
	f       objective
	noise   float64
	at      minimum
	inverse *mat.SymDense // of the curvature, approximately
	fresh   bool          // it was measured here
}

// measure sets the curvature by differences of the gradient, made positive.
func (s *search) measure() {
	n := len(s.at.x)
	s.fresh = true
	if n == 0 {
		return
	}
	h := curvature(s.f, s.at.x, s.at.gradient, differenceStep)
	var eigen mat.EigenSym
	if h == nil || !eigen.Factorize(h, true) {
		h = mat.NewSymDense(n, nil)
		for i := range n {
			h.SetSym(i, i, max(1, math.Abs(s.at.gradient[i])))
		}
		eigen.Factorize(h, true)
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	values := eigen.Values(nil)
	largest := max(math.Abs(values[0]), math.Abs(values[n-1]), 1e-300)
	s.inverse = mat.NewSymDense(n, nil)
	for k, v := range values {
		s.inverse.SymRankOne(s.inverse, 1/max(math.Abs(v), 1e-10*largest), vectors.ColView(k))
	}
	s.at.decrement = s.decrement(s.at.gradient)
}

// curvature returns the derivative of the gradient by one-sided differences; nil if it has none.
func curvature(f objective, x, gradient []float64, step float64) *mat.SymDense {
	n := len(x)
	h := mat.NewSymDense(n, nil)
	moved, g := slices.Clone(x), make([]float64, n)
	for i := range n {
		moved[i] = x[i] + step
		if v := f(moved, g); math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		moved[i] = x[i]
		for j := range n {
			half := (g[j] - gradient[j]) / step / 2
			if i == j {
				half *= 2
			}
			h.SetSym(i, j, h.At(i, j)+half)
		}
	}
	return h
}

func (s *search) decrement(g []float64) float64 {
	v := mat.NewVecDense(len(g), g)
	return mat.Inner(v, s.inverse, v)
}

// step goes down along the quasi-Newton direction; false if nothing lower is found.
func (s *search) step() bool {
	n := len(s.at.x)
	direction := mat.NewVecDense(n, nil)
	direction.MulVec(s.inverse, mat.NewVecDense(n, s.at.gradient))
	length := -1.0
	if longest := floats.Norm(direction.RawVector().Data, math.Inf(1)); longest > longestStep {
		length = -longestStep / longest
	}
	slope := floats.Dot(direction.RawVector().Data, s.at.gradient)
	next := minimum{x: make([]float64, n), gradient: make([]float64, n), iterations: s.at.iterations}
	for range 40 {
		floats.AddScaledTo(next.x, s.at.x, length, direction.RawVector().Data)
		next.value = s.f(next.x, next.gradient)
		if next.value < math.Inf(1) {
			next.decrement = s.decrement(next.gradient)
			lower := next.value <= s.at.value+1e-4*length*slope
			nearer := math.Abs(next.value-s.at.value) <= s.noise && next.decrement < s.at.decrement/2
			if nearer || (lower && -length*slope > s.noise) {
				s.update(next)
				return true
			}
		}
		if -length*slope <= s.noise {
			return false
		}
		length /= 2
	}
	return false
}

// rounding is what a deviance may be off by, for each row.
const rounding = 1e-11

// update moves to the next point and corrects the curvature by what the gradient did on the way.
func (s *search) update(next minimum) {
	n := len(next.x)
	dx, dg := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	floats.SubTo(dx.RawVector().Data, next.x, s.at.x)
	floats.SubTo(dg.RawVector().Data, next.gradient, s.at.gradient)
	product := mat.Dot(dx, dg)
	if product > 1e-10*mat.Norm(dx, 2)*mat.Norm(dg, 2) {
		moved := mat.NewVecDense(n, nil)
		moved.MulVec(s.inverse, dg)
		s.inverse.SymRankOne(s.inverse, (1+mat.Dot(dg, moved)/product)/product, dx)
		s.inverse.RankTwo(s.inverse, -1/product, moved, dx)
		s.fresh = false
		next.decrement = s.decrement(next.gradient)
	}
	s.at = next
}
