package desk_test

import (
	"crypto/rand"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// urgent is why the patients of these tests cannot wait.
var urgent = reprocessing.Emergency{Reason: reprocessing.CannotWait, Words: "bleeds", Decided: "N-07"}

// press records an emergency use of the scope as somebody.
func (b *bench) press(a access.Actor, m reprocessing.Emergency, change ...func(*desk.Entry)) (r desk.Receipt, err error) {
	b.Helper()
	e := desk.Entry{ID: ledger.NewID(b.at(), rand.Reader)}
	for _, f := range change {
		f(&e)
	}
	err = b.desk.As(a).Do(b.Context(), func(w *desk.Work) (err error) {
		r, err = desk.InEmergency(w).RecordEmergency(e, "D-01", m)
		return err
	})
	return r, err
}

// pressed is press by nobody who has signed in.
func (b *bench) pressed() desk.Receipt {
	b.Helper()
	r, err := b.press(access.Actor{}, urgent)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func (b *bench) emergencies(unseen bool) (all []desk.EmergencyUse) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		all, err = v.Day().Emergencies(0, store.Forever, unseen)
		return err
	})
	return all
}

func (b *bench) completed(use ledger.ID, rest desk.Rest) desk.Receipt {
	b.Helper()
	return b.must(func(w *desk.Work) (desk.Receipt, error) {
		return desk.InEmergency(w).CompleteEmergency(desk.Entry{By: "N-01"}, use, rest)
	})
}

// An emergency use is a use: it puts a scope that was not ready on hold, whatever is recorded of it afterwards, and
// whatever arrives of the time before it.
func TestEmergencyUse(t *testing.T) {
	b := start(t)
	b.use() // cleaned, and not disinfected
	b.verification("30", "30", "30")
	b.pass(time.Minute)
	began := b.at()
	r := b.pressed()
	wantFollowed(t, "pressed", r, record.Hold)
	b.wantHeldFor("pressed", reprocessing.ExposureHold)
	u := body[reprocessing.Use](t, r.Record)
	if r.Record.By != "" || !u.Emergency.Unsigned || u.Start != began || u.End.Known() || u.Emergency.State != string(reprocessing.InReprocessing) ||
		!strings.Contains(u.Emergency.Short, "lacking: disinfection") || !strings.Contains(u.Emergency.Short, "on record: ") {
		t.Errorf("recorded by %q: %+v", r.Record.By, u)
	}
	all := b.emergencies(true)
	if len(all) != 1 || !slices.Equal(all[0].Lacking, []string{"its end", "the patient's number", "the procedure"}) ||
		len(all[0].Holds) != 1 || !all[0].Holds[0].Open {
		t.Errorf("listed as %+v", all)
	}
	b.pass(30 * time.Minute)
	done := b.completed(r.Record.ID, desk.Rest{End: b.at(), Procedure: "ERCP"})
	u = body[reprocessing.Use](t, done.Record)
	if u.Finishes != string(r.Record.ID) || u.Emergency.First != string(r.Record.ID) || u.Emergency.Decided != "N-07" || !u.Emergency.Unsigned {
		t.Errorf("completed as %+v", u)
	}
	b.wantHeldFor("completed", reprocessing.ExposureHold)
	all = b.emergencies(false)
	if len(all) != 1 || all[0].Record != done.Record.ID || all[0].First != r.Record.ID || !slices.Equal(all[0].Lacking, []string{"the patient's number"}) {
		t.Errorf("listed as %+v", all)
	}
	// What was missing then arrives, in time and proven: by itself it ends nothing.
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{
			Scope: "D-01", Kind: reprocessing.Disinfection, Start: began.Add(-30 * time.Second), End: began.Add(-2 * time.Second), By: "T-01", Result: reprocessing.Pass,
		})
	})
	b.wantHeldFor("evidence arrives", reprocessing.ExposureHold)
	b.reprocess()
	b.wantState("reprocessed", reprocessing.OnHold, "on hold (exposure)")
	wantRefused(t, b.liftBy(reprocessing.ExposureHold, "L-01", "L-02"), "infection prevention")
	b.rebuilt()
	b.wantState("from the ledger alone", reprocessing.OnHold, "on hold (exposure)")
	b.liftAll()
	b.wantState("lifted", reprocessing.Ready, "")
	if all = b.emergencies(false); all[0].Holds[0].Open {
		t.Errorf("a hold that was lifted: %+v", all[0].Holds)
	}
}

// Where only time is over, the answer says so, the hold is one for a record, and the list keeps what was said.
func TestEmergencyOneDayOver(t *testing.T) {
	b := start(t)
	b.reprocessed()
	until := b.release().Until
	b.pass(until.Sub(b.at()) + 24*time.Hour)
	b.ask(func(v desk.View) error {
		a, err := v.Day().AnswerNow("D-01", b.at(), store.Forever)
		if err == nil && (a.State == reprocessing.Ready || a.Short.Grade != reprocessing.OnlyTime || a.Short.Over != until) {
			t.Errorf("%s: %+v", a.State, a.Short)
		}
		return err
	})
	r := b.pressed()
	b.wantHeldFor("pressed", reprocessing.RecordHold)
	if u := body[reprocessing.Use](t, r.Record); !strings.Contains(u.Emergency.Short, "only time is over") {
		t.Errorf("it says %q", u.Emergency.Short)
	}
}

