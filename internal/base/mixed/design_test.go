package mixed_test

import (
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

// Leaving out a level is the same as never having had its rows, and the design stays as it was.
func TestDrop(t *testing.T) {
	t.Parallel()
	d, before := crossedRows(t), crossedRows(t)
	without := must(d.Drop("lot", "l3"))
	if diff := cmp.Diff(before, d); diff != "" {
		t.Errorf("the design was changed: %s", diff)
	}
	c := readTable(t, "crossed.csv")
	kept := table{}
	for row, lot := range c["lot"] {
		if lot != "l3" {
			for name := range c {
				kept[name] = append(kept[name], c[name][row])
			}
		}
	}
	want := mixed.Design{
		Response:   kept.numbers("y"),
		Fixed:      []mixed.Factor{kept.factor("kind")},
		Covariates: []mixed.Covariate{{Name: "hours", Values: kept.numbers("hours")}},
		Random:     []mixed.Factor{kept.factor("scope"), kept.factor("person"), kept.factor("lot")},
	}
	if diff := cmp.Diff(want, without); diff != "" {
		t.Errorf("without the level: %s", diff)
	}
	if fit := must(mixed.FitLinear(without, mixed.REML)); fit.Rows != 115 || fit.Terms[2].Levels != 4 {
		t.Errorf("%d rows and %d lots are left", fit.Rows, fit.Terms[2].Levels)
	}
}

func TestDropOfReference(t *testing.T) {
	t.Parallel()
	d := crossedRows(t)
	d.Fixed[0].Reference = "narrow"
	if kept := must(d.Drop("lot", "l1")).Fixed[0]; kept.Reference != "narrow" {
		t.Errorf("the reference became %q", kept.Reference)
	}
	kept := must(d.Drop("kind", "narrow"))
	if kept.Fixed[0].Reference != "" || !slices.Equal(kept.Fixed[0].Levels, []string{"flat", "wide"}) {
		t.Errorf("left is %q with reference %q", kept.Fixed[0].Levels, kept.Fixed[0].Reference)
	}
	only := must(kept.Drop("kind", "flat"))
	if fit := must(mixed.FitLinear(only, mixed.REML)); len(fit.Fixed) != 2 {
		t.Errorf("a fixed factor of one level still has a column: %v", fit.Fixed)
	}
}

func TestDropRefuses(t *testing.T) {
	t.Parallel()
	d := crossedRows(t)
	for _, test := range []struct{ reason, factor, level string }{
		{"unknown factor", "batch", "l1"}, {"unknown level", "lot", "l9"}, {"covariate", "hours", "1"},
	} {
		if _, err := d.Drop(test.factor, test.level); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%s: %v", test.reason, err)
		}
	}
	for _, row := range []int32{-1, 150} {
		if _, err := d.Subset([]int32{0, row}); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("row %d: %v", row, err)
		}
	}
}

// Columns that cannot be estimated are left out, are named, and change nothing else.
func TestDroppedColumns(t *testing.T) {
	t.Parallel()
	d := crossedRows(t)
	fit := must(mixed.FitLinear(d, mixed.ML))
	group := d.Fixed[0]
	group.Name, group.Levels = "group", []string{"a", "b", "c", "none"}
	d.Fixed = append(d.Fixed, group)
	doubled, constant := mixed.Covariate{Name: "minutes"}, mixed.Covariate{Name: "year"}
	for _, hours := range d.Covariates[0].Values {
		doubled.Values = append(doubled.Values, 60*hours+3)
		constant.Values = append(constant.Values, 2024.1)
	}
	d.Covariates = append(d.Covariates, doubled, constant)
	again := must(mixed.FitLinear(d, mixed.ML))
	const same, alike = "it is determined by the columns before it", "it is the same in every row or has no rows"
	want := []mixed.Dropped{
		{Column: mixed.Column{Term: "group", Level: "b"}, Reason: same},
		{Column: mixed.Column{Term: "group", Level: "c"}, Reason: same},
		{Column: mixed.Column{Term: "group", Level: "none"}, Reason: alike},
		{Column: mixed.Column{Term: "minutes"}, Reason: same},
		{Column: mixed.Column{Term: "year"}, Reason: alike},
	}
	if diff := cmp.Diff(want, again.Dropped); diff != "" {
		t.Error(diff)
	}
	if len(again.Fixed) != len(fit.Fixed) {
		t.Fatalf("%d columns are left", len(again.Fixed))
	}
	wantNear(t, "deviance", again.Deviance, fit.Deviance, 1e-12)
	for i, c := range fit.Fixed {
		wantNear(t, c.Term+c.Level, again.Fixed[i].Estimate, c.Estimate, closeVariance)
	}
}

// Another reference changes the contrasts as subtraction says, and for ML nothing else.
func TestReferenceLevel(t *testing.T) {
	t.Parallel()
	d := crossedRows(t)
	fit := must(mixed.FitLinear(d, mixed.ML))
	d.Fixed[0].Reference = "wide"
	other := must(mixed.FitLinear(d, mixed.ML))
	wantNear(t, "deviance", other.Deviance, fit.Deviance, 1e-12)
	wantNear(t, "intercept", other.Fixed[0].Estimate, fit.Fixed[0].Estimate+fit.Fixed[2].Estimate, closeVariance)
	wantNear(t, "flat", other.Fixed[1].Estimate, -fit.Fixed[2].Estimate, closeVariance)
	wantNear(t, "narrow", other.Fixed[2].Estimate, fit.Fixed[1].Estimate-fit.Fixed[2].Estimate, closeVariance)
	variance := fit.Covariance[1][1] + fit.Covariance[2][2] - 2*fit.Covariance[1][2]
	wantNear(t, "variance of narrow", other.Covariance[2][2], variance, closeVariance)
	if name := other.Fixed[1].Level; name != "flat" {
		t.Errorf("the first contrast is %q", name)
	}
}

func TestNewFactor(t *testing.T) {
	t.Parallel()
	got := mixed.NewFactor("lot", []string{"b", "a", "b", "c"})
	want := mixed.Factor{Name: "lot", Levels: []string{"a", "b", "c"}, Index: []int32{1, 0, 1, 2}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
