package desk_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// refusal is an act that is refused, with the words that a person reads.
type refusal struct {
	name string
	act  func(*desk.Work) (desk.Receipt, error)
	code fault.Code
	want string
}

// refused tries acts one by one: each says exactly why, and leaves nothing.
func (b *bench) refused(t *testing.T, tests []refusal) {
	t.Helper()
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			before := b.size()
			err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
				_, err := test.act(w)
				return err
			})
			if err == nil {
				t.Fatal("it was not refused")
			}
			if got := fault.CodeOf(err); got != test.code {
				t.Errorf("code %q, want %q", got, test.code)
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Errorf("words (-want +got):\n%s", diff)
			}
			if after := b.size(); after != before {
				t.Errorf("%d records were left", after-before)
			}
		})
	}
}

var (
	lead    = desk.Entry{By: "L-01"}
	endHint = "\nhint: record the beginning now, and the end when it has ended"

	nurse = desk.Entry{By: "N-01"}
	tech  = desk.Entry{By: "T-01"}
)

const (
	fleetHint   = "\nhint: see the fleet with: rinsate fleet"
	contentHint = "\nhint: a stored record never changes: send a correction that names it"
)

func TestRefusedRegistrations(t *testing.T) {
	b := start(t)
	now := b.at()
	badModel := model()
	badModel.Name = ""
	b.refused(t, []refusal{
		{"model without a name", func(w *desk.Work) (desk.Receipt, error) {
			r, _, err := w.SettingUp().RegisterModel(lead, now, badModel)
			return r, err
		}, fault.Invalid, badModel.Check().Error()},
		{"instrument without a tag", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(lead, now, scope.Instrument{})
		}, fault.Invalid, `instrument "": the asset tag must not be empty nor begin or end with a space`},
		{"instrument of no model", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(lead, now, scope.Instrument{Tag: "D-02", Model: "X", Owner: scope.Own, InService: now})
		}, fault.NotFound, `instrument D-02: model "X" is not registered` + "\nhint: import the models before the fleet"},
		{"meter without a system", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterMeter(lead, now, quality.Meter{Code: "M-2"})
		}, fault.Invalid, `meter "M-2": give a code and the meter system ""`},
		{"lot without an expiry", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterLot(lead, now, quality.Lot{Kit: "K", Lot: "8"})
		}, fault.Invalid, `lot "8" of kit "K": give kit, lot and expiry`},
		{"person without a code", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterPerson(lead, now, record.PersonBody{Role: "technician"})
		}, fault.Invalid, "a person needs a code"},
		{"rules that nobody adopts", func(w *desk.Work) (desk.Receipt, error) {
			r, _, err := w.SettingUp().AdoptRules(desk.Entry{}, desk.Adoption{At: now, Name: "general.yaml", Text: policy.Preset()})
			return r, err
		}, fault.Invalid, "rule set General rule set, edition 2026-1: who adopts it?"},
		{"level without a source", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().
				AdoptLevel(lead, reading.Level{
					System: "A", Kit: "K", Point: scope.OuterDistalEnd, Analyte: reading.ATP, Unit: reading.RLU, Action: 200,
					Comparison: reading.Over,
				})
		}, fault.Invalid, `level for atp with meter system "A" and kit "K": source, edition, who adopted it and when must be given`},
		{"in the future", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterPerson(lead, now.Add(2*time.Minute+time.Microsecond), record.PersonBody{Code: "T-02"})
		}, fault.Invalid, "person at 2026-03-02 09:02 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)"},
	})
	// Clocks are never quite right: two minutes are let through.
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterPerson(lead, now.Add(2*time.Minute), record.PersonBody{Code: "T-02"})
	})
	if _, err := policy.Parse("x", []byte("x")); err == nil {
		t.Error("garbage is a rule set")
	}
}

