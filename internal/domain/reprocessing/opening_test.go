package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
)

var both = []access.Role{access.Lead, access.InfectionPrevention}

// While paper decides no answer is a plain yes, and each says so; what is not ready stays what it is.
func TestPaperDecides(t *testing.T) {
	t.Parallel()
	zone := berlin(t)
	at, until := instant(t, "12:00"), instant(t, "18:00")
	ready := reprocessing.Answer{
		Scope: "D-01", At: at, State: reprocessing.Ready, Until: until, Reasons: []reprocessing.Reason{{Text: "stored"}}, Next: []string{},
	}
	start := func(at unit.Instant) *reprocessing.StartNote { return &reprocessing.StartNote{At: at} }
	for _, test := range []struct {
		name string
		site reprocessing.Opening
		want string
	}{
		{"on trial", reprocessing.Opening{Trial: true}, "on trial: paper decides"},
		{"on trial, started a moment later", reprocessing.Opening{Trial: true, Start: start(at + 1)}, "on trial: paper decides"},
		{"started at that moment", reprocessing.Opening{Trial: true, Start: start(at)}, ""},
		{"in use before, not signed", reprocessing.Opening{}, "the start is not signed: paper decides"},
		{"in use before, signed", reprocessing.Opening{Start: start(at)}, ""},
	} {
		for _, state := range reprocessing.States {
			a := ready
			if a.State = state; state != reprocessing.Ready {
				a.Until = 0
			}
			got := test.site.Said(a, zone)
			switch {
			case test.want == "":
				if diff := cmp.Diff(a, got); diff != "" {
					t.Errorf("%s, %s: %s", test.name, state, diff)
				}
				continue
			case got.State == reprocessing.Ready || got.Until.Known():
				t.Errorf("%s, %s: %s until %s", test.name, state, got.State, got.Until)
			case got.Paper == nil || !strings.HasPrefix(got.Paper.Why, test.want) || got.Paper.Here != state || got.Paper.Until != a.Until:
				t.Errorf("%s, %s: %+v", test.name, state, got.Paper)
			}
			if state != reprocessing.Ready {
				if got.State != state || len(got.Reasons) != len(a.Reasons) {
					t.Errorf("%s: %s became %s, %+v", test.name, state, got.State, got.Reasons)
				}
				continue
			}
			first := got.Reasons[0]
			if got.State != reprocessing.PaperDecides || !first.Blocks || !strings.HasSuffix(first.Text, "; here: ready until "+until.In(zone)) || len(got.Next) == 0 {
				t.Errorf("%s: %+v", test.name, got)
			}
		}
	}
	if len(ready.Reasons) != 1 {
		t.Error("the answer itself was changed")
	}
}

func TestStartIsSignedByTwo(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name                 string
		by, second           string
		byRoles, secondRoles []access.Role
		want                 bool
	}{
		{"a lead and infection prevention", "L-01", "H-01", aLead, prevention, true},
		{"the other way round", "H-01", "L-01", prevention, aLead, true},
		{"two leads", "L-01", "L-02", aLead, aLead, false},
		{"twice infection prevention", "H-01", "H-02", prevention, prevention, false},
		{"one person who is both", "L-01", "l-01 ", both, both, false},
		{"one alone", "L-01", "", both, nil, false},
		{"nobody", "", "", nil, nil, false},
		{"one is both, the other nothing", "L-01", "T-01", both, nil, false},
		{"one is both, the other a lead", "H-01", "L-01", both, aLead, true},
	} {
		n := reprocessing.StartNote{At: 1, By: test.by, Second: test.second, ByRoles: test.byRoles, SecondRoles: test.secondRoles}
		if err := n.Check(); (err == nil) != test.want {
			t.Errorf("%s: %v", test.name, err)
		}
	}
	n := reprocessing.StartNote{By: "L-01", Second: "H-01", ByRoles: aLead, SecondRoles: prevention}
	if n.Check() == nil {
		t.Error("a start without a time")
	}
	if !slices.Contains(reprocessing.States, reprocessing.PaperDecides) {
		t.Error("the state is not listed")
	}
}
