package level_test

import (
	"strings"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/level"
)

// Every method says what it assumes, and the sentence of a candidate has its figures.
func TestCandidateSentence(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, m := range level.Methods {
		words := m.Assumes()
		if words == "" || seen[words] {
			t.Errorf("%s assumes %q", m, words)
		}
		seen[words] = true
	}
	p, plan := stats.MustProbability("0.99"), level.Usual(level.Target{})
	c := level.Candidate{Estimate: 173.4, Interval: &level.Range{Lo: 137.2, Hi: 240}, Upper: 227, Achieved: 0.9634, Level: 228}
	for _, test := range []struct {
		take      level.Take
		candidate level.Candidate
		want      string
	}{
		{
			level.UpperBound, c,
			"About 99 % of such readings are at or below 173 RLU (with 95 % confidence the true limit lies from 137 to 240); with 96.3 % confidence " +
				"at least 99 % are at or below 227 RLU, which makes the action level 228 RLU.",
		},
		{
			level.Estimate,
			level.Candidate{Estimate: 173, Level: 173},
			"About 99 % of such readings are at or below 173 RLU; that estimate itself becomes the action level: 173 RLU.",
		},
		{level.UpperBound, level.Candidate{Refused: "too few"}, "No action level by this method: too few."},
	} {
		plan.Take = test.take
		if got := test.candidate.Sentence("action", p, plan); got != test.want {
			t.Errorf("got  %s\nwant %s", got, test.want)
		}
	}
	if got := c.Sentence("alert", stats.MustProbability("0.995"), plan); !strings.HasPrefix(got, "About 99.5 % ") {
		t.Errorf("another share: %s", got)
	}
}
