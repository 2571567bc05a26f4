package policy_test

import (
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
)

func TestUsual(t *testing.T) {
	for _, tt := range []struct {
		analyte reading.Analyte
		unit    reading.Unit
		want    unit.Number
		reason  string
	}{
		{reading.ATP, reading.RLU, 2000, "200 RLU, Alfa et al. 2013"},
		{reading.Protein, reading.PerCM2, 64, "6.4 µg/cm², ISO 15883-5:2021"},
		{reading.TOC, reading.PerCM2, 120, "12 µg/cm², ISO 15883-5:2021"},
		{reading.Carbohydrate, reading.PerCM2, 18, "1.8 µg/cm², ISO 15883-5:2021"},
		{reading.Haemoglobin, reading.PerCM2, 22, "2.2 µg/cm², ISO 15883-5:2021"},
		{reading.ATPAmount, reading.FmolCM2, 220, "22 fmol/cm², ISO 15883-5:2021"},
		{reading.Viable, reading.LogCFU, 5, "4 log10 CFU/cm², Alfa et al. 2013; ten times as many are one more"},
		{reading.Protein, reading.PerML, 0, "none is published"},
	} {
		got, _, ok := policy.Usual(tt.analyte, tt.unit)
		if got != tt.want || ok != (tt.want > 0) {
			t.Errorf("%s in %s: %s, %v; want %s: %s", tt.analyte, tt.unit, got, ok, tt.want, tt.reason)
		}
	}
}
