package reading_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// The alert and action levels of ISO 15883-5:2021 through the templates that ship with the program.
// A value at a level counts as over it.
func TestISO15883Levels(t *testing.T) {
	tests := []struct {
		template    string
		analyte     reading.Analyte
		unit        reading.Unit
		below       string
		alert, high string // at the alert level, just below the action level
		action      string // at it
		above       string
	}{
		{"iso-15883-5-protein", reading.Protein, reading.PerCM2, "2.999", "3", "6.399", "6.4", "6.401"},
		{"iso-15883-5-toc", reading.TOC, reading.PerCM2, "5.999", "6", "11.999", "12", "12.001"},
		{"iso-15883-5-carbohydrate", reading.Carbohydrate, reading.PerCM2, "0.899", "0.9", "1.799", "1.8", "1.801"},
		{"iso-15883-5-haemoglobin", reading.Haemoglobin, reading.PerCM2, "0.999", "1.0", "2.199", "2.2", "2.201"},
		{"iso-15883-5-atp", reading.ATPAmount, reading.FmolCM2, "9.999", "10", "21.999", "22", "22.001"},
	}
	templates := map[string]policy.Template{}
	for _, p := range policy.Templates() {
		templates[p.Name] = p
	}
	for _, tt := range tests {
		t.Run(tt.template, func(t *testing.T) {
			template, ok := templates[tt.template]
			if !ok || template.Citation != "ISO 15883-5:2021" {
				t.Fatalf("template %+v", template)
			}
			l := template.Level("system A", "rinsate kit", scope.InstrumentLumen, "A. Lead", 1)
			if err := l.Check(); err != nil {
				t.Fatal(err)
			}
			for text, want := range map[string]reading.Outcome{
				"0": reading.OK, tt.below: reading.OK, tt.alert: reading.Alert, tt.high: reading.Alert,
				tt.action: reading.Action, tt.above: reading.Action,
			} {
				j := reading.Judge(value(t, tt.analyte, tt.unit, text), circumstances(), []reading.Level{l})
				if j.Outcome != want {
					t.Errorf("%s %s: %s (%s), want %s", text, tt.unit, j.Outcome, j.Why, want)
				}
				if j.Level == nil || j.Level.Source != "ISO 15883-5:2021" || j.Level.Edition != "2021" {
					t.Errorf("%s: the level is not cited: %+v", text, j.Level)
				}
			}
		})
	}
}

// Published benchmarks: below 200 RLU and below 6.4 µg/cm² and 4 log10 CFU/cm² (Alfa et al., Am J
// Infect Control 2013;41:249-253), at most 100 RLU (BMC Res Notes 2016, doi
// 10.1186/s13104-016-2066-7).
func TestBenchmarks(t *testing.T) {
	tests := []struct {
		template string
		analyte  reading.Analyte
		unit     reading.Unit
		text     string
		want     reading.Outcome
	}{
		{"alfa-2013-channel-flush", reading.ATP, reading.RLU, "199", reading.OK},
		{"alfa-2013-channel-flush", reading.ATP, reading.RLU, "200", reading.Action},
		{"channel-sponge-2016", reading.ATP, reading.RLU, "100", reading.OK},
		{"channel-sponge-2016", reading.ATP, reading.RLU, "101", reading.Action},
		{"alfa-2013-protein", reading.Protein, reading.PerCM2, "6.39", reading.OK},
		{"alfa-2013-protein", reading.Protein, reading.PerCM2, "6.4", reading.Action},
		{"alfa-2013-viable-count", reading.Viable, reading.LogCFU, "3.99", reading.OK},
		{"alfa-2013-viable-count", reading.Viable, reading.LogCFU, "4", reading.Action},
	}
	for _, tt := range tests {
		t.Run(tt.template+" "+tt.text, func(t *testing.T) {
			for _, template := range policy.Templates() {
				if template.Name != tt.template {
					continue
				}
				l := template.Level("system A", "rinsate kit", scope.InstrumentLumen, "A. Lead", 1)
				if j := reading.Judge(value(t, tt.analyte, tt.unit, tt.text), circumstances(), []reading.Level{l}); j.Outcome != tt.want {
					t.Errorf("%s (%s), want %s", j.Outcome, j.Why, tt.want)
				}
				return
			}
			t.Fatal("no such template")
		})
	}
}

