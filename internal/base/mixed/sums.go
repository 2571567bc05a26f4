package mixed

import "slices"

// sums is everything that the likelihood of a linear model needs to know of the rows: the sums of
// products of the dense columns and the response within the levels of the lead, and their sums for
// each of these levels. Columns are numbered as in frame; the response is the last.
type sums struct {
	*frame
	width  int
	within []float64 // products about the means of the lead's levels, upper triangle by rows
	start  []int32   // entries of level i are start[i] to start[i+1]
	column []int32   // ascending within a level
	sum    []float64
	count  []float64 // rows of each level of the lead
}

// newSums makes the one pass over the rows. The response is given in standard units.
func newSums(f *frame, response numeric) *sums {
	s := &sums{
		frame: f, width: f.q + f.p() + 1,
		start: make([]int32, 1, f.levels()+1), count: make([]float64, f.levels()),
	}
	s.within = make([]float64, s.width*s.width)
	response.column = int32(s.width - 1)
	pass := newPass(s, response)
	for i := range f.levels() {
		for _, row := range f.level(i) {
			pass.add(row)
		}
		s.count[i] = float64(len(f.level(i)))
		pass.flush()
	}
	s.centre()
	return s
}

// centre turns sums of products into products about the means of the lead's levels.
func (s *sums) centre() {
	for i, n := range s.count {
		if n > 0 {
			s.addOuter(s.within, i, -1/n)
		}
	}
}

// addOuter adds weight·b b' to the upper triangle of a matrix, b being the sums of level i.
func (s *sums) addOuter(matrix []float64, i int, weight float64) {
	columns := s.column[s.start[i]:s.start[i+1]]
	values := s.sum[s.start[i]:s.start[i+1]]
	values = values[:len(columns)]
	for a, c := range columns {
		line, w := matrix[int(c)*s.width:], weight*values[a]
		for b := a; b < len(columns); b++ {
			line[columns[b]] += w * values[b]
		}
	}
}

// pass is the state of the pass over the rows.
type pass struct {
	*sums
	indicators []indicator
	intercept  int32
	numerics   []numeric
	level      []float64 // sums of the current level by column
	touched    []int32   // columns of ones met in the current level
	ones       []int32   // columns of ones of the current row, ascending
	values     []float64 // numeric columns of the current row
}

func newPass(s *sums, response numeric) *pass {
	p := &pass{sums: s, intercept: int32(s.q), level: make([]float64, s.width)}
	p.indicators = append(p.indicators, s.groups...)
	for _, f := range s.fixed.factors {
		p.indicators = append(p.indicators, f.moved(s.q))
	}
	for _, c := range append(slices.Clone(s.fixed.numerics), response) {
		if c.column != response.column {
			c.column += int32(s.q)
		}
		p.numerics = append(p.numerics, c)
	}
	p.values = make([]float64, len(p.numerics))
	return p
}

// moved returns the indicator with its columns moved up.
func (f indicator) moved(by int) indicator {
	columns := make([]int32, len(f.column))
	for level, c := range f.column {
		if columns[level] = c; c >= 0 {
			columns[level] += int32(by)
		}
	}
	return indicator{index: f.index, column: columns}
}

// add adds the products of one row.
func (p *pass) add(row int32) {
	ones := append(p.ones[:0], p.intercept)
	for i := range p.indicators {
		f := &p.indicators[i]
		if c := f.column[f.index[row]]; c >= 0 {
			ones = append(ones, c)
		}
	}
	for i := range p.numerics {
		p.values[i] = p.numerics[i].at(row)
	}
	p.ones = ones
	for i, a := range ones {
		if p.level[a] == 0 {
			p.touched = append(p.touched, a)
		}
		p.level[a]++
		for _, b := range ones[i:] {
			p.within[int(min(a, b))*p.width+int(max(a, b))]++
		}
		line := p.within[int(a)*p.width:]
		for j := range p.numerics {
			line[p.numerics[j].column] += p.values[j]
		}
	}
	for j := range p.numerics {
		c := p.numerics[j].column
		p.level[c] += p.values[j]
		line := p.within[int(c)*p.width:]
		for k := j; k < len(p.numerics); k++ {
			line[p.numerics[k].column] += p.values[j] * p.values[k]
		}
	}
}

// flush stores the sums of the current level and starts the next.
func (p *pass) flush() {
	slices.Sort(p.touched)
	if len(p.touched) > 0 {
		for _, c := range p.numerics {
			p.touched = append(p.touched, c.column)
		}
	}
	for _, c := range p.touched {
		p.column, p.sum = append(p.column, c), append(p.sum, p.level[c])
		p.level[c] = 0
	}
	p.touched = p.touched[:0]
	p.start = append(p.start, int32(len(p.column)))
}
