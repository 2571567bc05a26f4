package policy_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

func preset(tb testing.TB) policy.RuleSet {
	tb.Helper()
	r, err := policy.Parse("general.yaml", policy.Preset())
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

// protocol returns the preset's protocol for a point.
func protocol(t *testing.T, kind scope.PointKind) sampling.Protocol {
	t.Helper()
	p, ok := sampling.For(preset(t).Sample.Protocols, kind)
	if !ok {
		t.Fatalf("no protocol for %s", kind)
	}
	return p
}

// moved lists what the acts of a protocol move: "air 60 mL discarded".
func moved(p sampling.Protocol) []string {
	var list []string
	for _, a := range p.Acts {
		if a.Volume == 0 {
			continue
		}
		text := fmt.Sprintf("%s %s mL", a.Medium, a.Volume)
		if a.Discard {
			text += " discarded"
		}
		list = append(list, text)
	}
	return list
}

// does returns the act whose instruction holds every part; the test fails without one.
func does(t *testing.T, p sampling.Protocol, parts ...string) sampling.Act {
	t.Helper()
	i := slices.IndexFunc(p.Acts, func(a sampling.Act) bool {
		return !slices.ContainsFunc(parts, func(part string) bool { return !strings.Contains(a.Do, part) })
	})
	if i < 0 {
		t.Fatalf("no act of the protocol for %v says %q", p.Points, parts)
	}
	return p.Acts[i]
}

// Common practice: 60 mL of air to be discarded, 40 mL of sterile water followed by 20 mL of air,
// 60 mL of air; the tip above the 40 mL mark; connectors and plugs used once.
func TestInstrumentChannelProtocol(t *testing.T) {
	for _, kind := range []scope.PointKind{scope.InstrumentLumen, scope.SuctionLumen} {
		p := protocol(t, kind)
		want := []string{"air 60 mL discarded", "sterile-water 40 mL", "air 20 mL", "air 60 mL"}
		if diff := cmp.Diff(want, moved(p)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", kind, diff)
		}
		if a := does(t, p, "tip", "above its 40 mL mark"); a.Invalid != "the tip dipped into the fluid" {
			t.Errorf("%s: invalid %q", kind, a.Invalid)
		}
		if a := does(t, p, "new connector", "new plugs"); a.Invalid != "a connector or plug was used before" {
			t.Errorf("%s: invalid %q", kind, a.Invalid)
		}
	}
}

// Common practice: a tube of at most 30 cm, 10 mL of air to be discarded, 5 mL of sterile water, 5 mL
// of air.
func TestElevatorWireProtocol(t *testing.T) {
	p := protocol(t, scope.ElevatorWire)
	if diff := cmp.Diff([]string{"air 10 mL discarded", "sterile-water 5 mL", "air 5 mL"}, moved(p)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if a := does(t, p, "new cleaning tube"); a.AtMost != 300 || a.Invalid != "a longer or used tube" {
		t.Errorf("tube of at most %s mm, invalid %q", a.AtMost, a.Invalid)
	}
}

// Common practice: 10 cm of the distal end on all sides, turning and pressing; the recess with the
// elevator down, then up, with the same swab.
func TestSurfaceProtocols(t *testing.T) {
	distal := protocol(t, scope.OuterDistalEnd)
	if a := does(t, distal, "on all sides", "turning", "pressing"); a.Length != 100 || a.Medium != sampling.Swab {
		t.Errorf("distal end: %s mm by %s", a.Length, a.Medium)
	}
	recess := protocol(t, scope.ElevatorRecess)
	down := slices.IndexFunc(recess.Acts, func(a sampling.Act) bool { return strings.HasPrefix(a.Do, "Lower the elevator") })
	up := slices.IndexFunc(recess.Acts, func(a sampling.Act) bool { return strings.HasPrefix(a.Do, "Raise the elevator") })
	if down < 0 || up != down+1 {
		t.Errorf("recess: elevator down in act %d, up in act %d", down, up)
	}
	does(t, recess, "same swab")
}

// Residual detergent or disinfectant falsifies a reading (PLOS ONE 2014;9:e99951): every protocol
// rinses first. Sterile water alone goes through a channel, and the first fluid is discarded.
func TestEveryProtocol(t *testing.T) {
	for _, p := range preset(t).Sample.Protocols {
		if !strings.HasPrefix(p.Acts[0].Do, "Rinse the scope") || !strings.Contains(p.Acts[0].Invalid, "residual detergent or disinfectant") {
			t.Errorf("%v: the first act is %q", p.Points, p.Acts[0].Do)
		}
		if len(p.AtHand) == 0 {
			t.Errorf("%v: nothing at hand", p.Points)
		}
		if p.Method != sampling.Rinsate {
			continue
		}
		i := slices.IndexFunc(p.Acts, func(a sampling.Act) bool { return a.Volume > 0 })
		if a := p.Acts[i]; a.Medium != sampling.Air || !a.Discard {
			t.Errorf("%v: the first fluid is %s, discarded %v", p.Points, a.Medium, a.Discard)
		}
		if !slices.ContainsFunc(p.Acts, func(a sampling.Act) bool { return strings.Contains(a.Invalid, "used") }) {
			t.Errorf("%v: nothing says that the connector is used once", p.Points)
		}
	}
}

// The preset's flushes fill the channels of the default geometry (from memory), the longest suction
// path of a colonoscope among them (39.8 mL).
func TestPresetFlushesFillTheChannels(t *testing.T) {
	flush := sampling.Flushes(preset(t).Sample.Protocols)
	m := scope.Model{
		Name: "colonoscope", Kind: scope.Colonoscope, Risk: scope.StandardRisk, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{
			{Kind: scope.InstrumentChannel, Diameter: 3.7, Length: 1750, Flushable: true, Cleaning: "brush"},
			{Kind: scope.SuctionChannel, Diameter: 3.7, Length: 3700, Flushable: true, Cleaning: "brush"},
			{Kind: scope.AirChannel, Diameter: 1, Length: 2800, Flushable: true, Cleaning: "flush"},
			{Kind: scope.WaterChannel, Diameter: 1, Length: 2800, Flushable: true, Cleaning: "flush"},
			{Kind: scope.AuxiliaryChannel, Diameter: 1, Length: 3700, Flushable: true, Cleaning: "flush"},
		},
	}
	if warnings := m.Warnings(flush); len(warnings) != 0 {
		t.Errorf("warnings: %q", warnings)
	}
}

// Common practice, all of it the facility's to set: see the citations in the file.
func TestPresetClocks(t *testing.T) {
	clocks := preset(t).Sample.Clocks
	if clocks.Shake != 5*unit.Second {
		t.Errorf("shake %s", clocks.Shake)
	}
	var got []string
	for _, l := range clocks.Limits {
		got = append(got, fmt.Sprintf("%s %s>%s %s (%s)", l.Method, l.From, l.To, l.Within, l.CappedWithin))
	}
	want := []string{
		"surface collected>activated 4h (0s)", "rinsate collected>dipped 15min (4h)", "rinsate dipped>activated 1min (0s)",
		" activated>read 1min (0s)",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("clocks (-want +got):\n%s", diff)
	}
}

func TestPresetDueAndSelection(t *testing.T) {
	r := preset(t)
	var got []string
	for _, d := range r.Sample.Due {
		got = append(got, fmt.Sprintf("%s %s %d uses %d days blocks %v", d.When, d.Risk, d.Uses, d.Days, d.Blocks))
	}
	want := []string{
		"every-cycle high 0 uses 0 days blocks true",           // ANSI/AAMI ST91:2021, high-risk endoscopes
		"periodic standard 30 uses 30 days blocks false",       // ST91:2021: at an interval that the facility sets
		"after-repair  0 uses 0 days blocks true",              // Bundesgesundheitsblatt, annex 8
		"after-failed-verification  0 uses 0 days blocks true", // GMS Hyg Infect Control 2017;12:Doc04
		"on-arrival  0 uses 0 days blocks true",                // common practice
		"on-request  0 uses 0 days blocks false",               // common practice
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("due (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(r.Sample.Due, r.Reprocessing.Due); diff != "" {
		t.Errorf("the release check does not judge by the same rules:\n%s", diff)
	}
	// Each visit at least one scope of each type and two of each process, each scope at least once a
	// year (German recommendation).
	if d := r.Sample.Selection; d.PerKind != 1 || d.PerProcess != 2 || d.EveryDays != 365 {
		t.Errorf("draw %+v", d)
	}
	// No guideline fixes the number of cleanings: common practice.
	if r.Reading.Cleanings != 3 || r.Reading.Retest != reading.AllPoints || r.Reading.Combine != reading.Worst || !r.Reading.Duplicate {
		t.Errorf("reading %+v", r.Reading)
	}
	// Validated recovery 65-100 %: the lower end is the careful one, for residue is divided by it.
	if r.Reading.Recovery != 0.65 {
		t.Errorf("recovery %s", r.Reading.Recovery)
	}
}

func TestPresetSteps(t *testing.T) {
	r := preset(t).Reprocessing
	rule := func(kind reprocessing.StepKind) reprocessing.StepRule {
		return r.Steps[slices.IndexFunc(r.Steps, func(s reprocessing.StepRule) bool { return s.Step == kind })]
	}
	// Manufacturers: 60 min from point-of-use treatment to manual cleaning.
	if s := rule(reprocessing.ManualCleaning); s.Within != 60*unit.Minute || s.From != reprocessing.PointOfUse {
		t.Errorf("cleaning within %s of %s", s.Within, s.From)
	}
	// ANSI/AAMI ST91:2021: at least 10 min of drying.
	if s := rule(reprocessing.Drying); s.AtLeast != 10*unit.Minute {
		t.Errorf("drying %s", s.AtLeast)
	}
	// 3 h unless stored in a validated way (listed by AORN; BSG/HTM 01-06 from memory).
	if r.Unstored != 3*unit.Hour {
		t.Errorf("outside a cabinet %s", r.Unstored)
	}
	// Up to one month in a drying cabinet (AORN's table); 7 days (SGNA 2018, from memory).
	days := map[string]int{}
	for _, c := range r.Cabinets {
		days[c.Name] = c.Days
	}
	if diff := cmp.Diff(map[string]int{"drying-cabinet": 30, "ventilated-cabinet": 7}, days); diff != "" {
		t.Errorf("cabinets (-want +got):\n%s", diff)
	}
	// Reuse lives: CDC 2008 guideline, table 4, and the regulator's list; two of them from memory.
	reuse := map[string]int{}
	for _, a := range r.Disinfectants {
		if a.ReuseDays > 0 {
			reuse[a.Name] = a.ReuseDays
		}
	}
	want := map[string]int{
		"opa-0.55": 14, "opa-0.55-reprocessor": 14, "glutaraldehyde-2.0": 14, "glutaraldehyde-3.4-isopropanol-26": 14,
		"hydrogen-peroxide-7.5": 21, "hydrogen-peroxide-2.0": 21, "hydrogen-peroxide-7.35-peracetic-0.23": 14,
		"hydrogen-peroxide-1.0-peracetic-0.08": 14, "peracetic-3100-3400-ppm": 5,
	}
	if diff := cmp.Diff(want, reuse); diff != "" {
		t.Errorf("reuse days (-want +got):\n%s", diff)
	}
}

// What was recalled or is common practice must not look checked. The list names every rule of the
// preset that may say "verified: yes" and where the value was read; all others say no.
func TestOnlyWhatWasReadIsVerified(t *testing.T) {
	read := []string{
		"due after-failed-verification",                      // GMS Hyg Infect Control 2017;12:Doc04
		"random selection",                                   // German recommendation on intervals
		"disinfectant opa-0.55",                              // CDC 2008, table 4
		"disinfectant opa-0.55-reprocessor",                  // CDC 2008, table 4
		"disinfectant glutaraldehyde-2.0",                    // CDC 2008, table 4
		"disinfectant glutaraldehyde-2-heated",               // PMC7134755
		"disinfectant glutaraldehyde-1.12-phenol-1.93",       // PMC7134755
		"disinfectant glutaraldehyde-3.4-isopropanol-26",     // list of cleared sterilants
		"disinfectant hydrogen-peroxide-7.5",                 // CDC 2008, table 4
		"disinfectant hydrogen-peroxide-7.35-peracetic-0.23", // CDC 2008, table 4
		"disinfectant peracetic-3100-3400-ppm",               // list of cleared sterilants
		"disinfectant peracetic-0.2-sterilization",           // CDC 2008, table 4
		"disinfectant chlorine-400-450-ppm",                  // PMC7134755
	}
	var verified []string
	for name, s := range sources(preset(t)) {
		if s.Verified {
			verified = append(verified, name)
			if strings.Contains(s.Citation, "common practice") || strings.Contains(s.Citation, "unverified") {
				t.Errorf("%s is verified by %q", name, s.Citation)
			}
		}
		if s.Citation == "" {
			t.Errorf("%s has no citation", name)
		}
	}
	slices.Sort(read)
	slices.Sort(verified)
	if diff := cmp.Diff(read, verified); diff != "" {
		t.Errorf("verified (-want +got):\n%s", diff)
	}
	if got := len(preset(t).Unverified()); got != len(sources(preset(t)))-len(read) {
		t.Errorf("%d rules are told as unverified, want %d", got, len(sources(preset(t)))-len(read))
	}
}

// sources names every rule of a rule set with its source.
func sources(r policy.RuleSet) map[string]sampling.Source {
	found := map[string]sampling.Source{
		"checks of meters": r.Meters.Source, "random selection": r.Sample.Selection.Source,
		"unstored": r.Reprocessing.UnstoredSource,
	}
	for _, l := range r.Sample.Clocks.Limits {
		found["clock "+l.Name] = l.Source
	}
	for _, p := range r.Sample.Protocols {
		found["protocol "+scope.Words(p.Points)] = p.Source
	}
	for _, d := range r.Sample.Due {
		found["due "+string(d.When)] = d.Source
	}
	for _, s := range r.Reprocessing.Steps {
		found["step "+string(s.Step)] = s.Source
	}
	for _, x := range r.Reprocessing.Routes {
		found["route "+string(x.After)] = x.Source
	}
	for _, c := range r.Reprocessing.Cabinets {
		found["cabinet "+c.Name] = c.Source
	}
	for _, a := range r.Reprocessing.Disinfectants {
		found["disinfectant "+a.Name] = a.Source
	}
	return found
}

// The published limits as their sources print them.
func TestTemplates(t *testing.T) {
	type row struct {
		Alert, Action unit.Number
		Unit          reading.Unit
		Comparison    reading.Comparison
	}
	want := map[string]row{
		"iso-15883-5-protein":      {3, 6.4, reading.PerCM2, reading.AtOrOver},   // ISO 15883-5:2021
		"iso-15883-5-toc":          {6, 12, reading.PerCM2, reading.AtOrOver},    // ISO 15883-5:2021
		"iso-15883-5-carbohydrate": {0.9, 1.8, reading.PerCM2, reading.AtOrOver}, // ISO 15883-5:2021
		"iso-15883-5-haemoglobin":  {1.0, 2.2, reading.PerCM2, reading.AtOrOver}, // ISO 15883-5:2021
		"iso-15883-5-atp":          {10, 22, reading.FmolCM2, reading.AtOrOver},  // ISO 15883-5:2021
		"alfa-2013-channel-flush":  {0, 200, reading.RLU, reading.AtOrOver},      // Am J Infect Control 2013;41:249-253: below 200
		"channel-sponge-2016":      {0, 100, reading.RLU, reading.Over},          // doi 10.1186/s13104-016-2066-7: at most 100
		"alfa-2013-protein":        {0, 6.4, reading.PerCM2, reading.AtOrOver},   // Am J Infect Control 2013;41:249-253
		"alfa-2013-viable-count":   {0, 4, reading.LogCFU, reading.AtOrOver},     // Am J Infect Control 2013;41:249-253
	}
	got := map[string]row{}
	for _, p := range policy.Templates() {
		got[p.Name] = row{p.Alert, p.Action, p.Unit, p.Comparison}
		l := p.Level("system A", "kit", scope.InstrumentLumen, "A. Lead", 5)
		if err := l.Check(); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
		if l.System != "system A" || l.Kit != "kit" || l.Adopter != "A. Lead" || l.Adopted != 5 || l.Source != p.Citation || l.Edition != p.Edition ||
			l.Action != p.Action {
			t.Errorf("%s: level %+v", p.Name, l)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("templates (-want +got):\n%s", diff)
	}
}
