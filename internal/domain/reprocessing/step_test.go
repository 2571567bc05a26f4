package reprocessing_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

func TestContactTimeFits(t *testing.T) {
	start := unit.Instant(1_772_438_400_000_000) // 2026-03-02T08:00:00Z
	for _, c := range []struct {
		reason  string
		lasts   time.Duration
		contact unit.Span
		ok      bool
	}{
		{"as long as the step", 12 * time.Minute, 12 * unit.Minute, true},
		{"both ends are whole minutes", 11*time.Minute + time.Second, 12 * unit.Minute, true},
		{"longer than the step", 11*time.Minute - time.Microsecond, 12 * unit.Minute, false},
		{"only one instant is known", 0, 12 * unit.Minute, true},
		{"no contact time", time.Second, 0, true},
	} {
		s := reprocessing.Step{Scope: "D-01", Kind: reprocessing.Disinfection, Start: start, End: start.Add(c.lasts), Contact: c.contact}
		if err := s.Check(); (err == nil) != c.ok || err != nil && !strings.Contains(err.Error(), "does not fit") {
			t.Errorf("%s: %v", c.reason, err)
		}
	}
}
