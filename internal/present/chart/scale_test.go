package chart_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

func TestNumber(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		v      float64
		want   string
	}{
		{"whole", 100, "100"},
		{"one decimal", 0.5, "0.5"},
		{"two decimals", 104.714, "104.71"},
		{"rounded up", 1.999, "2"},
		{"never minus zero", -0.001, "0"},
		{"negative below one", -0.25, "-0.25"},
		{"hundredth", 0.01, "0.01"},
		{"no separators", 1234567.5, "1234567.5"},
		{"exponent", 1e15, "1.00e+15"},
		{"not a number", nan, "–"},
		{"infinite", math.Inf(-1), "–"},
	}
	for _, test := range tests {
		if got := chart.Number(test.v); got != test.want {
			t.Errorf("%s: %q, want %q", test.reason, got, test.want)
		}
	}
}

func TestNiceTicks(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		lo, hi float64
		most   int
		want   []float64
	}{
		{"fifths", 0, 1, 6, []float64{0, 0.2, 0.4, 0.6, 0.8, 1}},
		{"tenths come out exactly", 0, 0.35, 5, []float64{0, 0.1, 0.2, 0.3}},
		{"within, not at the ends", 3, 27, 6, []float64{5, 10, 15, 20, 25}},
		{"across zero", -5, 5, 3, []float64{-5, 0, 5}},
		{"two, not one, where they fit", 0, 1.1, 2, []float64{0, 1}},
		{"nothing below a hundredth", 0, 0.015, 8, []float64{0, 0.01}},
		{"no range", 1, 1, 5, []float64{1}},
		{"reversed", 2, 1, 5, nil},
		{"not a number", nan, 1, 5, nil},
		{"none asked for", 0, 1, 0, nil},
	}
	for _, test := range tests {
		if got := chart.NiceTicks(test.lo, test.hi, test.most); !slices.Equal(got, test.want) {
			t.Errorf("%s: %v, want %v", test.reason, got, test.want)
		}
	}
}

// Ticks rise, lie in the range, are no more than asked for, and at least one where the range is ten
// hundredths or more.
func TestTicksHold(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e6, 1e6).Draw(t, "lo")
		hi := lo + rapid.Float64Range(0.1, 1e6).Draw(t, "length")
		most := rapid.IntRange(2, 12).Draw(t, "most")
		ticks := chart.NiceTicks(lo, hi, most)
		if len(ticks) < 1 || len(ticks) > most || !slices.IsSorted(ticks) {
			t.Fatalf("%v", ticks)
		}
		hair := 0.005 + 1e-9*math.Abs(hi) // two decimals
		if ticks[0] < lo-hair || ticks[len(ticks)-1] > hi+hair {
			t.Fatalf("%v outside of %g to %g", ticks, lo, hi)
		}
	})
}