func TestRefusedRecords(t *testing.T) {
	b := start(t)
	now := b.at()
	use := func(change func(*reprocessing.Use)) func(*desk.Work) (desk.Receipt, error) {
		u := reprocessing.Use{Scope: "D-01", Start: now}
		change(&u)
		return func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") }
	}
	step := func(change func(*reprocessing.Step)) func(*desk.Work) (desk.Receipt, error) {
		s := reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: now}
		change(&s)
		return func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(tech, s) }
	}
	b.refused(t, []refusal{
		{"use of nothing", use(func(u *reprocessing.Use) { u.Scope = "" }), fault.Invalid, "use: the scope is missing"},
		{"use of a stranger", use(func(u *reprocessing.Use) { u.Scope = "X" }), fault.NotFound, `scope "X" is not registered` + fleetHint},
		{"use without a start", use(func(u *reprocessing.Use) { u.Start = 0 }), fault.Invalid, "use of D-01: when did it start?"},
		{
			"use that ends before it starts",
			use(func(u *reprocessing.Use) { u.End = now - 1_000_000 }),
			fault.Invalid,
			"use of D-01: it would end before it started",
		},
		{
			"use tomorrow",
			use(func(u *reprocessing.Use) { u.Start = now.Add(24 * time.Hour) }),
			fault.Invalid,
			"use at 2026-03-03 09:00 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)",
		},
		{
			"use that ends tomorrow",
			use(func(u *reprocessing.Use) { u.End = now.Add(24 * time.Hour) }),
			fault.Invalid,
			"use of D-01: its end at 2026-03-03 09:00 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)" + endHint,
		},
		{
			"step that ends in an hour",
			step(func(s *reprocessing.Step) { s.End = now.Add(time.Hour) }),
			fault.Invalid,
			"drying of D-01: its end at 2026-03-02 10:00 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)" + endHint,
		},
		{
			"repair that is over tomorrow",
			func(w *desk.Work) (desk.Receipt, error) {
				return w.RecordRepair(nurse, scope.Repair{Scope: "D-01", Sent: now, Returned: now.Add(24 * time.Hour), Fault: "a leak"}, "")
			},
			fault.Invalid,
			"repair of D-01: its end at 2026-03-03 09:00 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)" + endHint,
		},
		{
			"unknown step",
			step(func(s *reprocessing.Step) { s.Kind = "polishing" }),
			fault.Invalid,
			`step of D-01: "polishing" is not a step that is recorded; allowed: point-of-use, transport, leak-test, soak, manual-cleaning, ` +
				`inspection, disinfection, final-rinse, drying, storage, issue`,
		},
		{
			"verification is what the samples show",
			step(func(s *reprocessing.Step) { s.Kind = reprocessing.Verification }),
			fault.Invalid,
			`step of D-01: "verification" is not a step that is recorded; allowed: point-of-use, transport, leak-test, soak, manual-cleaning, ` +
				`inspection, disinfection, final-rinse, drying, storage, issue`,
		},
		{"step of a stranger", step(func(s *reprocessing.Step) { s.Scope = "X" }), fault.NotFound, `scope "X" is not registered` + fleetHint},
		{"correction without a reason", func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordUse(desk.Entry{Corrects: ledger.DerivedID("x")}, reprocessing.Use{Scope: "D-01", Start: now}, "")
		}, fault.Invalid, "a correction of " + string(ledger.DerivedID("x")) + " needs a reason"},
		{
			"finish of nothing",
			step(func(s *reprocessing.Step) { s.Finishes = string(ledger.DerivedID("x")) }),
			fault.NotFound,
			"there is no record " + string(ledger.DerivedID("x")),
		},
		{"repair that is back before it went", func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordRepair(lead, scope.Repair{Scope: "D-01", Sent: now, Returned: now - 1}, "")
		}, fault.Invalid, "repair of D-01: it would be back before it was sent"},
		{"repair of a stranger", func(w *desk.Work) (desk.Receipt, error) {
			return w.RecordRepair(lead, scope.Repair{Scope: "X", Sent: now}, "")
		}, fault.NotFound, `scope "X" is not registered` + fleetHint},
		{"request without a name", func(w *desk.Work) (desk.Receipt, error) {
			return w.Ask(lead, sampling.Request{Scope: "D-01", Reason: "outbreak"})
		}, fault.Invalid, "a request needs the name of who asks and a reason"},
		{"request for a stranger", func(w *desk.Work) (desk.Receipt, error) {
			return w.Ask(lead, sampling.Request{Scope: "X", Reason: "outbreak", By: "L-01"})
		}, fault.NotFound, `scope "X" is not registered` + fleetHint},
		{"hold without a name", func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", Reason: "dent"})
		}, fault.Invalid, "hold of D-01: who places it?"},
		{"hold without a reason", func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01"})
		}, fault.Invalid, "hold of D-01: the reason is missing"},
		{"hold of a stranger", func(w *desk.Work) (desk.Receipt, error) {
			return w.PlaceHold(tech, reprocessing.Hold{Scope: "X", By: "T-01", Reason: "dent"})
		}, fault.NotFound, `scope "X" is not registered` + fleetHint},
	})
	err := b.desk.View(context.Background(), func(v desk.View) error {
		_, err := v.Release("X", now, store.Forever)
		return err
	})
	if fault.CodeOf(err) != fault.NotFound || err.Error() != `scope "X" is not registered`+fleetHint {
		t.Errorf("release check of a stranger: %v", err)
	}
}