// "Flush only, no brushing" left 3.99 µg/cm² of protein and 6601 RLU in the simulated-use study of
// BMC Res Notes 2016: it passes the protein limit and fails the other 66-fold.
func TestOneAnalyteIsNotEnough(t *testing.T) {
	protein, atp := level(), level()
	protein.Analyte, protein.Unit, protein.Alert, protein.Action = reading.Protein, reading.PerCM2, 0, 6.4
	atp.Alert, atp.Action = 0, 100
	levels := []reading.Level{protein, atp}
	if j := reading.Judge(value(t, reading.Protein, reading.PerCM2, "3.99"), circumstances(), levels); j.Outcome != reading.OK {
		t.Errorf("protein: %s", j.Outcome)
	}
	if j := reading.Judge(value(t, reading.ATP, reading.RLU, "6601"), circumstances(), levels); j.Outcome != reading.Action {
		t.Errorf("ATP: %s", j.Outcome)
	}
}

func TestJudge(t *testing.T) {
	at := func(change func(*reading.Level)) reading.Level {
		l := level()
		change(&l)
		return l
	}
	perArea := at(func(l *reading.Level) {
		l.Analyte, l.Unit, l.Alert, l.Action, l.Comparison = reading.Protein, reading.PerCM2, 3, 6.4, reading.AtOrOver
	})
	strip := at(func(l *reading.Level) {
		l.Analyte, l.Unit, l.Clean, l.Dirty = reading.Strip, reading.StripRun, []string{"Green"}, []string{"grey", "purple"}
	})
	whole := func(c *reading.Circumstances) { c.Recovered, c.Area, c.Recovery = 38, 178, 0.65 }
	same := func(*reading.Circumstances) {}
	tests := []struct {
		name, reason string
		level        reading.Level
		value        reading.Value
		change       func(*reading.Circumstances)
		want         reading.Outcome
		why          string
		near         bool
	}{
		{"below alert", "", level(), rlu(99), same, reading.OK, "99 RLU is below the alert level 100", false},
		{"at alert", "reached at the level", level(), rlu(100), same, reading.Alert, "100 RLU is at the alert level 100, not over the action level 200", false},
		{"over alert", "", level(), rlu(101), same, reading.Alert, "101 RLU is over the alert level 100", false},
		{
			"at action, strict", "with \"over\" the level itself is not over", level(), rlu(200), same, reading.Alert,
			"200 RLU is over the alert level 100, not over the action level 200", false,
		},
		{"over action, strict", "", level(), rlu(201), same, reading.Action, "201 RLU is over the action level 200", false},
		{
			"at action, counted", "with \"at-or-over\" the level itself is over",
			at(func(l *reading.Level) { l.Comparison = reading.AtOrOver }), rlu(200), same, reading.Action,
			"200 RLU is at the action level 200", false,
		},
		{"no alert level", "", at(func(l *reading.Level) { l.Alert = 0 }), rlu(0), same, reading.OK, "0 RLU is below the action level 200", false},
		{
			"no alert level, at action", "", at(func(l *reading.Level) { l.Alert = 0 }), rlu(200), same, reading.OK,
			"200 RLU is at the action level 200, not over it", false,
		},

		{
			"near action", "CV 20 %: single readings of a true 200 fall within 133–289",
			at(func(l *reading.Level) { l.Alert, l.CV = 0, 0.2 }), rlu(190), same, reading.OK,
			"it lies within 133–289, where single readings of a true 200 fall: take a duplicate", true,
		},
		{
			"near action, over it", "an action reading may be near, too", at(func(l *reading.Level) { l.Alert, l.CV = 0, 0.2 }), rlu(210),
			same, reading.Action, "take a duplicate", true,
		},
		{"near alert", "CV 20 %: 67–145 for a true 100", at(func(l *reading.Level) { l.CV = 0.2 }), rlu(80), same, reading.OK, "it lies within 67–145", true},
		{"far below", "outside both bands", at(func(l *reading.Level) { l.CV = 0.2 }), rlu(60), same, reading.OK, "", false},
		{"far above", "outside both bands", at(func(l *reading.Level) { l.CV = 0.2 }), rlu(300), same, reading.Action, "", false},

		{
			"per area", "20 µg/mL · 38 mL / (178 cm² · 0.65) = 6.569 µg/cm², over 6.4", perArea,
			value(t, reading.Protein, reading.PerML, "20"), whole, reading.Action, "over the action level 6.4", false,
		},
		{
			"per area, below", "19 µg/mL give 6.240 µg/cm²", perArea, value(t, reading.Protein, reading.PerML, "19"), whole,
			reading.Alert, "over the alert level 3", false,
		},
		{
			"per area, volume missing", "no result is better than a wrong one", perArea, value(t, reading.Protein, reading.PerML, "20"),
			func(c *reading.Circumstances) { whole(c); c.Recovered = 0 }, reading.None, "the recovered volume is needed", false,
		},
		{
			"unit without a way", "the level is in µg/mL, the value in µg/cm²",
			at(func(l *reading.Level) { l.Analyte, l.Unit = reading.Protein, reading.PerML }),
			value(t, reading.Protein, reading.PerCM2, "1"), whole, reading.None, "the value is in ug/cm2, the level in ug/mL", false,
		},

		{
			"strip clean", "whatever the case", strip, value(t, reading.Strip, reading.StripRun, "GREEN"), same, reading.OK,
			`the strip shows "green", which counts as clean`, false,
		},
		{
			"strip dirty", "", strip, value(t, reading.Strip, reading.StripRun, "Purple"), same, reading.Action,
			`the strip shows "purple", which counts as dirty`, false,
		},
		{
			"strip unknown", "a word that nobody explained shows nothing", strip, value(t, reading.Strip, reading.StripRun, "pink"), same,
			reading.None, `the strip's word "pink" is not one of the level's: Green, grey, purple`, false,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := circumstances()
			tt.change(&c)
			j := reading.Judge(tt.value, c, []reading.Level{tt.level})
			if j.Outcome != tt.want || !strings.Contains(j.Why, tt.why) || j.Near != tt.near {
				t.Errorf("%s: %s near %v (%s), want %s near %v (%s)", tt.reason, j.Outcome, j.Near, j.Why, tt.want, tt.near, tt.why)
			}
			if j.Level == nil || j.Level.Source != tt.level.Source {
				t.Errorf("the judgement does not carry its level: %+v", j.Level)
			}
		})
	}
}

