package storetest

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Everything writes at least one record of every type, and every way of taking another's place. Two
// records of the type clock come from the clock that is set back.
func Everything(tb testing.TB, db *store.DB, clock *Clock) {
	tb.Helper()
	w := writer{TB: tb, db: db, clock: clock}
	w.entities()
	w.events()
	clock.Move(-time.Hour)
	w.put(record.Person, record.PersonBody{Code: "after the clock"})
	w.all()
}

// writer appends records one by one, a second apart.
type writer struct {
	testing.TB
	db    *store.DB
	clock *Clock
}

func (w writer) put(typ record.Kind, body any, change ...func(*store.Draft)) ledger.Record {
	w.Helper()
	at := w.clock.Move(time.Second)
	d := store.Draft{Type: typ, ID: ledger.NewID(at, rand.Reader), At: at, By: "T-01", Body: body}
	for _, f := range change {
		f(&d)
	}
	return Write(w.TB, w.db, d)[0]
}

func correct(r ledger.Record) func(*store.Draft) {
	return func(d *store.Draft) { d.Corrects, d.Reason = r.ID, "typed wrong" }
}

// all fails when a type of record was left out.
func (w writer) all() {
	w.Helper()
	seen := make(map[record.Kind]bool)
	Read(w.TB, w.db, func(tx *store.Tx) error {
		return tx.Finding().Search(store.Query{}, func(k store.Kept) (bool, error) {
			seen[k.Kind()] = true
			return true, nil
		})
	})
	for _, kind := range record.Kinds {
		if !seen[kind] {
			w.Fatalf("no record of kind %q was written: add one to storetest.Everything", kind)
		}
	}
}

func (w writer) entities() {
	at := w.clock.At()
	w.put(record.Model, model())
	w.put(record.Instrument, scope.Instrument{Tag: "SC-00", Model: "D1", Owner: scope.Own, InService: at})
	w.put(record.Meter, quality.Meter{Code: "M-1", System: "A"})
	lot := w.put(record.Lot, quality.Lot{Kit: "K", Lot: "7", Expires: at.Add(240 * time.Hour)})
	w.put(record.Lot, quality.Lot{Kit: "K", Lot: "7", Expires: at.Add(480 * time.Hour)}, correct(lot))
	w.put(record.Person, record.PersonBody{Code: "T-01", Role: "technician"})
	w.put(record.Access, record.AccessBody{Code: "T-01", Change: record.AccountAdded, Roles: []access.Role{access.Technician}})
	w.put(record.Access, record.AccessBody{Code: "T-01", Change: record.AccountDisabled, Roles: []access.Role{}, Disabled: true})
	w.put(record.Rules, record.RulesBody{Name: "r", Edition: "1", Digest: "00", Text: "name: r"})
	level := w.put(record.Level, aLevel(at))
	w.put(record.Level, aLevel(at.Add(time.Second)))
	w.put(record.Void, record.VoidBody{}, correct(level))
	w.put(record.Selection, record.SelectionBody{Seed: "s", Rule: sampling.Selection{Size: 1}, Picks: []sampling.Pick{}})
	w.put(
		record.Target,
		quality.Target{
			System:   "A",
			Kind:     quality.Positive,
			Material: "light",
			Low:      900,
			High:     1100,
			Source:   "test",
			Edition:  "1",
			Adopter:  "L-01",
			Adopted:  at,
		},
	)
	w.put(record.Comparison, record.ComparisonBody{Old: quality.Setup{Kit: "K", Lot: "7"}, New: quality.Setup{Kit: "K", Lot: "8"}, Answer: quality.SameLevel})
	w.put(record.Chart, record.ChartBody{Series: trend.Key{Scope: "SC-00", Point: scope.OuterDistalEnd, System: "A", Kit: "K"}, Adopter: "L-01", Adopted: at})
	roles := []access.Role{access.Lead, access.InfectionPrevention}
	w.put(record.Start, reprocessing.StartNote{
		At: at, By: "L-01", Second: "H-01", ByRoles: roles[:1], SecondRoles: roles[1:], Founders: []reprocessing.Founder{{Code: "L-01", Roles: roles[:1]}},
	})
	w.put(record.Import, record.ImportBody{File: "f.csv", Kind: "uses", Digest: "00", Rows: 1, Stored: 1})
	restore := w.put(record.Restore, reprocessing.RestoreNote{Told: reprocessing.InPlace, Copied: at, At: at, Size: 1, By: "L-01"})
	w.put(record.Restore, reprocessing.RestoreNote{
		Told: reprocessing.NothingSince, At: at, By: "L-01", Second: "L-02", Restore: string(restore.ID), Scopes: []string{"SC-00"}, Known: reprocessing.ByPaper,
	})
}

