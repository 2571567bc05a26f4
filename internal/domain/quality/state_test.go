package quality_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestPolicyCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		policy quality.Policy
		want   string
	}{
		{quality.Policy{Every: unit.Hour}, ""},
		{quality.Policy{SameDay: true}, ""},
		{quality.Policy{}, "how long"},
		{quality.Policy{Every: unit.Hour, SameDay: true}, "either"},
		{quality.Policy{Every: -unit.Hour}, "how long"},
		{quality.Policy{Every: -unit.Hour, SameDay: true}, "how long"},
	}
	for _, test := range tests {
		if err := test.policy.Check(); !mentions(err, test.want) {
			t.Errorf("%+v: got %v, want %q", test.policy, err, test.want)
		}
	}
}

func TestState(t *testing.T) {
	t.Parallel()
	every := quality.Policy{Every: 10 * unit.Microsecond}
	tests := []struct {
		reason string
		checks string
		at     unit.Instant
		want   quality.Condition
		since  unit.Instant
		why    string
	}{
		{"no check at all", "", 5, quality.Unchecked, 0, "no good check on record"},
		{"the check is still to come", "10good", 9, quality.Unchecked, 0, "no good check on record"},
		{"from the instant of the check", "10good", 10, quality.Checked, 10, "checked at"},
		{"the last instant at which it holds", "10good", 19, quality.Checked, 10, "good until"},
		{"it no longer holds", "10good", 20, quality.Unchecked, 10, "unchecked since"},
		{"a warning is a good check", "10warning", 15, quality.Checked, 10, "checked at"},
		{"failed", "10good 12failed", 12, quality.Failed, 12, "failed: as planned"},
		{"not before the failure was known", "10good 12failed", 11, quality.Checked, 10, "checked at"},
		{"failed for as long as no check is good", "10good 12failed", 1_000, quality.Failed, 12, "failed"},
		{"good again", "10good 12failed 14good", 14, quality.Checked, 14, "checked at"},
		{"at one instant the failure counts", "10good 14good 14failed", 15, quality.Failed, 14, "failed"},
		{"an unjudged check is not good", "10unjudged", 11, quality.Unchecked, 0, "could not be judged: as planned"},
		{"nor does it prolong", "10good 15unjudged", 21, quality.Unchecked, 10, "could not be judged: as planned"},
		{"nor does it end a failure", "10failed 15unjudged", 21, quality.Failed, 10, "failed"},
		{"in any order", "12failed 14good 10good", 15, quality.Checked, 14, "checked at"},
	}
	for _, test := range tests {
		got := must[quality.State](t)(every.State(checks(t, test.checks), test.at, time.UTC))
		if got.Condition != test.want || got.Since != test.since || !strings.Contains(got.Why, test.why) {
			t.Errorf("%s: got %+v", test.reason, got)
		}
	}
	for _, bad := range []struct {
		policy quality.Policy
		at     unit.Instant
		zone   *time.Location
	}{{quality.Policy{}, 5, time.UTC}, {every, 0, time.UTC}, {every, 5, nil}} {
		if _, err := bad.policy.State(nil, bad.at, bad.zone); err == nil {
			t.Errorf("%+v is accepted", bad)
		}
	}
}

func TestSameDay(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason, zone, good string
		want               string // the first instant at which it no longer holds
	}{
		{"an ordinary day", "Europe/Berlin", "2026-03-10T07:00:00+01:00", "2026-03-11T00:00:00+01:00"},
		{"the last microsecond of a day", "Europe/Berlin", "2026-03-10T23:59:59.999999+01:00", "2026-03-11T00:00:00+01:00"},
		{"the first instant of a day", "Europe/Berlin", "2026-03-10T00:00:00+01:00", "2026-03-11T00:00:00+01:00"},
		{"a day of 23 hours", "Europe/Berlin", "2026-03-29T00:30:00+01:00", "2026-03-30T00:00:00+02:00"},
		{"a day of 25 hours", "Europe/Berlin", "2026-10-25T00:30:00+02:00", "2026-10-26T00:00:00+01:00"},
		{"UTC has another day", "Asia/Tokyo", "2026-03-10T07:00:00+09:00", "2026-03-11T00:00:00+09:00"},
		// Clocks went from 24:00 to 01:00, so that the day began at 01:00 (tz database).
		{"midnight is missing", "America/Sao_Paulo", "2018-11-03T12:00:00-03:00", "2018-11-04T01:00:00-02:00"},
		// Clocks went from 01:00 back to 00:00, so that midnight came twice (tz database).
		{"midnight comes twice", "America/Havana", "2025-11-01T12:00:00-04:00", "2025-11-02T00:00:00-04:00"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			zone := must[*time.Location](t)(time.LoadLocation(test.zone))
			good := unit.At(must[time.Time](t)(time.Parse(time.RFC3339Nano, test.good)))
			want := unit.At(must[time.Time](t)(time.Parse(time.RFC3339Nano, test.want)))
			verdicts := []quality.Verdict{{Meter: "M", At: good, Outcome: quality.Accepted}}
			policy := quality.Policy{SameDay: true}
			before := must[quality.State](t)(policy.State(verdicts, want-1, zone))
			after := must[quality.State](t)(policy.State(verdicts, want, zone))
			if before.Condition != quality.Checked || after.Condition != quality.Unchecked || before.Until != want {
				t.Errorf("just before %s: %+v; then %+v", want, before, after)
			}
		})
	}
}
