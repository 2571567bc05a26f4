package mixed

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// laplace is a logistic mixed model at one set of parameters. With b = Λu, u standard normal and θ_f
// the standard deviation of term f, the Laplace approximation of the deviance is
//
//	−2 log p(y | û) + û'û + log|K|,  K = ΛZ'WZΛ + I,
//
// û being where the first two terms are least. Effects are numbered: the levels of the lead, then
// the dense random columns. As in a linear model the lead's block of K is diagonal, and
// S = K₂₂ − K₂₁K₁₁⁻¹K₁₂ remains.
type laplace struct {
	*binomial
	evaluated int

	// Levels of the lead by dense random columns: the entries of level i are start[i] to
	// start[i+1], and slot has that of each row, by factor.
	start, column []int32
	slot          [][]int32

	theta   []float64 // by term
	root    []float64 // θ of each dense random column
	u       []float64
	own     []float64 // K₁₁
	cross   []float64 // K₁₂, by entry
	dense   []float64 // Z₂'WZ₂, upper triangle
	factor  blas64.Triangular
	inverse []float64 // S⁻¹, symmetric
}

func newLaplace(b *binomial) *laplace {
	q, levels := b.q, b.levels()
	l := &laplace{
		binomial: b, theta: make([]float64, len(b.terms)), root: make([]float64, q),
		u: make([]float64, levels+q), own: make([]float64, levels),
		dense: make([]float64, q*q), inverse: make([]float64, q*q),
		factor: blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: q, Stride: max(q, 1), Data: make([]float64, q*q)},
	}
	l.pattern()
	l.cross = make([]float64, len(l.column))
	return l
}

// pattern finds which dense columns occur in which level of the lead.
func (l *laplace) pattern() {
	l.start = make([]int32, l.levels()+1)
	l.slot = make([][]int32, len(l.groups))
	for g := range l.slot {
		l.slot[g] = make([]int32, l.rows)
	}
	seen := make([]int32, l.q) // entry of each column in the current level, or an older one
	for c := range seen {
		seen[c] = -1
	}
	for i := range l.levels() {
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			for g, columns := range l.groups {
				c := columns[row]
				if seen[c] < l.start[i] {
					seen[c] = int32(len(l.column))
					l.column = append(l.column, c)
				}
				l.slot[g][row] = seen[c]
			}
		}
		l.start[i+1] = int32(len(l.column))
	}
}

// setTheta sets the standard deviations.
func (l *laplace) setTheta(theta []float64) {
	copy(l.theta, theta)
	for f, t := range l.terms {
		for c := t.from; c < t.to; c++ {
			l.root[c] = theta[f]
		}
	}
}

// penalised returns −2 log p(y | u) + u'u without the binomial coefficients.
func (l *laplace) penalised(u []float64) float64 {
	levels, sum := l.levels(), 0.0
	for i := range levels {
		base := l.theta[0] * u[i]
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			eta := l.xb[row] + base
			for _, columns := range l.groups {
				c := columns[row]
				eta += l.root[c] * u[levels+int(c)]
			}
			sum += l.set(int(row), eta)
		}
	}
	sum *= -2
	for _, x := range u {
		sum += x * x
	}
	return sum
}

// assemble forms K and decomposes it; it returns log|K|.
func (l *laplace) assemble() (float64, bool) {
	l.weigh()
	q, logDet := l.q, 0.0
	for a := range q {
		for b := a; b < q; b++ {
			l.factor.Data[a*q+b] = l.root[a] * l.dense[a*q+b] * l.root[b]
		}
		l.factor.Data[a*q+a]++
	}
	for i, d := range l.own {
		logDet += math.Log(d)
		for a := l.start[i]; a < l.start[i+1]; a++ {
			line, w := l.factor.Data[int(l.column[a])*q:], l.cross[a]/d
			for b := l.start[i]; b < l.start[i+1]; b++ {
				if l.column[b] >= l.column[a] {
					line[l.column[b]] -= w * l.cross[b]
				}
			}
		}
	}
	if q == 0 {
		return logDet, true
	}
	_, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: q, Stride: q, Data: l.factor.Data})
	for a := range q {
		logDet += 2 * math.Log(l.factor.Data[a*q+a])
	}
	return logDet, ok
}

