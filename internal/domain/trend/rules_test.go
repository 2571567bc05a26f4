package trend_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/domain/trend"
)

var all = trend.Rules{On: trend.RulesOf(trend.AllRules...)}

// hits returns the 1-based places at which each rule signals, without any restart.
func hits(r trend.Rules, z []float64) map[trend.Rule][]int {
	out := make(map[trend.Rule][]int)
	var s trend.RuleState
	for i, v := range z {
		var hit trend.RuleSet
		s, hit = r.Step(s, v)
		for _, rule := range trend.AllRules {
			if hit.Has(rule) {
				out[rule] = append(out[rule], i+1)
			}
		}
	}
	return out
}

func TestRunRuleSequences(t *testing.T) {
	rows := readTable(t, "run_rule_sequences.csv")
	if len(rows) != 17 {
		t.Fatalf("%d sequences, want 17", len(rows))
	}
	for _, row := range rows {
		t.Run(row["name"], func(t *testing.T) {
			var z []float64
			for part := range strings.FieldsSeq(row["z"]) {
				z = append(z, atof(t, part))
			}
			got := hits(all, z)
			for _, rule := range trend.AllRules {
				var want []int
				for part := range strings.FieldsFuncSeq(row["rule"+strconv.Itoa(int(rule))], func(r rune) bool { return r == ';' }) {
					want = append(want, int(atof(t, part)))
				}
				if !slices.Equal(got[rule], want) {
					t.Errorf("rule %d signals at %v, want %v", rule, got[rule], want)
				}
			}
		})
	}
}

// The definitions by windows, evaluated anew at each value.
func TestRunRulesAgainstWindows(t *testing.T) {
	in := func(z []float64, i, width, need int, test func(z float64) bool) bool {
		if i+1 < width && width == need {
			return false
		}
		n := 0
		for _, v := range z[max(0, i+1-width) : i+1] {
			if test(v) {
				n++
			}
		}
		return test(z[i]) && n >= need
	}
	steps := func(z []float64, i, points int, test func(j int, step float64) bool) bool {
		if i+1 < points {
			return false
		}
		for j := i + 2 - points; j <= i; j++ {
			if !test(j, z[j]-z[j-1]) {
				return false
			}
		}
		return true
	}
	rapid.Check(t, func(t *rapid.T) {
		run := rapid.SampledFrom([]int{0, 8, 9}).Draw(t, "run")
		// A coarse grid makes ties, values on the lines and long runs.
		z := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) float64 {
			return float64(rapid.IntRange(-7, 7).Draw(t, "half")) / 2
		}), 1, 40).Draw(t, "z")
		if rapid.Bool().Draw(t, "calm") {
			for i := range z {
				z[i] = z[i] / 4
			}
		}
		if rapid.Bool().Draw(t, "by turns") {
			for i := range z {
				if z[i] = max(z[i], -z[i]); i%2 == 1 {
					z[i] = -z[i]
				}
			}
		}
		length := run
		if run == 0 {
			length = 9
		}
		var s trend.RuleState
		rules := trend.Rules{On: all.On, Run: run}
		for i, v := range z {
			var hit trend.RuleSet
			s, hit = rules.Step(s, v)
			above := func(limit float64) func(float64) bool { return func(z float64) bool { return z > limit } }
			below := func(limit float64) func(float64) bool { return func(z float64) bool { return z < -limit } }
			want := map[trend.Rule]bool{
				trend.BeyondThree: v > 3 || v < -3,
				trend.SameSide:    in(z, i, length, length, above(0)) || in(z, i, length, length, below(0)),
				trend.Monotone: steps(z, i, 6, func(_ int, step float64) bool { return step > 0 }) ||
					steps(z, i, 6, func(_ int, step float64) bool { return step < 0 }),
				trend.Alternating: steps(z, i, 14, func(j int, step float64) bool { return j%2 == 0 && step > 0 || j%2 == 1 && step < 0 }) ||
					steps(z, i, 14, func(j int, step float64) bool { return j%2 == 0 && step < 0 || j%2 == 1 && step > 0 }),
				trend.TwoOfThree: in(z, i, 3, 2, above(2)) || in(z, i, 3, 2, below(2)),
				trend.FourOfFive: in(z, i, 5, 4, above(1)) || in(z, i, 5, 4, below(1)),
				trend.Hugging:    in(z, i, 15, 15, func(z float64) bool { return -1 < z && z < 1 }),
				trend.Avoiding:   in(z, i, 8, 8, func(z float64) bool { return z < -1 || z > 1 }),
			}
			for _, rule := range trend.AllRules {
				if hit.Has(rule) != want[rule] {
					t.Fatalf("rule %d at %d: %v, want %v", rule, i, hit.Has(rule), want[rule])
				}
			}
		}
	})
}

// A rule that is off leaves no trace, and a restarted rule is like one that has seen nothing.
func TestRunRulesApartAndRestarted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		on := trend.RuleSet(rapid.Uint8().Draw(t, "on"))
		z := rapid.SliceOfN(rapid.Float64Range(-3.5, 3.5), 1, 30).Draw(t, "z")
		cut := rapid.IntRange(0, len(z)).Draw(t, "cut")
		var together, fresh trend.RuleState
		single := make([]trend.RuleState, len(trend.AllRules))
		for i, v := range z {
			var hit, want trend.RuleSet
			together, hit = trend.Rules{On: on}.Step(together, v)
			for j, rule := range trend.AllRules {
				if on.Has(rule) {
					var h trend.RuleSet
					single[j], h = trend.Rules{On: trend.RulesOf(rule)}.Step(single[j], v)
					want |= h
				}
			}
			if hit != want {
				t.Fatalf("together %s, apart %s", hit, want)
			}
			if i >= cut {
				fresh, _ = trend.Rules{On: on}.Step(fresh, v)
			}
		}
		var restarted trend.RuleState
		for i, v := range z {
			if i == cut {
				restarted = restarted.Restart(on)
			}
			restarted, _ = trend.Rules{On: on}.Step(restarted, v)
		}
		if cut < len(z) && restarted != fresh {
			t.Fatalf("restarted %+v, fresh %+v", restarted, fresh)
		}
	})
}

func TestRuleSetText(t *testing.T) {
	tests := []struct {
		text, again string
		ok          bool
		reason      string
	}{
		{`"1,2,5"`, `"1,2,5"`, true, "as written"},
		{`"5,1,1"`, `"1,5"`, true, "order and repetition do not matter"},
		{`""`, `""`, true, "no rule"},
		{`"9"`, "", false, "there is no rule 9"},
		{`"1;2"`, "", false, "commas divide"},
		{`"1,"`, "", false, "a number is missing"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			var s trend.RuleSet
			err := json.Unmarshal([]byte(test.text), &s)
			if (err == nil) != test.ok {
				t.Fatalf("error %v", err)
			}
			if again := string(must(json.Marshal(s))); test.ok && again != test.again {
				t.Errorf("%s, want %s", again, test.again)
			}
		})
	}
	for _, r := range trend.AllRules {
		if fmt.Sprint(trend.RulesOf(r)) != strconv.Itoa(int(r)) || r.Pattern() == trend.Rule(0).Pattern() {
			t.Errorf("rule %d is written %s, %q", r, trend.RulesOf(r), r.Pattern())
		}
	}
}