func TestRefusedSamples(t *testing.T) {
	b := start(t)
	b.use()
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.OuterDistalEnd)) })
	absent := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Collect(tech, sampling.Sample{Scope: "D-01", Point: scope.ElevatorWire, NotApplicable: "sealed", Collected: b.at()})
	})
	gone := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.ElevatorRecess)) })
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: gone.Record.ID, Reason: "dropped"})
	})
	b.pass(10 * time.Second)
	now := b.at()
	sample := func(change func(*sampling.Sample)) func(*desk.Work) (desk.Receipt, error) {
		s := sampling.Sample{Scope: "D-01", Point: scope.OuterDistalEnd, Kit: "K", Lot: "7", Collected: now}
		change(&s)
		return func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, s) }
	}
	read := func(change func(*desk.Reading)) func(*desk.Work) (desk.Receipt, error) {
		in := desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: now}
		change(&in)
		return func(w *desk.Work) (desk.Receipt, error) { return w.Read(tech, in) }
	}
	mark := func(m sampling.Moment) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) { return w.Mark(tech, m) }
	}
	id := func(r desk.Receipt) string { return string(r.Record.ID) }
	b.refused(t, []refusal{
		{"sample of a stranger", sample(func(s *sampling.Sample) { s.Scope = "X" }), fault.NotFound, `scope "X" is not registered` + fleetHint},
		{
			"point that the model lacks",
			sample(func(s *sampling.Sample) { s.Point = scope.BalloonLumen }),
			fault.Invalid,
			`model D1 of scope D-01 has no sampling point "balloon-channel"; it has: outer-distal-end, elevator-recess, instrument-channel, elevator-wire-channel`,
		},
		{
			"point that cannot be sampled",
			sample(func(s *sampling.Sample) { s.Point = scope.ElevatorWire }),
			fault.Invalid,
			"elevator-wire-channel of D-01 is not sampled: the channel is sealed",
		},
		{"no kit", sample(func(s *sampling.Sample) { s.Kit = "" }), fault.Invalid, "sample of D-01 at outer-distal-end: the kit and its lot are missing"},
		{
			"unknown lot",
			sample(func(s *sampling.Sample) { s.Lot = "8" }),
			fault.NotFound,
			`lot "8" of kit "K" is not known` + "\nhint: register the lot with its expiry first",
		},
		{
			"more out than in",
			sample(func(s *sampling.Sample) { s.Flushed, s.Recovered = 40, 41 }),
			fault.Invalid,
			"sample of D-01 at outer-distal-end: 41 mL recovered of 40 mL flushed: more came out than went in",
		},
		{
			"activated before it was collected",
			sample(func(s *sampling.Sample) { s.Activated = now - 1_000_000 }),
			fault.Invalid,
			"sample of D-01 at outer-distal-end: it was activated before it was collected",
		},
		{
			"sample tomorrow",
			sample(func(s *sampling.Sample) { s.Collected = now.Add(24 * time.Hour) }),
			fault.Invalid,
			"sample at 2026-03-03 10:03 +01:00 lies in the future (it is 2026-03-02 10:03 +01:00)",
		},
		{
			"moment of nothing",
			mark(sampling.Moment{Sample: string(ledger.DerivedID("x")), Mark: sampling.Capped, At: now}),
			fault.NotFound,
			"there is no record " + string(ledger.DerivedID("x")),
		},
		{
			"the moment of collection",
			mark(sampling.Moment{Sample: id(taken), Mark: sampling.Collected, At: now}),
			fault.Invalid,
			`the mark "collected" is recorded with the sample and with the reading`,
		},
		{
			"the same mark twice",
			mark(sampling.Moment{Sample: id(taken), Mark: sampling.Activated, At: now}),
			fault.Conflict,
			"sample " + id(taken) + " of D-01 was activated at 2026-03-02 10:03 +01:00 already",
		},
		{
			"capped after it was activated",
			mark(sampling.Moment{Sample: id(taken), Mark: sampling.Capped, At: now}),
			fault.Invalid,
			"sample of D-01 at outer-distal-end: it was activated before it was capped",
		},
		{
			"unknown mark",
			mark(sampling.Moment{Sample: id(taken), Mark: "lost", At: now}),
			fault.Invalid,
			`mark "lost" is not known; allowed: collected, capped, uncapped, dipped, activated, read, shaken`,
		},
		{
			"unknown meter",
			read(func(in *desk.Reading) { in.Meter = "M-9" }),
			fault.NotFound,
			`meter "M-9" is not known, so nobody can say on which scale it counts` + "\nhint: register the meter with its system first",
		},
		{
			"no meter",
			read(func(in *desk.Reading) { in.Meter = "" }),
			fault.NotFound,
			`meter "" is not known, so nobody can say on which scale it counts` + "\nhint: register the meter with its system first",
		},
		{
			"reading of nothing",
			read(func(in *desk.Reading) { in.Sample = ledger.DerivedID("x") }),
			fault.NotFound,
			"there is no record " + string(ledger.DerivedID("x")),
		},
		{"reading of a meter's record", func(w *desk.Work) (desk.Receipt, error) {
			r, err := w.SettingUp().RegisterPerson(tech, now, record.PersonBody{Code: "T-09"})
			if err != nil {
				return r, err
			}
			return w.Read(tech, desk.Reading{Sample: ledger.DerivedID("p"), Meter: "M-1", Value: b.rlu("30"), At: now})
		}, fault.NotFound, "there is no record " + string(ledger.DerivedID("p"))},
		{
			"reading before the sample",
			read(func(in *desk.Reading) { in.At = taken.Record.At - 1 }),
			fault.Invalid,
			"sample of D-01 at outer-distal-end: it was read before it was activated",
		},
		{
			"reading of what is not applicable",
			read(func(in *desk.Reading) { in.Sample = absent.Record.ID }),
			fault.Invalid,
			"elevator-wire-channel of D-01 was recorded as not applicable (sealed) and has no reading",
		},
		{
			"reading of a voided sample",
			read(func(in *desk.Reading) { in.Sample = gone.Record.ID }),
			fault.Conflict,
			"sample " + id(gone) + " of D-01 was voided\nhint: take a new sample",
		},
	})
}

