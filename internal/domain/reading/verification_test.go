package reading_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// rules: three cleanings (common practice: no guideline fixes a number), all points again.
func rules() reading.Rules {
	return reading.Rules{Cleanings: 3, Retest: reading.AllPoints, Combine: reading.Worst, Duplicate: true, Recovery: 0.65}
}

// result is a point with readings of these outcomes.
func result(point scope.PointKind, outcomes ...reading.Outcome) reading.PointResult {
	p := reading.PointResult{Point: point}
	for _, o := range outcomes {
		p.Readings = append(p.Readings, reading.Judgement{Outcome: o})
	}
	return p
}

// near marks the readings of a point as lying near a level.
func near(p reading.PointResult) reading.PointResult {
	for i := range p.Readings {
		p.Readings[i].Near = true
	}
	return p
}

func TestVerification(t *testing.T) {
	const (
		distal, recess, lumen, wire = scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.ElevatorWire

		below, alert, action, void, none = reading.OK, reading.Alert, reading.Action, reading.Void, reading.None
	)
	type points = []scope.PointKind
	type results = []reading.PointResult
	all := points{distal, recess, lumen}
	failing := func(r *reading.Rules) { r.Retest = reading.FailingPoints }
	sealed := reading.PointResult{Point: wire, NotApplicable: "the channel is sealed"}
	pending := result(recess)
	pending.Pending = true
	tests := []struct {
		name, reason string
		change       func(*reading.Rules)
		cleaning     int
		required     points
		results      results
		outcome      reading.Outcome
		missing      points
		act          reading.Act
		next         points
		why          string
	}{
		{
			"all OK", "go on to disinfection", nil, 1, all,
			results{result(distal, below), result(recess, below), result(lumen, below)},
			below, nil, reading.GoOn, nil,
			"outer distal end OK; elevator recess OK; instrument channel OK",
		},
		{
			"the worst decides", "one alert among good ones", nil, 1, all,
			results{result(distal, below), result(recess, alert), result(lumen, below)},
			alert, nil, reading.GoOn, nil,
			"elevator recess alert",
		},
		{
			"one over action", "the whole scope is cleaned and sampled again", nil, 1, all,
			results{result(distal, below), result(recess, action), result(lumen, alert)},
			action, nil, reading.CleanAgain, all,
			"elevator recess action",
		},
		{
			"action decides at once", "nobody waits for the others", nil, 1, all,
			results{result(recess, action)},
			action,
			points{distal, lumen},
			reading.CleanAgain, all,
			"outer distal end missing; elevator recess action; instrument channel missing",
		},
		{
			"a point missing", "no result is never a good result", nil, 1, all,
			results{result(distal, below), result(recess, below)},
			none,
			points{lumen},
			reading.Complete,
			points{lumen},
			"instrument channel missing",
		},
		{
			"taken and not read", "awaited", nil, 1, all,
			results{result(distal, below), pending, result(lumen, below)},
			none,
			points{recess},
			reading.Complete,
			points{recess},
			"elevator recess taken, not yet read",
		},
		{
			"read without a level", "a number that nobody can judge", nil, 1, all,
			results{result(distal, below), result(recess, none), result(lumen, below)},
			none,
			points{recess},
			reading.Complete,
			points{recess},
			"elevator recess read, no level to judge it by",
		},
		{
			"only void readings", "take a new sample", nil, 1, all,
			results{result(distal, below), result(recess, void), result(lumen, below)},
			none,
			points{recess},
			reading.Complete,
			points{recess},
			"elevator recess void",
		},
		{
			"void and then good", "the void one does not count", nil, 1, all,
			results{result(distal, below), result(recess, void, below), result(lumen, below)},
			below, nil, reading.GoOn, nil,
			"elevator recess OK",
		},
		{
			"void beside action", "the void one does not count", nil, 1, all,
			results{result(distal, below), result(recess, void, action), result(lumen, below)},
			action, nil, reading.CleanAgain, all,
			"elevator recess action",
		},
		{
			"not applicable", "it is never missing", nil, 1, append(points{}, distal, recess, lumen, wire),
			results{result(distal, below), result(recess, below), result(lumen, below), sealed},
			below, nil, reading.GoOn, nil,
			"elevator wire channel not applicable",
		},
		{
			"not applicable, cleaned again", "nor sampled again", nil, 1, all,
			results{result(distal, below), result(recess, action), result(lumen, below), sealed},
			action, nil, reading.CleanAgain, all,
			"not applicable",
		},
		{
			"nothing but not applicable", "a cleaning verification without a single result shows nothing", nil, 1,
			points{wire},
			results{sealed},
			none,
			nil, reading.Complete, nil, "not applicable",
		},
		{"no points at all", "nor does an empty one", nil, 1, nil, nil, none, nil, reading.Complete, nil, ""},
		{
			"more than required", "a further point counts, too", nil, 1,
			points{distal},
			results{result(distal, below), result(lumen, action)},
			action, nil, reading.CleanAgain,
			points{distal, lumen},
			"instrument channel action",
		},
		{
			"a further point not read", "what was begun is finished", nil, 1,
			points{distal},
			results{result(distal, below), pending},
			none,
			points{recess},
			reading.Complete,
			points{recess},
			"taken, not yet read",
		},

		{"second cleaning", "2 of 3: once more", nil, 2, all, results{result(recess, action)}, action, points{distal, lumen}, reading.CleanAgain, all, "action"},
		{"third cleaning", "3 of 3: hold", nil, 3, all, results{result(recess, action)}, action, points{distal, lumen}, reading.HoldScope, nil, "action"},
		{"beyond the cleanings", "still hold", nil, 4, all, results{result(recess, action)}, action, points{distal, lumen}, reading.HoldScope, nil, "action"},
		{
			"third cleaning passed", "a passed cleaning verification goes on whatever its number", nil, 3, all,
			results{result(distal, below), result(recess, alert), result(lumen, below)},
			alert, nil, reading.GoOn, nil, "alert",
		},
		{
			"hold at once", "one cleaning is allowed", func(r *reading.Rules) { r.Cleanings = 1 }, 1, all,
			results{result(recess, action)},
			action,
			points{distal, lumen},
			reading.HoldScope, nil, "action",
		},

		{
			"only failing points again", "the others keep their result", failing, 1, all,
			results{result(distal, below), result(recess, action), result(lumen, alert)},
			action, nil, reading.CleanAgain,
			points{recess},
			"action",
		},
		{
			"carried results", "of the cleaning before", failing, 2, all,
			results{{Point: distal, Outcome: below, Carried: true}, result(recess, below), {Point: lumen, Outcome: alert, Carried: true}},
			alert, nil, reading.GoOn, nil, "elevator recess OK",
		},
		{
			"carried nothing", "no result is carried as none", failing, 2, all,
			results{{Point: distal, Outcome: none, Carried: true}, result(recess, below), result(lumen, below)},
			none,
			points{distal},
			reading.Complete,
			points{distal},
			"outer distal end missing",
		},

		{
			"near a level", "a duplicate is demanded", nil, 1,
			points{lumen},
			results{near(result(lumen, below))},
			none,
			points{lumen},
			reading.Complete,
			points{lumen},
			"instrument channel OK, near a level: duplicate awaited",
		},
		{
			"near a level, duplicate taken", "both count, the worst decides", nil, 1,
			points{lumen},
			results{near(result(lumen, below, alert))},
			alert, nil, reading.GoOn, nil, "instrument channel alert",
		},
		{
			"near a level, duplicate void", "a void duplicate is none", nil, 1,
			points{lumen},
			results{near(result(lumen, below, void))},
			none,
			points{lumen},
			reading.Complete,
			points{lumen},
			"duplicate awaited",
		},
		{
			"near a level, not asked for", "the facility does without duplicates", func(r *reading.Rules) { r.Duplicate = false }, 1,
			points{lumen},
			results{near(result(lumen, below))},
			below, nil, reading.GoOn, nil, "OK",
		},
		{
			"near a level and over it", "action does not wait for a duplicate", nil, 1,
			points{lumen},
			results{near(result(lumen, action))},
			action, nil, reading.CleanAgain,
			points{lumen},
			"action",
		},
		{
			"duplicates disagree", "the facility's rule makes it an alert",
			func(r *reading.Rules) { r.Combine = reading.DisagreementIsAlert }, 1,
			points{lumen},
			results{result(lumen, action, below)},
			alert, nil, reading.GoOn, nil, "alert",
		},
		{
			"duplicates disagree, the worst decides", "as the other rule", nil, 1,
			points{lumen},
			results{result(lumen, action, below)},
			action, nil, reading.CleanAgain,
			points{lumen},
			"action",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := rules()
			if tt.change != nil {
				tt.change(&r)
			}
			if err := r.Check(); err != nil {
				t.Fatal(err)
			}
			got := r.Judge(tt.cleaning, tt.required, tt.results)
			if got.Outcome != tt.outcome || got.Next.Act != tt.act || got.Cleaning != tt.cleaning {
				t.Errorf("%s: cleaning %d %s, %s; want cleaning %d %s, %s", tt.reason, got.Cleaning, got.Outcome, got.Next.Act, tt.cleaning, tt.outcome, tt.act)
			}
			if diff := cmp.Diff(tt.missing, got.Missing); diff != "" {
				t.Errorf("%s: missing (-want +got):\n%s", tt.reason, diff)
			}
			if diff := cmp.Diff(tt.next, got.Next.Points); diff != "" {
				t.Errorf("%s: next points (-want +got):\n%s", tt.reason, diff)
			}
			if !strings.Contains(got.Why, tt.why) || got.Next.Words == "" {
				t.Errorf("%s: why %q, next %q", tt.reason, got.Why, got.Next.Words)
			}
			if complete := len(tt.missing) == 0 && tt.outcome != none; got.Complete != complete {
				t.Errorf("%s: complete %v, want %v", tt.reason, got.Complete, complete)
			}
		})
	}
}

