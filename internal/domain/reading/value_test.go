package reading_test

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

func TestParseValue(t *testing.T) {
	tests := []struct {
		name, reason string
		analyte      reading.Analyte
		unit         reading.Unit
		text         string
		want         unit.Number
		err          string
	}{
		{"zero", "a meter shows it", reading.ATP, reading.RLU, "0", 0, ""},
		{"whole number", "what a meter shows", reading.ATP, reading.RLU, "197", 197, ""},
		{"spaces around", "what a cell of a table may hold", reading.ATP, reading.RLU, " 197\n", 197, ""},
		{"leading zeros", "the same number", reading.ATP, reading.RLU, "0197", 197, ""},
		{"largest", "seven digits", reading.ATP, reading.RLU, "9999999", 9_999_999, ""},
		{"one too large", "eight digits are a slip", reading.ATP, reading.RLU, "10000000", 0, "is not a whole number 0–9999999"},
		{"huge", "no number at all", reading.ATP, reading.RLU, "1" + fmt.Sprintf("%0400d", 0), 0, "too large"},
		{"decimals", "RLU are counts", reading.ATP, reading.RLU, "19.7", 0, "is not a whole number"},
		{"decimal point", "nor with a zero behind the point", reading.ATP, reading.RLU, "197.0", 0, "is not a whole number"},
		{"plus sign", "no meter writes it", reading.ATP, reading.RLU, "+197", 0, "is not a whole number"},
		{"negative", "no count is below zero", reading.ATP, reading.RLU, "-5", 0, "is not a whole number"},
		{"negative zero", "somebody meant something else", reading.ATP, reading.RLU, "-0", 0, "is not a whole number"},
		{"exponent", "somebody meant something else", reading.ATP, reading.RLU, "1e3", 0, "is not a decimal number"},
		{"thousands", "a comma is a point elsewhere", reading.ATP, reading.RLU, "1,200", 0, "is not a decimal number"},
		{"space inside", "two numbers or one?", reading.ATP, reading.RLU, "1 200", 0, "is not a decimal number"},
		{"hexadecimal", "never", reading.ATP, reading.RLU, "0x10", 0, "is not a decimal number"},
		{"word", "over range is not a number", reading.ATP, reading.RLU, "OVER", 0, "is not a decimal number"},
		{"not a number", "NaN compares with nothing", reading.ATP, reading.RLU, "NaN", 0, "is not a decimal number"},
		{"infinity", "never", reading.Protein, reading.PerCM2, "Inf", 0, "is not a decimal number"},
		{"empty", "missing is not zero", reading.ATP, reading.RLU, "", 0, "is not a decimal number"},
		{"protein", "decimals are fine", reading.Protein, reading.PerCM2, "6.4", 6.4, ""},
		{"protein below zero", "no residue is below zero", reading.Protein, reading.PerML, "-0.1", 0, "is below zero"},
		{"protein negative zero", "somebody meant something else", reading.Protein, reading.PerML, "-0", 0, "is below zero"},
		{"log count below zero", "fewer than one per square centimetre", reading.Viable, reading.LogCFU, "-0.5", -0.5, ""},
		{"foreign unit", "RLU have no amount", reading.ATP, reading.FmolCM2, "5", 0, `unit "fmol/cm2" does not fit atp; allowed: RLU`},
		{"unknown analyte", "it has no units", "glucose", reading.PerML, "5", 0, "does not fit glucose"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := reading.ParseValue(tt.analyte, tt.unit, tt.text)
			wantError(t, err, tt.err)
			want := reading.Value{Analyte: tt.analyte, Unit: tt.unit, Number: tt.want, Typed: tt.text}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s (-want +got):\n%s", tt.reason, diff)
			}
		})
	}
}

func TestParseStrip(t *testing.T) {
	got := value(t, reading.Strip, reading.StripRun, " Purple ")
	want := reading.Value{Analyte: reading.Strip, Unit: reading.StripRun, Word: "purple", Typed: " Purple "}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("strip (-want +got):\n%s", diff)
	}
	if got.String() != "purple" {
		t.Errorf("printed %q", got)
	}
	_, err := reading.ParseValue(reading.Strip, reading.StripRun, "  ")
	wantError(t, err, "the strip's word is missing")
}

// Each whole number up to the largest reads back as itself, with its unit behind it.
func TestParseValueRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, reading.MaxRLU).Draw(t, "n")
		v, err := reading.ParseValue(reading.ATP, reading.RLU, strconv.Itoa(n))
		if err != nil || v.Number != unit.Number(n) || v.String() != strconv.Itoa(n)+" RLU" {
			t.Fatalf("%d became %q: %v", n, v, err)
		}
	})
}

