package mixed

import "math"

// Coefficient is the estimate of a fixed column: the expected response of a row at the reference
// levels with covariates 0 (the intercept), the difference of a level from its reference, or the
// change for a unit of a covariate. For [FitLogistic] it is on the scale of the log odds.
type Coefficient struct {
	Column
	Estimate float64 `json:"estimate"`
	SE       float64 `json:"se"`
}

// Term is the estimated scatter between the levels of a random factor.
type Term struct {
	Name     string  `json:"name"`
	Variance float64 `json:"variance"` // exactly 0 if the likelihood is largest there
	SD       float64 `json:"sd"`
	// Share is the variance as a part of the sum of all variances, the residual included.
	Share   float64  `json:"share"`
	Levels  int      `json:"levels"` // with rows
	Effects []Effect `json:"effects"`
}

// Effect is what a level of a random factor adds to the response.
type Effect struct {
	Level string `json:"level"`
	Rows  int    `json:"rows"`

	// Mode is the best linear unbiased prediction, the mode of the effect given the response: the
	// level's mean deviation, shrunk towards 0 the more the fewer rows it has. A level without rows
	// has 0.
	Mode float64 `json:"mode"`

	// SE is the standard error of prediction: the root of the expected square of the mode minus the
	// true effect, the uncertainty of the fixed effects included and that of the variances not. In
	// a linear model it is a diagonal element of the inverse of Henderson's mixed model equations
	// (C. R. Henderson, Biometrics 1975;31:423-447). Use it to judge one level.
	SE float64 `json:"se"`

	// ConditionalSD is the standard deviation of the effect given the response, with the fixed
	// effects taken as known; never more than SE. It is what lme4 calls the conditional variance,
	// under the root.
	ConditionalSD float64 `json:"conditional_sd"`
}

// Convergence says how the maximum was found.
type Convergence struct {
	// Evaluations counts those of the likelihood and its derivatives.
	Evaluations int `json:"evaluations"`
	// Distance is an estimate of how far the variances are from the maximum, in standard errors of
	// theirs. A fit is refused above 1e-6.
	Distance float64 `json:"distance"`
}

// terms returns the random factors in the order of the design, with their levels and rows.
func terms(d Design, f *frame) []Term {
	list := make([]Term, len(d.Random))
	for _, t := range f.terms {
		factor := d.Random[t.position]
		list[t.position] = Term{Name: factor.Name, Levels: used(t.counts), Effects: make([]Effect, len(factor.Levels))}
		for level, name := range factor.Levels {
			list[t.position].Effects[level] = Effect{Level: name, Rows: t.counts[level]}
		}
	}
	return list
}

// share sets the parts of the sum of all variances.
func share(list []Term, residual float64) (residualShare float64) {
	total := residual
	for _, t := range list {
		total += t.Variance
	}
	for i := range list {
		list[i].Share = list[i].Variance / total
	}
	return residual / total
}

// coefficients turns estimates and variances for standardised columns into those of the columns as
// given. Covariance is by rows and is overwritten with that of the result.
func (p fixedPart) coefficients(estimate, covariance []float64, scale, centre float64) []Coefficient {
	width := len(p.columns)
	t, turned := p.original(scale), make([]float64, width*width)
	product(turned, t, covariance, width, false)
	product(covariance, turned, t, width, true)
	list := make([]Coefficient, width)
	for c, name := range p.columns {
		list[c] = Coefficient{Column: name, SE: math.Sqrt(covariance[c*width+c])}
		for e := range width {
			list[c].Estimate += t[c*width+e] * estimate[e]
		}
	}
	list[0].Estimate += centre
	return list
}

// product sets out = a·b, or a·b' if turned, for square matrices by rows.
func product(out, a, b []float64, width int, turned bool) {
	for i := range width {
		for j := range width {
			sum := 0.0
			for k := range width {
				if turned {
					sum += a[i*width+k] * b[j*width+k]
				} else {
					sum += a[i*width+k] * b[k*width+j]
				}
			}
			out[i*width+j] = sum
		}
	}
}

// matrix returns a square matrix by rows as rows.
func matrix(flat []float64, width int) [][]float64 {
	rows := make([][]float64, width)
	for i := range rows {
		rows[i] = flat[i*width : (i+1)*width : (i+1)*width]
	}
	return rows
}
