package mixed

import (
	"slices"

	"rinsate/internal/base/stats"
)

// Design is what a model is fitted to: the response and the terms, one entry per row in each. The
// fixed columns are the intercept, then for each fixed factor one column per level other than its
// reference (treatment contrasts), then the covariates. A design is not changed by any function
// here and may be shared.
type Design struct {
	// Response is the value of each row. For [FitLogistic] it is the number of trials of the row
	// with the answer yes: 0 or 1 if Trials is nil.
	Response []float64

	// Trials is for [FitLogistic]: how many trials of the same kind the row stands for. Nil means
	// one each.
	Trials []int32

	Fixed      []Factor
	Covariates []Covariate

	// Random are the factors whose levels are a sample of what there could be; at least one.
	// Crossed and nested factors are given alike; a level of a nested one is named for its outer level too.
	Random []Factor
}

// Rows returns the number of rows.
func (d Design) Rows() int { return len(d.Response) }

// Check says what is malformed, with [stats.ErrArgument], or unfit for any mixed model, with
// [ErrData] or a [stats.TooFewError]. The fits call it.
func (d Design) Check() error {
	for _, check := range []func() error{d.checkNames, d.checkValues, d.checkFactors, d.checkRandom} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// checkNames looks for terms without a name, or with that of another.
func (d Design) checkNames() error {
	var names []string
	for _, f := range slices.Concat(d.Fixed, d.Random) {
		names = append(names, f.Name)
	}
	for _, c := range d.Covariates {
		names = append(names, c.Name)
	}
	for i, name := range names {
		switch {
		case name == "":
			return argument("term %d has no name", i)
		case name == InterceptName || name == ResidualName:
			return argument("no term may be called %q, which is a name of the model itself", name)
		case slices.Contains(names[:i], name):
			return argument("two terms are called %s; rename one", name)
		}
	}
	return nil
}

// checkValues looks for numbers that are none, and for columns of another length.
func (d Design) checkValues() error {
	n := d.Rows()
	if n > stats.MaxCount {
		return argument("%d rows: want at most %d", n, stats.MaxCount)
	}
	for row, y := range d.Response {
		if !finite(y) {
			return argument("the response of row %d is %v; leave out rows without a value", row, y)
		}
	}
	for _, c := range d.Covariates {
		if len(c.Values) != n {
			return argument("%s has %d rows, the response %d", c.Name, len(c.Values), n)
		}
		for row, x := range c.Values {
			if !finite(x) {
				return argument("row %d of %s is %v; leave out rows without a value", row, c.Name, x)
			}
		}
	}
	return nil
}

// checkFactors looks at what fixed and random factors have in common.
func (d Design) checkFactors() error {
	for _, f := range slices.Concat(d.Fixed, d.Random) {
		if len(f.Index) != d.Rows() {
			return argument("%s has %d rows, the response %d", f.Name, len(f.Index), d.Rows())
		}
		if err := f.checkIndex(); err != nil {
			return err
		}
		seen := make(map[string]bool, len(f.Levels))
		for _, level := range f.Levels {
			if seen[level] {
				return argument("%s has two levels called %q", f.Name, level)
			}
			seen[level] = true
		}
	}
	for _, f := range d.Fixed {
		if f.reference() < 0 {
			return argument("%s has no level %q to compare with", f.Name, f.Reference)
		}
		if d.Rows() > 0 && !slices.Contains(f.Index, int32(f.reference())) {
			return unfit("no row has the level %q that the others of %s are compared with; choose another reference",
				f.Levels[f.reference()], f.Name)
		}
	}
	return nil
}

// checkRandom looks for random factors whose variance the rows say nothing about.
func (d Design) checkRandom() error {
	if len(d.Random) == 0 {
		return argument("no random factor is given, so this is not a mixed model")
	}
	levels := make([]int, len(d.Random))
	for i, f := range d.Random {
		levels[i] = used(f.counts())
		switch {
		case f.Reference != "":
			return argument("%s is random and has no reference level; %q is given", f.Name, f.Reference)
		case levels[i] < 2:
			return unfit("%s has rows in fewer than two levels, so that nothing can be said of the variation between levels; leave it out",
				f.Name)
		}
		for j, g := range d.Random[:i] {
			if levels[i] == levels[j] && same(f, g) {
				return unfit("%s and %s group the rows in the same way, so that they cannot be told apart; leave one out",
					g.Name, f.Name)
			}
		}
	}
	return nil
}

// Subset returns the design of the given rows, in their order, without levels that have none of
// them. A stated reference level that is gone is replaced by the first that is left. It returns
// [stats.ErrArgument] for a row that does not exist or a malformed factor.
func (d Design) Subset(rows []int32) (Design, error) {
	if err := d.checkFactors(); err != nil {
		return Design{}, err
	}
	for _, row := range rows {
		if row < 0 || int(row) >= d.Rows() {
			return Design{}, argument("row %d does not exist; the rows are 0 to %d", row, d.Rows()-1)
		}
	}
	kept := Design{Response: pick(d.Response, rows), Trials: pick(d.Trials, rows)}
	for _, f := range d.Fixed {
		kept.Fixed = append(kept.Fixed, f.keep(rows))
	}
	for _, c := range d.Covariates {
		if len(c.Values) != d.Rows() {
			return Design{}, argument("%s has %d rows, the response %d", c.Name, len(c.Values), d.Rows())
		}
		kept.Covariates = append(kept.Covariates, Covariate{Name: c.Name, Values: pick(c.Values, rows)})
	}
	for _, f := range d.Random {
		kept.Random = append(kept.Random, f.keep(rows))
	}
	return kept, nil
}

// Drop returns the design without the rows of one level of a fixed or random factor, as
// [Design.Subset] does: to see what would change if one lot were left out. It returns
// [stats.ErrArgument] if there is no such factor or level. The factor itself stays; if it is left
// with one level, a fit says so.
func (d Design) Drop(factor, level string) (Design, error) {
	for _, f := range slices.Concat(d.Fixed, d.Random) {
		if f.Name != factor {
			continue
		}
		without := slices.Index(f.Levels, level)
		if without < 0 {
			return Design{}, argument("%s has no level %q", factor, level)
		}
		rows := make([]int32, 0, len(f.Index))
		for row, i := range f.Index {
			if int(i) != without {
				rows = append(rows, int32(row))
			}
		}
		return d.Subset(rows)
	}
	return Design{}, argument("no factor is called %q", factor)
}

// pick returns the entries of the given rows; nil stays nil.
func pick[T any](values []T, rows []int32) []T {
	if values == nil {
		return nil
	}
	picked := make([]T, len(rows))
	for i, row := range rows {
		picked[i] = values[row]
	}
	return picked
}
