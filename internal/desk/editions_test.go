package desk_test

import (
	"context"
	"crypto/rand"
	"errors"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// editions are those of a thing.
func (b *bench) editions(typ record.Kind, key string) (all []desk.Edition) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		all, err = v.Records().Editions(typ, key)
		return err
	})
	return all
}

// base is the edition that stands.
func (b *bench) base(typ record.Kind, key string) ledger.ID {
	b.Helper()
	e, ok := desk.Latest(b.editions(typ, key))
	if !ok {
		b.Fatalf("no %s %s", typ, key)
	}
	return ledger.ID(e.ID)
}

func (b *bench) newID() ledger.ID { return ledger.NewID(b.at(), rand.Reader) }

// because is an entry of a lead with a reason.
func because(reason string) desk.Entry { return desk.Entry{By: "L-01", Reason: reason} }

// Two people change the same meter: the second is told what the first has stored, and nothing is replaced
// unseen.
func TestEdit(t *testing.T) {
	b := start(t)
	edit := func(e desk.Entry, base ledger.ID, m quality.Meter) (r desk.Receipt, err error) {
		err = b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) (err error) {
			r, err = w.SettingUp().
				Edit(e, record.Meter, m.Code, base, m, w.Now(), func(at unit.Instant) (desk.Receipt, error) { return w.SettingUp().RegisterMeter(e, at, m) })
			return err
		})
		return r, err
	}
	old := b.base(record.Meter, "M-1")
	b.pass(time.Minute)
	first := because("serial read from its label")
	first.ID = b.newID()
	for i, fresh := range []bool{true, false} { // sent twice, also after some time
		r, err := edit(first, old, quality.Meter{Code: "M-1", System: "A", Serial: "7"})
		if err != nil || r.Fresh != fresh {
			t.Fatalf("sent %d times: fresh %t, %v", i+1, r.Fresh, err)
		}
		b.pass(time.Minute)
	}
	_, err := edit(because("other"), old, quality.Meter{Code: "M-1", System: "A", Serial: "8"})
	changed, ok := errors.AsType[*desk.ChangedError](err)
	if !ok || fault.CodeOf(err) != fault.Conflict {
		t.Fatalf("the second was not told: %v", err)
	}
	if changed.From.ID != string(old) || changed.Now.ID != string(first.ID) || len(changed.Meanwhile) != 1 || changed.Now.By != "L-01" ||
		changed.Now.Reason != first.Reason {
		t.Errorf("told %+v", changed)
	}
	for _, test := range []struct {
		name string
		base ledger.ID
		m    quality.Meter
		code fault.Code
		want string
	}{
		{"there already", "", quality.Meter{Code: "M-1", System: "A"}, fault.Conflict, "registered already"},
		{"not there", old, quality.Meter{Code: "M-9", System: "A"}, fault.NotFound, "does not stand"},
		{"nothing changed", first.ID, quality.Meter{Code: "M-1", System: "A", Serial: "7"}, fault.Invalid, "nothing is changed"},
		{"another record", b.base(record.Lot, "K|7"), quality.Meter{Code: "M-1", System: "B"}, fault.Invalid, "is no edition of this"},
		{"refused by the domain", "", quality.Meter{Code: "M-2"}, fault.Invalid, "give a code and the meter system"},
	} {
		if _, err := edit(because("why"), test.base, test.m); fault.CodeOf(err) != test.code || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %s: %s", test.name, err, test.code, test.want)
		}
	}
	if n := len(b.editions(record.Meter, "M-1")); n != 2 {
		t.Errorf("%d editions, want 2", n)
	}
	if r, err := edit(because("new"), "", quality.Meter{Code: "M-2", System: "A"}); err != nil || !r.Fresh {
		t.Errorf("a new one: %v", err)
	}
	b.rebuilt()
}