func (w writer) events() {
	const tag = "SC-00"
	at := w.clock.At()
	use := w.put(record.Use, reprocessing.Use{Scope: tag, Start: at})
	w.put(record.Use, reprocessing.Use{Scope: tag, Start: at, End: at.Add(time.Minute), Procedure: "ERCP", Finishes: string(use.ID)})
	urgent := w.put(record.Use, reprocessing.Use{
		Scope: tag, Start: at, End: at, Emergency: reprocessing.Emergency{Reason: reprocessing.CannotWait, Decided: "N-01"},
	})
	w.put(record.Seen, record.SeenBody{Scope: tag, Use: urgent.ID, At: at, By: "I-01"})
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(urgent))
	step := w.put(record.Step, reprocessing.Step{Scope: tag, Kind: reprocessing.PointOfUse, Start: at})
	w.put(record.Step, reprocessing.Step{
		Scope: tag, Kind: reprocessing.Disinfection, Start: at, End: at.Add(time.Minute), Result: reprocessing.Fail, Reprocessor: "W-1", CycleNumber: "7",
		Disinfectant: "opa", DisinfectantLot: "L9", DisinfectantFilled: at, DisinfectantExpires: at.Add(time.Hour),
	})
	done := w.put(record.Step, reprocessing.Step{Scope: tag, Kind: reprocessing.PointOfUse, Start: at, End: at.Add(time.Minute), Finishes: string(step.ID)})
	// The correction of a record that finished another still names that one.
	w.put(
		record.Step,
		reprocessing.Step{Scope: tag, Kind: reprocessing.PointOfUse, Start: at, End: at.Add(2 * time.Minute), Finishes: string(step.ID)},
		correct(done),
	)
	word := w.put(record.Attestation, reprocessing.Attestation{
		Scope: tag, At: at, By: "T-01", Of: []string{string(done.ID)}, From: reprocessing.OwnAct,
	})
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(word))
	list := w.put(record.StockTake, reprocessing.StockTake{
		Scope: tag, At: at, By: "L-01", Second: "H-01", ByRoles: []access.Role{access.Lead}, SecondRoles: []access.Role{access.InfectionPrevention},
		Cabinet: "drying-cabinet", Until: at.Add(time.Hour), Papers: []string{string(done.ID)},
	})
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(list))
	sample := w.put(record.Sample, sampling.Sample{Scope: tag, Point: scope.OuterDistalEnd, Cleaning: 1, Kit: "K", Lot: "7", Collected: at})
	w.put(record.Moment, sampling.Moment{Sample: string(sample.ID), Scope: tag, Mark: sampling.Activated, At: at})
	first := w.put(record.Reading, aReading(tag, sample.ID, at, reading.Action))
	second := w.put(record.Reading, aReading(tag, sample.ID, at, reading.OK), correct(first))
	third := w.put(record.Reading, aReading(tag, sample.ID, at, reading.OK))
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(second))
	w.put(record.Check, aCheck(at-1, quality.Accepted))
	check := w.put(record.Check, aCheck(at+1, quality.Rejected))
	mark := w.put(
		record.Suspect,
		record.SuspectBody{Scope: tag, Meter: "M-1", Check: check.ID, At: at + 1, Since: at - 1, Reason: "failed", Readings: []ledger.ID{third.ID}},
	)
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(mark))
	w.put(
		record.Suspect,
		record.SuspectBody{Scope: tag, Meter: "M-1", Check: check.ID, At: at + 1, Since: at - 1, Reason: "failed", Readings: []ledger.ID{third.ID}},
	)
	other := w.put(record.Check, aCheck(at+2, quality.Accepted))
	w.put(record.Void, record.VoidBody{}, correct(other))
	failed := w.put(
		record.Verification,
		reprocessing.Decision{Scope: tag, Verification: reading.Verification{Cleaning: 1, Outcome: reading.Action}, First: at, Last: at, Rules: "r"},
	)
	hold := w.put(record.Hold, reprocessing.Hold{
		Scope: tag, Kind: reprocessing.CleaningHold, At: at, By: "T-01", Reason: "over", Cause: string(failed.ID),
	})
	seen := w.put(record.Hold, reprocessing.Hold{Scope: tag, Kind: reprocessing.DamageHold, At: at, By: "T-01", Reason: "seen"})
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(seen))
	again := w.put(record.Step, reprocessing.Step{Scope: tag, Kind: reprocessing.ManualCleaning, Start: at, End: at + 1})
	passed := w.put(
		record.Verification,
		reprocessing.Decision{
			Scope:        tag,
			Verification: reading.Verification{Cleaning: 2, Outcome: reading.OK, Complete: true},
			First:        at + 1,
			Last:         at + 2,
			Rules:        "r",
		},
	)
	w.put(record.Lift, reprocessing.Lift{
		Hold: string(hold.ID), Scope: tag, At: at + 2, By: "T-01", Reason: "passed", Verification: string(passed.ID), Evidence: []string{string(again.ID)},
	})
	w.put(
		record.Verification,
		reprocessing.Decision{
			Scope:        tag,
			Verification: reading.Verification{Cleaning: 2, Outcome: reading.None},
			First:        at + 1,
			Last:         at + 2,
			Rules:        "r",
			Supersedes:   string(passed.ID),
		},
	)
	gone := w.put(record.Repair, record.RepairBody{Repair: scope.Repair{Scope: tag, Sent: at}})
	w.put(record.Repair, record.RepairBody{Repair: scope.Repair{Scope: tag, Sent: at, Returned: at + 1}, Finishes: string(gone.ID)})
	w.put(record.Request, sampling.Request{Scope: tag, Reason: "outbreak", By: "L-01", At: at})
	w.files(tag)
	w.put(record.Erasure, record.ErasureBody{Scope: tag, Why: record.NamesPatient, Texts: []record.FreeText{{Record: seen.ID, Field: "body.reason"}}})
	w.put(record.Patient, record.PatientBody{Act: record.PatientSought, Uses: 1, Why: "look-back"})
	w.notes()
	w.signals(tag, third.ID, hold.ID)
}

