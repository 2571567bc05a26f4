package desk_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// closed closes the records and returns their folder.
func (b *bench) closed() sqlite.Folder {
	b.Helper()
	home := b.desk.DB.Home().(sqlite.Folder)
	if err := b.desk.DB.Close(); err != nil {
		b.Fatal(err)
	}
	return home
}

// opened opens a folder in place of the records that were closed.
func (b *bench) opened(home sqlite.Folder) {
	b.Helper()
	db, err := home.Open(context.Background(), b.now.Now)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	b.desk = desk.New(db)
}

// sayRestored puts on record, as the operator, that the records are a copy that was put back by hand.
func (b *bench) sayRestored() {
	b.Helper()
	b.pass(time.Second)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Care().SayRestored(desk.Entry{By: "L-01"}, reprocessing.InPlace, 0)
	})
}

// cheapDoor lets people in quickly.
func (b *bench) cheapDoor() *identity.Door {
	return identity.NewDoor(b.desk.DB, access.Cost{Memory: 8, Passes: 1, Lanes: 1})
}

const leadsPassword = "crumb lantern oboe drift"

// lead makes an account of a lead, by which a name at the machine is known to be one.
func (b *bench) lead(code string) {
	b.Helper()
	_, _, err := b.cheapDoor().AddAccount(b.Context(), identity.Entry{Actor: access.Operator("A-01")},
		identity.NewAccount{Code: code, Name: code, Roles: []access.Role{access.Lead}, Password: leadsPassword})
	if err != nil {
		b.Fatal(err)
	}
}

// unknown are the scopes that the last restore leaves not known.
func (b *bench) unknown() (tags []string) {
	b.Helper()
	b.ask(func(v desk.View) error {
		r, err := v.Day().Restored(b.at())
		if r != nil {
			for _, s := range r.Scopes {
				tags = append(tags, s.Scope)
			}
		}
		return err
	})
	return tags
}

const lost = "what happened in between is not on record"

// A restore ends all sessions and leaves every scope not known; two people say that nothing happened, which ends no hold;
// and a whole cycle makes a scope ready without them.
func TestSayRestored(t *testing.T) {
	b := start(t)
	b.lead("L-01")
	b.reprocessed()
	b.pass(time.Hour)
	b.wantNow("before", reprocessing.Ready)
	pass, err := b.cheapDoor().SignIn(t.Context(), "L-01", leadsPassword, identity.Source{})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := b.cheapDoor().Session(t.Context(), pass.Token, true); err != nil || v.State != access.Active {
		t.Fatalf("%v, %v", v.State, err)
	}
	b.sayRestored()
	if v, err := b.cheapDoor().Session(t.Context(), pass.Token, true); err == nil && v.State == access.Active {
		t.Errorf("a session outlives a restore: %v", v.State)
	}
	b.wantNow("restored", reprocessing.NotKnown, lost)
	if got := b.unknown(); !slices.Contains(got, "D-01") {
		t.Errorf("not known: %q", got)
	}
	b.rebuilt()
	b.wantNow("from rebuilt tables", reprocessing.NotKnown, lost)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Care().SayNothingSince(desk.Entry{By: "L-01"}, []string{"D-01", "D-01"}, reprocessing.ByAsking, "L-02")
	})
	b.wantNow("nothing happened", reprocessing.Ready)
	if got := b.unknown(); slices.Contains(got, "D-01") {
		t.Errorf("not known: %q", got)
	}
	b.sayRestored()
	b.wantNow("restored again", reprocessing.NotKnown, lost)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Care().SayNothingSince(desk.Entry{By: "L-01"}, []string{"D-01"}, reprocessing.ByAsking, "L-02")
	})
	b.wantNow("with a hold", reprocessing.OnHold, "smells")
}

// A cycle after the restore that is whole, with its soak, makes ready; one that lacks the soak does not.
func TestCycleAfterARestore(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Hour)
	b.sayRestored()
	b.pass(time.Minute)
	b.step(reprocessing.LeakTest, 5*time.Minute, func(s *reprocessing.Step) { s.Result = reprocessing.Pass })
	b.step(reprocessing.Soak, 15*time.Minute, nil)
	b.clean()
	b.verification("30", "30", "30")
	b.wantNow("not to the end", reprocessing.NotKnown, lost)
	b.finish()
	b.wantNow("a whole cycle", reprocessing.Ready)

	b.sayRestored()
	b.pass(time.Minute)
	b.step(reprocessing.LeakTest, 5*time.Minute, func(s *reprocessing.Step) { s.Result = reprocessing.Pass })
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantNow("without a soak", reprocessing.NotKnown, "no soak for delayed reprocessing")
	b.pass(time.Minute)
	b.reprocessed()
	b.wantNow("used and reprocessed as ever", reprocessing.OnHold, "a use began while the scope was not ready")
	b.wantHeldFor("used while nobody knew", reprocessing.ExposureHold)
	b.liftAll()
	b.wantNow("followed up", reprocessing.Ready)
}

