package quality_test

import (
	"math"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestControlCheck(t *testing.T) {
	t.Parallel()
	good := quality.Control{Meter: "M-1", Kind: quality.Blank, Material: "empty chamber", Value: 0, At: since, Person: "lead"}
	tests := []struct {
		reason string
		change func(*quality.Control)
		want   string
	}{
		{"a blank of 0 RLU", func(*quality.Control) {}, ""},
		{"the largest count that is believed", func(c *quality.Control) { c.Value = 9_999_999 }, ""},
		{"a larger count is a slip", func(c *quality.Control) { c.Value = 10_000_000 }, "whole number 0–9999999"},
		{"RLU are whole", func(c *quality.Control) { c.Value = 1.5 }, "whole number"},
		{"RLU are not negative", func(c *quality.Control) { c.Value = -1 }, "whole number"},
		{"NaN is no reading", func(c *quality.Control) { c.Value = unit.Number(math.NaN()) }, "whole number"},
		{"an infinity is no reading", func(c *quality.Control) { c.Value = unit.Number(math.Inf(1)) }, "whole number"},
		{"the meter is what is checked", func(c *quality.Control) { c.Meter = "" }, "name the meter"},
		{"an unknown kind has no target", func(c *quality.Control) { c.Kind = "other" }, `kind "other" is not known`},
		{"the material has the target", func(c *quality.Control) { c.Material = "" }, "name the material"},
		{"without an instant nothing can be traced", func(c *quality.Control) { c.At = 0 }, "when was it read"},
		{"someone answers for it", func(c *quality.Control) { c.Person = "" }, "who read it"},
	}
	for _, test := range tests {
		c := good
		test.change(&c)
		if err := c.Check(); !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
}

func TestLog10RLU(t *testing.T) {
	t.Parallel()
	for v, want := range map[unit.Number]float64{0: 0, 9: 1, 99: 2, 999: 3, 9_999_999: 7} {
		if got := quality.Log10RLU(v); math.Abs(got-want) > 0 {
			t.Errorf("%v: got %v, want exactly %v", v, got, want)
		}
	}
	if got := quality.Log10RLU(-2); !math.IsNaN(got) {
		t.Errorf("below −1: got %v, want NaN", got)
	}
}
