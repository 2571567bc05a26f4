package mixed_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

func TestRefusals(t *testing.T) {
	t.Parallel()
	// change applies to a copy of rows that can be fitted.
	tests := []struct {
		reason string
		change func(d *mixed.Design)
		want   error
		says   string
	}{
		{"no rows", func(d *mixed.Design) { *d = must(d.Subset(nil)) }, mixed.ErrData, "fewer than two levels"},
		{"no random factor", func(d *mixed.Design) { d.Random = nil }, stats.ErrArgument, "no random factor"},
		{"a value is missing", func(d *mixed.Design) { d.Response[3] = math.NaN() }, stats.ErrArgument, "row 3"},
		{"a value is infinite", func(d *mixed.Design) { d.Covariates[0].Values[5] = math.Inf(1) }, stats.ErrArgument, "row 5 of hours"},
		{"the response is constant", func(d *mixed.Design) {
			for row := range d.Response {
				d.Response[row] = 7.1
			}
		}, mixed.ErrData, "7.1 in all 150 rows"},
		{"the response is a fixed term", func(d *mixed.Design) {
			copy(d.Response, d.Covariates[0].Values)
		}, mixed.ErrData, "fit the response exactly"},
		{"the response is a random term", func(d *mixed.Design) {
			for row, level := range d.Random[0].Index {
				d.Response[row] = float64(level * level)
			}
		}, mixed.ErrData, "no residual"},
		{"one level", func(d *mixed.Design) {
			d.Random[1] = mixed.NewFactor("person", make([]string, 150))
		}, mixed.ErrData, "person has rows in fewer than two levels"},
		{"a level for every row", func(d *mixed.Design) {
			d.Random[1] = mixed.Factor{Name: "row", Levels: levelsOf(150), Index: sequence(150)}
		}, mixed.ErrData, "level of its own in row"},
		{"two names of one grouping", func(d *mixed.Design) {
			again := d.Random[0]
			again.Name = "serial"
			d.Random = append(d.Random, again)
		}, mixed.ErrData, "scope and serial"},
		{"fixed and random", func(d *mixed.Design) {
			again := d.Random[2]
			again.Name = "lot number"
			d.Fixed = append(d.Fixed, again)
		}, mixed.ErrData, "lot is determined by the fixed terms"},
		{"name twice", func(d *mixed.Design) { d.Covariates[0].Name = "kind" }, stats.ErrArgument, "two terms"},
		{"no name", func(d *mixed.Design) { d.Covariates[0].Name = "" }, stats.ErrArgument, "no name"},
		{"name of the model", func(d *mixed.Design) { d.Random[0].Name = mixed.ResidualName }, stats.ErrArgument, "residual"},
		{"level twice", func(d *mixed.Design) { d.Random[0].Levels[1] = d.Random[0].Levels[0] }, stats.ErrArgument, "two levels"},
		{"level number too high", func(d *mixed.Design) { d.Random[0].Index[9] = 14 }, stats.ErrArgument, "row 9 of scope"},
		{"level number negative", func(d *mixed.Design) { d.Fixed[0].Index[9] = -1 }, stats.ErrArgument, "row 9 of kind"},
		{"short factor", func(d *mixed.Design) { d.Random[0].Index = d.Random[0].Index[:9] }, stats.ErrArgument, "scope has 9 rows"},
		{"short covariate", func(d *mixed.Design) { d.Covariates[0].Values = nil }, stats.ErrArgument, "hours has 0 rows"},
		{"reference unknown", func(d *mixed.Design) { d.Fixed[0].Reference = "round" }, stats.ErrArgument, `no level "round"`},
		{"reference without rows", func(d *mixed.Design) {
			d.Fixed[0].Levels = append(d.Fixed[0].Levels, "round")
			d.Fixed[0].Reference = "round"
		}, mixed.ErrData, `"round"`},
		{"reference of a random factor", func(d *mixed.Design) { d.Random[0].Reference = "s01" }, stats.ErrArgument, "scope is random"},
		{"trials", func(d *mixed.Design) { d.Trials = make([]int32, 150) }, stats.ErrArgument, "no trials"},
		{"too many levels", func(d *mixed.Design) {
			d.Random[0].Levels = levelsOf(mixed.MaxDense + 1)
			d.Random[1].Levels = levelsOf(mixed.MaxDense + 2)
		}, mixed.ErrData, "at most 2000"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			d := must(crossedRows(t).Subset(sequence(150)))
			test.change(&d)
			fit, err := mixed.FitLinear(d, "")
			if !errors.Is(err, test.want) || !strings.Contains(err.Error(), test.says) {
				t.Errorf("got %v, %v; want %q and %v", fit, err, test.says, test.want)
			}
		})
	}
}

