package level_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func question(change ...func(*level.Question)) level.Question {
	q := level.Question{
		Level: facility(scope.InstrumentLumen, 100, 200), Confidence: stats.MustConfidence("0.95"),
		Prevalence: stats.MustProbability("0.05"), Resamples: 199, Seed: "cultures",
	}
	for _, c := range change {
		c(&q)
	}
	return q
}

// pairsOf gives positives and negatives their values.
func pairsOf(positive, negative []int) []level.Pair {
	var pairs []level.Pair
	for i, v := range positive {
		pairs = append(pairs, level.Pair{ID: fmt.Sprintf("p%d", i), Value: v, Positive: true})
	}
	for i, v := range negative {
		pairs = append(pairs, level.Pair{ID: fmt.Sprintf("n%d", i), Value: v})
	}
	return pairs
}

// 80 of 100 positive and 30 of 200 negative scopes are over 200 RLU; the predictive values at a
// prevalence of 5 % are those of the formulas of Mercaldo, Lau & Zhou 2007 in decimal arithmetic of 30
// digits, the Wilson limits those of R 4.2.2.
func TestDiscriminateReference(t *testing.T) {
	var positive, negative []int
	for i := range 100 {
		positive = append(positive, map[bool]int{true: 201 + i, false: 200 - i}[i < 80])
	}
	for i := range 200 {
		negative = append(negative, map[bool]int{true: 201 + i, false: 200 - i%190}[i < 30])
	}
	got, err := level.Discriminate(pairsOf(positive, negative), question())
	if err != nil {
		t.Fatal(err)
	}
	a := got.AtLevel
	if want := (stats.Crossing{TruePositive: 80, FalseNegative: 20, FalsePositive: 30, TrueNegative: 170}); a.Counts != want {
		t.Fatalf("counts %+v, want %+v", a.Counts, want)
	}
	wantFigure := func(what string, f level.Figure, value, lo, hi float64) {
		t.Helper()
		wantClose(t, what, float64(f.Value), value, 1e-12)
		wantClose(t, what+", lower limit", float64(f.Interval.Lo), lo, 1e-12)
		wantClose(t, what+", upper limit", float64(f.Interval.Hi), hi, 1e-12)
	}
	wantFigure("sensitivity", a.Sensitivity, 0.8, 0.711170834406841, 0.866633066668967)
	wantFigure("specificity", a.Specificity, 0.85, 0.793944207158333, 0.892864064377580)
	wantFigure("PPV", *a.Positive, 0.21917808219178082, 0.16594804892999734, 0.28367511734393983)
	wantFigure("NPV", *a.Negative, 0.98776758409785933, 0.98192642221773074, 0.9917368393193849)
	if !got.Discriminates || !strings.HasPrefix(got.Sentence, "ATP readings are higher in culture-positive") {
		t.Errorf("%+v", got)
	}
	if got.Best == nil || got.Best.Cut != 201 {
		t.Errorf("best cut %+v, want 201", got.Best)
	}
	if !slices.Contains(got.Warnings, "20 of 100 culture-positive scopes were not over the action level") {
		t.Errorf("warnings %q", got.Warnings)
	}
}

func TestDiscriminateSentences(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	draw := func(n, lo, hi int) (values []int) {
		for range n {
			values = append(values, lo+rng.IntN(hi-lo))
		}
		return values
	}
	tests := []struct {
		reason             string
		positive, negative []int
		want               string
	}{
		{
			"no difference", draw(40, 10, 300), draw(60, 10, 300),
			"ATP does not discriminate culture-positive from culture-negative scopes here (area under the curve 0.",
		},
		{"higher", draw(40, 150, 500), draw(60, 10, 200), "ATP readings are higher"},
		{"lower", draw(40, 10, 200), draw(60, 150, 500), "ATP readings are lower"},
		{"too few to say", []int{300}, []int{20, 30}, "ATP does not discriminate"},
		{"all alike", []int{20, 20}, []int{20, 20}, "ATP does not discriminate"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			got, err := level.Discriminate(pairsOf(test.positive, test.negative), question())
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(got.Sentence, test.want) || !strings.Contains(got.Sentence, "95 % interval") {
				t.Errorf("got %q", got.Sentence)
			}
			if few := len(test.positive) < 10; few != slices.ContainsFunc(got.Warnings, func(w string) bool { return strings.HasPrefix(w, "only ") }) {
				t.Errorf("warnings %q", got.Warnings)
			}
			if _, err := json.Marshal(got); err != nil {
				t.Errorf("cannot be written: %v", err)
			}
		})
	}
	got, err := level.Discriminate(pairsOf([]int{300}, []int{20, 30}), question(func(q *level.Question) { q.Prevalence = stats.Probability{} }))
	if err != nil || got.AtLevel.Positive != nil || got.AtLevel.Negative != nil {
		t.Errorf("without prevalence: %+v, %v", got.AtLevel, err)
	}
	if got, err = level.Discriminate(pairsOf([]int{20, 20}, []int{20, 20}), question()); err != nil || got.Best != nil {
		t.Errorf("all alike: best cut %+v, %v", got.Best, err)
	}
}

