package turnaround_test

import (
	"slices"
	"testing"

	"rinsate/internal/domain/turnaround"
)

func TestRulesCheck(t *testing.T) {
	index := func(r *turnaround.Rules, kind turnaround.StepKind) *turnaround.StepRule {
		return &r.Steps[slices.IndexFunc(r.Steps, func(s turnaround.StepRule) bool { return s.Step == kind })]
	}
	drop := func(r *turnaround.Rules, kind turnaround.StepKind) {
		r.Steps = slices.DeleteFunc(r.Steps, func(s turnaround.StepRule) bool { return s.Step == kind })
	}
	tests := []struct {
		name   string
		change func(*turnaround.Rules)
		want   string
	}{
		{"good", func(*turnaround.Rules) {}, ""},
		{"no limit outside a cabinet", func(r *turnaround.Rules) { r.Unstored, r.UnstoredSource.Citation = 0, "" }, ""},
		{"verification not required", func(r *turnaround.Rules) { index(r, turnaround.Verification).Required = false }, ""},
		{"no steps", func(r *turnaround.Rules) { r.Steps = nil }, "steps: there are none"},
		{
			"no steps for a model", func(r *turnaround.Rules) { r.Models = map[string][]turnaround.StepRule{"duodenoscope A": nil} },
			"steps of model duodenoscope A: there are none",
		},
		{"unknown step", func(r *turnaround.Rules) { r.Steps[0].Step = "polish" }, `"polish" is not known; allowed: pre-clean`},
		{"a step twice", func(r *turnaround.Rules) { r.Steps[1].Step = turnaround.PreClean }, "pre-clean is given twice"},
		{"a time below zero", func(r *turnaround.Rules) { index(r, turnaround.Drying).AtLeast = -1 }, "drying: a time is below zero"},
		{"a clock below zero", func(r *turnaround.Rules) { index(r, turnaround.ManualCleaning).Within = -1 }, "manual-cleaning: a time is below zero"},
		{
			"a clock from a later step", func(r *turnaround.Rules) { index(r, turnaround.ManualCleaning).From = turnaround.Drying },
			`the step "drying" that its clock starts from must come before it`,
		},
		{"a clock without a way out", func(r *turnaround.Rules) { index(r, turnaround.ManualCleaning).OnLate = "" }, "say in on_late what to do"},
		{"a step without a citation", func(r *turnaround.Rules) { index(r, turnaround.Drying).Citation = "" }, "drying: the citation is missing"},
		{"no cleaning", func(r *turnaround.Rules) {
			index(r, turnaround.ManualCleaning).Required = false
		}, "manual-cleaning must be there and required"},
		{"no disinfection", func(r *turnaround.Rules) { drop(r, turnaround.Disinfection) }, "disinfection must be there and required"},
		{"no verification", func(r *turnaround.Rules) { drop(r, turnaround.Verification) }, "verification must be there"},
		{"no disinfection for a model", func(r *turnaround.Rules) {
			steps := slices.Clone(r.Steps)
			drop(r, turnaround.Disinfection)
			r.Models, r.Steps = map[string][]turnaround.StepRule{"duodenoscope A": r.Steps}, steps
		}, "steps of model duodenoscope A: disinfection must be there and required"},
		{"a cabinet without a name", func(r *turnaround.Rules) { r.Cabinets[0].Name = "" }, "give a name and either days or hours over 0"},
		{"a cabinet with days and hours", func(r *turnaround.Rules) { r.Cabinets[0].Hours = 5 }, "either days or hours over 0"},
		{"a cabinet without a limit", func(r *turnaround.Rules) { r.Cabinets[0].Days = 0 }, "either days or hours over 0"},
		{"a cabinet below zero", func(r *turnaround.Rules) { r.Cabinets[0].Days = -1 }, "either days or hours over 0"},
		{"a cabinet without a citation", func(r *turnaround.Rules) { r.Cabinets[0].Citation = "" }, "the citation is missing"},
		{"a cabinet twice", func(r *turnaround.Rules) { r.Cabinets[1].Name = r.Cabinets[0].Name }, `cabinet "drying-cabinet" is given twice`},
		{"an agent without a name", func(r *turnaround.Rules) { r.Agents[0].Name = "" }, "give a name and a contact time over 0"},
		{"an agent without a contact time", func(r *turnaround.Rules) { r.Agents[0].Contact = 0 }, "give a name and a contact time over 0"},
		{"an agent with crossed limits", func(r *turnaround.Rules) { r.Agents[0].Warmest = r.Agents[0].Coldest - 1 }, "the highest temperature is below the lowest"},
		{"an agent below zero", func(r *turnaround.Rules) { r.Agents[0].ReuseDays = -1 }, "reuse_days is below zero"},
		{"an agent without a citation", func(r *turnaround.Rules) { r.Agents[0].Citation = "" }, "the citation is missing"},
		{"an agent twice", func(r *turnaround.Rules) { r.Agents[1].Name = r.Agents[0].Name }, `agent "opa-0.55" is given twice`},
		{"outside below zero", func(r *turnaround.Rules) { r.Unstored = -1 }, "unstored: the time is below zero"},
		{"outside without a citation", func(r *turnaround.Rules) { r.UnstoredSource.Citation = "" }, "unstored: the citation is missing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := preset(t)
			tt.change(&r)
			wantError(t, r.Check(), tt.want)
		})
	}
}
