package mixed

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// binomial is the rows of a logistic model, in the order of the levels of the lead, and what they
// say at one linear predictor.
type binomial struct {
	*frame
	yes, trials []float64
	constant    float64 // −2 Σ log of the binomial coefficients

	groups   [][]int32   // dense random column of each row, by factor
	factors  [][]int32   // fixed column of each row or -1, by factor
	numerics [][]float64 // standardised covariates

	xb       []float64 // Xβ
	residual []float64 // yes minus expected
	weight   []float64 // variance of yes: m·μ(1−μ), μ being the probability and m the trials
	skew     []float64 // its derivative by the linear predictor: m·μ(1−μ)(1−2μ)
}

// newBinomial checks the response and compiles the rows.
func newBinomial(d Design) (*binomial, error) {
	observations, err := trialsOf(d)
	if err != nil {
		return nil, err
	}
	f, err := newFrame(d, observations)
	if err != nil {
		return nil, err
	}
	if err := separated(d); err != nil {
		return nil, err
	}
	b := &binomial{frame: f, yes: pick(d.Response, f.order), trials: make([]float64, f.rows)}
	for i, row := range f.order {
		b.trials[i] = float64(d.trials(int(row)))
		b.constant -= 2 * logChoose(b.trials[i], b.yes[i])
	}
	for _, g := range f.groups {
		b.groups = append(b.groups, g.ordered(f.order))
	}
	for _, g := range f.fixed.factors {
		b.factors = append(b.factors, g.ordered(f.order))
	}
	for _, c := range f.fixed.numerics {
		values := make([]float64, f.rows)
		for i, row := range f.order {
			values[i] = c.at(row)
		}
		b.numerics = append(b.numerics, values)
	}
	b.xb, b.residual = make([]float64, f.rows), make([]float64, f.rows)
	b.weight, b.skew = make([]float64, f.rows), make([]float64, f.rows)
	return b, nil
}

// trials returns the number of trials of a row.
func (d Design) trials(row int) int {
	if d.Trials == nil {
		return 1
	}
	return int(d.Trials[row])
}

// trialsOf checks that the response counts something, and returns how many trials there are.
func trialsOf(d Design) (int, error) {
	if d.Trials != nil && len(d.Trials) != d.Rows() {
		return 0, argument("there are trials for %d rows and a response for %d", len(d.Trials), d.Rows())
	}
	total, yes := 0, 0.0
	for row, y := range d.Response {
		m := d.trials(row)
		if m < 1 || !(y >= 0 && y <= float64(m)) || y != math.Trunc(y) {
			return 0, argument("row %d has %v yes in %d trials; want a whole number from 0 to the trials, which are at least 1",
				row, y, m)
		}
		total, yes = total+m, yes+y
	}
	if yes == 0 || yes == float64(total) {
		return 0, unfit("all %d answers are the same, so that there is nothing to explain", total)
	}
	return total, nil
}

// separated looks for levels of fixed factors with yes only or no only.
func separated(d Design) error {
	for _, f := range d.Fixed {
		yes, no := make([]float64, len(f.Levels)), make([]float64, len(f.Levels))
		for row, level := range f.Index {
			yes[level] += d.Response[row]
			no[level] += float64(d.trials(row)) - d.Response[row]
		}
		for level, name := range f.Levels {
			if (yes[level] == 0) != (no[level] == 0) {
				return separation("all %.0f answers at %s = %s are the same; merge this level with another, leave its rows out or make the factor random",
					yes[level]+no[level], f.Name, name)
			}
		}
	}
	return nil
}

// ordered returns the column of each row, in the given order.
func (f indicator) ordered(order []int32) []int32 {
	columns := make([]int32, len(order))
	for i, row := range order {
		columns[i] = f.column[f.index[row]]
	}
	return columns
}

// logChoose returns log of the number of ways to choose k of n.
func logChoose(n, k float64) float64 {
	if k == 0 || k == n {
		return 0
	}
	return -math.Log(n+1) - mathext.Lbeta(n-k+1, k+1)
}

// combine stores Xβ.
func (b *binomial) combine(beta []float64) {
	for i := range b.xb {
		b.xb[i] = beta[0]
	}
	for _, columns := range b.factors {
		for i, c := range columns {
			if c >= 0 {
				b.xb[i] += beta[c]
			}
		}
	}
	for k, values := range b.numerics {
		slope := beta[b.fixed.numerics[k].column]
		for i, x := range values {
			b.xb[i] += slope * x
		}
	}
}

// project adds X'v to out.
func (b *binomial) project(v, out []float64) {
	for _, x := range v {
		out[0] += x
	}
	for _, columns := range b.factors {
		for i, c := range columns {
			if c >= 0 {
				out[c] += v[i]
			}
		}
	}
	for k, values := range b.numerics {
		sum := 0.0
		for i, x := range values {
			sum += x * v[i]
		}
		out[b.fixed.numerics[k].column] += sum
	}
}

// set stores what row i says at a linear predictor and returns its log-likelihood without the
// binomial coefficient.
func (b *binomial) set(i int, eta float64) float64 {
	m, y := b.trials[i], b.yes[i]
	small := math.Exp(-math.Abs(eta)) // never overflows
	mu, other := 1/(1+small), small/(1+small)
	if eta < 0 {
		mu, other = other, mu
	}
	b.residual[i] = y*other - (m-y)*mu
	b.weight[i] = m * mu * other
	b.skew[i] = b.weight[i] * (other - mu)
	return y*min(eta, 0) - (m-y)*max(eta, 0) - m*math.Log1p(small)
}

// withoutGroups fits the fixed part alone by Newton's method and leaves the weights at its maximum.
// It returns [ErrSeparation] if it has none.
func (b *binomial) withoutGroups() ([]float64, error) {
	width := b.p()
	beta, gradient := make([]float64, width), make([]float64, width)
	value := b.atFixed(beta)
	for range 100 {
		clear(gradient)
		b.project(b.residual, gradient)
		step, gainLeft, ok := newtonStep(b.information(), gradient)
		if !ok {
			break
		}
		if gainLeft < 1e-8 {
			return beta, nil
		}
		length := 1.0
		for range 30 {
			trial := slices.Clone(beta)
			for c := range trial {
				trial[c] += length * step[c]
			}
			if v := b.atFixed(trial); v > value {
				beta, value = trial, v
				break
			}
			length /= 2
		}
		if slices.ContainsFunc(beta, func(x float64) bool { return math.Abs(x) > endless }) {
			break
		}
	}
	return nil, separation("the fixed terms together predict some answers without error; leave a term out or merge levels")
}

// endless is the log odds, for a level or a standard deviation of a covariate, that are taken for
// infinite: odds of a billion to one.
const endless = 20

// atFixed returns the log-likelihood without random effects.
func (b *binomial) atFixed(beta []float64) float64 {
	b.combine(beta)
	sum := 0.0
	for i, eta := range b.xb {
		sum += b.set(i, eta)
	}
	return sum
}

// information returns X'WX, by rows.
func (b *binomial) information() []float64 {
	width := b.p()
	x := make([]float64, width*width)
	unit, column := make([]float64, width), make([]float64, b.rows)
	for c := range width {
		unit[c] = 1
		b.combine(unit)
		unit[c] = 0
		for i, v := range b.xb {
			column[i] = v * b.weight[i]
		}
		b.project(column, x[c*width:(c+1)*width])
	}
	return x
}
