package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// A failure is taken back by a lead or infection prevention and a second person who took no part in it; until both have
// signed it stands, whoever asks and however.
func TestFailureIsTakenBackByTwo(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.step(reprocessing.LeakTest, 2*time.Minute, failed)
	wrong := b.latest(record.Step)
	step := reprocessing.Step{Scope: "D-01", Kind: reprocessing.LeakTest, Start: b.at().Add(-2 * time.Minute), End: b.at(), By: "T-01", Result: reprocessing.Pass}
	b.pass(access.Slip)
	lead, ip, technician := b.as("L-01", 0, access.Lead), b.as("H-01", 0, access.InfectionPrevention), b.as("T-01", 0, access.Technician)
	other := b.as("L-02", 0, access.Lead)
	ways := map[string]func(*desk.Work, desk.Entry) error{
		"voided": func(w *desk.Work, e desk.Entry) error { return only(w.Void(e)) },
	}
	for _, test := range []struct {
		reason    string
		by, agree access.Actor
		want      fault.Code
	}{
		{"its author", technician, lead, fault.Forbidden},
		{"a lead alone", lead, access.Actor{}, fault.Invalid},
		{"a lead and the author", lead, technician, fault.Forbidden},
		{"the same lead twice", lead, lead, fault.Invalid},
		{"a lead and another who showed it long ago", lead, b.as("L-02", access.ProofHolds, access.Lead), fault.Unsigned},
		{"a lead who has not signed", b.as("L-01", access.ProofHolds, access.Lead), other, fault.Unsigned},
		{"a lead and another", lead, other, ""},
		{"a lead and infection prevention", lead, ip, ""},
		{"infection prevention and a lead", ip, lead, ""},
		{"two at the machine", access.Operator("L-01"), access.Operator("L-02"), ""},
		{"two at the machine, of whom one is nobody here", access.Operator("L-01"), access.Operator("X-09"), fault.NotFound},
	} {
		for name, do := range ways {
			err := b.attempt(test.by, func(w *desk.Work) error {
				return do(w, desk.Entry{Corrects: wrong, Reason: "another scope", Second: test.agree})
			})
			if fault.CodeOf(err) != test.want || test.want == "" && err != nil {
				t.Errorf("%s by %s: %v, want the code %q", name, test.reason, err, test.want)
			}
		}
	}
	b.wantHeldFor("nobody has taken it back", reprocessing.LeakHold)
	// Its correction into a good one is the same: it takes two, and shows nothing by itself.
	correct := func(e desk.Entry) (r desk.Receipt, err error) {
		err = b.desk.As(access.Operator("L-01")).Do(t.Context(), func(w *desk.Work) (err error) {
			e.ID, e.Corrects, e.Reason = b.newID(), wrong, "typed wrong"
			r, err = w.RecordStep(e, step)
			return err
		})
		return r, err
	}
	if _, err := correct(desk.Entry{}); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "second person") {
		t.Errorf("corrected by one: %v", err)
	}
	r, err := correct(desk.Entry{Second: access.Operator("H-01")})
	if err != nil {
		t.Fatal(err)
	}
	if r.Record.Corrects != "" || !r.Taking.Two() || r.Taking.What != "a failed leak test" {
		t.Errorf("the correction: %+v", r)
	}
	var void ledger.Record
	b.ask(func(v desk.View) error {
		first, err := v.Show(string(wrong))
		if err != nil {
			return err
		}
		chain, err := v.Records().Chain(first)
		if len(chain) != 3 || chain[1].Type != record.Void || chain[2].ID != string(r.Record.ID) {
			t.Fatalf("its versions: %+v, %v", chain, err)
		}
		line, err2 := v.Show(chain[1].ID)
		void = ledger.Record{Type: string(line.Type), Body: line.Body, BodyVersion: 2}
		if err == nil {
			err = err2
		}
		return err
	})
	said := body[record.VoidBody](t, void)
	if said.Second != "H-01" || !slices.Equal(said.ByRoles, []access.Role{access.Lead}) ||
		!slices.Equal(said.SecondRoles, []access.Role{access.InfectionPrevention}) {
		t.Errorf("who signed: %+v", said)
	}
	b.wantHeldFor("taken back by two")
	b.rebuilt()
	b.wantHeldFor("from the ledger alone")
}

