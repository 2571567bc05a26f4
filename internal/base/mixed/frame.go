package mixed

import "slices"

// frame is a design made ready for sums of products. The rows are grouped by the levels of the
// random factor with the most levels, the lead, whose block of Z'Z is diagonal and is eliminated
// first. The levels of the other random factors and then the fixed columns are numbered through:
// they are the dense columns.
type frame struct {
	rows   int
	terms  []term
	order  []int32 // rows by level of the lead
	start  []int32 // rows order[start[i]:start[i+1]] belong to level i of the lead
	groups []indicator
	q      int // dense random columns
	fixed  fixedPart
}

// term is one random factor; the lead comes first.
type term struct {
	position int // in Design.Random
	counts   []int
	from, to int // its dense columns; none for the lead

	// perLevel is the information of a level: its rows, on average, each counted by its weight.
	perLevel float64
}

// newFrame checks and compiles a design whose rows stand for a number of observations.
func newFrame(d Design, observations int) (*frame, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	f := &frame{rows: d.Rows()}
	f.setTerms(d)
	width := f.q + 1 + len(d.Covariates)
	for _, fixed := range d.Fixed {
		width += len(fixed.Levels) - 1
	}
	if width > MaxDense {
		return nil, unfit("%d levels and columns beside the largest factor; at most %d can be fitted, so merge levels or leave a factor out",
			width, MaxDense)
	}
	f.fixed = newFixedPart(d)
	if need := len(f.fixed.columns) + 2; observations < need {
		return nil, tooFew(observations, need)
	}
	for _, t := range f.terms {
		if used(t.counts) >= observations {
			return nil, unfit("every row is a level of its own in %s, so that it cannot be told from chance; leave it out",
				d.Random[t.position].Name)
		}
	}
	f.group(d.Random[f.terms[0].position])
	return f, nil
}

// setTerms chooses the lead and numbers the columns of the other random factors.
func (f *frame) setTerms(d Design) {
	lead := 0
	for i, r := range d.Random {
		if len(r.Levels) > len(d.Random[lead].Levels) {
			lead = i
		}
	}
	add := func(i int) {
		counts := d.Random[i].counts()
		f.terms = append(f.terms, term{
			position: i, counts: counts, from: f.q, to: f.q,
			perLevel: float64(d.Rows()) / float64(used(counts)),
		})
	}
	add(lead)
	for i, r := range d.Random {
		if i == lead {
			continue
		}
		add(i)
		columns := make([]int32, len(r.Levels))
		for level := range columns {
			columns[level] = int32(f.q + level)
		}
		f.q += len(columns)
		f.terms[len(f.terms)-1].to = f.q
		f.groups = append(f.groups, indicator{index: r.Index, column: columns})
	}
}

// group puts the rows into the order of the lead's levels.
func (f *frame) group(lead Factor) {
	f.start = make([]int32, len(lead.Levels)+1)
	for level, n := range f.terms[0].counts {
		f.start[level+1] = f.start[level] + int32(n)
	}
	next := slices.Clone(f.start)
	f.order = make([]int32, f.rows)
	for row, level := range lead.Index {
		f.order[next[level]] = int32(row)
		next[level]++
	}
}

// level returns the rows of one level of the lead.
func (f *frame) level(i int) []int32 { return f.order[f.start[i]:f.start[i+1]] }

// levels returns the number of levels of the lead.
func (f *frame) levels() int { return len(f.start) - 1 }

// p returns the number of fixed columns.
func (f *frame) p() int { return len(f.fixed.columns) }
