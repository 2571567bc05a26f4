package stats_test

import (
	"fmt"
	"math"
	"testing"

	"rinsate/internal/base/stats"
)

// printed says whether a fraction is what a text with so many decimals of a percent prints, either
// way for an exact half (15/48 = 31.25 % is printed 31.3).
func printed(fraction, percent float64, decimals int) bool {
	return math.Abs(100*fraction-percent) <= 0.5*math.Pow10(-decimals)+1e-9
}

// Readings over 200 RLU after manual cleaning, recounted: the published k of n and percentage. The
// sources print no intervals; the 95 % Wilson limits beside them were computed in decimal
// arithmetic of 40 digits. Two of them (19.946 and 16.946) become 20.0 and 17.0 when they are
// rounded twice.
func TestPublishedFailureRates(t *testing.T) {
	tests := []struct {
		source          string
		k, n            int
		percent, lo, hi float64
	}{
		// 115 of 120 channels met the benchmark.
		{"Alfa et al., Am J Infect Control 2013;41:249-253, channels", 5, 120, 4.2, 1.8, 9.4},
		{"multi-site field study of manual cleaning, seven US hospitals, duodenoscopes", 15, 48, 31.3, 19.9, 45.3},
		{"the same, gastroscopes", 38, 168, 22.6, 16.9, 29.5},
		{"the same, colonoscopes", 6, 182, 3.3, 1.5, 7.0},
		{"Pires Maciel et al., one unit, gastroscopes, first cleaning", 17, 24, 70.8, 50.8, 85.1},
		{"the same, after a second cleaning", 11, 17, 64.7, 41.3, 82.7},
	}
	for _, test := range tests {
		t.Run(test.source, func(t *testing.T) {
			i := must[stats.Interval](t)(stats.Wilson(test.k, test.n, stats.MustConfidence("0.95")))
			if got := float64(test.k) / float64(test.n); !printed(got, test.percent, 1) {
				t.Errorf("%d of %d is %.3f %%, printed %.1f", test.k, test.n, 100*got, test.percent)
			}
			if !printed(i.Lo, test.lo, 1) || !printed(i.Hi, test.hi, 1) {
				t.Errorf("%d of %d has the interval %.2f to %.2f %%, printed %.1f to %.1f",
					test.k, test.n, 100*i.Lo, 100*i.Hi, test.lo, test.hi)
			}
		})
	}
}

// Other published rates that do follow from their counts.
func TestPublishedRatesThatRecompute(t *testing.T) {
	tests := []struct {
		source   string
		k, n     int
		percent  float64
		decimals int
	}{
		{"Fernando 2014, above 100 RLU after disinfection", 21, 120, 17.5, 1},
		{"Brock et al., Gastrointest Endosc 2015, sites positive after 21 days", 28, 96, 29.2, 1},
		{"Goyal et al., Endosc Int Open 2022;10:E840, raw", 1059, 7903, 13.40, 2},
		{"Chiu et al., BMC Gastroenterol 2012;12:120, biopsy channels", 57, 420, 13.6, 1},
		{"Chiu et al., washer-disinfectors", 7, 420, 1.7, 1},
		{"Chiu et al., gastroscopes", 32, 300, 10.7, 1},
		{"Chiu et al., colonoscopes", 25, 120, 20.8, 1},
		{"Ofstead et al., Chest 2018;154:1024-1034, growth after disinfection", 14, 24, 58, 0},
		{"Ayres et al., Infect Control Hosp Epidemiol 2023;44:1485-1489", 6, 127, 4.72, 2},
		{"Can J Gastroenterol Hepatol 2019:1959141, interim protocol", 11, 129, 8.53, 2},
		{"the same, alternative protocol", 18, 119, 15.13, 2},
		{"Olafsdottir et al., Infect Control Hosp Epidemiol 2018, discordant, elevator", 331, 390, 84.9, 1},
		{"the same, working channel", 82, 390, 21, 0},
		{"Rauwers et al., Gut 2018;67:1637-1645, MGO, of the 155 sampled", 23, 155, 15, 0},
		{"Rauwers et al., centres with AM20, of 67", 26, 67, 39, 0},
	}
	for _, test := range tests {
		t.Run(test.source, func(t *testing.T) {
			if got := float64(test.k) / float64(test.n); !printed(got, test.percent, test.decimals) {
				t.Errorf("%d of %d is %.3f %%, printed %v", test.k, test.n, 100*got, test.percent)
			}
		})
	}
	if 32+25 != 57 || 300+120 != 420 {
		t.Error("the scope types of Chiu et al. do not add up to all channels")
	}
}

// Printed rates that do not follow from the printed counts, with the count or denominator that
// would give them. They must not be reused as they are printed.
func TestPublishedRatesThatDoNotRecompute(t *testing.T) {
	tests := []struct {
		source         string
		k, n           int
		percent        float64
		decimals       int
		fitsK, fitsN   int
		recomputed     string
		recomputedForm string
	}{
		{
			source: "Higa et al., Gastrointest Endosc 2018;88:223-229, high-concern organisms",
			k:      33, n: 4307, percent: 0.697, decimals: 3,
			fitsK: 30, fitsN: 4307,
			recomputed: "0.766", recomputedForm: "%.3f",
		},
		{
			source: "Rauwers et al., Gut 2018;67:1637-1645, duodenoscopes with AM20",
			k:      33, n: 155, percent: 22, decimals: 0,
			fitsK: 33, fitsN: 150,
			recomputed: "21.3", recomputedForm: "%.1f",
		},
		{
			source: "Rauwers et al., centres with AM20, of the 73 in the country",
			k:      26, n: 73, percent: 39, decimals: 0,
			fitsK: 26, fitsN: 67,
			recomputed: "35.6", recomputedForm: "%.1f",
		},
	}
	for _, test := range tests {
		t.Run(test.source, func(t *testing.T) {
			got := float64(test.k) / float64(test.n)
			if printed(got, test.percent, test.decimals) {
				t.Errorf("%d of %d is %v %% after all", test.k, test.n, test.percent)
			}
			if text := fmt.Sprintf(test.recomputedForm, 100*got); text != test.recomputed {
				t.Errorf("%d of %d is %s %%, want %s", test.k, test.n, text, test.recomputed)
			}
			if fits := float64(test.fitsK) / float64(test.fitsN); !printed(fits, test.percent, test.decimals) {
				t.Errorf("%d of %d does not give the printed %v %%", test.fitsK, test.fitsN, test.percent)
			}
		})
	}
}