func TestPerArea(t *testing.T) {
	protein := func(text string) reading.Value { return value(t, reading.Protein, reading.PerML, text) }
	tests := []struct {
		name, reason string
		value        reading.Value
		recovered    unit.Millilitres
		area         unit.SquareCentimetres
		recovery     unit.Number
		want         unit.Number
		err          string
	}{
		{"worked by hand", "20 µg/mL · 38 mL / (178 cm² · 0.65) = 760/115.7 = 6.5687 µg/cm²", protein("20"), 38, 178, 0.65, 6.5687, ""},
		{"full recovery", "10 µg/mL · 20 mL / 200 cm² = 1 µg/cm²", protein("10"), 20, 200, 1, 1, ""},
		{"already per area", "nothing to convert", value(t, reading.Protein, reading.PerCM2, "6.4"), 0, 0, 0, 6.4, ""},
		{"RLU", "light has no area (each system counts on a scale of its own)", rlu(200), 20, 200, 1, 200, "RLU cannot be turned into residue per area"},
		{"no volume", "the recovered volume is not known", protein("10"), 0, 200, 1, 10, "the recovered volume is needed to turn 10 ug/mL"},
		{"no area", "the wetted area is not known", protein("10"), 20, 0, 1, 10, "the wetted area is needed"},
		{"no recovery", "not known", protein("10"), 20, 200, 0, 10, "the recovery 0 must be a fraction"},
		{"recovery over 1", "nothing comes off twice", protein("10"), 20, 200, 1.01, 10, "the recovery 1.01 must be a fraction"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := reading.PerArea(tt.value, tt.recovered, tt.area, tt.recovery)
			wantError(t, err, tt.err)
			if math.Abs(float64(got.Number-tt.want)) > 0.00005 {
				t.Errorf("%s: got %s", tt.reason, got)
			}
			if tt.err == "" && got.Unit != reading.PerCM2 {
				t.Errorf("%s: unit %s", tt.reason, got.Unit)
			}
		})
	}
}

// The same residue per area gives very different concentrations: at 22 fmol/cm² (ISO 15883-5:2021)
// a flush of 20 mL holds about 224 fmol/mL from a colonoscope channel of 203.4 cm² and about 45
// fmol/mL from a bronchoscope channel of 40.8 cm². Here it is shown backwards with µg for fmol: the
// two concentrations are one and the same residue. Exact: 22·203.4/20 = 223.74; 22·40.8/20 = 44.88.
func TestOneResidueTwoConcentrations(t *testing.T) {
	for _, tt := range []struct {
		name, perML string
		area        unit.SquareCentimetres
	}{{"colonoscope", "223.74", 203.4}, {"bronchoscope", "44.88", 40.8}} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := reading.PerArea(value(t, reading.Protein, reading.PerML, tt.perML), 20, tt.area, 1)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(float64(got.Number)-22) > 1e-12 {
				t.Errorf("got %s, want 22", got)
			}
		})
	}
}

// Log-normal band for a true mean of 200 and a CV of 50 %: 71–452 (a normal model would say 4–396).
// By hand: σ² = ln 1.25 = 0.223144, median = 200/√1.25 = 178.885, exp(1.959964·0.472381) = 2.524095.
func TestBand(t *testing.T) {
	lo, hi, ok := reading.Band(200, 0.5)
	if !ok || fmt.Sprintf("%.0f–%.0f", float64(lo), float64(hi)) != "71–452" {
		t.Errorf("band %v–%v (%v), want 71–452", lo, hi, ok)
	}
	for _, tt := range []struct{ limit, cv unit.Number }{{0, 0.5}, {200, 0}, {-1, 0.5}} {
		if _, _, ok := reading.Band(tt.limit, tt.cv); ok {
			t.Errorf("a band for limit %s and cv %s", tt.limit, tt.cv)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		limit := unit.Number(rapid.Float64Range(1, 1e6).Draw(t, "limit"))
		cv := unit.Number(rapid.Float64Range(0.01, 2).Draw(t, "cv"))
		lo, hi, _ := reading.Band(limit, cv)
		if lo <= 0 || lo >= limit || hi <= lo {
			t.Fatalf("band %s–%s of %s", lo, hi, limit)
		}
		// median² = lo·hi by the symmetry of the logarithm, and mean² = median²·(1 + cv²).
		if got := float64(lo*hi) * (1 + float64(cv*cv)); math.Abs(got/float64(limit*limit)-1) > 1e-9 {
			t.Fatalf("band %s–%s does not have the mean %s", lo, hi, limit)
		}
	})
}
