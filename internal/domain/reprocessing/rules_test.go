package reprocessing_test

import (
	"slices"
	"testing"

	"rinsate/internal/domain/reprocessing"
)

func TestRulesCheck(t *testing.T) {
	index := func(r *reprocessing.Rules, kind reprocessing.StepKind) *reprocessing.StepRule {
		return &r.Steps[slices.IndexFunc(r.Steps, func(s reprocessing.StepRule) bool { return s.Step == kind })]
	}
	drop := func(r *reprocessing.Rules, kind reprocessing.StepKind) {
		r.Steps = slices.DeleteFunc(r.Steps, func(s reprocessing.StepRule) bool { return s.Step == kind })
	}
	tests := []struct {
		name   string
		change func(*reprocessing.Rules)
		want   string
	}{
		{"good", func(*reprocessing.Rules) {}, ""},
		{"no limit outside a cabinet", func(r *reprocessing.Rules) { r.Unstored, r.UnstoredSource.Citation = 0, "" }, ""},
		{"verification not required", func(r *reprocessing.Rules) { index(r, reprocessing.Verification).Required = false }, ""},
		{"no steps", func(r *reprocessing.Rules) { r.Steps = nil }, "steps: there are none"},
		{
			"no steps for a model", func(r *reprocessing.Rules) { r.Models = map[string][]reprocessing.StepRule{"duodenoscope A": nil} },
			"steps of model duodenoscope A: there are none",
		},
		{"unknown step", func(r *reprocessing.Rules) { r.Steps[0].Step = "polish" }, `"polish" is not known; allowed: point-of-use`},
		{"a step twice", func(r *reprocessing.Rules) { r.Steps[1].Step = reprocessing.PointOfUse }, "point-of-use treatment is given twice"},
		{"a time below zero", func(r *reprocessing.Rules) { index(r, reprocessing.Drying).AtLeast = -1 }, "drying: a time is below zero"},
		{"a clock below zero", func(r *reprocessing.Rules) { index(r, reprocessing.ManualCleaning).Within = -1 }, "manual cleaning: a time is below zero"},
		{
			"a clock from a later step", func(r *reprocessing.Rules) { index(r, reprocessing.ManualCleaning).From = reprocessing.Drying },
			`the step "drying" that its clock starts from must come before it`,
		},
		{"a clock without a way out", func(r *reprocessing.Rules) { index(r, reprocessing.ManualCleaning).OnLate = "" }, "say in on_late what to do"},
		{"a step without a citation", func(r *reprocessing.Rules) { index(r, reprocessing.Drying).Citation = "" }, "drying: the citation is missing"},
		{"no cleaning", func(r *reprocessing.Rules) {
			index(r, reprocessing.ManualCleaning).Required = false
		}, "manual-cleaning must be there and required"},
		{"no disinfection", func(r *reprocessing.Rules) { drop(r, reprocessing.Disinfection) }, "disinfection must be there and required"},
		{"no verification", func(r *reprocessing.Rules) { drop(r, reprocessing.Verification) }, "verification must be there"},
		{"no disinfection for a model", func(r *reprocessing.Rules) {
			steps := slices.Clone(r.Steps)
			drop(r, reprocessing.Disinfection)
			r.Models, r.Steps = map[string][]reprocessing.StepRule{"duodenoscope A": r.Steps}, steps
		}, "steps of model duodenoscope A: disinfection must be there and required"},
		{"a cabinet without a name", func(r *reprocessing.Rules) { r.Cabinets[0].Name = "" }, "give a name and either days or hours over 0"},
		{"a cabinet with days and hours", func(r *reprocessing.Rules) { r.Cabinets[0].Hours = 5 }, "either days or hours over 0"},
		{"a cabinet without a limit", func(r *reprocessing.Rules) { r.Cabinets[0].Days = 0 }, "either days or hours over 0"},
		{"a cabinet below zero", func(r *reprocessing.Rules) { r.Cabinets[0].Days = -1 }, "either days or hours over 0"},
		{"a cabinet without a citation", func(r *reprocessing.Rules) { r.Cabinets[0].Citation = "" }, "the citation is missing"},
		{"a cabinet twice", func(r *reprocessing.Rules) { r.Cabinets[1].Name = r.Cabinets[0].Name }, `cabinet "drying-cabinet" is given twice`},
		{"a disinfectant without a name", func(r *reprocessing.Rules) { r.Disinfectants[0].Name = "" }, "give a name and a contact time over 0"},
		{"a disinfectant without a contact time", func(r *reprocessing.Rules) { r.Disinfectants[0].Contact = 0 }, "give a name and a contact time over 0"},
		{
			"a disinfectant with crossed limits", func(r *reprocessing.Rules) { r.Disinfectants[0].Warmest = r.Disinfectants[0].Coldest - 1 },
			"the highest temperature is below the lowest",
		},
		{"a disinfectant below zero", func(r *reprocessing.Rules) { r.Disinfectants[0].ReuseDays = -1 }, "reuse_days is below zero"},
		{"a disinfectant without a citation", func(r *reprocessing.Rules) { r.Disinfectants[0].Citation = "" }, "the citation is missing"},
		{"a disinfectant twice", func(r *reprocessing.Rules) { r.Disinfectants[1].Name = r.Disinfectants[0].Name }, `disinfectant "opa-0.55" is given twice`},
		{"outside below zero", func(r *reprocessing.Rules) { r.Unstored = -1 }, "unstored: the time is below zero"},
		{"outside without a citation", func(r *reprocessing.Rules) { r.UnstoredSource.Citation = "" }, "unstored: the citation is missing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := preset(t)
			tt.change(&r)
			wantError(t, r.Check(), tt.want)
		})
	}
}
