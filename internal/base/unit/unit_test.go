package unit_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
)

func TestAddDaysKeepsTheWallClock(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	// Central European rules of 2025 (IANA tz database): forward 2025-03-30 02:00 → 03:00,
	// back 2025-10-26 03:00 → 02:00.
	tests := []struct{ name, from, want, reason string }{
		{"no change", "2025-05-01T08:00:00+02:00", "2025-05-08T08:00:00+02:00", "plain week"},
		{"spring", "2025-03-25T08:00:00+01:00", "2025-04-01T08:00:00+02:00", "one hour shorter in elapsed time"},
		{"autumn", "2025-10-22T08:00:00+02:00", "2025-10-29T08:00:00+01:00", "one hour longer in elapsed time"},
		{"gap", "2025-03-23T02:30:00+01:00", "2025-03-30T01:30:00+01:00", "02:30 does not exist: the earlier reading"},
		{"twice", "2025-10-19T02:30:00+02:00", "2025-10-26T02:30:00+02:00", "02:30 comes twice: the first counts"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			from, _ := time.Parse(time.RFC3339, tt.from)
			want, _ := time.Parse(time.RFC3339, tt.want)
			if got := unit.At(from).AddDays(7, berlin).Time(); !got.Equal(want) {
				t.Errorf("got %s, want %s (%s)", got.In(berlin), want.In(berlin), tt.reason)
			}
		})
	}
}

// A day begins at midnight of its zone, or where clocks are put forward over that with what comes after.
func TestMidnight(t *testing.T) {
	// Rules of the IANA tz database: Havana goes forward on 2025-03-09 and back on 2025-11-02, at midnight and 01:00.
	for _, test := range []struct{ zone, at, want string }{
		{"Europe/Berlin", "2025-05-01T08:00:00+02:00", "2025-05-01T00:00:00+02:00"},
		{"Europe/Berlin", "2025-05-01T00:00:00+02:00", "2025-05-01T00:00:00+02:00"},
		{"Europe/Berlin", "2025-04-30T23:30:00Z", "2025-05-01T00:00:00+02:00"},
		{"Europe/Berlin", "2025-03-30T12:00:00+02:00", "2025-03-30T00:00:00+01:00"},
		{"America/Havana", "2025-03-09T12:00:00-04:00", "2025-03-09T01:00:00-04:00"},
		{"America/Havana", "2025-11-02T12:00:00-05:00", "2025-11-02T00:00:00-04:00"},
	} {
		zone, err := time.LoadLocation(test.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, _ := time.Parse(time.RFC3339, test.at)
		want, _ := time.Parse(time.RFC3339, test.want)
		if got := unit.At(at).Midnight(zone).Time(); !got.Equal(want) {
			t.Errorf("%s: %s, want %s", test.at, got.In(zone), want.In(zone))
		}
	}
}

func TestNumbersSurviveJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := unit.Number(rapid.Float64().Filter(func(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }).Draw(t, "v"))
		b, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var got unit.Number
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Fatalf("%v → %s → %v", want, b, got)
		}
	})
}

func TestParseNumberRefusesWhatIsNotPlain(t *testing.T) {
	for _, s := range []string{"", "1e3", "0x10", "NaN", "inf", "1,5", "1 000", "--1", ".", "1.2.3", "٣"} {
		if v, err := unit.ParseNumber(s); err == nil {
			t.Errorf("%q was read as %v", s, v)
		}
	}
	for s, want := range map[string]unit.Number{"6.4": 6.4, "0": 0, "-1": -1, "+2": 2, ".5": .5, "007": 7} {
		if v, err := unit.ParseNumber(s); err != nil || v != want {
			t.Errorf("%q: %v, %v", s, v, err)
		}
	}
	if _, err := json.Marshal(unit.Number(math.NaN())); err == nil {
		t.Error("NaN was written")
	}
}

func TestSpan(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"4h": 4 * time.Hour, "1h30min": 90 * time.Minute, "7d": 168 * time.Hour, "60s": time.Minute, "5s": 5 * time.Second,
	} {
		got, err := unit.ParseSpan(text)
		if err != nil || got.Duration() != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "4", "h", "4 h", "1min2h", "1h1h", "1.5h", "4x", "107000000d", "36600d1s"} {
		if got, err := unit.ParseSpan(text); err == nil {
			t.Errorf("%q was read as %v", text, got)
		}
	}
	for span, want := range map[unit.Span]string{0: "0s", 90 * unit.Minute: "1h30min", unit.Day + unit.Second: "1d1s", -unit.Hour: "-1h"} {
		if got := span.String(); got != want {
			t.Errorf("%d: %q, want %q", span, got, want)
		}
	}
}

func FuzzParseSpan(f *testing.F) {
	for _, s := range []string{"4h", "1h30min", "99999999999d"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := unit.ParseSpan(s); err == nil && v < 0 {
			t.Errorf("%q is negative: %d", s, v)
		}
	})
}