// A use of another scope takes its hold along: the hold followed from the use that two have taken back.
func TestUseOfAnotherScope(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
	b.pass(time.Hour)
	b.step(reprocessing.LeakTest, 2*time.Minute, passed) // wet again
	b.pass(time.Minute)
	pressed := b.pressed()
	b.wantHeldFor("used wet", reprocessing.ExposureHold)
	b.pass(access.Slip)
	use := body[reprocessing.Use](t, pressed.Record)
	use.Scope = "D-02"
	moved := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(both(desk.Entry{Corrects: pressed.Record.ID, Reason: "another scope was pressed for"}), use, "")
	})
	b.wantHeldFor("it was another scope")
	b.ask(func(v desk.View) error {
		held, err := v.OpenHolds("D-02", b.at())
		if len(held) != 1 || held[0].Of() != reprocessing.ExposureHold && held[0].Of() != reprocessing.RecordHold {
			t.Errorf("the scope that was used: %+v", held)
		}
		return err
	})
	if all := b.emergencies(true); len(all) != 1 || all[0].Record != moved.Record.ID || all[0].First != pressed.Record.ID || all[0].Scope != "D-02" {
		t.Errorf("the list of emergency uses: %+v", all)
	}
	b.rebuilt()
	b.wantHeldFor("from the ledger alone")
}

// What makes it worse is anybody's, at any time: a colleague's good reading was over, a step had failed after all.
func TestWorseIsAnybodys(t *testing.T) {
	b := start(t)
	b.use()
	last := b.verification("30", "30", "30")
	b.step(reprocessing.Drying, 2*time.Minute, passed)
	looked := b.latest(record.Step)
	b.pass(time.Hour)
	for _, test := range []struct {
		reason, value string
		id            ledger.ID
		field         string
		want          fault.Code
	}{
		{"a value that was over", "900", last.Record.ID, "value", ""},
		{"a value that was better", "10", last.Record.ID, "value", fault.Forbidden},
		{"a step that failed", "fail", looked, "result", ""},
		{"a step that was in another cabinet", "1", looked, "cabinet", fault.Forbidden},
	} {
		err := b.attempt(b.as("T-02", 0, access.Technician), func(w *desk.Work) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "seen on the display"}, test.id, map[string]string{test.field: test.value}))
		})
		if fault.CodeOf(err) != test.want || test.want == "" && err != nil {
			t.Errorf("%s: %v, want the code %q", test.reason, err, test.want)
		}
	}
	// So is evidence that was none.
	if err := b.attempt(b.as("T-02", 0, access.Technician), func(w *desk.Work) error {
		return only(w.Void(desk.Entry{Corrects: last.Record.ID, Reason: "it was another scope"}))
	}); err != nil {
		t.Errorf("evidence that was none: %v", err)
	}
}

// What speaks against a scope by its values is adverse like a failure: somebody who puts a value in its place that would
// count needs a second person, and what the two put there shows nothing by itself.
func TestValuesThatSpeakAgainst(t *testing.T) {
	b := start(t)
	b.technicians("T-01", "T-02")
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("before", reprocessing.Ready, "")
	end := func(id ledger.ID) string {
		return body[reprocessing.Step](t, b.record(id)).End.Add(-time.Minute).Time().In(b.desk.DB.Zone()).Format(desk.MendTime)
	}
	cleaning, drying := b.stepOf(reprocessing.ManualCleaning), b.stepOf(reprocessing.Drying)
	for _, test := range []struct {
		id           ledger.ID
		field, value string
	}{
		{cleaning, "end", end(cleaning)},
		{drying, "end", end(drying)},
		{b.stepOf(reprocessing.Disinfection), "disinfectant", "quick"},
		{b.stepOf(reprocessing.Disinfection), "disinfectant_lot", "L10"},
		{b.stepOf(reprocessing.Disinfection), "result", ""},
		{b.stepOf(reprocessing.Storage), "cabinet", "closed-cabinet"},
	} {
		for _, by := range []string{"T-02", "L-01", "T-01"} {
			err := b.attempt(access.Operator(by), func(w *desk.Work) error {
				return only(w.Mending().Correct(desk.Entry{Reason: "typed wrong"}, test.id, map[string]string{test.field: test.value}))
			})
			author := by == "T-01" && test.field == "cabinet" // the last act, a moment ago
			if author != (err == nil) || err != nil && !strings.Contains(err.Error(), "second person") {
				t.Errorf("%s of %s by %s alone: %v", test.field, test.id, by, err)
			}
		}
	}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Mending().Correct(both(desk.Entry{Reason: "typed wrong"}), drying, map[string]string{"end": end(drying)})
	})
	b.wantState("put right by two", reprocessing.InReprocessing, "drying")
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{r.Record.ID}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
}

