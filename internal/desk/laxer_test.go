package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
)

// edited is the preset as another edition with values of steps changed: pairs of a path below the steps and a value.
func (b *bench) edited(edition string, pairs ...string) []byte {
	b.Helper()
	all := []policy.Amendment{{Path: []string{"edition"}, Value: edition, Text: true}}
	for i := 0; i < len(pairs); i += 2 {
		all = append(all, policy.Amendment{Path: append([]string{"reprocessing", "steps"}, strings.Split(pairs[i], "/")...), Value: pairs[i+1]})
	}
	text, err := policy.Amend(policy.Preset(), all...)
	if err != nil {
		b.Fatal(err)
	}
	return text
}

// adopted tries to adopt a rule set.
func (b *bench) adopted(a desk.Adoption) error {
	b.Helper()
	b.pass(time.Minute)
	a.At, a.Name = b.at(), "rules"
	return b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
		_, _, err := w.SettingUp().AdoptRules(lead, a)
		return err
	})
}

// An edition that asks for less takes two; one that asks for more, or says the same, takes one.
func TestLaxerRulesTakeTwo(t *testing.T) {
	b := start(t)
	lax := b.edited("2", "inspection/required", "no")
	wantRefused(t, b.adopted(desk.Adoption{Text: lax}), "asks for less than before: inspection: may be left out")
	wantRefused(t, b.adopted(desk.Adoption{Text: lax, Second: " l-01"}), "the second person must be somebody else")
	if err := b.adopted(desk.Adoption{Text: lax, Second: "X-99"}); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("with somebody whom nobody knows: %v", err)
	}
	wantRefused(t, b.adopted(desk.Adoption{Text: policy.Preset(), Slip: true}), "a slip takes two people")
	if err := b.adopted(desk.Adoption{Text: lax, Second: "L-02"}); err != nil {
		t.Fatal(err)
	}
	if err := b.adopted(desk.Adoption{Text: b.edited("3")}); err != nil {
		t.Errorf("one that asks for more: %v", err)
	}
	if err := b.adopted(desk.Adoption{Text: b.edited("4")}); err != nil {
		t.Errorf("one that says the same: %v", err)
	}
}

// A laxer edition serves only what begins after it; of a cycle under way the one before it is asked as well, as it was known
// then too, and the next cycle goes by the laxer one alone. Where two took the one before for a slip it does not count.
func TestLaxerRulesServeWhatBeginsAfterThem(t *testing.T) {
	for _, slip := range []bool{false, true} {
		b := start(t)
		b.pass(time.Second)
		if err := b.adopted(desk.Adoption{Text: b.edited("2", "transport/required", "yes")}); err != nil {
			t.Fatal(err)
		}
		b.reprocessed()
		const why = "transport is not on record"
		b.wantNow("under the strict one", reprocessing.InReprocessing, why)
		asked := b.at()
		if err := b.adopted(desk.Adoption{Text: b.edited("3"), Second: "L-02", Slip: slip}); err != nil {
			t.Fatal(err)
		}
		if slip {
			b.wantNow("the strict one was a slip", reprocessing.Ready)
			if a := b.releaseAt(asked, asked); a.State != reprocessing.InReprocessing {
				t.Errorf("as known then: %s", a.State)
			}
			continue
		}
		b.wantNow("in the cycle that goes on", reprocessing.InReprocessing, why+"; so the rules asked that were in force in this cycle")
		b.pass(time.Hour)
		b.reprocessed()
		b.liftAll() // of the use of a scope that was not ready
		b.wantNow("in the next cycle", reprocessing.Ready)
	}
}

// What an edition asked while it was in force counts for the cycle under way also once it is taken back; and it cannot be
// taken back where less would be asked then.
func TestStrictRulesAreNotTakenBack(t *testing.T) {
	b := start(t)
	b.pass(time.Second)
	if err := b.adopted(desk.Adoption{Text: b.edited("2", "transport/required", "yes")}); err != nil {
		t.Fatal(err)
	}
	var strict ledger.ID
	b.ask(func(v desk.View) error {
		all, err := v.Registry().RulesEditions()
		strict = ledger.ID(all[len(all)-1].ID)
		return err
	})
	void := func(id ledger.ID) error {
		return b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
			_, err := w.Void(desk.Entry{By: "L-01", Corrects: id, Reason: "not meant"})
			return err
		})
	}
	if err := void(strict); fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), "which asks for less: transport: may be left out") {
		t.Errorf("the strict one: %v", err)
	}
	if err := b.adopted(desk.Adoption{Text: b.edited("3"), Second: "L-02"}); err != nil {
		t.Fatal(err)
	}
	b.ask(func(v desk.View) error {
		all, err := v.Registry().RulesEditions()
		lax := all[len(all)-1]
		if body, bodyErr := desk.BodyOf[record.RulesBody](lax.Edition); bodyErr != nil || body.Second != "L-02" || body.Slip != "" {
			t.Errorf("%+v %v", body, bodyErr)
		}
		strict = ledger.ID(lax.ID)
		return err
	})
	if err := void(strict); err != nil {
		t.Errorf("the laxer one: %v", err)
	}
}

// An edition that two took another for a slip by is stored once, however often it is sent.
func TestSlipSentTwice(t *testing.T) {
	b := start(t)
	e := desk.Entry{ID: ledger.DerivedID("adoption"), By: "L-01"}
	a := desk.Adoption{Text: b.edited("2", "inspection/required", "no"), Name: "rules", At: b.at(), Second: "L-02", Slip: true}
	for i := range 2 {
		b.pass(time.Minute)
		r := b.must(func(w *desk.Work) (desk.Receipt, error) {
			r, _, err := w.SettingUp().AdoptRules(e, a)
			return r, err
		})
		if r.Fresh != (i == 0) {
			t.Errorf("sending %d: fresh %t", i, r.Fresh)
		}
	}
}

// A lax edition is taken back where the one before it is stricter, whatever was in force long ago.
func TestLaxEditionIsTakenBack(t *testing.T) {
	b := start(t)
	b.pass(time.Second)
	for _, a := range []desk.Adoption{
		{Text: b.edited("2", "transport/required", "yes", "drying/required", "yes")},
		{Text: b.edited("3", "transport/required", "yes", "drying/required", "no"), Second: "L-02"},
	} {
		if err := b.adopted(a); err != nil {
			t.Fatal(err)
		}
	}
	b.ask(func(v desk.View) error {
		all, err := v.Registry().RulesEditions()
		if err != nil {
			return err
		}
		id := ledger.ID(all[len(all)-1].ID)
		return b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
			_, err := w.Void(desk.Entry{By: "L-01", Corrects: id, Reason: "not meant"})
			return err
		})
	})
}
