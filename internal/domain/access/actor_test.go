package access_test

import (
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

const midday = unit.Instant(1_772_449_200_000_000) // 2026-03-02 12:00 in Berlin

// somebody has a session since an hour and showed who they are a while ago.
func somebody(code string, ago time.Duration, roles ...access.Role) access.Actor {
	return access.Recognised(code, roles, access.ByPassword, access.Times{Created: midday.Add(-time.Hour), Seen: midday, Proved: midday.Add(-ago)})
}

func TestCheck(t *testing.T) {
	lift := access.Act{What: "lift holds", Needs: []access.Permission{access.LiftHold}, Signed: true}
	both := access.Act{What: "do both", Needs: []access.Permission{access.PlaceHold, access.SeeNumbers}}
	either := access.Act{What: "do either", Needs: []access.Permission{access.SeeBoard}, Either: []access.Permission{access.Adopt, access.CheckMeter}}
	locked := access.Recognised("L-01", []access.Role{access.Lead}, access.ByPassword, access.Times{Created: midday, Seen: midday, Proved: midday, Locked: true})
	for _, test := range []struct {
		reason string
		actor  access.Actor
		act    access.Act
		want   fault.Code
	}{
		{"the role allows it and it is signed", somebody("L-01", 0, access.Lead), lift, ""},
		{"just before the proof is too old", somebody("L-01", access.ProofHolds-1*time.Microsecond, access.Lead), lift, ""},
		{"the proof is too old", somebody("L-01", access.ProofHolds, access.Lead), lift, fault.Unsigned},
		{"a locked session signs nothing", locked, lift, fault.Unsigned},
		{"a role that does not allow it, signed or not", somebody("T-01", 0, access.Technician), lift, fault.Forbidden},
		{"no role", somebody("T-01", 0), lift, fault.Forbidden},
		{"nobody", access.Actor{}, lift, fault.Forbidden},
		{
			"roles without a code are nobody's",
			access.Recognised("", []access.Role{access.Lead}, access.ByPassword, access.Times{Created: midday, Seen: midday, Proved: midday}),
			lift, fault.Forbidden,
		},
		{"whoever can open the data folder", access.Operator("X-99"), lift, ""},
		{"a scribe", access.Scribe(), lift, ""},
		{"one of two permissions", somebody("T-01", 0, access.Technician), both, fault.Forbidden},
		{"both, from two roles", somebody("T-01", 0, access.Technician, access.Analyst), both, ""},
		{"one of either", somebody("T-01", 0, access.Technician), either, ""},
		{"none of either", somebody("V-01", 0, access.Auditor), either, fault.Forbidden},
		{"either without what is always needed", somebody("N-01", 0, access.ProcedureRoom), either, fault.Forbidden},
		{"an act that says nothing is nobody's", somebody("L-01", 0, access.Roles...), access.Act{What: "something"}, fault.Forbidden},
		{"what anybody does, as nobody", access.Actor{}, access.Act{What: "sign in", Anybody: true}, ""},
		{"what is one's own", somebody("X-01", time.Hour), access.Act{What: "end a session", Own: true}, ""},
		{"what is one's own, as nobody", access.Actor{}, access.Act{What: "end a session", Own: true}, fault.Forbidden},
	} {
		if got := fault.CodeOf(test.actor.Check(test.act, midday)); got != test.want {
			t.Errorf("%s: code %q, want %q", test.reason, got, test.want)
		}
	}
	if got, want := lift.Roles(), []access.Role{access.Lead, access.InfectionPrevention}; !slices.Equal(got, want) {
		t.Errorf("roles that lift holds: %v, want %v", got, want)
	}
}

// What somebody may is fixed when they are recognised.
func TestActorsDoNotChange(t *testing.T) {
	roles := []access.Role{access.Technician}
	a := access.Recognised("T-01", roles, access.ByPassword, access.Times{Created: midday, Seen: midday, Proved: midday})
	roles[0] = access.Lead
	if a.Has(access.LiftHold) {
		t.Error("the roles of an actor changed with the list that they were given in")
	}
}

func TestTakeBack(t *testing.T) {
	reading := access.Act{Name: "Read", What: "record a reading", Needs: []access.Permission{access.RecordStep}}
	hold := access.Act{Name: "PlaceHold", What: "place a hold", Needs: []access.Permission{access.PlaceHold}}
	level := access.Act{Name: "AdoptLevel", What: "adopt a level", Needs: []access.Permission{access.Adopt}, Signed: true}
	model := access.Act{Name: "RegisterModel", What: "register a model", Needs: []access.Permission{access.ManageFleet}}
	entered := func(by string, ago time.Duration, act access.Act) access.Entered {
		return access.Entered{By: by, Recorded: midday.Add(-ago), Act: act}
	}
	followed := entered("T-01", time.Minute, reading)
	followed.Followed = true
	const signed, stale = 0, access.ProofHolds
	for _, test := range []struct {
		reason string
		actor  access.Actor
		old    access.Entered
		want   fault.Code
	}{
		{"a slip of one's own", somebody("T-01", stale, access.Technician), entered("T-01", access.Slip-time.Microsecond, reading), ""},
		{"codes that differ in case are one", somebody("t-01", stale, access.Technician), entered("T-01", time.Minute, reading), ""},
		{"one's own after ten minutes", somebody("T-01", stale, access.Technician), entered("T-01", access.Slip, reading), fault.Unsigned},
		{"one's own after ten minutes, signed", somebody("T-01", signed, access.Technician), entered("T-01", access.Slip, reading), ""},
		{"one's own, and something followed", somebody("T-01", stale, access.Technician), followed, fault.Unsigned},
		{"one's own, from later than now", somebody("T-01", stale, access.Technician), entered("T-01", -time.Minute, reading), fault.Unsigned},
		{"somebody else's", somebody("T-02", signed, access.Technician), entered("T-01", time.Minute, reading), fault.Forbidden},
		{"nobody's", somebody("T-02", signed, access.Technician), entered("", time.Minute, reading), fault.Forbidden},
		{"nobody's, by nobody", access.Actor{}, entered("", time.Minute, reading), fault.Forbidden},
		{"somebody else's, by a lead", somebody("L-01", stale, access.Lead), entered("T-01", time.Minute, reading), fault.Unsigned},
		{"somebody else's, by a lead, signed", somebody("L-01", signed, access.Lead), entered("T-01", time.Hour, reading), ""},
		{"one's own, by a role that may no more write it", somebody("T-01", signed, access.Analyst), entered("T-01", time.Minute, reading), fault.Forbidden},
		{"one's own hold", somebody("H-01", stale, access.InfectionPrevention), entered("H-01", time.Minute, hold), ""},
		{"a level that one has adopted", somebody("H-01", signed, access.InfectionPrevention), entered("H-01", time.Minute, level), fault.Forbidden},
		{"a level that a lead has adopted a moment ago", somebody("L-01", stale, access.Lead), entered("L-01", time.Minute, level), fault.Unsigned},
		{"what describes the facility, by its author", somebody("A-01", signed, access.Administrator), entered("A-01", time.Minute, model), fault.Forbidden},
		{"what nobody writes", somebody("T-01", signed, access.Technician), entered("T-01", time.Minute, access.Act{}), fault.Forbidden},
		{"by whoever can open the data folder", access.Operator("X-99"), entered("T-01", time.Hour, level), ""},
	} {
		if got := fault.CodeOf(test.actor.CheckTakeBack(test.old, midday)); got != test.want {
			t.Errorf("%s: code %q, want %q", test.reason, got, test.want)
		}
		if may := test.actor.MayTakeBack(test.old); may != (test.want != fault.Forbidden) {
			t.Errorf("%s: may take it back: %v", test.reason, may)
		}
	}
}

// At the machine somebody who has a password shows it to sign; a proof is that of one person, and grows old.
func TestOperatorShowsThePassword(t *testing.T) {
	t.Parallel()
	const now = unit.Instant(3_600_000_000)
	proof := func(code string, at unit.Instant) access.Actor {
		return access.Recognised(code, nil, access.ByPassword, access.Times{Created: at, Seen: at, Proved: at})
	}
	lead := []access.Role{access.Lead}
	tests := []struct {
		name  string
		actor access.Actor
		want  bool
	}{
		{"before there is a start", access.Operator("L-01"), true},
		{"without a password", access.Operator("L-01").Bound(lead, false), true},
		{"with one that was not shown", access.Operator("L-01").Bound(lead, true), false},
		{"shown", access.Operator("L-01").Having(proof("l-01", now)).Bound(lead, true), true},
		{"shown by somebody else", access.Operator("L-01").Having(proof("H-01", now)).Bound(lead, true), false},
		{"shown long ago", access.Operator("L-01").Having(proof("L-01", now.Add(-access.ProofHolds))).Bound(lead, true), false},
		{"named only", access.Operator("L-01").Having(access.Operator("L-01")).Bound(lead, true), false},
	}
	for _, test := range tests {
		if got := test.actor.Signs(now); got != test.want {
			t.Errorf("%s: signs %t, want %t", test.name, got, test.want)
		}
	}
	a := access.Operator("L-01").Having(proof("H-01", now))
	if !a.Showed("H-01", now) || a.Showed("L-01", now) || a.Showed("", now) {
		t.Errorf("%+v", a)
	}
	if access.Recognised("L-01", lead, access.ByPassword, access.Times{}).Having(proof("H-01", now)).Showed("H-01", now) {
		t.Error("somebody who has signed in brings others along")
	}
}