func TestRefusedVoids(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "250")
	failed := b.release().Reasons
	var verification, hold ledger.ID
	err := b.desk.DB.Read(context.Background(), func(tx *store.Tx) error {
		return tx.Events("D-01", 0, store.Forever, store.Forever, func(k store.Kept) error {
			switch k.Kind() {
			case record.Verification:
				verification = k.ID
			case record.Hold:
				hold = k.ID
			}
			return nil
		}, record.Verification, record.Hold)
	})
	if err != nil || verification == "" || hold == "" {
		t.Fatalf("no cleaning verification or no hold: %v %+v", err, failed)
	}
	mine := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(tech, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "wrong scope"})
	})
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: mine.Record.ID, Reason: "it was D-02"})
	})
	tests := []refusal{
		{
			"of nothing",
			func(w *desk.Work) (desk.Receipt, error) { return w.Void(desk.Entry{By: "T-01", Reason: "r"}) },
			fault.Invalid,
			"a void names the record, the person and the reason",
		},
		{"by nobody", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{Corrects: mine.Record.ID, Reason: "r"})
		}, fault.Invalid, "a void names the record, the person and the reason"},
		{"without a reason", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{By: "T-01", Corrects: mine.Record.ID})
		}, fault.Invalid, "a void names the record, the person and the reason"},
	}
	for name, of := range map[string]struct {
		id   ledger.ID
		code fault.Code
		want string
	}{
		"of a stranger": {ledger.DerivedID("x"), fault.NotFound, "there is no record " + string(ledger.DerivedID("x"))},
		"twice": {mine.Record.ID, fault.Conflict, "record " + string(mine.Record.ID) + " (hold) is replaced already or cannot be " +
			"replaced\nhint: look at its chain with: rinsate ledger show " + string(mine.Record.ID)},
		"of a cleaning verification": {verification, fault.Forbidden, "to take back a cleaning verification over the action level: it takes a lead or " +
			"infection prevention\nhint: it needs " + takeback.Needs + "; until both have signed it stands. " + takeback.SlipWords},
		"of a hold that rules placed": {hold, fault.Invalid, "the hold on D-01 followed from record " + string(verification) +
			" and cannot be voided\nhint: correct or void that record where it is wrong; otherwise see what ends the hold with: rinsate ready D-01"},
	} {
		tests = append(tests, refusal{name, func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{By: "T-01", Corrects: of.id, Reason: "r"})
		}, of.code, of.want})
	}
	b.refused(t, tests)
}

