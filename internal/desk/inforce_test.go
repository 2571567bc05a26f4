package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// sample handles a sample of the tip and returns it with when it is to be read, without writing anything.
func (b *bench) sample() (sampling.Sample, unit.Instant) {
	b.Helper()
	s := b.take(scope.OuterDistalEnd)
	return s, b.pass(15 * time.Second)
}

// entered writes down a sample and its reading, however long ago they were.
func (b *bench) entered(s sampling.Sample, at unit.Instant, value string) reading.Judgement {
	b.Helper()
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) })
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(tech, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu(value), At: at})
	})
	x, err := record.Body[reading.Reading](r.Record)
	if err != nil {
		b.Fatal(err)
	}
	return x.Judgement
}

func (b *bench) adopts(l reading.Level) desk.Receipt {
	b.Helper()
	return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().AdoptLevel(lead, l) })
}

// byTwo is a level that somebody else has signed too.
func byTwo(l reading.Level) reading.Level {
	l.Second = "L-02"
	return l
}

// A level that says that it was adopted long ago judges nothing that was read before it was signed, also when that is
// written down only afterwards; what was in force then does, or nothing.
func TestLevelJudgesFromItsSignature(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterLot(lead, begin, quality.Lot{Kit: "new kit", Lot: "7", Expires: begin.Add(48 * time.Hour)})
	})
	b.pass(time.Hour)
	paper, read := b.sample()
	other, otherRead := b.sample()
	other.Kit = "new kit"
	b.pass(time.Hour)
	b.adopts(byTwo(b.distalLevel(1000, "lax", begin-1)))
	lax := b.distalLevel(1000, "lax", begin.Add(-30*24*time.Hour))
	lax.Kit = "new kit"
	b.adopts(lax)
	b.pass(time.Minute)
	if j := b.entered(paper, read, "300"); j.Outcome != reading.Action || j.Level.Edition != "1" {
		t.Errorf("read an hour before the level was signed: %s (%s)", j.Outcome, j.Why)
	}
	if j := b.entered(other, otherRead, "300"); j.Outcome != reading.None || !strings.Contains(j.Why, "signed only later") {
		t.Errorf("no level was in force: %s (%s)", j.Outcome, j.Why)
	}
	if s, at := b.sample(); b.entered(s, at, "300").Outcome != reading.OK {
		t.Error("read after the signature it is not judged by the new level")
	}
	b.ask(func(v desk.View) error {
		targets, err := v.Studies().LevelTargets()
		for _, x := range targets {
			if x.InForce == nil || x.InForce.Judges() < begin {
				t.Errorf("in force: %+v", x.InForce)
			}
		}
		return err
	})
}

// A level may be signed before it judges.
func TestLevelSignedAhead(t *testing.T) {
	b := start(t)
	b.adopts(b.distalLevel(20, "strict", b.at().Add(time.Hour)))
	if s, at := b.sample(); b.entered(s, at, "30").Outcome != reading.OK {
		t.Error("it judges before its time")
	}
	b.pass(time.Hour)
	if s, at := b.sample(); b.entered(s, at, "30").Outcome != reading.Action {
		t.Error("it does not judge from its time on")
	}
}

// A level that was in force and was taken back since clears nothing that is written down late, and the one before
// it does not come in its place for that time.
func TestLevelTakenBackWasInForce(t *testing.T) {
	b := start(t)
	b.pass(time.Minute)
	lax := b.adopts(byTwo(b.distalLevel(1000, "lax", b.at())))
	b.pass(time.Minute)
	s, at := b.sample()
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Reason: "another kit was meant", Corrects: lax.Record.ID})
	})
	b.pass(time.Minute)
	if j := b.entered(s, at, "10"); j.Outcome != reading.None || !strings.Contains(j.Why, "taken back") {
		t.Errorf("below it: %s (%s)", j.Outcome, j.Why)
	}
	s, at = b.sample()
	if j := b.entered(s, at, "300"); j.Outcome != reading.Action {
		t.Errorf("after it was taken back: %s (%s)", j.Outcome, j.Why)
	}
}

// A level that was signed while the computer's clock was wrong judges from when another clock had been compared: its
// own time may lie long before its signature.
func TestLevelSignedWhileTheClockWasWrong(t *testing.T) {
	b := start(t)
	b.pass(2 * time.Hour)
	s, at := b.sample()
	right := b.pass(time.Minute)
	b.write()
	b.pass(-time.Hour) // the level is signed after the reading, with a time before it
	b.adopts(byTwo(b.distalLevel(1000, "lax", b.at())))
	if b.at() >= at {
		t.Fatal("the clock is not behind the reading")
	}
	b.pass(right.Sub(b.at()) + time.Minute)
	b.compare()
	b.pass(time.Minute)
	if j := b.entered(s, at, "300"); j.Outcome != reading.Action {
		t.Errorf("read before the level was signed: %s (%s)", j.Outcome, j.Why)
	}
	if s, at := b.sample(); b.entered(s, at, "300").Outcome != reading.OK {
		t.Error("read after the clock was compared")
	}
}