// Of a scope that is ready by all that is known an emergency use can be recorded; it places no hold.
func TestEmergencyOfAReadyScope(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Minute)
	if r := b.pressed(); len(r.Followed) > 0 {
		t.Errorf("followed by %+v", r.Followed)
	}
	b.wantHeldFor("pressed")
	if all := b.emergencies(true); len(all) != 1 || all[0].Emergency.State != string(reprocessing.Ready) || len(all[0].Holds) > 0 {
		t.Errorf("listed as %+v", all)
	}
}

// Nothing but a use from now on can be recorded by it: it replaces no record, ends no hold, names nobody as its author,
// and once is enough.
func TestEmergencyDoesNothingElse(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Minute)
	used := b.recordUse(reprocessing.Use{Start: b.at(), End: b.pass(time.Minute)})
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.DamageHold, By: "T-01", Reason: "a dent"})
	})
	b.pass(time.Minute)
	size := b.size()
	lead := b.as("L-01", 0, access.Lead)
	for name, try := range map[string]func() error{
		"in the place of a use":            func() error { return only(b.press(access.Actor{}, urgent, correcting(used.Record.ID))) },
		"in the place of a use, by a lead": func() error { return only(b.press(lead, urgent, correcting(used.Record.ID))) },
		"in the place of a hold":           func() error { return only(b.press(lead, urgent, correcting(hold.Record.ID))) },
		"under the id of a hold": func() error {
			return only(b.press(access.Actor{}, urgent, func(e *desk.Entry) { e.ID = hold.Record.ID }))
		},
		"under the id of a use": func() error {
			return only(b.press(access.Actor{}, urgent, func(e *desk.Entry) { e.ID = used.Record.ID }))
		},
		"for a reason of its own": func() error {
			return only(b.press(access.Actor{}, urgent, func(e *desk.Entry) { e.Because = []ledger.ID{hold.Record.ID} }))
		},
		"in a name that nobody has shown": func() error { return only(b.press(access.Actor{}, urgent, func(e *desk.Entry) { e.By = "L-01" })) },
		"without who decided": func() error {
			return only(b.press(access.Actor{}, reprocessing.Emergency{Reason: reprocessing.CannotWait}))
		},
		"for no reason": func() error { return only(b.press(access.Actor{}, reprocessing.Emergency{Decided: "N-07"})) },
		"for another reason, without words": func() error {
			return only(b.press(access.Actor{}, reprocessing.Emergency{Reason: reprocessing.OtherReason, Decided: "N-07"}))
		},
	} {
		if err := try(); err == nil {
			t.Errorf("%s: it was recorded", name)
		}
	}
	if got := b.size(); got != size {
		t.Errorf("%d records were written", got-size)
	}
	first := b.pressed()
	b.wantHeldFor("pressed", reprocessing.DamageHold, reprocessing.ExposureHold)
	b.pass(time.Minute)
	if _, err := b.press(access.Actor{}, urgent); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("pressed twice: %v", err)
	}
	if r, err := b.press(access.Actor{}, urgent, func(e *desk.Entry) { e.ID = first.Record.ID }); err != nil || r.Fresh {
		t.Errorf("sent twice: %v, fresh %v", err, r.Fresh)
	}
	b.pass(10 * time.Minute)
	if _, err := b.press(access.Actor{}, urgent); err != nil {
		t.Errorf("another one, later: %v", err)
	}
}

// That somebody decided so has happened: no record that takes the place of an emergency use makes it an ordinary one.
func TestEmergencyStaysOne(t *testing.T) {
	b := start(t)
	b.use()
	b.pass(time.Minute)
	began := b.at()
	r := b.pressed()
	ended := b.recordUse(reprocessing.Use{Start: began, End: b.pass(time.Minute), Finishes: string(r.Record.ID)})
	corrected := b.recordUse(reprocessing.Use{Start: began, End: b.pass(time.Minute), Finishes: string(r.Record.ID)}, correcting(ended.Record.ID))
	all := b.emergencies(false)
	if len(all) != 1 || all[0].Record != corrected.Record.ID || all[0].First != r.Record.ID || all[0].Emergency.Decided != "N-07" {
		t.Errorf("listed as %+v", all)
	}
	b.wantHeldFor("corrected", reprocessing.ExposureHold)
}

