package sampling_test

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zone tests must not depend on the machine

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
)

// clock reads an instant written in RFC 3339.
func clock(tb testing.TB, text string) unit.Instant {
	tb.Helper()
	parsed, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		tb.Fatal(err)
	}
	return unit.At(parsed)
}

func berlin(tb testing.TB) *time.Location {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

// preset returns the sampling part of the rule set that ships with the program.
func preset(tb testing.TB) policy.Sampling {
	tb.Helper()
	r, err := policy.Parse("general.yaml", policy.Preset())
	if err != nil {
		tb.Fatal(err)
	}
	return r.Sample
}

// wantError checks that err holds the part, or is nil where the part is empty.
func wantError(t *testing.T, err error, part string) {
	t.Helper()
	switch {
	case part == "" && err != nil:
		t.Errorf("unexpected error: %v", err)
	case part != "" && (err == nil || !strings.Contains(err.Error(), part)):
		t.Errorf("got error %v, want %q in it", err, part)
	}
}
