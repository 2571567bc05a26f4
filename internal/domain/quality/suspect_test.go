package quality_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

// checks makes verdicts from words such as "10good 20failed 30unjudged 40warning".
func checks(t *testing.T, text string) []quality.Verdict {
	t.Helper()
	outcomes := map[string]quality.Outcome{"good": quality.Accepted, "warning": quality.Warning, "failed": quality.Rejected, "unjudged": quality.Unjudged}
	var verdicts []quality.Verdict
	for word := range strings.FieldsSeq(text) {
		v := quality.Verdict{Meter: meter.Code}
		var outcome string
		if _, err := fmt.Sscanf(word, "%d%s", &v.At, &outcome); err != nil {
			t.Fatal(err)
		}
		v.Outcome, v.Why = outcomes[outcome], "as planned"
		verdicts = append(verdicts, v)
	}
	return verdicts
}

func TestSuspects(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason   string
		checks   string
		readings []unit.Instant
		want     []unit.Instant
	}{
		{"no check, no failure", "", []unit.Instant{5}, nil},
		{"good checks alone", "10good 20warning", []unit.Instant{5, 15, 25}, nil},
		{"between the good checks around a failure, ends excluded", "10good 20failed 30good", []unit.Instant{9, 10, 11, 20, 29, 30, 31}, []unit.Instant{11, 20, 29}},
		{"a warning is a good check", "10warning 20failed 30warning", []unit.Instant{10, 11, 29, 30}, []unit.Instant{11, 29}},
		{"never a good check before: all earlier readings", "20failed 30good", []unit.Instant{1, 19, 29, 30}, []unit.Instant{1, 19, 29}},
		{"no good check since: all later readings", "10good 20failed", []unit.Instant{10, 11, 1_000_000}, []unit.Instant{11, 1_000_000}},
		{"two failures are one time of doubt", "10good 20failed 25failed 30good", []unit.Instant{15, 22, 27}, []unit.Instant{15, 22, 27}},
		{"two times of doubt", "10good 20failed 30good 40good 50failed", []unit.Instant{15, 30, 35, 40, 45, 55}, []unit.Instant{15, 45, 55}},
		{"an unjudged check neither marks", "10good 20unjudged 30good", []unit.Instant{15, 25}, nil},
		{"nor clears", "10good 15unjudged 20failed 25unjudged 30good", []unit.Instant{12, 17, 22, 27}, []unit.Instant{12, 17, 22, 27}},
		{"a good check at the instant of a failed one does not count", "10good 20failed 20good 30good", []unit.Instant{15, 20, 25, 30}, []unit.Instant{15, 20, 25}},
		{"whichever is listed first", "10good 20good 20failed 30good", []unit.Instant{15, 20, 25, 30}, []unit.Instant{15, 20, 25}},
		{"a reading without a time could be any", "10good 20failed 30good", []unit.Instant{0, 40}, []unit.Instant{0}},
		{"unless nothing failed", "10good", []unit.Instant{0}, nil},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			var readings []quality.Reading
			for _, at := range test.readings {
				readings = append(readings, quality.Reading{ID: ledger.ID(fmt.Sprint(at)), At: at})
			}
			slices.Reverse(readings)
			var got []unit.Instant
			for _, s := range must[[]quality.Suspect](t)(quality.Suspects(checks(t, test.checks), readings)) {
				got = append(got, s.At)
				if s.Why == "" || !s.Failed.Known() || s.ID != ledger.ID(fmt.Sprint(s.At)) {
					t.Errorf("%+v", s)
				}
			}
			if !slices.Equal(got, test.want) {
				t.Errorf("got %d, want %d", got, test.want)
			}
		})
	}
	one := must[[]quality.Suspect](t)(quality.Suspects(checks(t, "10good 20failed 25failed 30good"), []quality.Reading{{"r", 15}}))
	want := []quality.Suspect{{ID: "r", At: 15, After: 10, Failed: 20, Until: 30, Why: one[0].Why}}
	if !reflect.DeepEqual(one, want) || !strings.Contains(one[0].Why, "the last good check before") {
		t.Errorf("got %+v", one)
	}
}

