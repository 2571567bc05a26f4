package trend

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"

	"rinsate/internal/base/stats"
)

// ARL returns the average run length to the first signal of any of the rules that are on, exactly,
// by the Markov chain of the states that [Rules.Step] runs through. Rules 3 and 4 compare values
// with each other and have no such chain together with others: each of them is accepted alone,
// and then neither shift nor scale matters. No rule on gives +Inf. Otherwise as stated in arl.go.
//
// Source: C. W. Champ & W. H. Woodall, Technometrics 1987;29:393-399.
func (r Rules) ARL(shift, scale float64) (float64, error) {
	if err := checkProcess(shift, scale); err != nil {
		return 0, err
	}
	if err := r.check(); err != nil {
		return 0, err
	}
	switch {
	case r.On == 0:
		return math.Inf(1), nil
	case r.On == RulesOf(Monotone):
		return monotoneARL(), nil
	case r.On == RulesOf(Alternating):
		return alternatingARL(), nil
	case r.On&RulesOf(Monotone, Alternating) != 0:
		return 0, argument("the run length of rules %s together: rules 3 and 4 are computed alone only", r.On)
	}
	return newRuleChain(r).arl(shift, scale), nil
}

// zones are values that stand for the eight intervals into which 0, ±1, ±2 and ±3 cut the line:
// all that the rules with a chain ask of a value.
var zones = [8]float64{-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5}

// zoneChances returns the probability of each zone for values ~ N(shift, scale²).
func zoneChances(shift, scale float64) (p [8]float64) {
	for i := range p {
		lo, hi := (float64(i-4)-shift)/scale, (float64(i-3)-shift)/scale
		switch {
		case i == 0:
			p[i] = stats.NormalCDF(hi)
		case i == 7:
			p[i] = stats.NormalSurvival(lo)
		case lo > 0:
			p[i] = stats.NormalSurvival(lo) - stats.NormalSurvival(hi)
		default:
			p[i] = stats.NormalCDF(hi) - stats.NormalCDF(lo)
		}
	}
	return p
}

// ruleChain is the chart as a Markov chain: next[s][zone] is the state after s, −1 for a signal.
type ruleChain struct {
	next [][8]int
	a    *mat.Dense
	b    *mat.VecDense
	lu   mat.LU
}

// newRuleChain walks through every state that the chart can reach.
func newRuleChain(r Rules) *ruleChain {
	c := &ruleChain{}
	number := map[RuleState]int{{}: 0}
	for states := []RuleState{{}}; len(c.next) < len(states); {
		from := states[len(c.next)]
		var next [8]int
		for zone, z := range zones {
			to, hit := r.Step(from, z)
			if hit != 0 {
				next[zone] = -1
				continue
			}
			n, known := number[to]
			if !known {
				n = len(states)
				number[to] = n
				states = append(states, to)
			}
			next[zone] = n
		}
		c.next = append(c.next, next)
	}
	c.a = mat.NewDense(len(c.next), len(c.next), nil)
	c.b = mat.NewVecDense(len(c.next), nil)
	return c
}

// arl solves L = 1 + Q·L and returns L of the starting state.
func (c *ruleChain) arl(shift, scale float64) float64 {
	p := zoneChances(shift, scale)
	c.a.Zero()
	for i, next := range c.next {
		row := c.a.RawRowView(i)
		row[i]++
		for zone, j := range next {
			if j >= 0 {
				row[j] -= p[zone]
			}
		}
		c.b.SetVec(i, 1)
	}
	c.lu.Factorize(c.a)
	err := c.lu.SolveVecTo(c.b, false, c.b)
	return asLength(c.b.AtVec(0), err == nil)
}

// The run lengths of rules 3 and 4 do not depend on the distribution, as long as it is continuous.
var (
	monotoneARL    = sync.OnceValue(func() float64 { return stepARL(monotonePoints, false) })
	alternatingARL = sync.OnceValue(func() float64 { return stepARL(alternatingPoints, true) })
)

// stepARL returns the average run length up to a run of so many values that go the same way, or
// that go up and down by turns. Values may be taken as uniform on 0 to 1. Let R_p(u) be the
// expected number of values to come when the last p ones form a run that ended by rising to u; by
// symmetry a run that ended by falling to u has R_p(1−u). The next value continues the run or
// begins another one, of two values:
//
//	rising:   R_p(u) = 1 + ∫_u^1 R_p+1(v)dv + ∫_0^u R_2(1−v)dv
//	by turns: R_p(u) = 1 + ∫_0^u R_p+1(1−v)dv + ∫_u^1 R_2(v)dv
//
// with R_p = 0 at the full length. The functions are analytic, so that collocation on
// Gauss–Legendre nodes is exact to rounding.
func stepARL(points int, turns bool) float64 {
	u, w := legendre(20, 0, 1)
	n := len(u)
	below := integralMatrix(u, w)
	size := (points - 2) * n
	a, b := mat.NewDense(size, size, nil), mat.NewVecDense(size, nil)
	// add subtracts from equation i the integral of R_p, or of its mirror image, from u_i up.
	add := func(i, p int, upward bool) {
		if p == points {
			return
		}
		col := (p - 2) * n
		for j := range n {
			if upward { // ∫_u^1 R_p(v)dv
				a.Set(i, col+j, a.At(i, col+j)-(w[j]-below.At(i%n, j)))
			} else { // ∫_0^u R_p(1−v)dv = ∫_1−u^1 R_p(v)dv
				a.Set(i, col+j, a.At(i, col+j)-(w[j]-below.At(n-1-i%n, j)))
			}
		}
	}
	for i := range size {
		p := 2 + i/n
		a.Set(i, i, 1)
		b.SetVec(i, 1)
		add(i, p+1, !turns)
		add(i, 2, turns)
	}
	var lu mat.LU
	lu.Factorize(a)
	err := lu.SolveVecTo(b, false, b)
	// The first value, then the second, which begins a run by rising from u or by falling from it:
	// 2 + ∫∫_v>u R_2(v) dv du twice, and ∫∫_v>u R_2(v) dv du = ∫ v·R_2(v) dv.
	length := 2.0
	for j := range n {
		length += 2 * w[j] * u[j] * b.AtVec(j)
	}
	return asLength(length, err == nil)
}

// integralMatrix returns B with ∫_0^u_i f = Σ_j B_ij·f(u_j) for polynomials f of degree below n, n
// the number of Gauss–Legendre nodes u with weights w on 0 to 1, through the expansion of f in
// Legendre polynomials P_k of x = 2u−1 and ∫P_k dx = (P_k+1 − P_k−1)/(2k+1).
func integralMatrix(u, w []float64) *mat.Dense {
	n := len(u)
	legendre := func(x float64) []float64 {
		p := make([]float64, n+1)
		p[0], p[1] = 1, x
		for k := 1; k < n; k++ {
			p[k+1] = (float64(2*k+1)*x*p[k] - float64(k)*p[k-1]) / float64(k+1)
		}
		return p
	}
	b := mat.NewDense(n, n, nil)
	for i := range n {
		pi := legendre(2*u[i] - 1)
		for j := range n {
			pj := legendre(2*u[j] - 1)
			sum := w[j] * u[i]
			for k := 1; k < n; k++ {
				sum += w[j] * pj[k] * (pi[k+1] - pi[k-1]) / 2
			}
			b.Set(i, j, sum)
		}
	}
	return b
}
