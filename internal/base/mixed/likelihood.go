package mixed

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// Here H = I + Σ γ_f Z_f Z_f' is the variance of the rows in units of the residual variance, the
// variance ratios γ_f in the order of frame.terms, and P = H⁻¹ − H⁻¹X(X'H⁻¹X)⁻¹X'H⁻¹. By
// Bates et al. 2015, section 3, everything follows from the Cholesky factor of
//
//	K = Λ G Λ + J,  G = [Z X]' H₁⁻¹ [Z X],  H₁ = I + γ₁Z₁Z₁'
//
// over the dense columns only, Λ being √γ_f for random and 1 for fixed columns and J being 1 on the
// diagonal of random columns: the lead, term 1, is eliminated before.

// parts are the pieces of the likelihood at one set of ratios, for a response in standard units.
type parts struct {
	logH float64 // log|H|
	logX float64 // log|X'H⁻¹X|
	rss  float64 // y'Py

	// Of each term: the derivative of log|H| by its ratio, tr(Z'H⁻¹Z), or for the restricted
	// likelihood that of log|H| + log|X'H⁻¹X|, tr(Z'PZ); and that of −y'Py, |Z'Py|².
	trace, quad []float64
}

// solver evaluates the likelihood; it holds what can be used again.
type solver struct {
	*sums
	restricted bool
	evaluated  int

	ratio, root []float64 // γ_f of the terms, √γ_f or 1 of the dense columns
	gram        []float64 // [Z X y]' H₁⁻¹ [Z X y], symmetric
	factor      blas64.Triangular
	inverse     []float64 // K⁻¹, symmetric; of the random columns alone unless restricted
	coefficient []float64 // of the dense columns
	scaled      []float64 // scratch: Λb of one level of the lead
}

func newSolver(s *sums, restricted bool) *solver {
	d := s.width - 1
	return &solver{
		sums: s, restricted: restricted,
		ratio: make([]float64, len(s.terms)), root: make([]float64, d),
		gram: make([]float64, s.width*s.width), inverse: make([]float64, d*d),
		factor:      blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: d, Stride: d, Data: make([]float64, d*d)},
		coefficient: make([]float64, d), scaled: make([]float64, d),
	}
}

// at returns the pieces of the likelihood; false if rounding or a perfect fit leaves nothing to
// evaluate. With inverse = restricted the coefficients and K⁻¹ stay in the solver.
func (s *solver) at(ratio []float64) (parts, bool) {
	s.evaluated++
	copy(s.ratio, ratio)
	s.eliminate()
	if !s.factorise() {
		return parts{}, false
	}
	var p parts
	for i := range s.width - 1 {
		l := 2 * math.Log(s.factor.Data[i*s.factor.Stride+i])
		if i < s.q {
			p.logH += l
		} else {
			p.logX += l
		}
	}
	for _, n := range s.count {
		p.logH += math.Log1p(s.ratio[0] * n)
	}
	if p.rss = s.solve(); !(p.rss > perfect*float64(s.rows)) {
		return parts{}, false
	}
	if !s.invert(s.restricted) {
		return parts{}, false
	}
	p.trace, p.quad = make([]float64, len(s.terms)), make([]float64, len(s.terms))
	p.trace[0], p.quad[0] = s.leadSlopes()
	for f := range s.terms[1:] {
		p.trace[f+1], p.quad[f+1] = s.denseSlopes(f + 1)
	}
	return p, true
}

// perfect is the part of the response's sum of squares below which the residual is taken for
// rounding.
const perfect = 1e-13

// eliminate forms the sums of products that are left when the lead has been eliminated.
func (s *solver) eliminate() {
	copy(s.gram, s.within)
	for i, n := range s.count {
		if n > 0 {
			s.addOuter(s.gram, i, 1/(n*(1+s.ratio[0]*n)))
		}
	}
	for a := range s.width {
		for b := a + 1; b < s.width; b++ {
			s.gram[b*s.width+a] = s.gram[a*s.width+b]
		}
	}
	for f, t := range s.terms {
		for c := t.from; c < t.to; c++ {
			s.root[c] = math.Sqrt(s.ratio[f])
		}
	}
	for c := s.q; c < len(s.root); c++ {
		s.root[c] = 1
	}
}

// factorise decomposes K.
func (s *solver) factorise() bool {
	d := s.width - 1
	for a := range d {
		for b := a; b < d; b++ {
			s.factor.Data[a*d+b] = s.root[a] * s.gram[a*s.width+b] * s.root[b]
		}
		if a < s.q {
			s.factor.Data[a*d+a]++
		}
	}
	_, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: d, Stride: d, Data: s.factor.Data})
	return ok
}

