package reprocessing_test

import (
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

func TestCleaning(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	again := recleaned(t)
	failed := recleaned(t)
	failed.Decisions[1] = decision("round 2", 2, at("08:30"), at("10:01"), at("10:10"), reading.Action)
	third := failed
	third.Steps = append(third.Steps, reprocessing.Step{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: at("10:20"), End: at("10:35")})
	quick := again
	quick.Steps = []reprocessing.Step{{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: at("09:22")}}
	passed := good(t)
	passed.Steps = append(passed.Steps, reprocessing.Step{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: at("09:40"), End: at("09:57")})
	tests := []struct {
		name, reason string
		history      reprocessing.History
		at           unit.Instant
		want         int
	}{
		{"first", "nothing was sampled yet", good(t), at("09:20"), 1},
		{"first, decided later", "what comes later is not known then", again, at("09:25"), 1},
		{"after the action, before the cleaning", "the sample still belongs to the cleaning verification that failed", again, at("09:35"), 1},
		{"after the second cleaning began", "a new cleaning", again, at("09:40"), 2},
		{"cleaned again from the first sample on", "the instant itself counts", quick, at("09:35"), 2},
		{"after the second action, before a third cleaning", "the second cleaning goes on", failed, at("10:15"), 2},
		{"after the third cleaning", "a third cleaning", third, at("10:40"), 3},
		{"passed and cleaned again", "reprocessed without a use: the samples of before do not count", passed, at("10:00"), 2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := reprocessing.Cleaning(tt.history, tt.at); got != tt.want {
				t.Errorf("%s: cleaning %d, want %d", tt.reason, got, tt.want)
			}
		})
	}
}