func TestSampleIsNotAReading(t *testing.T) {
	b := start(t)
	b.use()
	first := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.OuterDistalEnd)) })
	second := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(tech, b.take(scope.ElevatorRecess)) })
	now := b.pass(10 * time.Second)
	read := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(tech, desk.Reading{Sample: second.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: now})
	})
	correct := func(id ledger.ID) desk.Entry { return desk.Entry{By: "T-01", Corrects: id, Reason: "typed wrong"} }
	in := desk.Reading{Sample: first.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: now}
	b.refused(t, []refusal{
		{"a reading takes no sample's place", func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(correct(first.Record.ID), in)
		}, fault.Invalid, "a reading record cannot take the place of a sample record"},
		{"a reading stays with its sample", func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(correct(read.Record.ID), in)
		}, fault.Invalid, "reading " + string(read.Record.ID) + " is of another sample\nhint: void it, then read the right sample"},
		{"a sample takes no reading's place", func(w *desk.Work) (desk.Receipt, error) {
			return w.Collect(correct(read.Record.ID), b.take(scope.OuterDistalEnd))
		}, fault.Invalid, "a sample record cannot take the place of a reading record"},
		{"a reading is read from a sample", func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(tech, desk.Reading{Sample: read.Record.ID, Meter: "M-1", Value: b.rlu("30"), At: now})
		}, fault.Invalid, "record " + string(read.Record.ID) + " is a reading, not a sample"},
	})
}