// One jump far ahead and back does not keep a level out of force for ever.
func TestLevelSignedFarAhead(t *testing.T) {
	b := start(t)
	const far = 20 * 365 * 24 * time.Hour
	b.pass(far)
	b.adopts(b.distalLevel(20, "strict", b.at()))
	b.pass(-far)
	b.pass(time.Hour)
	b.write()
	b.compare()
	b.pass(time.Minute)
	if s, at := b.sample(); b.entered(s, at, "30").Outcome != reading.Action {
		t.Error("the level does not judge")
	}
}

// ruleText is the general rule set as another edition, with so many cleanings.
func (b *bench) ruleText(edition, cleanings string) []byte {
	b.Helper()
	text, err := policy.Amend(policy.Preset(),
		policy.Amendment{Path: []string{"edition"}, Value: edition, Text: true}, policy.Amendment{Path: []string{"reading", "cleanings"}, Value: cleanings})
	if err != nil {
		b.Fatal(err)
	}
	return text
}

func (b *bench) adoptsRules(at unit.Instant, text []byte) {
	b.Helper()
	b.must(func(w *desk.Work) (r desk.Receipt, err error) {
		r, _, err = w.SettingUp().AdoptRules(lead, desk.Adoption{At: at, Name: "rules", Text: text})
		return r, err
	})
}

// ruledBy is the edition of the rule set in force at an instant.
func (b *bench) ruledBy(at, known unit.Instant) (edition string) {
	b.Helper()
	b.ask(func(v desk.View) error {
		rules, err := v.Registry().Rules(at, known)
		edition = rules.Edition
		return err
	})
	return edition
}

// An edition of the rules that is signed now with a beginning long ago is in force from now on; before, it is the one that
// was in force then. What is registered again after something else is a change back.
func TestRulesActFromTheirSignature(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.pass(time.Hour)
	before := b.pass(time.Hour)
	b.pass(time.Hour)
	signed := b.at()
	b.adoptsRules(begin, b.ruleText("second", "3"))
	b.pass(time.Hour)
	first := b.ruledBy(begin, store.Forever)
	for at, want := range map[unit.Instant]string{begin - 1: first, before: first, signed - 1: first, signed: "second", b.at(): "second"} {
		if got := b.ruledBy(at, store.Forever); got != want {
			t.Errorf("in force at %s: %s, want %s", at, got, want)
		}
		if got := b.ruledBy(at, signed-1); got != first {
			t.Errorf("in force at %s as known before the signature: %s, want %s", at, got, first)
		}
	}
	all, _ := b.rulesEditions()
	if all[0].Until != signed || all[1].From != signed {
		t.Errorf("times: %s, %s; want %s", all[0].Until, all[1].From, signed)
	}
	b.adoptsRules(begin, policy.Preset())
	if got := b.ruledBy(b.at(), store.Forever); got != first {
		t.Errorf("the first edition again: %s is in force", got)
	}
	b.adoptsRules(b.at().Add(-time.Hour), b.ruleText("second", "3"))
	if got := b.ruledBy(b.at(), store.Forever); got != "second" {
		t.Errorf("the second edition again: %s is in force", got)
	}
}

// A rule set that was signed later does not decide what was read before, however late that is written down.
func TestLateReadingByTheRulesOfItsTime(t *testing.T) {
	b := start(t)
	begin := b.at()
	b.use()
	s, at := b.sample()
	b.pass(time.Hour)
	b.adoptsRules(begin, b.ruleText("second", "3"))
	b.pass(time.Minute)
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) })
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(tech, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("900"), At: at})
	})
	for _, d := range decisions(t, r.Followed) {
		if strings.Contains(d.Rules, "second") {
			t.Errorf("decided by %s", d.Rules)
		}
	}
	if x := body[reading.Reading](t, r.Record); strings.Contains(x.Rules, "second") {
		t.Errorf("judged by %s", x.Rules)
	}
}

// An edition of a model that is signed now is in force from now on: what was sampled before is of the scope as it was
// described then. Before the first edition it is the first.
func TestModelsActFromTheirSignature(t *testing.T) {
	b := start(t)
	begin := b.at()
	before := b.pass(time.Hour)
	signed := b.pass(time.Hour)
	flat := model()
	flat.Elevator, flat.Kind = false, scope.Gastroscope
	flat.Channels = flat.Channels[:1]
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		flat.Second = "L-02"
		r, _, err := w.SettingUp().RegisterModel(lead, begin, flat)
		return r, err
	})
	b.pass(time.Hour)
	b.ask(func(v desk.View) error {
		for at, want := range map[unit.Instant]scope.Kind{
			begin - 1: scope.Duodenoscope, before: scope.Duodenoscope, signed - 1: scope.Duodenoscope, signed: scope.Gastroscope,
		} {
			m, err := v.Model("D-01", at)
			if err != nil {
				return err
			}
			if m.Kind != want {
				t.Errorf("at %s: a %s, want a %s", at, m.Kind, want)
			}
		}
		return nil
	})
}