// signals lets a signal go through its life, with one act corrected and one taken back.
func (w writer) signals(tag string, reading, hold ledger.ID) {
	w.Helper()
	at := w.clock.At()
	act := func(a trend.Act, change ...func(*store.Draft)) ledger.Record {
		h := trend.Handling{
			Identity: trend.Identity{
				Series:    trend.Key{Scope: tag, Point: scope.OuterDistalEnd, System: "A", Kit: "K"},
				Reading:   reading,
				Signalled: at,
				Direction: trend.Higher,
			},
			Begin: at - 1,
			Last:  at + 1,
			Act:   a,
			At:    at,
		}
		h.Signal = h.ID()
		switch a {
		case trend.Explained:
			h.Words, h.Cause = "the channel is worn", trend.ScopeCause
		case trend.Linked:
			h.Record = hold
		case trend.Closed, trend.Reopened:
			h.Words = "test"
		case trend.Seen:
		}
		if err := h.Check(); err != nil {
			w.Fatal(err)
		}
		return w.put(record.Signal, h, change...)
	}
	act(trend.Seen)
	act(trend.Explained, correct(act(trend.Explained)))
	act(trend.Linked)
	act(trend.Closed)
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(act(trend.Reopened)))
}

// files attaches one file twice and another once, and takes one of the attachments back.
func (w writer) files(tag string) {
	w.Helper()
	at := w.clock.At()
	attach := func(content string, change ...func(*store.Draft)) ledger.Record {
		d := Attachment(w.TB, tag, at, content)
		return w.put(record.Attachment, d.Body, append(change, func(to *store.Draft) { to.Content = d.Content })...)
	}
	first := attach("%PDF-1.7 first")
	attach("%PDF-1.7 first", correct(first))
	second := attach("%PDF-1.7 second")
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(second))
}

func (w writer) notes() {
	w.Helper()
	at := w.clock.At()
	note := dossier.Handover{At: at, By: "T-01", Text: "D-01 is drying", Scopes: []string{"D-01"}}
	w.put(record.Handover, note)
	w.put(record.Handover, note, correct(w.put(record.Handover, note)))
	w.put(record.Void, record.VoidBody{}, correct(w.put(record.Handover, note)))
}

// Attachment returns an attachment with its file, as a record to append. The file is never looked at
// and may be any text that begins like a document.
func Attachment(tb testing.TB, tag string, at unit.Instant, content string) store.Draft {
	tb.Helper()
	digest := sha256.Sum256([]byte(content))
	body := dossier.Attachment{
		Scope: tag, Kind: dossier.Report, Title: "test", At: at, By: "T-07",
		File: dossier.File{Media: dossier.PDF, Size: int64(len(content)), Digest: hex.EncodeToString(digest[:])},
	}
	if err := body.Check(); err != nil {
		tb.Fatal(err)
	}
	return store.Draft{Type: record.Attachment, ID: ledger.NewID(at, rand.Reader), At: at, By: "T-07", Body: body, Content: []byte(content)}
}

func aCheck(at unit.Instant, o quality.Outcome) record.CheckBody {
	return record.CheckBody{
		Meter: "M-1", Controls: []quality.Control{{Meter: "M-1", Kind: quality.Positive, Material: "light", Value: 1000, At: at, Person: "T-01"}},
		Verdict: quality.Verdict{Meter: "M-1", From: at, At: at, Outcome: o, Why: "test"}, Rules: "r",
	}
}

func model() scope.Model {
	return scope.Model{
		Name: "D1", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350, Brushable: true, Flushable: true, Cleaning: "brush and flush"}},
	}
}

func aLevel(adopted unit.Instant) reading.Level {
	return reading.Level{
		System: "A", Kit: "K", Point: scope.OuterDistalEnd, Analyte: reading.ATP, Unit: reading.RLU, Alert: 100, Action: 200,
		Comparison: reading.Over, Source: "test", Edition: "1", Adopter: "L-01", Adopted: adopted,
	}
}

func aReading(tag string, sample ledger.ID, at unit.Instant, o reading.Outcome) reading.Reading {
	v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: 30, Typed: "30"}
	return reading.Reading{
		Sample: string(sample), Scope: tag, Cleaning: 1, Meter: "M-1", Lot: "7", Value: v, Rules: "r",
		With:      reading.Circumstances{System: "A", Kit: "K", Point: scope.OuterDistalEnd, Kind: scope.Duodenoscope, At: at},
		Judgement: reading.Judgement{Outcome: o, Judged: v, Why: "test"},
	}
}