// An incomplete verification never passes, a passed verification has a result at every required point, and a
// further reading that is worse never makes the verification better.
func TestVerificationProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rules()
		r.Cleanings = rapid.IntRange(1, 4).Draw(t, "cleanings")
		r.Retest = rapid.SampledFrom([]reading.Retest{reading.AllPoints, reading.FailingPoints}).Draw(t, "retest")
		r.Duplicate = rapid.Bool().Draw(t, "duplicate")
		required := rapid.SliceOfDistinct(rapid.SampledFrom(scope.PointKinds), rapid.ID[scope.PointKind]).Draw(t, "required")
		var results []reading.PointResult
		for _, kind := range rapid.SliceOfDistinct(rapid.SampledFrom(scope.PointKinds), rapid.ID[scope.PointKind]).Draw(t, "sampled") {
			p := result(kind, rapid.SliceOfN(rapid.SampledFrom(reading.Outcomes), 0, 3).Draw(t, "outcomes")...)
			if rapid.Bool().Draw(t, "near") {
				p = near(p)
			}
			results = append(results, p)
		}
		cleaning := rapid.IntRange(1, 5).Draw(t, "cleaning")
		verification := r.Judge(cleaning, required, results)
		passed := verification.Complete && verification.Outcome.Passed()
		if verification.Outcome.Passed() != passed {
			t.Fatalf("incomplete and yet %s", verification.Outcome)
		}
		if passed != (verification.Next.Act == reading.GoOn) {
			t.Fatalf("passed %v, next %s", passed, verification.Next.Act)
		}
		for _, kind := range required {
			i := -1
			for j, p := range verification.Points {
				if p.Point == kind {
					i = j
				}
			}
			if i < 0 || passed && !verification.Points[i].Outcome.Passed() {
				t.Fatalf("%s is not accounted for", kind)
			}
		}
		if len(results) == 0 {
			return
		}
		// One reading over the action level more, anywhere.
		i := rapid.IntRange(0, len(results)-1).Draw(t, "where")
		results[i].Readings = append(results[i].Readings, reading.Judgement{Outcome: reading.Action})
		if worse := r.Judge(cleaning, required, results); worse.Outcome != reading.Action || worse.Next.Act == reading.GoOn {
			t.Fatalf("a reading over the action level: %s, %s", worse.Outcome, worse.Next.Act)
		}
	})
}

func TestRulesCheck(t *testing.T) {
	tests := []struct {
		name   string
		change func(*reading.Rules)
		want   string
	}{
		{"good", func(*reading.Rules) {}, ""},
		{"no recovery", func(r *reading.Rules) { r.Recovery = 0 }, ""},
		{"no cleaning", func(r *reading.Rules) { r.Cleanings = 0 }, "cleanings must be 1 or more"},
		{"unknown retest", func(r *reading.Rules) { r.Retest = "some" }, `retest "some" is not known; allowed: all-points, failing-points`},
		{"unknown combination", func(r *reading.Rules) { r.Combine = "mean" }, `combine "mean" is not known; allowed: worst, disagreement-is-alert`},
		{"recovery in percent", func(r *reading.Rules) { r.Recovery = 65 }, "recovery 65 must be a fraction"},
		{"recovery below zero", func(r *reading.Rules) { r.Recovery = -0.1 }, "must be a fraction"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := rules()
			tt.change(&r)
			wantError(t, r.Check(), tt.want)
		})
	}
}