func TestDiscriminateRefuses(t *testing.T) {
	tests := []struct {
		reason string
		pairs  []level.Pair
		q      level.Question
		want   string
	}{
		{"no positive scope", pairsOf(nil, []int{1, 2}), question(), "0 positive and 2 negative scopes"},
		{"no negative scope", pairsOf([]int{1, 2}, nil), question(), "go on collecting"},
		{"no pair", nil, question(), "0 positive"},
		{"a value below 0", pairsOf([]int{-1}, []int{1}), question(), "-1 RLU"},
		{"no action level", pairsOf([]int{2}, []int{1}), question(func(q *level.Question) { q.Level.Action = 0 }), "action level must be over 0"},
		{"no confidence", pairsOf([]int{2}, []int{1}), question(func(q *level.Question) { q.Confidence = stats.Confidence{} }), "confidence"},
		{"no resamples", pairsOf([]int{2}, []int{1}), question(func(q *level.Question) { q.Resamples = 0 }), "resamples"},
		{"prevalence 1", pairsOf([]int{2}, []int{1}), question(func(q *level.Question) { q.Prevalence = stats.MustProbability("1") }), "prevalence"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			if _, err := level.Discriminate(test.pairs, test.q); !errors.Is(err, stats.ErrArgument) || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v, want ErrArgument with %q", err, test.want)
			}
		})
	}
}

// The counts at a level are those of package reading, a higher level is never more sensitive nor
// less specific, and the order of the pairs does not matter.
func TestDiscriminateProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		value := rapid.SliceOfN(rapid.IntRange(0, 12), 1, 30)
		pairs := pairsOf(value.Draw(rt, "positive"), value.Draw(rt, "negative"))
		q := question(func(q *level.Question) {
			q.Level.Alert, q.Level.Action = 0, unit.Number(rapid.IntRange(1, 12).Draw(rt, "action"))
			q.Level.Comparison = rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(rt, "comparison")
			q.Resamples = 100
		})
		a, err := level.Discriminate(pairs, q)
		if err != nil {
			rt.Fatal(err)
		}
		var want stats.Crossing
		for _, p := range pairs {
			v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(p.Value)}
			switch over := q.Level.Judge(v, reading.Circumstances{}).Outcome == reading.Action; {
			case over && p.Positive:
				want.TruePositive++
			case over:
				want.FalsePositive++
			case p.Positive:
				want.FalseNegative++
			default:
				want.TrueNegative++
			}
		}
		if a.AtLevel.Counts != want {
			rt.Fatalf("counts %+v, package reading gives %+v", a.AtLevel.Counts, want)
		}
		b, err := level.Discriminate(rapid.Permutation(pairs).Draw(rt, "order"), q)
		if err != nil {
			rt.Fatal(err)
		}
		textA, errA := json.Marshal(a)
		textB, errB := json.Marshal(b)
		if errA != nil || errB != nil || string(textA) != string(textB) {
			rt.Fatalf("another order gives another result:\n%s\n%s\n%v %v", textA, textB, errA, errB)
		}
		q.Level.Action += 3
		higher, err := level.Discriminate(pairs, q)
		if err != nil {
			rt.Fatal(err)
		}
		if higher.AtLevel.Sensitivity.Value > a.AtLevel.Sensitivity.Value || higher.AtLevel.Specificity.Value < a.AtLevel.Specificity.Value {
			rt.Fatalf("at %s: %+v, at %s: %+v", a.AtLevel.Action, a.AtLevel, higher.AtLevel.Action, higher.AtLevel)
		}
	})
}

func TestPercentOf(t *testing.T) {
	for decimal, want := range map[string]string{"0.95": "95", "0.995": "99.5", "0.9": "90", "0.05": "5", "0.001": "0.1", "0.5": "50"} {
		if got := level.PercentOf(decimal); got != want {
			t.Errorf("%s is %s %%, got %s", decimal, want, got)
		}
	}
}
