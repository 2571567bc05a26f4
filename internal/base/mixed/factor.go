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
