package reading_test

import (
	"strings"
	"testing"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func TestLevelCheck(t *testing.T) {
	strip := func(l *reading.Level) {
		l.Analyte, l.Unit, l.Action, l.Alert, l.Comparison = reading.Strip, reading.StripRun, 0, 0, ""
		l.Clean, l.Dirty = []string{"green"}, []string{"grey", "purple"}
	}
	tests := []struct {
		name   string
		change func(*reading.Level)
		want   string
	}{
		{"good", func(*reading.Level) {}, ""},
		{"no alert level", func(l *reading.Level) { l.Alert = 0 }, ""},
		{"alert at the action level", func(l *reading.Level) { l.Alert = 200 }, ""},
		{"for one kind", func(l *reading.Level) { l.Kind = scope.EBUS }, ""},
		{"protein with decimals", func(l *reading.Level) {
			l.Analyte, l.Unit, l.Alert, l.Action = reading.Protein, reading.PerCM2, 3, 6.4
		}, ""},
		{"strip", strip, ""},
		{"no system", func(l *reading.Level) { l.System = "" }, "belongs to one meter system and one kit"},
		{"no kit", func(l *reading.Level) { l.Kit = "" }, "belongs to one meter system and one kit"},
		{"unknown point", func(l *reading.Level) { l.Point = "handle" }, `point "handle" is not known`},
		{"unknown kind", func(l *reading.Level) { l.Kind = "laparoscope" }, `kind "laparoscope" is not known`},
		{"unknown analyte", func(l *reading.Level) { l.Analyte = "glucose" }, `analyte "glucose" is not known`},
		{"foreign unit", func(l *reading.Level) { l.Unit = reading.PerML }, `unit "ug/mL" does not fit atp`},
		{"no action level", func(l *reading.Level) { l.Alert, l.Action = 0, 0 }, "the action level must be over 0"},
		{"action level below zero", func(l *reading.Level) { l.Alert, l.Action = 0, -1 }, "the action level must be over 0"},
		{"as much as a meter shows", func(l *reading.Level) { l.Action = reading.MaxRLU }, ""},
		{
			"more than a meter shows", func(l *reading.Level) { l.Action = 99_999_999 },
			"the action level 99999999 is more than can be measured; allowed: over 0 and at most 9999999 RLU",
		},
		{"more than a gram", func(l *reading.Level) {
			l.Analyte, l.Unit, l.Alert, l.Action = reading.Protein, reading.PerML, 0, 1_000_001
		}, "at most 1000000 ug/mL"},
		{"alert over action", func(l *reading.Level) { l.Alert = 201 }, "the alert level 201 must not be below 0 nor over the action level 200"},
		{"alert below zero", func(l *reading.Level) { l.Alert = -1 }, "the alert level -1 must not be below 0"},
		{"no comparison", func(l *reading.Level) { l.Comparison = "" }, `comparison "" is not known; allowed: over, at-or-over`},
		{"RLU with decimals", func(l *reading.Level) { l.Action = 200.5 }, "levels in RLU are whole numbers"},
		{"CV in percent", func(l *reading.Level) { l.CV = 30 }, "is a fraction, such as 0.3 for 30 %"},
		{"CV below zero", func(l *reading.Level) { l.CV = -0.1 }, "is a fraction"},
		{"no source", func(l *reading.Level) { l.Source = "" }, "source, edition, who adopted it and when"},
		{"no edition", func(l *reading.Level) { l.Edition = "" }, "source, edition, who adopted it and when"},
		{"nobody adopted it", func(l *reading.Level) { l.Adopter = "" }, "source, edition, who adopted it and when"},
		{"never adopted", func(l *reading.Level) { l.Adopted = 0 }, "source, edition, who adopted it and when"},
		{"strip without clean words", func(l *reading.Level) { strip(l); l.Clean = nil }, "needs the words that count as clean and as dirty"},
		{"strip word on both sides", func(l *reading.Level) { strip(l); l.Clean = []string{"Purple"} }, `the strip's word "Purple" is given as clean and as dirty`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l := level()
			tt.change(&l)
			wantError(t, l.Check(), tt.want)
		})
	}
}

func TestSameScale(t *testing.T) {
	a := reading.Scale{System: "system A", Kit: "rinsate kit", Analyte: reading.ATP}
	system, kit, analyte := a, a, a
	system.System, kit.Kit, analyte.Analyte = "system B", "surface kit", reading.Protein
	tests := []struct {
		name, reason string
		scales       []reading.Scale
		want         string
	}{
		{"none", "nothing to compare", nil, ""},
		{"one", "nothing to compare", []reading.Scale{a}, ""},
		{"alike", "one system, one kit", []reading.Scale{a, a, a}, ""},
		{"other system", "RLU are not interchangeable (Infect Control Hosp Epidemiol 2015;36:658-663)", []reading.Scale{a, a, system}, `meter system "system B"`},
		{"other kit", "the kit makes the light", []reading.Scale{a, kit}, `kit "surface kit"`},
		{"other analyte", "protein is not ATP", []reading.Scale{a, analyte}, "protein with meter system"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := reading.SameScale(tt.scales...)
			wantError(t, err, tt.want)
			if err != nil && !strings.Contains(err.Error(), "cannot be compared with, converted to or pooled with") {
				t.Errorf("%s: %v", tt.reason, err)
			}
		})
	}
}

func TestUnitsOf(t *testing.T) {
	for _, a := range reading.Analytes {
		if len(reading.UnitsOf(a)) == 0 {
			t.Errorf("%s has no unit", a)
		}
	}
	if got := reading.UnitsOf("glucose"); got != nil {
		t.Errorf("an unknown analyte has the units %v", got)
	}
}

func TestLevelNames(t *testing.T) {
	l := level()
	if got, want := l.Name(), "facility study, edition 1, adopted by A. Lead"; got != want {
		t.Errorf("name %q, want %q", got, want)
	}
	other := l
	other.Edition, other.Adopted, other.Action = "2", l.Adopted+1, 150
	if l.Key() != other.Key() {
		t.Error("a new edition does not replace the old one")
	}
	for name, change := range map[string]func(*reading.Level){
		"system":  func(l *reading.Level) { l.System = "system B" },
		"kit":     func(l *reading.Level) { l.Kit = "other" },
		"point":   func(l *reading.Level) { l.Point = scope.AirLumen },
		"kind":    func(l *reading.Level) { l.Kind = scope.EBUS },
		"analyte": func(l *reading.Level) { l.Analyte = reading.Protein },
	} {
		changed := l
		change(&changed)
		if changed.Key() == l.Key() {
			t.Errorf("another %s, the same key", name)
		}
	}
}