// A storing that is put on record hours after a later one is laid over the time in which the scope hung nowhere: it shows
// nothing until somebody attests it.
func TestStorageLaidOverAGap(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: b.stepOf(reprocessing.Storage), Reason: "it hung nowhere"}))
	})
	dried := b.at()
	b.pass(5 * time.Hour)
	hangs := func(at unit.Instant) ledger.ID {
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordStep(tech, reprocessing.Step{Scope: "D-01", Kind: reprocessing.Storage, Start: at, By: "T-01", Cabinet: "drying-cabinet"})
		}).Record.ID
	}
	hangs(b.at())
	b.pass(access.Slip)
	before := b.release()
	if before.State == reprocessing.Ready {
		t.Fatalf("it hung nowhere for hours: %+v", before)
	}
	laid := hangs(dried.Add(time.Minute))
	if a := b.release(); a.State == reprocessing.Ready {
		t.Errorf("laid over the gap: %+v", a)
	}
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{laid}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
}

// The void of a failure is no slip, whatever is pictured.
func TestVoidOfAFailureIsNoSlip(t *testing.T) {
	b := start(t)
	b.technicians("T-01", "T-02")
	b.reprocessed()
	b.step(reprocessing.LeakTest, 2*time.Minute, failed)
	leak := b.latest(record.Step)
	shown := photograph()
	shown.Scope, shown.About, shown.At = "D-01", string(leak), b.at()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Attach(desk.Entry{By: "T-01"}, shown, picture(b, 4, 4))
	})
	for name, do := range map[string]func(*desk.Work) error{
		"void": func(w *desk.Work) error { return only(w.Void(desk.Entry{Corrects: leak, Reason: "slip"})) },
		"passed": func(w *desk.Work) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "slip"}, leak, map[string]string{"result": "pass"}))
		},
	} {
		if err := b.attempt(access.Operator("T-01"), do); err == nil || !strings.Contains(err.Error(), "second person") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Who says of a scope that is ready that something was not done makes it worse, and needs nobody for that. What was taken
// back comes back by its void, and shows nothing until it is attested.
func TestNotDoneIsAnybodys(t *testing.T) {
	b := start(t)
	b.technicians("T-01", "T-02")
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("before", reprocessing.Ready, "")
	b.pass(time.Hour)
	looked := b.stepOf(reprocessing.Inspection)
	gone := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-02", Corrects: looked, Reason: "it was not done"})
	})
	b.wantState("not done", reprocessing.InReprocessing, "inspection")
	err := b.attempt(access.Operator("T-02"), func(w *desk.Work) error {
		return only(w.Void(desk.Entry{Corrects: b.stepOf(reprocessing.Drying), Reason: "it was not done"}))
	})
	if err == nil || !strings.Contains(err.Error(), "second person") {
		t.Errorf("of a scope that is not ready: %v", err)
	}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: gone.Record.ID, Reason: "it was done"})
	})
	b.wantState("said again", reprocessing.InReprocessing, "inspection")
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{r.Record.ID}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
}

// The result of a check is said by who did it, or by who saw it end.
func TestResultIsSaidByItsDoer(t *testing.T) {
	b := start(t)
	b.use()
	begun := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{Scope: "D-01", Kind: reprocessing.LeakTest, Start: b.at(), By: "T-01"})
	}).Record.ID
	end := b.pass(2 * time.Minute).Time().In(b.desk.DB.Zone()).Format(desk.MendTime)
	finish := func(by string) error {
		return b.attempt(access.Operator(by), func(w *desk.Work) error {
			return only(w.Mending().Finish(desk.Entry{}, begun, map[string]string{"end": end, "result": "pass"}))
		})
	}
	if err := finish("T-02"); err != nil {
		t.Errorf("who saw it end: %v", err)
	}
	b.pass(6 * time.Hour)
	if err := finish("T-02"); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "T-01") {
		t.Errorf("somebody else, hours later: %v", err)
	}
	if err := finish("T-01"); err != nil {
		t.Errorf("who did it: %v", err)
	}
	// One without a result is the same.
	for by, want := range map[string]bool{"T-01": true, "T-02": false} {
		b.step(reprocessing.LeakTest, 2*time.Minute, nil)
		b.pass(time.Hour)
		err := b.attempt(access.Operator(by), func(w *desk.Work) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "forgot"}, b.latest(record.Step), map[string]string{"result": "pass"}))
		})
		if want != (err == nil) {
			t.Errorf("a missing result by %s: %v", by, err)
		}
	}
}

