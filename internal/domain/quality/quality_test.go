package quality_test

import (
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestLotFault(t *testing.T) {
	const expiry, recall unit.Instant = 2_000_000, 1_000_000
	lot := quality.Lot{Kit: "surface kit", Lot: "L7", Expires: expiry}
	recalled := lot
	recalled.Recalled = recall
	tests := []struct {
		name, reason string
		lot          quality.Lot
		at           unit.Instant
		want         string
	}{
		{"in date", "the last instant before the expiry", lot, expiry - 1, ""},
		{"expired", "the expiry is the first instant at which it must not be used", lot, expiry, "lot L7 of kit surface kit expired at 1970-01-01T00:00:02Z"},
		{"before the recall", "it was usable then", recalled, recall - 1, ""},
		{"recalled", "from the instant of the recall", recalled, recall, "lot L7 of kit surface kit is recalled"},
		{"recalled and expired", "the recall is named first", recalled, expiry, "is recalled"},
		{"no expiry on record", "missing is never taken for good", quality.Lot{Kit: "surface kit", Lot: "L7"}, expiry, "expired at unknown"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.lot.Fault(tt.at)
			if tt.want == "" && got != "" || !strings.Contains(got, tt.want) {
				t.Errorf("%s: got %q, want %q", tt.reason, got, tt.want)
			}
		})
	}
}

func TestChecks(t *testing.T) {
	tests := []struct {
		name string
		err  error
		want string
	}{
		{"meter", quality.Meter{Code: "M-1", System: "system A"}.Check(), ""},
		{"meter without a code", quality.Meter{System: "system A"}.Check(), "give a code"},
		{"meter without a system", quality.Meter{Code: "M-1"}.Check(), "the meter system"},
		{"lot", quality.Lot{Kit: "k", Lot: "l", Expires: 1}.Check(), ""},
		{"lot without a kit", quality.Lot{Lot: "l", Expires: 1}.Check(), "give kit, lot and expiry"},
		{"lot without a name", quality.Lot{Kit: "k", Expires: 1}.Check(), "give kit, lot and expiry"},
		{"lot without an expiry", quality.Lot{Kit: "k", Lot: "l"}.Check(), "give kit, lot and expiry"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if (tt.err != nil) != (tt.want != "") || tt.err != nil && !strings.Contains(tt.err.Error(), tt.want) {
				t.Errorf("got %v, want %q", tt.err, tt.want)
			}
		})
	}
}

// A lot is told of two weeks before it expires, as long as it may be used.
func TestLotEndsSoon(t *testing.T) {
	const day = 24 * 3_600_000_000
	lot := quality.Lot{Kit: "K", Lot: "7", Expires: 100 * day}
	recalled := lot
	recalled.Recalled = 90 * day
	for _, test := range []struct {
		lot  quality.Lot
		at   unit.Instant
		want bool
	}{
		{lot, 86 * day, false},
		{lot, 86*day + 1, true},
		{lot, 100*day - 1, true},
		{lot, 100 * day, false},
		{recalled, 90*day - 1, true},
		{recalled, 90 * day, false},
	} {
		if got := test.lot.EndsSoon(test.at); got != test.want {
			t.Errorf("at %d with %+v: %t, want %t", test.at, test.lot, got, test.want)
		}
	}
}
