package reprocessing_test

import (
	"testing"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// A doubt must not clear a scope: it takes a reading that passed, and leaves every other as it is.
func TestDoubtTakesOnlyWhatPassed(t *testing.T) {
	doubt := &reprocessing.Doubt{Why: "the meter failed its check", Record: "mark"}
	for outcome, want := range map[reading.Outcome]reading.Outcome{
		reading.OK: reading.Void, reading.Alert: reading.Void,
		reading.Action: reading.Action, reading.Void: reading.Void, reading.None: reading.None,
	} {
		var trusted, doubted reprocessing.Taken
		trusted.AddReading(reading.Judgement{Outcome: outcome, Why: "as read"}, 7, nil)
		doubted.AddReading(reading.Judgement{Outcome: outcome, Why: "as read"}, 7, doubt)
		if got := trusted.Judgements[0]; got.Outcome != outcome || trusted.Doubt != "" || trusted.Read != 7 {
			t.Errorf("%s without a doubt: %+v", outcome, trusted)
		}
		got := doubted.Judgements[0]
		if got.Outcome != want {
			t.Errorf("%s in doubt is %s, want %s", outcome, got.Outcome, want)
		}
		if told := doubted.DoubtRecord == "mark"; told != outcome.Passed() {
			t.Errorf("%s in doubt: the mark is told = %t", outcome, told)
		}
		if outcome.Passed() && got.Why != "the meter failed its check: take a new sample" || !outcome.Passed() && got.Why != "as read" {
			t.Errorf("%s in doubt says %q", outcome, got.Why)
		}
	}
}