// A scope leaves for good and comes back: the release check says so, and what is not the facility's own is unproven
// again.
func TestRetireAndReinstate(t *testing.T) {
	b := start(t)
	tag := "D-01"
	left := b.pass(time.Minute)
	retire := func(base ledger.ID) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().Retire(because("scrapped"), tag, base, left)
		}
	}
	first := b.base(record.Instrument, tag)
	b.refused(t, []refusal{
		{
			"no reason",
			func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().Retire(lead, tag, first, left) },
			fault.Invalid,
			"scope D-01: say why it leaves",
		},
		{
			"no time",
			func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().Retire(because("x"), tag, first, 0) },
			fault.Invalid,
			"scope D-01: since when is it out of service?",
		},
		{"it is there", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().Reinstate(because("x"), tag, first, left)
		}, fault.Invalid, "scope D-01 is in service"},
		{
			"no such scope",
			func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().Retire(because("x"), "X", first, left) },
			fault.NotFound,
			"scope \"X\" is not registered\nhint: see what is registered",
		},
	})
	b.must(retire(first))
	if a := b.release(); a.State != reprocessing.OutOfService {
		t.Errorf("after it left the release check says %s", a.State)
	}
	b.pass(time.Hour)
	second := b.base(record.Instrument, tag)
	err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
		_, err := w.SettingUp().Reinstate(because("x"), tag, second, left-1)
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "before it left") {
		t.Errorf("back before it left: %v", err)
	}
	back := b.pass(time.Hour)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Reinstate(because("found again"), tag, second, back)
	})
	if a := b.release(); a.State == reprocessing.OutOfService {
		t.Error("after it came back the release check says out")
	}
	if _, err := desk.BodyOf[scope.Instrument](b.editions(record.Instrument, tag)[2]); err != nil {
		t.Error(err)
	}
}

func TestRecall(t *testing.T) {
	b := start(t)
	base := b.base(record.Lot, "K|7")
	since := b.pass(time.Minute)
	b.refused(t, []refusal{
		{
			"no reason",
			func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().Recall(lead, "K|7", base, since) },
			fault.Invalid,
			"lot 7 of kit K: say why it is recalled",
		},
		{
			"no time",
			func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().Recall(because("x"), "K|7", base, 0) },
			fault.Invalid,
			"lot 7 of kit K: since when is it recalled?",
		},
	})
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("the maker asks for it back"), "K|7", base, since)
	})
	b.ask(func(v desk.View) error {
		lots, err := v.Day().Lots()
		if err == nil && (lots[0].Fault(since) == "" || lots[0].Fault(since-1) != "") {
			t.Errorf("lot %+v: %q, before %q", lots[0], lots[0].Fault(since), lots[0].Fault(since-1))
		}
		return err
	})
	again := b.base(record.Lot, "K|7")
	b.refused(t, []refusal{{"recalled twice", func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("x"), "K|7", again, since)
	}, fault.Invalid, "lot 7 of kit K is recalled already"}})
}

// A meter that left is not used any more.
func TestRetiredMeter(t *testing.T) {
	b := start(t)
	b.targets()
	b.check(1000, 2)
	if s := b.meter(); s.Condition != quality.Checked {
		t.Fatalf("before: %+v", s)
	}
	at := b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(lead, at, quality.Meter{Code: "M-1", System: "A", Retired: at})
	})
	if s := b.meter(); s.Condition == quality.Checked || !strings.Contains(s.Why, "out of service since") {
		t.Errorf("after: %+v", s)
	}
	b.ask(func(v desk.View) error {
		all, err := v.Day().MeterStandings(b.at())
		if err == nil && len(all) != 0 {
			t.Errorf("the bench knows %+v", all)
		}
		return err
	})
}

// rulesEditions are the editions of the rule set with how many verifications each decided.
func (b *bench) rulesEditions() (all []desk.RulesEdition, decided []int) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		if all, err = v.Registry().RulesEditions(); err != nil {
			return err
		}
		verifications, err := v.Registry().Decided()
		for _, e := range all {
			decided = append(decided, verifications[e.Cite])
		}
		return err
	})
	return all, decided
}

