package reading_test

import (
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// level is one of a facility: action over 200 RLU, alert from 100, for the instrument channel. The
// numbers are invented but for 200 (Alfa et al., Am J Infect Control 2013;41:249-253).
func level() reading.Level {
	return reading.Level{
		System: "system A", Kit: "rinsate kit", Point: scope.InstrumentLumen, Analyte: reading.ATP, Unit: reading.RLU,
		Alert: 100, Action: 200, Comparison: reading.Over,
		Source: "facility study", Edition: "1", Adopter: "A. Lead", Adopted: 1_000_000,
	}
}

// circumstances fit level.
func circumstances() reading.Circumstances {
	return reading.Circumstances{System: "system A", Kit: "rinsate kit", Point: scope.InstrumentLumen, Kind: scope.Duodenoscope, At: 2_000_000}
}

func value(tb testing.TB, a reading.Analyte, u reading.Unit, text string) reading.Value {
	tb.Helper()
	v, err := reading.ParseValue(a, u, text)
	if err != nil {
		tb.Fatal(err)
	}
	return v
}

func rlu(n unit.Number) reading.Value {
	return reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: n, Typed: n.String()}
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
