package mixed

import "slices"

// Factor is a grouping of the rows: which lot, which person, which kind of scope.
type Factor struct {
	// Name is shown and looked up; no two terms of a design have the same.
	Name string

	// Levels are the names of the groups, each once. A level without rows is allowed.
	Levels []string

	// Index has the level of each row, as a position in Levels.
	Index []int32

	// Reference is the level that a fixed factor is compared with: the coefficient of another level
	// is its difference from this one. Empty means the first of Levels. A random factor has none.
	Reference string
}

// Covariate is a numeric fixed term with one coefficient: the change of the response for a unit of
// it.
type Covariate struct {
	Name   string
	Values []float64 // one per row, finite
}

// NewFactor returns the factor whose levels are the distinct values, in ascending order. Values has
// one entry per row.
func NewFactor(name string, values []string) Factor {
	levels := slices.Clone(values)
	slices.Sort(levels)
	levels = slices.Compact(levels)
	position := make(map[string]int32, len(levels))
	for i, level := range levels {
		position[level] = int32(i)
	}
	index := make([]int32, len(values))
	for row, value := range values {
		index[row] = position[value]
	}
	return Factor{Name: name, Levels: levels, Index: index}
}

// Combine returns the factor whose levels are the pairs of an outer and an inner level that have
// rows, named "outer / inner" and in ascending order of the two positions. It says that the inner
// levels are nested: round 1 of one scope has nothing to do with round 1 of another. A design with
// the outer factor and the combined one is the nested model; with outer, inner and combined it is
// the crossed model with interaction.
//
// It returns [stats.ErrArgument] if the two have different numbers of rows or an index outside
// their levels.
func Combine(name string, outer, inner Factor) (Factor, error) {
	if len(outer.Index) != len(inner.Index) {
		return Factor{}, argument("%s has %d rows and %s %d; combine factors of the same rows",
			outer.Name, len(outer.Index), inner.Name, len(inner.Index))
	}
	for _, f := range []Factor{outer, inner} {
		if err := f.checkIndex(); err != nil {
			return Factor{}, err
		}
	}
	pairs := make([]int64, len(outer.Index))
	for row := range pairs {
		pairs[row] = int64(outer.Index[row])<<32 | int64(inner.Index[row])
	}
	distinct := slices.Clone(pairs)
	slices.Sort(distinct)
	distinct = slices.Compact(distinct)
	levels := make([]string, len(distinct))
	position := make(map[int64]int32, len(distinct))
	for i, pair := range distinct {
		levels[i] = outer.Levels[pair>>32] + " / " + inner.Levels[pair&(1<<32-1)]
		position[pair] = int32(i)
	}
	index := make([]int32, len(pairs))
	for row, pair := range pairs {
		index[row] = position[pair]
	}
	return Factor{Name: name, Levels: levels, Index: index}, nil
}

// checkIndex says which row points outside the levels.
func (f Factor) checkIndex() error {
	for row, level := range f.Index {
		if level < 0 || int(level) >= len(f.Levels) {
			return argument("row %d of %s has level number %d; the levels are 0 to %d",
				row, f.Name, level, len(f.Levels)-1)
		}
	}
	return nil
}

// counts returns the number of rows of each level.
func (f Factor) counts() []int {
	n := make([]int, len(f.Levels))
	for _, level := range f.Index {
		n[level]++
	}
	return n
}

// used returns the number of levels that have rows.
func used(counts []int) int {
	n := 0
	for _, c := range counts {
		if c > 0 {
			n++
		}
	}
	return n
}

// reference returns the position of the reference level, or -1 if it is not a level.
func (f Factor) reference() int {
	if f.Reference == "" {
		return 0
	}
	return slices.Index(f.Levels, f.Reference)
}

// keep returns the factor of some of its rows, without the levels that have none. A reference that
// has none is replaced by the first level that is left.
func (f Factor) keep(rows []int32) Factor {
	renumbered := make([]int32, len(f.Levels))
	for _, row := range rows {
		renumbered[f.Index[row]] = 1
	}
	kept := Factor{Name: f.Name, Index: make([]int32, len(rows))}
	for level, present := range renumbered {
		if present == 0 {
			continue
		}
		renumbered[level] = int32(len(kept.Levels))
		kept.Levels = append(kept.Levels, f.Levels[level])
		if f.Levels[level] == f.Reference {
			kept.Reference = f.Reference
		}
	}
	for i, row := range rows {
		kept.Index[i] = renumbered[f.Index[row]]
	}
	return kept
}

// same says whether two factors group the rows alike, whatever the levels are called.
func same(a, b Factor) bool {
	there, back := make([]int32, len(a.Levels)), make([]int32, len(b.Levels))
	for row, i := range a.Index {
		j := b.Index[row]
		if there[i] == 0 && back[j] == 0 {
			there[i], back[j] = j+1, i+1
		}
		if there[i] != j+1 || back[j] != i+1 {
			return false
		}
	}
	return true
}