// A value is a slip only with the display pictured, filed with the reading.
func TestValueThatIsASlip(t *testing.T) {
	b := start(t)
	b.use()
	over := b.read(scope.OuterDistalEnd, "388")
	right := func() error {
		return b.attempt(b.as("T-01", access.ProofHolds, access.Technician), func(w *desk.Work) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "typed wrong"}, over.Record.ID, map[string]string{"value": "38"}))
		})
	}
	if err := right(); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "infection prevention") {
		t.Errorf("without a picture: %v", err)
	}
	b.pass(time.Minute)
	shown := photograph()
	shown.Scope, shown.About, shown.At = "D-01", string(over.Record.ID), b.at()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Attach(desk.Entry{By: "T-01"}, shown, picture(b, 4, 4))
	})
	if err := right(); err != nil {
		t.Errorf("with the display pictured: %v", err)
	}
	b.now.Move(over.Record.Recorded.Add(access.Slip).Sub(b.at()))
	if err := right(); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("ten minutes after: %v", err)
	}
}

// A verification of which every scan was of another scope is taken back as a whole; so is what was left of it.
func TestWholeVerificationIsTakenBack(t *testing.T) {
	for _, value := range []string{"30", "388"} {
		b := start(t)
		b.use()
		b.verification("30", value, "30")
		b.pass(time.Hour)
		id := b.latest(record.Verification)
		e := both(desk.Entry{ID: b.newID(), Corrects: id, Reason: "another scope was scanned"})
		r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Void(e) })
		b.ask(func(v desk.View) error {
			h, err := v.Around("D-01", b.at(), b.at(), store.Forever)
			if len(h.Samples) != 0 {
				t.Errorf("%s: %d samples are left", value, len(h.Samples))
			}
			return err
		})
		again := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Void(e) })
		if again.Fresh || again.Record.ID != r.Record.ID {
			t.Errorf("%s: sent again: %+v", value, again)
		}
		d := body[reprocessing.Decision](t, r.Followed[len(r.Followed)-1])
		if d.Verification.Complete || d.Verification.Outcome != reading.None || !d.First.Known() || !d.Last.Known() {
			t.Errorf("%s: what is decided then: %+v", value, d)
		}
		b.rebuilt()
		b.wantState("sampled again", b.release().State, "")
	}
}