// solve leaves the coefficients of the dense columns and returns y'Py.
func (s *solver) solve() float64 {
	d, y := s.width-1, s.width-1
	for c := range d {
		s.coefficient[c] = s.root[c] * s.gram[c*s.width+y]
	}
	z := blas64.Vector{N: d, Inc: 1, Data: s.coefficient}
	blas64.Trsv(blas.Trans, s.factor, z)
	rss := s.gram[y*s.width+y] - blas64.Dot(z, z)
	blas64.Trsv(blas.NoTrans, s.factor, z)
	for c := range d {
		s.coefficient[c] *= s.root[c]
	}
	return rss
}

// invert leaves K⁻¹ of all dense columns, or of the random ones alone and zeros.
func (s *solver) invert(all bool) bool {
	d, n := s.width-1, s.q
	if all {
		n = d
	}
	copy(s.inverse, s.factor.Data)
	if n > 0 {
		t := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: n, Stride: d, Data: s.inverse}
		if _, ok := lapack64.Potri(t); !ok {
			return false
		}
	}
	for a := range d {
		for b := a; b < d; b++ {
			if b >= n {
				s.inverse[a*d+b] = 0
			}
			s.inverse[b*d+a] = s.inverse[a*d+b]
		}
	}
	return true
}

// spread returns b'ΛK⁻¹Λb for the sums b of level i of the lead.
func (s *solver) spread(i int) float64 {
	d, sum := s.width-1, 0.0
	columns, values := s.sumsOf(i)
	for a, c := range columns {
		line, part := s.inverse[int(c)*d:int(c)*d+int(c)+1], 0.0
		for b, w := range s.scaled[:a] {
			part += line[columns[b]] * w
		}
		own := s.root[c] * values[a]
		s.scaled[a] = own
		sum += own * (2*part + own*line[c])
	}
	return sum
}

// sumsOf returns the dense columns that level i of the lead has rows in, and their sums. The
// response is left out.
func (s *solver) sumsOf(i int) (columns []int32, values []float64) {
	from, to := s.start[i], s.start[i+1]
	if to > from {
		to-- // the response is the last
	}
	return s.column[from:to], s.sum[from:to]
}

// residual returns the sum of y minus the dense part of the fit over the rows of a level of the
// lead.
func (s *solver) residual(i int) float64 {
	columns, values := s.sumsOf(i)
	if len(columns) == 0 {
		return 0
	}
	r := s.sum[s.start[i+1]-1]
	for a, c := range columns {
		r -= values[a] * s.coefficient[c]
	}
	return r
}

// leadSlopes returns the trace and the square of the lead.
func (s *solver) leadSlopes() (trace, quad float64) {
	for i, n := range s.count {
		if n == 0 {
			continue
		}
		h := 1 + s.ratio[0]*n
		trace += (n - s.spread(i)/h) / h
		r := s.residual(i) / h
		quad += r * r
	}
	return trace, quad
}

// denseSlopes returns the trace and the square of another term. T = Z'PZ is G − GΛK⁻¹ΛG, or where
// γ is not small, so that digits would be lost, (I − K⁻¹)/γ; and Z'Py likewise.
func (s *solver) denseSlopes(f int) (trace, quad float64) {
	t := s.terms[f]
	d, ratio := s.width-1, s.ratio[f]
	small := ratio*t.perLevel < 0.1
	weighted := make([]float64, d)
	for c := t.from; c < t.to; c++ {
		if !small {
			trace += (1 - s.inverse[c*d+c]) / ratio
			quad += s.coefficient[c] / ratio * (s.coefficient[c] / ratio)
			continue
		}
		line, r := s.gram[c*s.width:(c+1)*s.width], 0.0
		for e := range d {
			weighted[e] = line[e] * s.root[e]
			r -= line[e] * s.coefficient[e]
		}
		r += line[d]
		quad += r * r
		trace += line[c] - s.quadratic(weighted)
	}
	return trace, quad
}

// quadratic returns v'K⁻¹v.
func (s *solver) quadratic(v []float64) float64 {
	d, sum := len(v), 0.0
	for a, x := range v {
		if x == 0 {
			continue
		}
		line, part := s.inverse[a*d:a*d+a], 0.0
		for b, m := range line {
			part += m * v[b]
		}
		sum += x * (2*part + x*s.inverse[a*d+a])
	}
	return sum
}