func TestNoLevel(t *testing.T) {
	tests := []struct {
		name, reason string
		change       func(*reading.Level)
		want         []string
	}{
		{
			"none at all", "no default", func(l *reading.Level) { l.Point = scope.AirLumen },
			[]string{`no level is adopted for atp with meter system "system A" and kit "rinsate kit" at the instrument channel`, "adopt a level, then read again"},
		},
		{
			"other system", "named, and never used", func(l *reading.Level) { l.System = "system B" },
			[]string{`there is one for system "system B" with kit "rinsate kit", which counts on another scale and cannot be used`},
		},
		{
			"other kit", "named, and never used", func(l *reading.Level) { l.Kit = "surface kit" },
			[]string{`there is one for system "system A" with kit "surface kit"`},
		},
		{"other analyte", "protein levels say nothing about ATP", func(l *reading.Level) { l.Analyte = reading.Protein }, []string{"no level is adopted for atp"}},
		{
			"signed later", "a level does not judge what was read before it was signed, whenever it was adopted",
			func(l *reading.Level) { l.From = 2_000_001 },
			[]string{"one was signed only later, and judges nothing that was read before"},
		},
		{"taken back before", "", func(l *reading.Level) { l.Until = 2_000_000 }, []string{"no level is adopted"}},
		{"adopted later", "a level does not judge what was read before it", func(l *reading.Level) { l.Adopted = 2_000_001 }, []string{"one was adopted only later"}},
		{
			"for another kind", "a level for bronchoscopes does not judge a duodenoscope",
			func(l *reading.Level) { l.Kind = scope.Bronchoscope },
			[]string{"no level is adopted"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l := level()
			tt.change(&l)
			j := reading.Judge(rlu(1), circumstances(), []reading.Level{l, l})
			if j.Outcome != reading.None || j.Level != nil {
				t.Fatalf("%s: %s by %+v", tt.reason, j.Outcome, j.Level)
			}
			for _, part := range tt.want {
				if !strings.Contains(j.Why, part) {
					t.Errorf("%s: why %q, want %q in it", tt.reason, j.Why, part)
				}
			}
		})
	}
}