// weigh sums the weights of the rows: K₁₁, K₁₂ and Z₂'WZ₂.
func (l *laplace) weigh() {
	clear(l.cross)
	clear(l.dense)
	lead := l.theta[0]
	for i := range l.own {
		sum := 0.0
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			w := l.weight[row]
			sum += w
			for g, columns := range l.groups {
				c := int(columns[row])
				l.cross[l.slot[g][row]] += w
				for _, others := range l.groups[g:] {
					l.dense[c*l.q+int(others[row])] += w
				}
			}
		}
		l.own[i] = 1 + lead*lead*sum
		for e := l.start[i]; e < l.start[i+1]; e++ {
			l.cross[e] *= lead * l.root[l.column[e]]
		}
	}
}

// solve overwrites v with K⁻¹v.
func (l *laplace) solve(v []float64) {
	first, second := v[:len(l.own)], v[len(l.own):]
	for i, d := range l.own {
		for e := l.start[i]; e < l.start[i+1]; e++ {
			second[l.column[e]] -= l.cross[e] * first[i] / d
		}
	}
	if l.q > 0 {
		x := blas64.Vector{N: l.q, Inc: 1, Data: second}
		blas64.Trsv(blas.Trans, l.factor, x)
		blas64.Trsv(blas.NoTrans, l.factor, x)
	}
	for i, d := range l.own {
		for e := l.start[i]; e < l.start[i+1]; e++ {
			first[i] -= l.cross[e] * second[l.column[e]]
		}
		first[i] /= d
	}
}

// gather adds ΛZ'v to out.
func (l *laplace) gather(v, out []float64) {
	first, second := out[:len(l.own)], out[len(l.own):]
	for i := range l.own {
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			first[i] += l.theta[0] * v[row]
			for _, columns := range l.groups {
				c := columns[row]
				second[c] += l.root[c] * v[row]
			}
		}
	}
}

// modes finds û by penalised iteratively reweighted least squares, from the u of the last call. It
// returns the Laplace deviance, and leaves K decomposed and the rows at û.
func (l *laplace) modes() (float64, bool) {
	value := l.penalised(l.u)
	right, trial := make([]float64, len(l.u)), make([]float64, len(l.u))
	for range 200 {
		logDet, ok := l.assemble()
		if !ok {
			return 0, false
		}
		for j, x := range l.u {
			right[j] = -x
		}
		l.gather(l.residual, right)
		copy(trial, right)
		l.solve(trial)
		left := dot(right, trial)
		if left < 1e-22 || math.IsNaN(left) {
			return value + logDet + l.constant, !math.IsNaN(left)
		}
		step := trial
		length, from, moved := 1.0, value, false
		next := make([]float64, len(l.u))
		for range 40 {
			for j, x := range l.u {
				next[j] = x + length*step[j]
			}
			value = l.penalised(next)
			// Close to the mode the value differs by rounding only and the full step is right.
			if value < from || left < rounding*float64(l.rows) {
				moved = true
				break
			}
			length /= 2
		}
		if !moved {
			return 0, false
		}
		copy(l.u, next)
		if left < 1e-14 {
			// The step from here squares a distance of 1e-7.
			logDet, ok := l.assemble()
			return value + logDet + l.constant, ok
		}
	}
	return 0, false
}

// invert leaves S⁻¹.
func (l *laplace) invert() bool {
	q := l.q
	copy(l.inverse, l.factor.Data)
	if q == 0 {
		return true
	}
	t := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: q, Stride: q, Data: l.inverse}
	_, ok := lapack64.Potri(t)
	for a := range q {
		for b := a + 1; b < q; b++ {
			l.inverse[b*q+a] = l.inverse[a*q+b]
		}
	}
	return ok
}

// towards stores S⁻¹K₂₁ of level i of the lead in t and returns the level's diagonal element of K⁻¹.
func (l *laplace) towards(i int, t []float64) float64 {
	clear(t)
	for e := l.start[i]; e < l.start[i+1]; e++ {
		x := l.cross[e]
		for c, s := range l.inverse[int(l.column[e])*l.q : (int(l.column[e])+1)*l.q] {
			t[c] += x * s
		}
	}
	sum := 0.0
	for e := l.start[i]; e < l.start[i+1]; e++ {
		sum += l.cross[e] * t[l.column[e]]
	}
	return (1 + sum/l.own[i]) / l.own[i]
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// newtonStep returns A⁻¹g and g'A⁻¹g; false if A is not positive definite.
func newtonStep(a, g []float64) (step []float64, square float64, ok bool) {
	var factor mat.Cholesky
	if !factor.Factorize(mat.NewSymDense(len(g), a)) {
		return nil, 0, false
	}
	x := mat.NewVecDense(len(g), nil)
	if err := factor.SolveVecTo(x, mat.NewVecDense(len(g), g)); err != nil {
		return nil, 0, false
	}
	return x.RawVector().Data, dot(x.RawVector().Data, g), true
}
