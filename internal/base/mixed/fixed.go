package mixed

import (
	"math"
	"slices"
)

// InterceptName and ResidualName name the parts that every model has.
const (
	InterceptName = "intercept"
	ResidualName  = "residual"
)

// aliasTolerance is the part of a column's sum of squares that the columns before it must leave
// unexplained. Sums of products carry rounding of about 1e-14, and less than this part would leave a
// coefficient with few digits.
const aliasTolerance = 1e-10

// Column names a column of the fixed part.
type Column struct {
	Term  string `json:"term"`            // the factor or covariate, or InterceptName
	Level string `json:"level,omitempty"` // of a factor: the level that is compared with the reference
}

// Dropped is a fixed column that was left out, because its coefficient cannot be told from those of
// the columns before it.
type Dropped struct {
	Column
	Reason string `json:"reason"`
}

// indicator is a factor as columns of zeros and ones: the column of each level, or -1.
type indicator struct {
	index  []int32 // level of each row
	column []int32 // column of each level
}

// numeric is a covariate in units in which its mean is 0 and its mean square 1, which keeps the
// digits of sums of products.
type numeric struct {
	values        []float64
	centre, scale float64
	column        int32
}

func (c numeric) at(row int32) float64 { return (c.values[row] - c.centre) / c.scale }

// fixedPart is the fixed columns of a design that can be estimated; column 0 is the intercept.
type fixedPart struct {
	columns  []Column
	factors  []indicator
	numerics []numeric
	dropped  []Dropped
}

// newFixedPart numbers the columns and leaves out those that are determined by earlier ones.
func newFixedPart(d Design) fixedPart {
	all := candidates(d)
	gram := all.gram(d.Rows())
	reasons := aliased(gram)
	final, kept := make([]int32, len(all.columns)), fixedPart{}
	for c, name := range all.columns {
		if reasons[c] != "" {
			final[c] = -1
			kept.dropped = append(kept.dropped, Dropped{Column: name, Reason: reasons[c]})
			continue
		}
		final[c] = int32(len(kept.columns))
		kept.columns = append(kept.columns, name)
	}
	for _, f := range all.factors {
		for level, c := range f.column {
			if c >= 0 {
				f.column[level] = final[c]
			}
		}
		kept.factors = append(kept.factors, f)
	}
	for _, c := range all.numerics {
		if c.column = final[c.column]; c.column >= 0 {
			kept.numerics = append(kept.numerics, c)
		}
	}
	return kept
}

// candidates numbers every fixed column.
func candidates(d Design) fixedPart {
	p := fixedPart{columns: []Column{{Term: InterceptName}}}
	for _, f := range d.Fixed {
		columns, reference := make([]int32, len(f.Levels)), f.reference()
		for level, name := range f.Levels {
			columns[level] = -1
			if level != reference {
				columns[level] = int32(len(p.columns))
				p.columns = append(p.columns, Column{Term: f.Name, Level: name})
			}
		}
		p.factors = append(p.factors, indicator{index: f.Index, column: columns})
	}
	for _, c := range d.Covariates {
		n := standardised(c.Values)
		n.column = int32(len(p.columns))
		p.columns = append(p.columns, Column{Term: c.Name})
		p.numerics = append(p.numerics, n)
	}
	return p
}

// standardised returns the values with their mean and standard deviation. Equal values become
// exactly 0 in units of 1.
func standardised(values []float64) numeric {
	n := numeric{values: values, scale: 1}
	if len(values) == 0 || slices.Min(values) == slices.Max(values) {
		if len(values) > 0 {
			n.centre = values[0]
		}
		return n
	}
	// Dividing first keeps the sum of very large values finite.
	for _, x := range values {
		n.centre += x / float64(len(values))
	}
	squares, size := 0.0, 0.0
	for _, x := range values {
		size = max(size, math.Abs(x-n.centre))
	}
	for _, x := range values {
		z := (x - n.centre) / size
		squares += z * z
	}
	n.scale = size * math.Sqrt(squares/float64(len(values)))
	return n
}

// gram returns X'X, upper triangle by rows.
func (p fixedPart) gram(rows int) []float64 {
	width := len(p.columns)
	gram := make([]float64, width*width)
	ones := make([]int32, 0, 1+len(p.factors))
	for row := range int32(rows) {
		ones = append(ones[:0], 0)
		for _, f := range p.factors {
			if c := f.column[f.index[row]]; c >= 0 {
				ones = append(ones, c)
			}
		}
		for i, a := range ones {
			for _, b := range ones[i:] {
				gram[int(a)*width+int(b)]++
			}
		}
		for i, c := range p.numerics {
			x := c.at(row)
			for _, a := range ones {
				gram[int(a)*width+int(c.column)] += x
			}
			for _, d := range p.numerics[i:] {
				gram[int(c.column)*width+int(d.column)] += x * d.at(row)
			}
		}
	}
	return gram
}

// aliased returns why each column is to be left out, or "". It decomposes the sums of products,
// which it overwrites, by Cholesky's method in the order of the columns.
func aliased(gram []float64) []string {
	width := int(math.Round(math.Sqrt(float64(len(gram)))))
	reasons := make([]string, width)
	for j := range width {
		own := gram[j*width+j]
		for i := range j {
			if reasons[i] != "" {
				continue
			}
			r := gram[i*width+j] / gram[i*width+i]
			gram[i*width+j] = r
			for k := i + 1; k <= j; k++ {
				if reasons[k] == "" {
					gram[k*width+j] -= gram[i*width+k] * r
				}
			}
		}
		switch left := gram[j*width+j]; {
		case own == 0:
			reasons[j] = "it is the same in every row or has no rows"
		case left <= aliasTolerance*own:
			reasons[j] = "it is determined by the columns before it"
		default:
			gram[j*width+j] = math.Sqrt(left)
		}
	}
	return reasons
}

// original returns the matrix, by rows, that turns coefficients of standardised columns and a
// response in units of scale into coefficients of the columns as given, without the centre of the
// response.
func (p fixedPart) original(scale float64) []float64 {
	width := len(p.columns)
	t := make([]float64, width*width)
	for c := range width {
		t[c*width+c] = scale
	}
	for _, n := range p.numerics {
		t[int(n.column)*width+int(n.column)] = scale / n.scale
		t[int(n.column)] = -scale * n.centre / n.scale
	}
	return t
}

// logScales returns log|T| of the change of units of the fixed columns: Σ log scale.
func (p fixedPart) logScales() float64 {
	sum := 0.0
	for _, n := range p.numerics {
		sum += math.Log(n.scale)
	}
	return sum
}