func TestFind(t *testing.T) {
	named := func(name string, kind scope.Kind, adopted unit.Instant) reading.Level {
		l := level()
		l.Source, l.Kind, l.Adopted = name, kind, adopted
		return l
	}
	general1, general2 := named("general 1", "", 1_000_000), named("general 2", "", 1_500_000)
	own1, own2 := named("duodenoscopes 1", scope.Duodenoscope, 900_000), named("duodenoscopes 2", scope.Duodenoscope, 2_000_000)
	signed := func(l reading.Level, from unit.Instant) reading.Level { l.From = from; return l }
	later, foreign := named("later", scope.Duodenoscope, 2_000_001), named("bronchoscopes", scope.Bronchoscope, 1_900_000)
	tests := []struct {
		name, reason string
		levels       []reading.Level
		want         string
	}{
		{"latest of the general", "a new edition replaces the old one", []reading.Level{general2, general1, foreign}, "general 2"},
		{"own kind first", "though the general one is newer", []reading.Level{general1, own1, general2}, "duodenoscopes 1"},
		{"own kind first, given last", "the order does not matter", []reading.Level{general1, general2, own1}, "duodenoscopes 1"},
		{"latest of the own kind", "adopted at that very instant counts", []reading.Level{own2, own1, general2}, "duodenoscopes 2"},
		{"not yet adopted", "what is adopted later does not count", []reading.Level{later, own1}, "duodenoscopes 1"},
		{"adopted together", "the one recorded last counts", []reading.Level{general1, named("general 1b", "", 1_000_000)}, "general 1b"},
		{
			"adopted before and signed later", "it takes the place of what was signed before",
			[]reading.Level{signed(general1, 1_900_000), general2},
			"general 1",
		},
		{"signed together", "the one adopted last counts", []reading.Level{signed(general2, 1_900_000), signed(general1, 1_900_000)}, "general 2"},
		{"not yet signed", "it was adopted long ago and signed after the reading", []reading.Level{signed(own1, 2_000_001), general1}, "general 1"},
		{"nothing fits", "", []reading.Level{later, foreign}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, ok := reading.Find(tt.levels, reading.ATP, circumstances())
			if ok != (tt.want != "") || got.Source != tt.want {
				t.Errorf("%s: found %q, want %q", tt.reason, got.Source, tt.want)
			}
		})
	}
}

// A level that was in force when a sample was read and was taken back since clears nothing, and a reading over it counts.
func TestLevelTakenBackClearsNothing(t *testing.T) {
	mistaken, before := level(), level()
	before.Adopted = mistaken.Adopted - 1
	before.Action, before.Alert = 1000, 0
	mistaken.Until = 3_000_000
	for value, want := range map[unit.Number]reading.Outcome{10: reading.None, 900: reading.Action} {
		if j := reading.Judge(rlu(value), circumstances(), []reading.Level{before, mistaken}); j.Outcome != want {
			t.Errorf("%s RLU: %s (%s), want %s", value, j.Outcome, j.Why, want)
		}
	}
}