// After a reading was voided its sample is read again, or voided too.
func TestSampleAfterItsReadingIsVoided(t *testing.T) {
	b := start(t)
	b.use()
	r := b.read(scope.OuterDistalEnd, "30")
	sample := ledger.ID(body[reading.Reading](t, r.Record).Sample)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: r.Record.ID, Reason: "of another sample"})
	})
	var ways desk.Ways
	b.ask(func(v desk.View) (err error) {
		ways, err = v.Records().Ways(sample)
		return err
	})
	if !ways.Void || len(ways.Finish) != 3 {
		t.Errorf("ways: %+v", ways)
	}
	for name, do := range map[string]func(*desk.Work) error{
		"read again": func(w *desk.Work) error {
			return only(w.Mending().Finish(desk.Entry{}, sample, map[string]string{"value": "31", "meter": "M-1"}))
		},
		"voided": func(w *desk.Work) error { return only(w.Void(desk.Entry{Corrects: sample, Reason: "dropped"})) },
	} {
		if err := b.attempt(b.as("T-01", 0, access.Technician), do); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Whoever corrects a sample corrects what is said of it, and not what was read: its reading stays bound to it, and is
// judged by what it says now. What would take an adverse value, a lot that was recalled or a doubt about the meter away
// takes two, by whichever act.
func TestCorrectedSampleKeepsItsReading(t *testing.T) {
	another, earlier := map[string]string{"lot": "8"}, "a second before"
	author := func(b *bench, sample ledger.ID, changes map[string]string) error {
		return b.attempt(b.as("T-01", 0, access.Technician), func(w *desk.Work) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "wrong lot"}, sample, changes))
		})
	}
	two := func(b *bench, sample ledger.ID, changes map[string]string) desk.Receipt {
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Mending().Correct(both(desk.Entry{Reason: "wrong lot"}), sample, changes)
		})
	}
	for _, test := range []struct {
		name, value string
		before      func(b *bench)
		changes     map[string]string
		want        fault.Code
	}{
		{"a good value and a good lot", "30", func(*bench) {}, another, ""},
		{"a value over its level", "388", func(*bench) {}, another, ""},
		{"a value over its level, of another time", "388", func(*bench) {}, map[string]string{"collected": earlier}, fault.Forbidden},
		{"a good value of another time", "30", func(b *bench) { b.pass(access.Slip) }, map[string]string{"collected": earlier}, fault.Forbidden},
		{"a recalled lot", "30", func(b *bench) {
			base := b.base(record.Lot, "K|7")
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().Recall(because("a notice"), "K|7", base, b.at().Add(-12*time.Hour))
			})
		}, another, fault.Forbidden},
		{"a meter in doubt", "30", func(b *bench) { b.check(10, 2) }, another, fault.Forbidden},
	} {
		b := start(t)
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterLot(lead, b.at(), quality.Lot{Kit: "K", Lot: "8", Expires: b.at().Add(24 * 365 * time.Hour)})
		})
		b.use()
		b.checkMeter("M-1", b.at())
		s := b.take(scope.OuterDistalEnd)
		if test.changes["collected"] == earlier {
			test.changes["collected"] = s.Collected.Add(-time.Second).Time().In(b.desk.DB.Zone()).Format(desk.MendTime)
		}
		at := b.pass(15 * time.Second)
		sample := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) }).Record.ID
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(desk.Entry{By: "T-01"}, desk.Reading{Sample: sample, Meter: "M-1", Value: b.rlu(test.value), At: at})
		})
		b.pass(time.Minute)
		test.before(b)
		wantRead := func(when string, id ledger.ID) (r ledger.ID) {
			b.ask(func(v desk.View) error {
				h, err := v.Around("D-01", b.at(), b.at(), store.Forever)
				if len(h.Samples) != 1 || len(h.Samples[0].Judgements) != 1 {
					t.Errorf("%s, %s: %+v", test.name, when, h.Samples)
				}
				return err
			})
			err := b.attempt(b.as("T-01", 0, access.Technician), func(w *desk.Work) error {
				return only(w.Mending().Finish(desk.Entry{}, id, map[string]string{"value": "20", "meter": "M-1"}))
			})
			if fault.CodeOf(err) != fault.Conflict {
				t.Errorf("%s, %s, read anew: %v", test.name, when, err)
			}
			return b.latest(record.Reading)
		}
		wantRead("before", sample)
		err := author(b, sample, test.changes)
		if fault.CodeOf(err) != test.want || test.want == "" && err != nil {
			t.Errorf("%s, by its author: %v, want the code %q", test.name, err, test.want)
		}
		if err != nil {
			two(b, sample, test.changes)
		}
		read := wantRead("corrected", b.latest(record.Sample))
		b.rebuilt()
		wantRead("corrected, from the ledger alone", b.latest(record.Sample))
		x := body[reading.Reading](t, b.record(read))
		if x.Value.Typed != test.value || x.Sample != string(b.latest(record.Sample)) || (x.Judgement.Outcome == reading.Action) != (test.value == "388") {
			t.Errorf("%s: it reads %+v", test.name, x)
		}
		if test.value == "388" { // and then it is as hard to void as before
			if err := b.attempt(b.as("T-01", 0, access.Technician), func(w *desk.Work) error {
				return only(w.Void(desk.Entry{Corrects: read, Reason: "wrong"}))
			}); fault.CodeOf(err) != fault.Forbidden {
				t.Errorf("%s, voided then: %v", test.name, err)
			}
		}
	}
}

