package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
)

// What nobody did, or somebody who may not, proves nothing until it is attested; what stands against a scope counts
// whoever says it.
func TestDoneByAStranger(t *testing.T) {
	for _, test := range []struct {
		name, by string
		kind     reprocessing.StepKind
		want     string // of the answer; empty for ready
		word     reprocessing.AttestedFrom
	}{
		{"who may", "T-01", reprocessing.Drying, "", ""},
		{"who may, in other letters", "t-01", reprocessing.Drying, "", ""},
		{"a lead", "L-01", reprocessing.Drying, "", ""},
		{"nobody", "", reprocessing.Drying, "(names nobody who did it", reprocessing.SignedForm},
		{"somebody whom nobody knows", "X-77", reprocessing.Drying, "(names X-77, who was not registered here", reprocessing.WhoDidIt},
		{"who judges", "H-01", reprocessing.Drying, "(names H-01, whose role was infection-prevention", reprocessing.WhoDidIt},
		{"from the procedure room", "N-01", reprocessing.Drying, "(names N-01, whose role was procedure-room", reprocessing.WhoDidIt},
		{"without a role", "R-01", reprocessing.Drying, "(names R-01, who had no role here", reprocessing.WhoDidIt},
		{"at the bedside", "N-01", reprocessing.PointOfUse, "", ""},
		{"at the bedside, whom nobody knows", "X-77", reprocessing.PointOfUse, "(names X-77", reprocessing.WhoDidIt},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.person("R-01", "porter")
			b.by = map[reprocessing.StepKind]string{test.kind: test.by}
			b.use()
			b.verification("30", "30", "30")
			b.finish()
			if test.want == "" {
				b.wantState(test.name, reprocessing.Ready, "")
				return
			}
			b.wantState(test.name, reprocessing.InReprocessing, test.want)
			b.pass(time.Minute)
			b.person("X-77", access.Technician) // whoever is registered afterwards was nobody here then
			b.wantState("registered since", reprocessing.InReprocessing, test.want)
			in := desk.Attested{Of: []ledger.ID{b.stepOf(test.kind)}, From: test.word}
			if test.word == reprocessing.SignedForm {
				in.Form = b.attach(desk.Entry{By: "L-01"}, photograph(), picture(t, 3, 4)).Record.ID
			}
			if _, err := b.attest(b.as("L-01", 0, access.Lead), in); err != nil {
				t.Fatal(err)
			}
			b.wantState("attested", reprocessing.Ready, "")
		})
	}
}

// A sample, a reading and the check of a meter prove nothing either where nobody who may did them.
func TestMeasuredByAStranger(t *testing.T) {
	for _, test := range []struct{ name, sampled, read, checked, want string }{
		{"who may", "T-01", "T-01", "T-01", ""},
		{"sampled by nobody here", "X-77", "T-01", "T-01", "it names X-77, who was not registered here"},
		{"read by nobody here", "T-01", "X-77", "T-01", "its reading names X-77, who was not registered here"},
		{"checked by nobody here", "T-01", "T-01", "X-77", "meter M-1 had no good check that counted"},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.targets()
			b.unchecked = true
			b.check(1000, 1, func(e *desk.Entry) { e.By = test.checked })
			b.use()
			for _, p := range points {
				s := b.take(p)
				s.By = test.sampled
				taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: test.sampled}, s) })
				at := b.pass(15 * time.Second)
				b.must(func(w *desk.Work) (desk.Receipt, error) {
					return w.Read(desk.Entry{By: test.read}, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: at})
				})
			}
			b.finish()
			if test.want == "" {
				b.wantState(test.name, reprocessing.Ready, "")
				return
			}
			b.wantState(test.name, reprocessing.InReprocessing, test.want)
		})
	}
}

// A role that somebody had when something was put on record counts for that for ever, and one that they got later never.
func TestRolesOfThatTime(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	done := b.at()
	b.pass(time.Hour)
	b.person("T-01", access.Auditor)
	b.wantState("they clean no more", reprocessing.Ready, "")
	if a := b.releaseAt(done, done); a.State != reprocessing.Ready {
		t.Errorf("as known then: %s", a.State)
	}
	b.use()
	b.wantState("after a use", reprocessing.InReprocessing, "whose role was auditor")
	if !strings.Contains(strings.Join(blocking(b.release()), "\n"), "T-01") {
		t.Error("nobody is named")
	}
}

// A sample and a reading that come in from paper after a long shift have to be attested.
func TestMeasuredAndWrittenDownLate(t *testing.T) {
	for _, test := range []struct {
		name          string
		sample, value time.Duration // after which each is written down
		want          string
	}{
		{"both at the end of the shift", 0, reprocessing.LateAfter - time.Hour, ""},
		{"the reading on the next day", 0, reprocessing.LateAfter + time.Minute, "its reading was written down more than 12h after it ended"},
		{"both on the next day", reprocessing.LateAfter + time.Minute, 0, "it was written down more than 12h after it ended"},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.use()
			var samples []sampling.Sample
			var at []unit.Instant
			for _, p := range points {
				b.checkMeter("M-1", b.at())
				samples = append(samples, b.take(p))
				at = append(at, b.pass(15*time.Second))
			}
			b.finish()
			b.pass(test.sample)
			var taken []ledger.ID
			for _, s := range samples {
				taken = append(taken, b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) }).Record.ID)
			}
			b.pass(test.value)
			for i, id := range taken {
				b.must(func(w *desk.Work) (desk.Receipt, error) {
					return w.Read(tech, desk.Reading{Sample: id, Meter: "M-1", Value: b.rlu("30"), At: at[i]})
				})
			}
			if test.want == "" {
				b.wantState(test.name, reprocessing.Ready, "")
				return
			}
			b.wantState(test.name, reprocessing.InReprocessing, test.want)
			word := func() error {
				_, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: taken, From: reprocessing.OwnAct})
				return err
			}
			if err := word(); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "picture of what showed it") {
				t.Errorf("attested without a picture: %v", err)
			}
			sheet := photograph()
			sheet.At = b.at()
			filed := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Attach(tech, sheet, picture(b, 4, 4)) }).Record.ID
			if err := word(); err != nil {
				t.Fatal(err)
			}
			b.wantState("attested", reprocessing.Ready, "")
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(both(desk.Entry{Corrects: filed, Reason: "of another scope"}))
			})
			b.wantState("the picture taken back", reprocessing.InReprocessing, test.want)
		})
	}
}