// Who may say that nothing happened since the copy: two with the right to lift holds, of whom one is a lead.
func TestSayNothingSince(t *testing.T) {
	b := start(t)
	b.lead("L-01")
	b.person("I-01", access.InfectionPrevention)
	b.person("I-02", access.InfectionPrevention)
	attempt := func(a, second access.Actor, named string, known reprocessing.HowKnown, scopes ...string) error {
		return b.desk.As(a).Try(context.Background(), func(w *desk.Work) error {
			return only(w.Care().SayNothingSince(desk.Entry{Second: second}, scopes, known, named))
		})
	}
	lead, infection := b.as("L-01", 0, access.Lead), b.as("I-01", 0, access.InfectionPrevention)
	if err := attempt(lead, infection, "", reprocessing.ByPaper, "D-01"); err == nil || !strings.Contains(err.Error(), "no restore is on record") {
		t.Errorf("without a restore: %v", err)
	}
	b.sayRestored()
	for _, test := range []struct {
		name          string
		actor, second access.Actor
		named         string
		known         reprocessing.HowKnown
		scopes        []string
		want          fault.Code
		words         string
	}{
		{name: "a lead and infection prevention", actor: lead, second: infection},
		{name: "infection prevention and a lead", actor: infection, second: b.as("L-02", 0, access.Lead)},
		{name: "a lead alone", actor: lead, want: fault.Invalid, words: "the lead and a second person"},
		{name: "a lead twice", actor: lead, second: b.as("l-01", 0, access.Lead), want: fault.Invalid, words: "somebody else"},
		{name: "a lead and a technician", actor: lead, second: b.as("T-01", 0, access.Technician), want: fault.Forbidden},
		{name: "a technician", actor: b.as("T-01", 0, access.Technician), second: lead, want: fault.Forbidden},
		{
			name: "two without a lead", actor: infection, second: b.as("I-02", 0, access.InfectionPrevention), want: fault.Invalid,
			words: "answer for the reprocessing room",
		},
		{name: "with a second of long ago", actor: lead, second: b.as("L-02", access.ProofHolds, access.Lead), want: fault.Unsigned},
		{name: "a name alone", actor: lead, named: "I-01", want: fault.Unsigned, words: "has not shown"},
		{name: "two at the machine", actor: access.Operator("L-01"), named: "L-02"},
		{name: "two at the machine without a lead", actor: access.Operator("I-01"), named: "I-02", want: fault.Invalid, words: "answer for the reprocessing room"},
		{name: "nobody known at the machine", actor: access.Operator("L-01"), named: "X-77", want: fault.NotFound, words: "X-77"},
		{name: "no scope", actor: lead, second: infection, scopes: []string{}, want: fault.Invalid, words: "of which scopes?"},
		{name: "no such scope", actor: lead, second: infection, scopes: []string{"D-01", "Z-99"}, want: fault.NotFound, words: "Z-99"},
		{name: "by a feeling", actor: lead, second: infection, known: "felt", want: fault.Invalid, words: "locked-away"},
	} {
		if test.known == "" {
			test.known = reprocessing.ByPaper
		}
		if test.scopes == nil {
			test.scopes = []string{"D-01"}
		}
		err := attempt(test.actor, test.second, test.named, test.known, test.scopes...)
		if got := fault.CodeOf(err); got != test.want || test.want == "" && err != nil || test.words != "" && !strings.Contains(err.Error(), test.words) {
			t.Errorf("%s: %v, want the code %q with %q", test.name, err, test.want, test.words)
		}
	}
}

// An older folder is put back by hand: no scope is ready, whatever is recorded, until somebody has said so; the hold that
// came after the copy is gone, and its scope is not ready for all that.
func TestOlderFolderPutBackByHand(t *testing.T) {
	b := start(t)
	b.lead("L-01")
	b.reprocessed()
	b.pass(time.Hour)
	b.wantNow("before", reprocessing.Ready)
	home := b.closed()
	older := filepath.Join(t.TempDir(), "older")
	if err := os.CopyFS(older, os.DirFS(home.Dir())); err != nil {
		t.Fatal(err)
	}
	b.opened(home)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	b.wantNow("the hold", reprocessing.OnHold, "smells")
	size := b.size()
	b.closed()
	if err := os.RemoveAll(home.Dir()); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(home.Dir(), os.DirFS(older)); err != nil {
		t.Fatal(err)
	}
	b.opened(home)
	b.wantNow("put back", reprocessing.NotKnown, "this computer has seen a larger ledger")
	if a := b.releaseAt(b.at(), store.Forever); a.State != reprocessing.NotKnown {
		t.Errorf("asked for the instant as one of the past: %s", a.State)
	}
	if words := b.desk.Behind(); !strings.Contains(words, "These records are a copy") {
		t.Errorf("every page says %q", words)
	}
	b.pass(time.Minute)
	b.reprocessed()
	b.wantNow("reprocessed and not said so", reprocessing.NotKnown, "this computer has seen")
	err := b.desk.As(access.Operator("L-01")).Try(context.Background(), func(w *desk.Work) error {
		return only(w.Care().SayNothingSince(desk.Entry{}, []string{"D-01"}, reprocessing.ByPaper, "L-02"))
	})
	if fault.CodeOf(err) != fault.Conflict {
		t.Errorf("nothing since, before anybody said that it is a copy: %v", err)
	}
	b.sayRestored()
	b.wantNow("said so", reprocessing.NotKnown, lost)
	if words := b.desk.Behind(); words != "" {
		t.Errorf("every page still says %q", words)
	}
	b.ask(func(v desk.View) error {
		r, err := v.Day().Restored(b.at())
		if err == nil && (r.Note.Told != reprocessing.InPlace || r.Note.Size <= 0 || r.Note.Missing < 0 || size <= 0) {
			t.Errorf("%+v", r.Note)
		}
		return err
	})
	b.pass(time.Minute)
	b.reprocessed()
	b.wantNow("and reprocessed", reprocessing.OnHold, "a use began while the scope was not ready")
	b.liftAll()
	b.wantNow("and followed up", reprocessing.Ready)
}