func TestLogTicks(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		lo, hi float64 // exponents
		most   int
		want   []float64
	}{
		{"1, 2 and 5", 0.9, 2.4, 8, []float64{10, 20, 50, 100, 200}},
		{"decades where those do not fit", 0.9, 4.1, 5, []float64{10, 100, 1000, 10000}},
		{"every second decade", 0, 6, 4, []float64{1, 100, 1e4, 1e6}},
		{"linear within an octave", math.Log10(110), math.Log10(190), 6, []float64{120, 140, 160, 180}},
		{"nothing below a hundredth", -6, 0.1, 5, []float64{0.01, 0.1, 1}},
		{"reversed", 2, 1, 5, nil},
	}
	for _, test := range tests {
		got := chart.LogTicks(test.lo, test.hi, test.most)
		same := len(got) == len(test.want)
		for i := range got {
			same = same && math.Abs(got[i]-test.want[i]) < 1e-9*test.want[i]
		}
		if !same {
			t.Errorf("%s: %v, want %v", test.reason, got, test.want)
		}
	}
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	l, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestTimeTicks(t *testing.T) {
	t.Parallel()
	berlin, kolkata := zone(t, "Europe/Berlin"), zone(t, "Asia/Kolkata")
	date := func(y, m, d, h int, l *time.Location) time.Time { return time.Date(y, time.Month(m), d, h, 0, 0, 0, l) }
	tests := []struct {
		reason   string
		from, to time.Time
		location *time.Location
		most     int
		want     string
	}{
		// 2026-01-05 is a Monday.
		{"weeks begin on Monday", date(2026, 1, 1, 0, time.UTC), date(2026, 2, 3, 0, time.UTC), time.UTC, 6, "5 Jan/2026 12 Jan 19 Jan 26 Jan 2 Feb"},
		{"days", date(2026, 3, 1, 0, time.UTC), date(2026, 3, 5, 0, time.UTC), time.UTC, 6, "1 Mar/2026 2 Mar 3 Mar 4 Mar 5 Mar"},
		{"months, the year where it begins", date(2025, 11, 15, 0, time.UTC), date(2026, 3, 15, 0, time.UTC), time.UTC, 6, "Dec/2025 Jan/2026 Feb Mar"},
		{"quarters", date(2025, 1, 1, 0, time.UTC), date(2026, 2, 1, 0, time.UTC), time.UTC, 5, "Jan/2025 Apr Jul Oct Jan/2026"},
		{"years", date(2019, 6, 1, 0, time.UTC), date(2024, 6, 1, 0, time.UTC), time.UTC, 6, "2020 2021 2022 2023 2024"},
		{"decades", date(1985, 6, 1, 0, time.UTC), date(2024, 6, 1, 0, time.UTC), time.UTC, 5, "1990 2000 2010 2020"},
		{"hours", date(2026, 3, 1, 0, time.UTC), date(2026, 3, 1, 12, time.UTC), time.UTC, 5, "00:00/1 Mar 2026 03:00 06:00 09:00 12:00"},
		// Clocks go forward in Berlin on 2026-03-29.
		{"midnight on both sides of summer time", date(2026, 3, 28, 0, berlin), date(2026, 3, 31, 0, berlin), berlin, 6, "28 Mar/2026 29 Mar 30 Mar 31 Mar"},
		{"round hours after summer time", date(2026, 3, 29, 0, berlin), date(2026, 3, 29, 20, berlin), berlin, 5, "00:00/29 Mar 2026 06:00 12:00 18:00"},
		{"half an hour from Greenwich", date(2026, 3, 1, 0, kolkata), date(2026, 3, 3, 0, kolkata), kolkata, 3, "1 Mar/2026 2 Mar 3 Mar"},
		{"an instant", date(2026, 3, 1, 5, time.UTC), date(2026, 3, 1, 5, time.UTC), time.UTC, 5, "05:00/1 Mar 2026"},
	}
	for _, test := range tests {
		var got []string
		for _, k := range chart.TimeTicks(test.from, test.to, test.location, test.most) {
			if k.Below != "" {
				k.Label += "/" + k.Below
			}
			got = append(got, k.Label)
		}
		if s := strings.Join(got, " "); s != test.want {
			t.Errorf("%s:\n got %s\nwant %s", test.reason, s, test.want)
		}
	}
}

// A tick stands at its instant: the pixel of midnight in the location, also when a day has 23 hours.
func TestTimeTicksStandAtTheirInstant(t *testing.T) {
	t.Parallel()
	berlin := zone(t, "Europe/Berlin")
	from := time.Date(2026, 3, 28, 0, 0, 0, 0, berlin)
	to := time.Date(2026, 3, 31, 0, 0, 0, 0, berlin) // 71 hours later
	want := []float64{0, 1000 * 24.0 / 71, 1000 * 47.0 / 71, 1000}
	for i, k := range chart.TimeTicks(from, to, berlin, 6) {
		if math.Abs(k.At-want[i]) > 1e-6 {
			t.Errorf("%s at %g, want %g", k.Label, k.At, want[i])
		}
	}
}

// Whatever the range, from the first year to the last: no more ticks than asked for, at least one,
// in order, within.
func TestTimeTicksHold(t *testing.T) {
	t.Parallel()
	berlin := zone(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		from := time.Unix(rapid.Int64Range(-62e9, 250e9).Draw(t, "from"), 0)
		length := math.Pow(10, rapid.Float64Range(0, 11.3).Draw(t, "length"))
		to := time.Unix(from.Unix()+int64(length), 0)
		most := rapid.IntRange(1, 20).Draw(t, "most")
		ticks := chart.TimeTicks(from, to, berlin, most)
		if len(ticks) < 1 || len(ticks) > most {
			t.Fatalf("%d ticks", len(ticks))
		}
		for i, k := range ticks {
			if k.At < 0 || k.At > 1000 || (i > 0 && k.At <= ticks[i-1].At) {
				t.Fatalf("%v", ticks)
			}
		}
	})
}