// An adopted rule set has an edition of its own; verifications count for the one that decided them.
func TestAdoptFrom(t *testing.T) {
	b := start(t)
	text := func(edition, cleanings string) []byte {
		changed, err := policy.Amend(
			policy.Preset(),
			policy.Amendment{Path: []string{"edition"}, Value: edition, Text: true},
			policy.Amendment{Path: []string{"reading", "cleanings"}, Value: cleanings},
		)
		if err != nil {
			t.Fatal(err)
		}
		return changed
	}
	b.use()
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	first := b.base(record.Rules, "rules")
	adopt := func(e desk.Entry, base ledger.ID, text []byte) error {
		return b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
			_, _, err := w.SettingUp().AdoptFrom(e, base, desk.Adoption{Name: "rules", Text: text})
			return err
		})
	}
	for _, test := range []struct {
		name string
		e    desk.Entry
		base ledger.ID
		text []byte
		want string
	}{
		{"no reason", lead, first, text("2", "2"), "say why"},
		{"no rules", because("x"), first, []byte("name: x\n"), "edition must be given"},
		{"an edition that there is, with other rules", because("x"), first, text("2026-1", "2"), "was adopted before with other rules"},
		{"the same once more", because("x"), first, policy.Preset(), "nothing is changed"},
	} {
		if err := adopt(test.e, test.base, test.text); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %q", test.name, err, test.want)
		}
	}
	b.pass(time.Minute)
	if err := adopt(because("after the review"), first, text("2026-2", "2")); err != nil {
		t.Fatal(err)
	}
	if err := adopt(because("at the same time"), first, text("2026-3", "2")); !errors.As(err, new(*desk.ChangedError)) {
		t.Errorf("the second adopter was not told: %v", err)
	}
	b.pass(time.Minute)
	b.use()
	b.clean()
	b.verification("30", "30", "30")
	all, decided := b.rulesEditions()
	var verifications int
	b.ask(func(v desk.View) error {
		last, err := v.Day().LastVerifications(100)
		verifications = len(last)
		for _, d := range last {
			if d.Last >= all[1].From && !strings.HasSuffix(d.Rules, "edition 2026-2") {
				t.Errorf("a cleaning verification after the adoption was decided by %s", d.Rules)
			}
		}
		return err
	})
	if len(all) != 2 || decided[0] == 0 || decided[1] == 0 || decided[0]+decided[1] != verifications {
		t.Errorf("%d editions decided %v of %d cleaning verifications", len(all), decided, verifications)
	}
	b.rebuilt()
	if all[0].From != 0 || all[0].Until != all[1].From || all[1].Until != store.Forever {
		t.Errorf("times %v to %v, %v to %v", all[0].From, all[0].Until, all[1].From, all[1].Until)
	}
}

// What is missing before a first test is told in order, and gone once it is there.
func TestSetUp(t *testing.T) {
	now := func(b *bench) map[desk.Part]desk.PartState {
		b.Helper()
		all := map[desk.Part]desk.PartState{}
		b.ask(func(v desk.View) error {
			list, err := v.Registry().SetUp(b.at())
			for i, s := range list {
				all[s.Part] = s
				if s.Part != desk.Parts[i] {
					t.Errorf("%s stands at %d", s.Part, i)
				}
			}
			return err
		})
		return all
	}
	missing := func(b *bench) string {
		b.Helper()
		var all []string
		for _, p := range desk.Parts {
			for _, m := range now(b)[p].Missing {
				all = append(all, string(p)+": "+m)
			}
		}
		return strings.Join(all, "\n")
	}
	b := start(t)
	if got, want := missing(b), strings.Join([]string{
		"people: Nobody has an account who may sample: make one.",
		"meters: Meter system A has no target of a control, so no check of it can be judged.",
		"meters: No meter holds a good check: check one.",
	}, "\n"); got != want {
		t.Errorf("missing:\n%s\nwant:\n%s", got, want)
	}
	b.targets()
	b.check(1000, 2)
	door := identity.NewDoor(b.desk.DB, access.Cost{Memory: 8, Passes: 1, Lanes: 1})
	if _, _, err := door.AddAccount(
		t.Context(),
		identity.Entry{Actor: access.Operator("A-01")},
		identity.NewAccount{Code: "T-01", Name: "T", Roles: []access.Role{access.Technician}, Password: "crumb lantern oboe drift"},
	); err != nil {
		t.Fatal(err)
	}
	if got := missing(b); got != "" {
		t.Errorf("missing although all is there:\n%s", got)
	}
	if s := now(b)[desk.PeoplePart]; len(s.Look) != 1 || !strings.Contains(s.Look[0], "two people") {
		t.Errorf("people: %+v", s)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("x"), "K|7", b.base(record.Lot, "K|7"), b.at())
	})
	if s := now(b); len(s[desk.KitsPart].Missing) != 1 || len(s[desk.LevelsPart].Missing) == 0 {
		t.Errorf("without a lot: %+v and %+v", s[desk.KitsPart], s[desk.LevelsPart])
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Retire(because("x"), "D-01", b.base(record.Instrument, "D-01"), b.at())
	})
	if s := now(b)[desk.FleetPart]; len(s.Missing) != 1 || s.Has != "0 scopes in service" {
		t.Errorf("without a scope: %+v", s)
	}
}

// A site that has nothing yet is told all of it, and nothing fails.
func TestSetUpOfNothing(t *testing.T) {
	db, err := sqlite.Folder(t.TempDir()).
		Create(t.Context(), record.SiteBody{Code: "S1", Name: "Test", Zone: "UTC", Origin: "test.example/s1"}, storetest.NewClock().Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	err = desk.New(db).View(t.Context(), func(v desk.View) error {
		all, err := v.Registry().SetUp(v.Now())
		for _, s := range all {
			if len(s.Missing) == 0 || s.Has == "" {
				t.Errorf("%+v", s)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