// Raising a value never makes the outcome less severe, and neither does lowering a level.
func TestJudgeIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(name string, lo, hi int) unit.Number {
			return unit.Number(rapid.IntRange(lo, hi).Draw(t, name))
		}
		l := level()
		l.Action = number("action", 1, 500)
		l.Alert = number("alert", 0, int(l.Action))
		l.CV = rapid.SampledFrom([]unit.Number{0, 0.3}).Draw(t, "cv")
		l.Comparison = rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(t, "comparison")
		n := number("value", 0, 600)
		before := l.Judge(rlu(n), circumstances())

		higher := l.Judge(rlu(n+number("more", 0, 600)), circumstances())
		if higher.Outcome.Severity() < before.Outcome.Severity() {
			t.Fatalf("%s, and more is %s", before.Outcome, higher.Outcome)
		}
		lower := l
		lower.Action = number("lower action", 1, int(l.Action))
		lower.Alert = min(lower.Action, l.Alert)
		if lower.Alert > 0 {
			lower.Alert = number("lower alert", 1, int(lower.Alert))
		}
		if j := lower.Judge(rlu(n), circumstances()); j.Outcome.Severity() < before.Outcome.Severity() {
			t.Fatalf("%s, and by lower levels %s", before.Outcome, j.Outcome)
		}
		stricter := l
		stricter.Comparison = reading.AtOrOver
		if j := stricter.Judge(rlu(n), circumstances()); j.Outcome.Severity() < before.Outcome.Severity() {
			t.Fatalf("%s, and counted at the level %s", before.Outcome, j.Outcome)
		}
	})
}

func TestSeverity(t *testing.T) {
	order := []reading.Outcome{reading.OK, reading.Alert, reading.None, reading.Void, reading.Action}
	for i, o := range order {
		if o.Severity() != i {
			t.Errorf("%s has severity %d, want %d", o, o.Severity(), i)
		}
		if o.Passed() != (i < 2) {
			t.Errorf("%s passes: %v", o, o.Passed())
		}
	}
	if j := reading.Voided(rlu(5), "the swab touched a glove"); j.Outcome != reading.Void || j.Why != "the swab touched a glove" || j.Judged.Number != 5 {
		t.Errorf("voided: %+v", j)
	}
}

// What is wrong with a sample takes nothing from what it found, and makes nothing of it good.
func TestFlawed(t *testing.T) {
	l := level()
	for v := range 400 {
		value := rlu(unit.Number(v))
		plain := reading.Judge(value, circumstances(), []reading.Level{l})
		j := reading.Flawed(value, circumstances(), []reading.Level{l}, "the lot is recalled", "take another")
		switch {
		case plain.Outcome == reading.Action && (j.Outcome != reading.Action || j.Why != plain.Why+"; it counts although the lot is recalled"):
			t.Errorf("%d: %+v", v, j)
		case plain.Outcome != reading.Action && (j.Outcome != reading.Void || j.Why != "the lot is recalled: take another"):
			t.Errorf("%d: %+v", v, j)
		}
	}
	if j := reading.Flawed(rlu(900), circumstances(), nil, "the lot is recalled", "take another"); j.Outcome != reading.Void {
		t.Errorf("without a level: %+v", j)
	}
}

func TestCombine(t *testing.T) {
	const below, alert, action, void, none = reading.OK, reading.Alert, reading.Action, reading.Void, reading.None
	list := func(o ...reading.Outcome) []reading.Outcome { return o }
	tests := []struct {
		name, reason string
		outcomes     []reading.Outcome
		worst, tier  reading.Outcome
	}{
		{"no reading", "missing is a state of its own", nil, none, none},
		{"one", "", list(alert), alert, alert},
		{"two agree", "", list(below, below), below, below},
		{"alert and below", "no action level passed: the worst", list(below, alert), alert, alert},
		{"they disagree", "a failed and a passed reading: never averaged (PMC10426997: equivocal)", list(action, below), action, alert},
		{"they disagree, the other way round", "the order does not matter", list(below, action), action, alert},
		{"two over", "", list(action, action), action, action},
		{"over, and one without a level", "nothing contradicts the action", list(action, none), action, action},
		{"a void one", "it does not count", list(void, below), below, below},
		{"a void one beside action", "it does not contradict", list(void, action), action, action},
		{"only void ones", "take a new sample", list(void, void), void, void},
		{"one without a level", "no result is worse than a good one", list(below, none), none, none},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := reading.Worst.Point(tt.outcomes); got != tt.worst {
				t.Errorf("%s: worst gives %s, want %s", tt.reason, got, tt.worst)
			}
			if got := reading.DisagreementIsAlert.Point(tt.outcomes); got != tt.tier {
				t.Errorf("%s: disagreement-is-alert gives %s, want %s", tt.reason, got, tt.tier)
			}
		})
	}
}
