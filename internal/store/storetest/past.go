package storetest

import (
	"crypto/rand"
	"strconv"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Past writes cycles of a fleet as the desk would, without asking the rules about each: a use, the
// steps and a verification of three samples, one in 50 of which is over the action level at first.
type Past struct {
	// At is when the next cycle begins, Every how long after it the one after that does.
	At    unit.Instant
	Every time.Duration
	// Readings counts the readings that were written.
	Readings int
	// RLU gives the reading of a number, counted from 0; nil gives 30 each. With it the verifications that are over
	// 200 are over the action level, and their second cleaning has the readings that come next.
	RLU func(n int) int
}

// pastAction is the action level of the past whose readings differ.
const pastAction = 200

// fails says whether the next verification is over the action level.
func (f *Past) fails() bool {
	if f.RLU == nil {
		return f.Readings/3%50 == 0
	}
	for i := range pastPoints {
		if f.RLU(f.Readings+i) > pastAction {
			return true
		}
	}
	return false
}

func (f *Past) put(tx *store.Tx, typ record.Kind, at unit.Instant, body any) (ledger.ID, error) {
	id := ledger.NewID(at, rand.Reader)
	_, _, err := tx.Append(store.Draft{Type: typ, ID: id, At: at, By: "T-01", Body: body})
	return id, err
}

// Cycle writes one cycle of a scope.
func (f *Past) Cycle(tx *store.Tx, tag string) error {
	at := f.At
	f.At = f.At.Add(f.Every)
	if _, err := f.put(tx, record.Use, at, reprocessing.Use{Scope: tag, Start: at, End: at.Add(20 * time.Minute)}); err != nil {
		return err
	}
	start := at.Add(20 * time.Minute)
	for _, kind := range []reprocessing.StepKind{
		reprocessing.PointOfUse, reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Inspection,
		reprocessing.Disinfection, reprocessing.Drying,
	} {
		if _, err := f.put(
			tx,
			record.Step,
			start,
			reprocessing.Step{Scope: tag, Kind: kind, Start: start, End: start.Add(10 * time.Minute), Result: reprocessing.Pass},
		); err != nil {
			return err
		}
	}
	failing := f.fails()
	cleanings := []reading.Outcome{reading.OK}
	if failing {
		cleanings = []reading.Outcome{reading.Action, reading.OK}
	}
	var hold ledger.ID
	for cleaning, outcome := range cleanings {
		taken := start.Add(time.Duration(cleaning+1) * time.Minute)
		verification, err := f.verification(tx, tag, start, taken, cleaning+1, outcome)
		if err != nil {
			return err
		}
		switch {
		case outcome == reading.Action:
			if hold, err = f.put(
				tx,
				record.Hold,
				taken,
				reprocessing.Hold{Scope: tag, Kind: reprocessing.CleaningHold, At: taken, By: "T-01", Reason: "over", Cause: string(verification)},
			); err != nil {
				return err
			}
		case hold != "":
			again, err := f.put(tx, record.Step, taken.Add(-50*time.Second), reprocessing.Step{
				Scope: tag, Kind: reprocessing.ManualCleaning, Start: taken.Add(-50 * time.Second), End: taken,
			})
			if err != nil {
				return err
			}
			if _, err := f.put(
				tx,
				record.Lift,
				taken,
				reprocessing.Lift{
					Hold: string(hold), Scope: tag, At: taken, By: "T-01", Reason: "passed",
					Verification: string(verification), Evidence: []string{string(again)},
				},
			); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *Past) verification(tx *store.Tx, tag string, start, taken unit.Instant, cleaning int, outcome reading.Outcome) (ledger.ID, error) {
	for _, point := range pastPoints {
		s := sampling.Sample{
			Scope:     tag,
			Point:     point,
			Cleaning:  cleaning,
			Kit:       "K",
			Lot:       "7",
			By:        "T-01",
			Collected: taken,
			Activated: taken,
			Shaken:    6 * unit.Second,
		}
		sample, err := f.put(tx, record.Sample, taken, s)
		if err != nil {
			return "", err
		}
		v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: 30, Typed: "30"}
		if f.RLU != nil {
			n := f.RLU(f.Readings)
			v.Number, v.Typed = unit.Number(n), strconv.Itoa(n)
		}
		x := reading.Reading{
			Sample: string(sample), Scope: tag, Cleaning: cleaning, Meter: "M-1", Lot: "7", By: "T-01", Value: v, Rules: "fixture",
			With:      reading.Circumstances{System: "A", Kit: "K", Point: point, Kind: scope.Duodenoscope, At: taken},
			Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "30 RLU is below the alert level 100"},
		}
		if _, err := f.put(tx, record.Reading, taken, x); err != nil {
			return "", err
		}
		f.Readings++
	}
	d := reprocessing.Decision{
		Scope:        tag,
		Cycle:        start,
		First:        taken,
		Last:         taken,
		Rules:        "fixture",
		Verification: reading.Verification{Cleaning: cleaning, Outcome: outcome, Complete: true, Why: "fixture"},
	}
	return f.put(tx, record.Verification, taken, d)
}

// pastPoints are the points of a verification.
var pastPoints = []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}
