package reprocessing_test

import (
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// disinfectants are the ways of high-level disinfection and sterilization of the preset with the contact
// time and the temperatures that their sources give. Reuse days and MEC limits are not tested here.
// CDC 2008 is table 4 of the Guideline for Disinfection and Sterilization in Healthcare Facilities;
// the list is the regulator's list of cleared sterilants and high-level disinfectants.
var disinfectants = []struct {
	name             string
	contact          unit.Span
	coldest, warmest unit.Celsius
	mec              bool
	source           string
}{
	{"opa-0.55", 12 * unit.Minute, 20, 0, true, "CDC 2008"},
	{"opa-0.55-reprocessor", 5 * unit.Minute, 25, 0, true, "CDC 2008"},
	{"glutaraldehyde-2.0", 20 * unit.Minute, 20, 0, true, "CDC 2008: 20-90 min at 20-25 °C"},
	{"glutaraldehyde-2-heated", 5 * unit.Minute, 35, 37.8, true, "PMC7134755"},
	{"glutaraldehyde-1.12-phenol-1.93", 20 * unit.Minute, 25, 0, true, "PMC7134755"},
	{"glutaraldehyde-3.4-isopropanol-26", 10 * unit.Minute, 20, 0, true, "the list"},
	{"hydrogen-peroxide-7.5", 30 * unit.Minute, 20, 0, true, "CDC 2008"},
	{"hydrogen-peroxide-2.0", 8 * unit.Minute, 20, 0, true, "PMC7134755; MEC 1.5 % from memory"},
	{"hydrogen-peroxide-7.35-peracetic-0.23", 15 * unit.Minute, 20, 0, false, "CDC 2008"},
	{"hydrogen-peroxide-1.0-peracetic-0.08", 25 * unit.Minute, 20, 0, true, "PMC7134755"},
	{"peracetic-3100-3400-ppm", 7 * unit.Minute, 20, 0, true, "the list"},
	{"peracetic-0.2-sterilization", 12 * unit.Minute, 50, 56, false, "CDC 2008"},
	{"chlorine-400-450-ppm", 10 * unit.Minute, 20, 0, true, "PMC7134755"},
}

func TestDisinfection(t *testing.T) {
	if got := len(preset(t).Disinfectants); got != len(disinfectants) {
		t.Errorf("the preset has %d disinfectants, the table %d", got, len(disinfectants))
	}
	for _, a := range disinfectants {
		t.Run(a.name, func(t *testing.T) {
			ask := func(change func(*reprocessing.Step)) reprocessing.Answer {
				h := good(t)
				s := step(t, &h, reprocessing.Disinfection)
				s.Disinfectant, s.Contact, s.Coldest, s.HasTemperature, s.Warmest = a.name, a.contact, a.coldest, true, a.warmest
				change(s)
				return reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			}
			refused := func(name, want string, change func(*reprocessing.Step)) {
				t.Run(name, func(t *testing.T) {
					got := ask(change)
					wantState(t, got, reprocessing.InReprocessing, want)
					if s := status(t, got, reprocessing.Disinfection); s != reprocessing.FailedStep {
						t.Errorf("status %q", s)
					}
				})
			}
			t.Run("just enough", func(t *testing.T) { wantState(t, ask(func(*reprocessing.Step) {}), reprocessing.Ready, "") })
			refused("contact too short", "disinfection: contact ", func(s *reprocessing.Step) { s.Contact -= unit.Microsecond })
			refused("contact not recorded", "the contact time is not on record", func(s *reprocessing.Step) { s.Contact = 0 })
			refused("too cold", "disinfection: coldest ", func(s *reprocessing.Step) { s.Coldest -= 0.1 })
			refused("temperature not recorded", "the temperature is not on record", func(s *reprocessing.Step) { s.HasTemperature = false })
			if a.warmest > 0 {
				t.Run("warm, at the limit", func(t *testing.T) {
					wantState(t, ask(func(s *reprocessing.Step) { s.Coldest = a.warmest }), reprocessing.Ready, "")
				})
				refused("too warm", "°C; "+a.name+" allows at most", func(s *reprocessing.Step) { s.Warmest = a.warmest + 0.1 })
				refused("too warm all the time", "°C; "+a.name+" allows at most", func(s *reprocessing.Step) { s.Coldest = a.warmest + 0.1 })
				refused("warmest not recorded", "the warmest temperature is not on record", func(s *reprocessing.Step) { s.Warmest = 0 })
			} else {
				t.Run("warmer", func(t *testing.T) {
					wantState(t, ask(func(s *reprocessing.Step) { s.Coldest += 10 }), reprocessing.Ready, "")
				})
			}
			refused("MEC failed", "below the minimum effective one", func(s *reprocessing.Step) { s.MEC = reprocessing.Fail })
			unchecked := func(s *reprocessing.Step) { s.MEC = reprocessing.NotStated }
			if a.mec {
				refused("MEC not recorded", "minimum effective concentration is not on record", unchecked)
			} else {
				t.Run("MEC not needed", func(t *testing.T) { wantState(t, ask(unchecked), reprocessing.Ready, "") })
			}
		})
	}
}

// The lot: in date before each use (HICPAC sample audit tool), and on record.
func TestDisinfectantLot(t *testing.T) {
	begun := instant(t, "09:35")
	tests := []struct {
		name, reason string
		change       func(*reprocessing.Step)
		want         string // empty: ready
	}{
		{"in date", "until a microsecond after the end", func(s *reprocessing.Step) { s.DisinfectantExpires = s.End + us }, ""},
		{"expired meanwhile", "it has to last to the end", func(s *reprocessing.Step) { s.DisinfectantExpires = s.End }, `lot "A12" expired at`},
		{
			"expired at the start", "the expiry is the first instant at which it must not be used",
			func(s *reprocessing.Step) { s.DisinfectantExpires = begun }, `lot "A12" expired at 2026-03-02 10:35 +01:00`,
		},
		{"expired before", "", func(s *reprocessing.Step) { s.DisinfectantExpires = begun - us }, `lot "A12" expired at`},
		{
			"expiry not recorded", "missing is never taken for good", func(s *reprocessing.Step) { s.DisinfectantExpires = 0 },
			`the expiry of lot "A12" is not on record`,
		},
		{"lot not recorded", "nobody could recall it", func(s *reprocessing.Step) { s.DisinfectantLot = "" }, "the lot is not on record"},
		{"disinfectant not recorded", "nobody can say what it needs", func(s *reprocessing.Step) { s.Disinfectant = "" }, `disinfectant "" is not in the rule set`},
		{
			"unknown disinfectant", "nobody can say what it needs", func(s *reprocessing.Step) { s.Disinfectant = "vinegar" },
			`disinfectant "vinegar" is not in the rule set, so nobody can say what it needs`,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(step(t, &h, reprocessing.Disinfection))
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			if tt.want == "" {
				wantState(t, a, reprocessing.Ready, "")
				return
			}
			wantState(t, a, reprocessing.InReprocessing, tt.want)
			if got := status(t, a, reprocessing.Disinfection); got != reprocessing.FailedStep {
				t.Errorf("%s: status %q", tt.reason, got)
			}
		})
	}
	t.Run("an upper limit alone", func(t *testing.T) {
		rules := preset(t)
		rules.Disinfectants = []reprocessing.Disinfectant{{Name: "opa-0.55-reprocessor", Contact: 5 * unit.Minute, Warmest: 30}}
		h := good(t)
		step(t, &h, reprocessing.Disinfection).Warmest = 30
		wantState(t, reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)), reprocessing.Ready, "")
		step(t, &h, reprocessing.Disinfection).Warmest = 30.1
		wantState(t, reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing, "allows at most 30 °C")
	})
	t.Run("no temperature needed", func(t *testing.T) {
		rules := preset(t)
		rules.Disinfectants = []reprocessing.Disinfectant{{Name: "opa-0.55-reprocessor", Contact: 5 * unit.Minute}}
		h := good(t)
		step(t, &h, reprocessing.Disinfection).HasTemperature = false
		wantState(t, reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)), reprocessing.Ready, "")
	})
}