// To take a taking back restores what was adverse, with what follows from it, and never evidence.
func TestTakingBackIsTakenBack(t *testing.T) {
	b := start(t)
	b.reprocessed()
	void := func(id ledger.ID) ledger.ID {
		b.pass(time.Minute)
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(both(desk.Entry{Corrects: id, Reason: "another scope"}))
		}).Record.ID
	}
	back := func(id ledger.ID) (r desk.Receipt, err error) {
		b.pass(time.Minute)
		err = b.desk.As(b.as("T-02", 0, access.Technician)).Do(t.Context(), func(w *desk.Work) (err error) {
			r, err = w.Void(desk.Entry{Corrects: id, Reason: "it was this scope after all"})
			return err
		})
		return r, err
	}
	b.step(reprocessing.LeakTest, 2*time.Minute, failed)
	gone := void(b.latest(record.Step))
	b.wantHeldFor("taken back")
	r, err := back(gone)
	if err != nil {
		t.Fatal(err)
	}
	if s := body[reprocessing.Step](t, r.Record); s.Result != reprocessing.Fail || s.By != "T-01" {
		t.Errorf("restored: %+v", s)
	}
	b.wantHeldFor("restored", reprocessing.LeakHold)
	if _, err := back(gone); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("restored twice: %v", err)
	}

	// A cleaning comes back as what has to be followed, not as what was done.
	b = start(t)
	b.use()
	b.pass(time.Hour)
	b.clean()
	b.pass(access.Slip)
	r, err = back(void(b.stepOf(reprocessing.ManualCleaning)))
	if err != nil {
		t.Fatal(err)
	}
	b.ask(func(v desk.View) error {
		h, err := v.Around("D-01", b.at(), b.at(), store.Forever)
		for _, s := range h.Steps {
			if s.ID == string(r.Record.ID) && s.Lacks() == nil {
				t.Errorf("a cleaning that came back proves something: %+v", s)
			}
		}
		return err
	})

	// A reading comes back with its verification; a sample with its readings.
	b = start(t)
	b.use()
	last := b.verification("30", "30", "388")
	sample := ledger.ID(body[reading.Reading](t, last.Record).Sample)
	for _, id := range []ledger.ID{last.Record.ID, sample} {
		gone := void(id)
		if d := body[reprocessing.Decision](t, b.record(b.latest(record.Verification))); d.Verification.Outcome == reading.Action {
			t.Errorf("taken back: %+v", d)
		}
		if _, err := back(gone); err != nil {
			t.Fatal(err)
		}
		if d := body[reprocessing.Decision](t, b.record(b.latest(record.Verification))); d.Verification.Outcome != reading.Action {
			t.Errorf("restored: %+v", d)
		}
	}
	good := b.read(scope.OuterDistalEnd, "30")
	if _, err := back(void(good.Record.ID)); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "record it anew") {
		t.Errorf("evidence: %v", err)
	}
}

// stepOf returns the last step of a kind of D-01 since its last use.
func (b *bench) stepOf(kind reprocessing.StepKind) (id ledger.ID) {
	b.Helper()
	b.ask(func(v desk.View) error {
		h, err := v.Around("D-01", b.at(), b.at(), store.Forever)
		for _, s := range h.Steps {
			if s.Kind == kind {
				id = ledger.ID(s.ID)
			}
		}
		return err
	})
	return id
}

// record returns a record by its id.
func (b *bench) record(id ledger.ID) (r ledger.Record) {
	b.Helper()
	b.ask(func(v desk.View) error {
		l, err := v.Show(string(id))
		r = ledger.Record{Type: string(l.Type), ID: id, Body: l.Body}
		return err
	})
	return r
}

// A meter that left does not come back by its registration.
func TestMeterThatLeft(t *testing.T) {
	b := start(t)
	left := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(desk.Entry{By: "L-01"}, b.at(), quality.Meter{Code: "M-1", System: "A", Retired: b.at()})
	})
	b.pass(time.Hour)
	for reason, do := range map[string]func(*desk.Work) error{
		"registered anew": func(w *desk.Work) error {
			return only(w.SettingUp().RegisterMeter(desk.Entry{By: "L-01"}, b.at(), quality.Meter{Code: "M-1", System: "A"}))
		},
		"voided by one": func(w *desk.Work) error {
			return only(w.Void(desk.Entry{By: "L-02", Corrects: left.Record.ID, Reason: "found"}))
		},
		"voided with who said so": func(w *desk.Work) error {
			return only(w.Void(desk.Entry{By: "H-01", Second: access.Operator("L-01"), Corrects: left.Record.ID, Reason: "found"}))
		},
	} {
		if err := b.attempt(access.Scribe(), do); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "second person who took no part") {
			t.Errorf("%s: %v", reason, err)
		}
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "H-01", Second: access.Operator("L-02"), Corrects: left.Record.ID, Reason: "found"})
	})
}

// What was corrected after it had stood on record shows nothing by itself, until somebody attests it.
func TestCorrectedIsNotProven(t *testing.T) {
	b := start(t)
	b.use()
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantState("before", reprocessing.Ready, "")
	drying := b.stepOf(reprocessing.Drying)
	b.pass(access.Slip)
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Mending().Correct(desk.Entry{By: "L-01", Reason: "which way"}, drying, map[string]string{"note": "with air"})
	})
	b.wantState("corrected", reprocessing.InReprocessing, "nobody attests what proves nothing by itself: drying (was corrected after it had stood on record)")
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: []ledger.ID{r.Record.ID}, From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	b.wantState("attested", reprocessing.Ready, "")
}

