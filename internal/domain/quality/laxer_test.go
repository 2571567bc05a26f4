package quality_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestLaxerTarget(t *testing.T) {
	limits := quality.Target{System: "A", Kind: quality.Positive, Material: "light", Low: 300, High: 3000}
	charted := quality.Target{System: "A", Kind: quality.Positive, Material: "light", Mean: 3, SD: 0.1, Runs: 20}
	blank := quality.Target{System: "A", Kind: quality.Blank, Material: "empty", High: 0}
	change := func(x quality.Target, f func(*quality.Target)) quality.Target {
		f(&x)
		return x
	}
	for _, test := range []struct {
		name          string
		before, after quality.Target
		want          string
	}{
		{"the same", limits, limits, ""},
		{"narrower", limits, change(limits, func(x *quality.Target) { x.Low, x.High = 400, 2000 }), ""},
		{"limits as well", charted, change(charted, func(x *quality.Target) { x.Low, x.High = 400, 2000 }), ""},
		{"a chart as well", limits, change(limits, func(x *quality.Target) { x.Mean, x.SD, x.Runs = 3, 0.1, 20 }), ""},
		{"more runs of the same", charted, change(charted, func(x *quality.Target) { x.Runs, x.SD = 40, 0.05 }), ""},
		{"another source", limits, change(limits, func(x *quality.Target) { x.Source, x.Edition, x.Adopter, x.Adopted = "s", "2", "L", 5 }), ""},
		{"lower", limits, change(limits, func(x *quality.Target) { x.Low = 299 }), "from 299 RLU instead of 300"},
		{"higher", limits, change(limits, func(x *quality.Target) { x.High = 3001 }), "up to 3001 RLU instead of 3000"},
		{"a higher blank", blank, change(blank, func(x *quality.Target) { x.High = 10 }), "up to 10 RLU instead of 0"},
		{"no limits", limits, charted, "no limits instead of 300 to 3000 RLU"},
		{"no chart", charted, limits, "no mean and standard deviation of own runs"},
		{"another mean", charted, change(charted, func(x *quality.Target) { x.Mean = 2.9 }), "another mean of own runs"},
		{"a larger spread", charted, change(charted, func(x *quality.Target) { x.SD = 0.2 }), "a larger standard deviation of own runs"},
	} {
		less := quality.LaxerTarget(test.before, test.after)
		if test.want == "" && len(less) > 0 || test.want != "" && !slices.Contains(less, test.want) {
			t.Errorf("%s: %q, want %q", test.name, less, test.want)
		}
	}
}

// The same is never less, nor are narrower limits; wider ones always are.
func TestLaxerTargetProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low, width := rapid.IntRange(0, 1000).Draw(t, "low"), rapid.IntRange(1, 1000).Draw(t, "width")
		x := quality.Target{Kind: quality.Positive, Low: unit.Number(low), High: unit.Number(low + width)}
		wider := x
		wider.High += unit.Number(rapid.IntRange(1, 100).Draw(t, "wider"))
		if len(quality.LaxerTarget(x, x)) > 0 || len(quality.LaxerTarget(wider, x)) > 0 || len(quality.LaxerTarget(x, wider)) == 0 {
			t.Fatalf("%+v and %+v", x, wider)
		}
	})
}

// A target takes the place of what judges the same control, then or later, and one for a meter that of the one for its system.
func TestTargetReplaces(t *testing.T) {
	target := func(edition, meter, lot string, from unit.Instant) quality.Target {
		return quality.Target{System: "A", Meter: meter, Kind: quality.Positive, Material: "light", Lot: lot, Edition: edition, Adopted: from}
	}
	all := []quality.Target{
		target("old", "", "", 1), target("now", "", "", 10), target("coming", "", "", 30), target("own", "M-1", "", 5), target("lot", "", "7", 5),
	}
	for meter, want := range map[string][]string{"": {"coming", "now"}, "M-1": {"own"}, "M-2": {"coming", "now"}} {
		var got []string
		for _, x := range target("new", meter, "", 20).Replaces(all, 20) {
			got = append(got, x.Edition)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", meter, got, want)
		}
	}
}