// A recall that two people have taken back keeps its word for the time in which it stood: what was read meanwhile, and is written down
// afterwards, was read with a lot that nobody trusted. A recall reaches back to the time that it speaks of.
func TestRecallsActFromTheirSignature(t *testing.T) {
	b := start(t)
	before, beforeRead := b.sample()
	since := b.pass(time.Hour)
	late, lateRead := b.sample()
	b.pass(time.Hour)
	registered := b.base(record.Lot, "K|7")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("a notice"), "K|7", registered, since)
	})
	b.pass(time.Minute)
	if j := b.entered(late, lateRead, "10"); j.Outcome != reading.Void {
		t.Errorf("read after the time that the recall speaks of: %s (%s)", j.Outcome, j.Why)
	}
	meanwhile, meanwhileRead := b.sample()
	b.pass(time.Minute)
	recalled := b.base(record.Lot, "K|7")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().TakeBackRecall(because("another lot was meant"), "K|7", recalled, "L-02")
	})
	b.pass(time.Minute)
	if j := b.entered(meanwhile, meanwhileRead, "10"); j.Outcome != reading.Void || !strings.Contains(j.Why, "recalled then") {
		t.Errorf("read while it was recalled: %s (%s)", j.Outcome, j.Why)
	}
	if j := b.entered(before, beforeRead, "10"); j.Outcome != reading.OK {
		t.Errorf("read before the recall: %s (%s)", j.Outcome, j.Why)
	}
	if s, at := b.sample(); b.entered(s, at, "10").Outcome != reading.OK {
		t.Error("read after the recall was taken back")
	}
}

// A level far over what is published is a slip until somebody else has signed it too; one that no meter can show is none.
func TestLevelFarOverThePublished(t *testing.T) {
	b := start(t)
	adopt := func(e desk.Entry, l reading.Level) error {
		return b.desk.As(b.as("L-01", 0, access.Lead)).Do(b.Context(), func(w *desk.Work) error { return only(w.SettingUp().AdoptLevel(e, l)) })
	}
	level := func(action unit.Number, edition string) reading.Level {
		l := b.distalLevel(action, edition, b.at())
		l.Kit = "new kit" // that no level judges yet
		return l
	}
	far := level(2002, "far")
	signs := func(code string, ago time.Duration) desk.Entry {
		return desk.Entry{Second: b.as(code, ago, access.Lead)}
	}
	named := far
	named.Second = "L-02"
	for _, test := range []struct {
		name string
		e    desk.Entry
		l    reading.Level
		want string
	}{
		{"ten times the largest published", desk.Entry{}, level(2000, "usual"), ""},
		{"more", desk.Entry{}, far, "allowed for one person: at most 2000 RLU"},
		{"somebody named", desk.Entry{}, named, "has not shown who they are"},
		{"the same person", signs("L-01", 0), far, "must be somebody else"},
		{"signed long ago", signs("L-02", time.Hour), far, "the second person must be one who may"},
		{"signed by two", signs("L-02", 0), far, ""},
		{"more than a meter shows, signed by two", signs("L-02", 0), level(99_999_999, "slip"), "at most 9999999 RLU"},
		{"nothing", desk.Entry{}, level(0, "slip"), "must be over 0"},
		{"below zero", desk.Entry{}, level(-1, "slip"), "must be over 0"},
	} {
		err := adopt(test.e, test.l)
		if (err == nil) != (test.want == "") || err != nil && !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %q", test.name, err, test.want)
		}
	}
	row := "A,new kit,outer-distal-end,,atp,RLU,,%s,over,,,,slip,9,L-01," + written(b.at())
	for value, want := range map[string]string{
		"2001": "allowed for one person", "99999999": "more than can be measured", "0": "must be over 0", "-5": "must be over 0",
	} {
		if _, _, err := b.listed(desk.Levels, strings.Replace(row, "%s", value, 1)); fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), want) {
			t.Errorf("a file with %s: %v, want %q", value, err, want)
		}
	}
	if l := stands[reading.Level](b, record.Level, far.Key()); l.Second != "L-02" {
		t.Errorf("signed by %q too", l.Second)
	}
	unusual := "A,K,outer-distal-end,,protein,ug/mL,,%s,over,,,,own,1,L-01," + written(b.at())
	out, _ := b.mustList(desk.Levels, strings.Replace(unusual, "%s", "40", 1))
	if len(out.Warnings) != 1 || !strings.Contains(out.Warnings[0], "no limit is published") {
		t.Errorf("warnings: %q", out.Warnings)
	}
}