// Every kind of record has its ways to be put right, or says what a person does instead.
func TestWaysOfEveryKind(t *testing.T) {
	b := start(t)
	b.use()
	samples, _ := b.bare("30", "30", "30")
	if _, err := b.attest(b.as("T-01", 0, access.Technician), desk.Attested{Of: samples[:1], From: reprocessing.OwnAct}); err != nil {
		t.Fatal(err)
	}
	for _, act := range []func(*desk.Work) (desk.Receipt, error){
		func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.ElevatorRecess)) },
		func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordStep(tech, reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: b.at(), By: "T-01"})
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordRepair(tech, scope.Repair{Scope: "D-01", Sent: b.at(), Fault: "a leak"}, "")
		},
		func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordUse(tech, reprocessing.Use{Scope: "D-01", Start: b.at()}, "")
		},
	} {
		b.pass(time.Minute)
		b.must(act)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
	if _, err := b.takeStock("L-01", "H-01", b.onList("D-02")); err != nil {
		t.Fatal(err)
	}
	storetest.Everything(t, b.desk.DB, b.now)
	// Of each kind: whether one can be voided, corrected and finished, as v, c and f.
	want := map[record.Kind]string{
		record.Site: "", record.Model: "v", record.Instrument: "v", record.Meter: "v", record.Lot: "v", record.Person: "v", record.Rules: "v",
		record.Level: "v", record.Use: "vcf", record.Step: "vcf", record.Sample: "vcf", record.Moment: "v", record.Reading: "vc",
		record.Verification: "v", record.Hold: "vc", record.Lift: "", record.Repair: "vcf", record.Request: "vc", record.Void: "v",
		record.Selection: "v", record.Import: "", record.Target: "v", record.Check: "vc", record.Suspect: "", record.Comparison: "v", record.Chart: "v",
		record.Access: "", record.Attachment: "v", record.Handover: "vc", record.Signal: "v", record.Erasure: "", record.Patient: "", record.Clock: "",
		record.Restore: "", record.Attestation: "v", record.Seen: "", record.Start: "", record.StockTake: "v",
	}
	got := map[record.Kind]map[rune]bool{}
	b.ask(func(v desk.View) error {
		return v.Records().Search(store.Query{}, func(l desk.Line) (bool, error) {
			ways, err := v.Records().Ways(ledger.ID(l.ID))
			if err != nil {
				return false, err
			}
			if got[l.Type] == nil {
				got[l.Type] = map[rune]bool{}
			}
			got[l.Type]['v'] = got[l.Type]['v'] || ways.Void
			got[l.Type]['c'] = got[l.Type]['c'] || len(ways.Correct) > 0
			got[l.Type]['f'] = got[l.Type]['f'] || len(ways.Finish) > 0
			if !l.Replaced.Known() && !ways.Void && ways.Instead == "" && l.Type != record.Hold {
				t.Errorf("a record of %s cannot be voided, and nothing says what to do instead", l.Type)
			}
			if !l.Replaced.Known() && ways.Correct == nil && ways.Instead == "" {
				t.Errorf("a record of %s cannot be corrected, and nothing says what to do instead", l.Type)
			}
			return true, nil
		})
	})
	for _, kind := range record.Kinds {
		var has strings.Builder
		for _, way := range "vcf" {
			if got[kind][way] {
				has.WriteString(string(way))
			}
		}
		if has.String() != want[kind] {
			t.Errorf("%s: ways %q, want %q", kind, has.String(), want[kind])
		}
	}
}

