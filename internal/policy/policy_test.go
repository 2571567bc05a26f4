package policy_test

import (
	"strings"
	"testing"

	"rinsate/internal/policy"
)

func TestPresetIsWhole(t *testing.T) {
	r, err := policy.Parse("general.yaml", policy.Preset())
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Turnaround.Agents) != 13 {
		t.Errorf("%d agents", len(r.Turnaround.Agents))
	}
}

func TestTemplates(t *testing.T) {
	for _, tt := range policy.Templates() {
		l := tt.Level("system", "kit", "instrument-channel", "lead", 1)
		if err := l.Check(); err != nil {
			t.Errorf("%s: %v", tt.Name, err)
		}
	}
}

var _ = strings.Contains