func TestTooFewRows(t *testing.T) {
	t.Parallel()
	d := must(dyestuff(t, "dyestuff.csv").Subset([]int32{0, 5}))
	_, err := mixed.FitLinear(d, mixed.REML)
	var few *stats.TooFewError
	if !errors.As(err, &few) || few.Have != 2 || few.Need != 3 {
		t.Errorf("got %v", err)
	}
	if fit, err := mixed.FitLinear(must(dyestuff(t, "dyestuff.csv").Subset([]int32{0, 1, 5})), mixed.REML); err != nil || fit.Rows != 3 {
		t.Errorf("three rows are enough for a mean and two variances: %v", err)
	}
}

func TestCriterionAndProfileRefuse(t *testing.T) {
	t.Parallel()
	d := dyestuff(t, "dyestuff.csv")
	if _, err := mixed.FitLinear(d, "mle"); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("unknown criterion: %v", err)
	}
	fit := must(mixed.FitLinear(d, ""))
	if fit.Criterion != mixed.REML {
		t.Errorf("the criterion by default is %q", fit.Criterion)
	}
	if _, err := fit.Profile("Lot", stats.MustConfidence("0.95")); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("unknown term: %v", err)
	}
	if _, err := fit.Profile("Batch", stats.Confidence{}); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("no confidence: %v", err)
	}
}

func TestLogisticRefusals(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		change func(d *mixed.Design)
		want   error
		says   string
	}{
		{"all no", func(d *mixed.Design) { clear(d.Response) }, mixed.ErrData, "all 842 answers"},
		{"all yes", func(d *mixed.Design) {
			for row, m := range d.Trials {
				d.Response[row] = float64(m)
			}
		}, mixed.ErrData, "all 842 answers"},
		{"more yes than trials", func(d *mixed.Design) { d.Response[1] = 13 }, stats.ErrArgument, "row 1 has 13 yes in 12"},
		{"part of a yes", func(d *mixed.Design) { d.Response[1] = .5 }, stats.ErrArgument, "row 1"},
		{"negative", func(d *mixed.Design) { d.Response[1] = -1 }, stats.ErrArgument, "row 1"},
		{"missing", func(d *mixed.Design) { d.Response[1] = math.NaN() }, stats.ErrArgument, "row 1"},
		{"no trial", func(d *mixed.Design) { d.Response[1], d.Trials[1] = 0, 0 }, stats.ErrArgument, "row 1"},
		{"short trials", func(d *mixed.Design) { d.Trials = d.Trials[1:] }, stats.ErrArgument, "55 rows"},
		{"a level of one answer", func(d *mixed.Design) {
			for row, level := range d.Fixed[0].Index {
				if level == 2 {
					d.Response[row] = 0
				}
			}
		}, mixed.ErrSeparation, "period = 3"},
		{"a covariate separates", func(d *mixed.Design) {
			d.Fixed = nil
			x := mixed.Covariate{Name: "dose"}
			for row := range d.Response {
				d.Response[row] = float64(int32(row%2) * d.Trials[row])
				x.Values = append(x.Values, float64(row%2)+.01*float64(row%5))
			}
			d.Covariates = append(d.Covariates, x)
		}, mixed.ErrSeparation, "fixed terms together"},
		{"levels of a random factor separate", func(d *mixed.Design) {
			d.Fixed = nil
			for row, herd := range d.Random[0].Index {
				d.Response[row] = float64(herd % 2 * d.Trials[row])
			}
		}, mixed.ErrSeparation, "levels of herd"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			d := cattle(t)
			test.change(&d)
			fit, err := mixed.FitLogistic(d)
			if !errors.Is(err, test.want) || !strings.Contains(err.Error(), test.says) {
				t.Errorf("got %v, %v; want %q and %v", fit, err, test.says, test.want)
			}
		})
	}
}

// sequence returns 0 to n−1.
func sequence(n int) []int32 {
	rows := make([]int32, n)
	for i := range rows {
		rows[i] = int32(i)
	}
	return rows
}