// What was begun is finished by the act that it was begun with.
func TestFinish(t *testing.T) {
	b := start(t)
	open := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(desk.Entry{By: "T-01"}, reprocessing.Use{Scope: "D-01", Start: b.at()}, "7")
	}).Record.ID
	b.pass(20 * time.Minute)
	end := b.at().Time().In(b.desk.DB.Zone()).Format(desk.MendTime)
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Mending().Finish(desk.Entry{By: "T-02"}, open, map[string]string{"end": end})
	})
	u := body[reprocessing.Use](t, r.Record)
	if u.Finishes != string(open) || !u.End.Known() || u.Patient == "" {
		t.Errorf("the use: %+v", u)
	}
	sent := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordRepair(desk.Entry{By: "T-01"}, scope.Repair{Scope: "D-01", Sent: b.at(), Fault: "a leak"}, "")
	}).Record.ID
	b.pass(time.Hour)
	refusals := []refusal{}
	for reason, of := range map[string]struct {
		id      ledger.ID
		changes map[string]string
		want    string
	}{
		"what is over":        {r.Record.ID, map[string]string{"end": end}, "use record " + string(r.Record.ID) + " is not open"},
		"what nobody set":     {sent, map[string]string{}, "nothing is different"},
		"what is not its end": {sent, map[string]string{"sent": end}, `repair record has no "sent" that could be set here; it has: returned, work`},
		"what is no time":     {sent, map[string]string{"returned": "soon"}, `"soon" is no date and time`},
	} {
		refusals = append(refusals, refusal{reason, func(w *desk.Work) (desk.Receipt, error) {
			return w.Mending().Finish(desk.Entry{By: "T-01"}, of.id, of.changes)
		}, fault.Invalid, of.want})
	}
	for _, x := range refusals {
		err := b.attempt(access.Operator("T-01"), func(w *desk.Work) error { return only(x.act(w)) })
		if fault.CodeOf(err) != x.code || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%s: %v, want %q", x.name, err, x.want)
		}
	}
	back := b.must(func(w *desk.Work) (desk.Receipt, error) {
		at := b.at().Time().In(b.desk.DB.Zone()).Format(desk.MendTime)
		return w.Mending().Finish(desk.Entry{By: "T-01"}, sent, map[string]string{"returned": at, "work": "sealed"})
	})
	if x := body[record.RepairBody](t, back.Record); x.Finishes != string(sent) || !x.Returned.Known() || x.Work != "sealed" {
		t.Errorf("the repair: %+v", x)
	}
}

// technicians registers people who record steps: at the machine everybody may what their role allows.
func (b *bench) technicians(codes ...string) {
	b.Helper()
	for _, code := range codes {
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterPerson(desk.Entry{By: "L-01"}, b.at(), record.PersonBody{Code: code, Role: "technician"})
		})
	}
}

// Many small corrections are no slip any more: the time of one begins with the first version.
func TestSlipAfterSlip(t *testing.T) {
	b := start(t)
	b.technicians("T-01")
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	stored := b.latest(record.Step)
	correct := func(cabinet string) error {
		b.pass(6 * time.Minute)
		return b.desk.As(access.Operator("T-01")).Do(t.Context(), func(w *desk.Work) error {
			r, err := w.Mending().Correct(desk.Entry{Reason: "another cabinet"}, stored, map[string]string{"cabinet": cabinet})
			stored = r.Record.ID
			return err
		})
	}
	if err := correct("ventilated-cabinet"); err != nil {
		t.Fatal(err)
	}
	if err := correct("drying-cabinet"); err == nil || !strings.Contains(err.Error(), "second person") {
		t.Errorf("twelve minutes after the first: %v", err)
	}
}

// What was forgotten of a disinfection is said by correcting its record, which shows it then by somebody's word alone.
func TestForgottenOfADisinfection(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "30")
	b.step(reprocessing.Disinfection, 30*time.Minute, func(s *reprocessing.Step) {
		s.Result, s.Disinfectant, s.DisinfectantLot = reprocessing.Pass, "opa-0.55", "L9"
		s.DisinfectantFilled = s.Start.Add(-time.Hour)
	})
	forgotten := b.latest(record.Step)
	b.pass(time.Minute)
	said := map[string]string{
		"contact": "12min", "mec": "pass", "coldest_cel": "21", "disinfectant_expires": b.at().AddDays(7, time.UTC).Time().Format(desk.MendTime),
	}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Mending().Correct(desk.Entry{By: "T-01", Reason: "forgotten"}, forgotten, said)
	})
	s, err := record.Body[reprocessing.Step](r.Record)
	if err != nil || s.Contact != 12*unit.Minute || s.MEC != reprocessing.Pass || s.Coldest != 21 || !s.HasTemperature || !s.DisinfectantExpires.Known() {
		t.Errorf("%+v %v", s, err)
	}
	wantRefused(t, b.desk.As(access.Scribe()).Do(b.Context(), func(w *desk.Work) error {
		return only(w.Mending().Correct(desk.Entry{By: "T-01", Reason: "forgotten"}, r.Record.ID, map[string]string{"contact": "soon"}))
	}), "soon")
}