// A good check that is written down when the failure is known does not shorten what that one puts in doubt.
func TestSuspectsByPlace(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		checks string
		places []int64 // of the checks, in their order
		want   []unit.Instant
	}{
		{"on record before the failure", "10good 20good 30failed 40good", []int64{1, 2, 3, 4}, []unit.Instant{25, 30, 35}},
		{"after it", "10good 20good 30failed 40good", []int64{1, 3, 2, 4}, []unit.Instant{15, 20, 25, 30, 35}},
		{"after it, and none before", "20good 30failed 40good", []int64{2, 1, 3}, []unit.Instant{5, 10, 15, 20, 25, 30, 35}},
		{"a failure that becomes known late ends at what was good since", "10good 20failed 30good", []int64{1, 3, 2}, []unit.Instant{15, 20, 25}},
		{"across an earlier failure", "10good 15failed 20good 30failed", []int64{1, 2, 4, 3}, []unit.Instant{15, 20, 25, 30, 35, 40, 45}},
		{"of two failures the one that was known reaches", "10good 20good 25failed 30failed 40good", []int64{1, 3, 4, 2, 5}, []unit.Instant{15, 20, 25, 30, 35}},
	}
	for _, test := range tests {
		verdicts := checks(t, test.checks)
		for i, place := range test.places {
			verdicts[i].Place = place
		}
		var readings []quality.Reading
		for at := unit.Instant(5); at <= 45; at += 5 {
			readings = append(readings, quality.Reading{ID: ledger.ID(fmt.Sprint(at)), At: at})
		}
		var got []unit.Instant
		for _, s := range must[[]quality.Suspect](t)(quality.Suspects(verdicts, readings)) {
			got = append(got, s.At)
		}
		if !slices.Equal(got, test.want) {
			t.Errorf("%s: got %d, want %d", test.reason, got, test.want)
		}
	}
}

func TestSuspectsRefuse(t *testing.T) {
	t.Parallel()
	two := checks(t, "10good 20failed")
	two[1].Meter = "M-2"
	timeless := checks(t, "0good")
	unknown := checks(t, "10good")
	unknown[0].Outcome = "fine"
	for want, verdicts := range map[string][]quality.Verdict{"are mixed": two, "has no time": timeless, `"fine", which is not known`: unknown} {
		if _, err := quality.Suspects(verdicts, nil); !mentions(err, want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
}

// By definition: a reading is suspect when some failed check has no good check on the way to it.
func TestSuspectsByDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		outcomes := rapid.SliceOfN(rapid.SampledFrom(quality.Outcomes), 0, 12).Draw(t, "outcomes")
		var verdicts []quality.Verdict
		for _, o := range outcomes {
			verdicts = append(verdicts, quality.Verdict{Meter: "M", At: unit.Instant(rapid.IntRange(1, 15).Draw(t, "at")), Outcome: o})
		}
		var readings []quality.Reading
		for at := range unit.Instant(17) {
			readings = append(readings, quality.Reading{ID: "r", At: at})
		}
		failed := func(at unit.Instant) bool {
			return slices.ContainsFunc(verdicts, func(v quality.Verdict) bool { return v.At == at && v.Outcome == quality.Rejected })
		}
		good := func(at unit.Instant) bool {
			return !failed(at) && slices.ContainsFunc(verdicts, func(v quality.Verdict) bool { return v.At == at && v.Outcome.Good() })
		}
		var want []unit.Instant
		for _, r := range readings {
			doubtful := false
			for f := range unit.Instant(17) {
				if !failed(f) {
					continue
				}
				clear := false
				for g := min(f, r.At); g <= max(f, r.At); g++ {
					clear = clear || good(g)
				}
				doubtful = doubtful || !clear || r.At == 0
			}
			if doubtful {
				want = append(want, r.At)
			}
		}
		var got []unit.Instant
		for _, s := range must[[]quality.Suspect](t)(quality.Suspects(verdicts, rapid.Permutation(readings).Draw(t, "order"))) {
			got = append(got, s.At)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%v: got %d, want %d", verdicts, got, want)
		}
	})
}

// BenchmarkSuspects marks a million readings between two thousand checks.
func BenchmarkSuspects(b *testing.B) {
	var verdicts []quality.Verdict
	for i := range 2_000 {
		outcome := quality.Accepted
		if i%7 == 0 {
			outcome = quality.Rejected
		}
		verdicts = append(verdicts, quality.Verdict{Meter: "M", At: unit.Instant(1 + 500*i), Outcome: outcome})
	}
	readings := make([]quality.Reading, 1_000_000)
	for i := range readings {
		readings[i] = quality.Reading{ID: "r", At: unit.Instant(1 + i)}
	}
	for b.Loop() {
		if _, err := quality.Suspects(verdicts, readings); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(readings)), "ns/reading")
}