// Infection prevention says that it has seen one, each of them once, with a signature, and nothing else comes of it.
func TestEmergencySeen(t *testing.T) {
	b := start(t)
	b.use()
	b.pass(time.Minute)
	r := b.pressed()
	see := func(a access.Actor, use ledger.ID) (r desk.Receipt, err error) {
		err = b.desk.As(a).Do(t.Context(), func(w *desk.Work) (err error) {
			r, err = desk.InEmergency(w).SeeEmergency(desk.Entry{}, use, "asked the room")
			return err
		})
		return r, err
	}
	if _, err := see(b.as("L-01", 0, access.Lead), r.Record.ID); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("by a lead: %v", err)
	}
	if _, err := see(access.Operator("L-01"), r.Record.ID); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("at the machine, in the name of a lead: %v", err)
	}
	if _, err := see(b.as("H-01", time.Hour, access.InfectionPrevention), r.Record.ID); fault.CodeOf(err) != fault.Unsigned {
		t.Errorf("unsigned: %v", err)
	}
	if _, err := see(b.as("H-01", 0, access.InfectionPrevention), b.latest(record.Step)); err == nil {
		t.Error("a step was seen as an emergency use")
	}
	done := b.completed(r.Record.ID, desk.Rest{End: b.pass(time.Minute)})
	seen, err := see(b.as("H-01", 0, access.InfectionPrevention), done.Record.ID)
	if err != nil {
		t.Fatal(err)
	}
	b.wantHeldFor("seen", reprocessing.ExposureHold)
	all := b.emergencies(false)
	if len(b.emergencies(true)) != 0 || len(all[0].Seen) != 1 || all[0].Seen[0].By != "H-01" || all[0].Seen[0].Note != "asked the room" {
		t.Errorf("listed as %+v", all)
	}
	if _, err := see(access.Operator("H-01"), r.Record.ID); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("a second time: %v", err)
	}
	err = b.desk.As(access.Operator("L-01")).Do(t.Context(), func(w *desk.Work) error {
		return only(w.Void(desk.Entry{By: "L-01", Corrects: seen.Record.ID, Reason: "nobody saw it"}))
	})
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("taken back: %v", err)
	}
}

// A use of a file is the emergency use that was pressed while it went on, and paper brings in those that nobody pressed;
// the same file again changes nothing.
func TestEmergencyFromAFile(t *testing.T) {
	b := start(t)
	b.use()
	b.pass(10 * time.Minute)
	began := b.at()
	r := b.pressed()
	ended := b.pass(30 * time.Minute)
	b.reprocess()
	b.pass(time.Hour)
	other := b.at()
	b.pass(2 * time.Hour)
	stamp := func(at unit.Instant) string { return at.Time().Format(time.RFC3339) }
	file := "scope,start,end,procedure,patient,person,emergency,emergency_words,decided_by\n" +
		"D-01," + stamp(began.Add(-2*time.Minute)) + "," + stamp(ended) + ",ERCP,P-1,N-01,,,\n" +
		"D-01," + stamp(other) + "," + stamp(other.Add(20*time.Minute)) + ",ERCP,P-2,N-01,life,\"arrest, room 2\",N-08\n"
	for i := range 2 {
		out, err := b.desk.As(access.Operator("L-01")).
			Import(t.Context(), desk.File{Kind: desk.Uses, Name: "u.csv", Content: strings.NewReader(file), By: "L-01"}, false)
		if err != nil || i == 0 && out.Stored != 2 || i == 1 && (out.Stored != 0 || out.Known != 2) {
			t.Fatalf("time %d: %v, %+v", i+1, err, out)
		}
	}
	all := b.emergencies(false)
	if len(all) != 2 || all[1].First != r.Record.ID || all[1].Record == r.Record.ID || len(all[1].Lacking) > 0 || all[1].Emergency.Decided != "N-07" {
		t.Fatalf("listed as %+v", all)
	}
	if m := all[0].Emergency; m.Reason != reprocessing.LifeInDanger || m.Decided != "N-08" || m.Words != "arrest, room 2" || m.State == "" || m.Unsigned {
		t.Errorf("from paper: %+v", m)
	}
	for _, u := range all {
		if len(u.Holds) == 0 || !u.Holds[0].Open {
			t.Errorf("%s has no hold: %+v", u.Record, u.Holds)
		}
	}
}

// A use of which nobody knows the end goes on no longer; what proves the scope clean has to follow its beginning all the
// same, and a time that turns up later takes the place of what was not known.
func TestEmergencyEndNotKnown(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Minute)
	r := b.pressed()
	b.wantState("pressed", reprocessing.InReprocessing, "in use on a patient")
	b.pass(10 * time.Minute)
	wantRefused(t, b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) error {
		_, err := desk.InEmergency(w).CompleteEmergency(desk.Entry{By: "N-01"}, r.Record.ID, desk.Rest{EndNotKnown: true, End: b.at()})
		return err
	}), "There is a time, and that it is not known")
	done := b.completed(r.Record.ID, desk.Rest{EndNotKnown: true, Room: "2"})
	b.wantState("not known", reprocessing.InReprocessing, "point-of-use treatment")
	b.rebuilt()
	b.wantState("from the ledger alone", reprocessing.InReprocessing, "point-of-use treatment")
	b.reprocess()
	b.wantState("reprocessed", reprocessing.Ready, "")
	b.completed(done.Record.ID, desk.Rest{End: b.at().Add(-time.Second)})
	b.wantState("it ended after all that", reprocessing.InReprocessing, "")
	if all := b.emergencies(false); len(all) != 1 || all[0].EndNotKnown || !all[0].End.Known() {
		t.Errorf("listed as %+v", all)
	}
}
