package storetest

import (
	"crypto/rand"
	"strconv"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Past writes turnarounds of a fleet as the desk would, without asking the rules about each: a use, the
// steps and a round of three samples, one in 50 of which is over the action level at first.
type Past struct {
	// At is when the next turnaround begins, Every how long after it the one after that does.
	At    unit.Instant
	Every time.Duration
	// Readings counts the readings that were written.
	Readings int
	// RLU gives the reading of a number, counted from 0; nil gives 30 each. With it the rounds that are over
	// 200 are over the action level, and their second attempt has the readings that come next.
	RLU func(n int) int
}

// pastAction is the action level of the past whose readings differ.
const pastAction = 200

// fails says whether the next round is over the action level.
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

// Turnaround writes one turnaround of a scope.
func (f *Past) Turnaround(tx *store.Tx, tag string) error {
	at := f.At
	f.At = f.At.Add(f.Every)
	if _, err := f.put(tx, record.Use, at, turnaround.Use{Scope: tag, Start: at, End: at.Add(20 * time.Minute)}); err != nil {
		return err
	}
	start := at.Add(20 * time.Minute)
	for _, kind := range []turnaround.StepKind{turnaround.PreClean, turnaround.LeakTest, turnaround.ManualCleaning, turnaround.Inspection, turnaround.Disinfection, turnaround.Drying} {
		if _, err := f.put(tx, record.Step, start, turnaround.Step{Scope: tag, Kind: kind, Start: start, End: start.Add(10 * time.Minute), Result: turnaround.Pass}); err != nil {
			return err
		}
	}
	failing := f.fails()
	attempts := []reading.Outcome{reading.Below}
	if failing {
		attempts = []reading.Outcome{reading.Action, reading.Below}
	}
	var hold ledger.ID
	for attempt, outcome := range attempts {
		taken := start.Add(time.Duration(attempt+1) * time.Minute)
		round, err := f.round(tx, tag, start, taken, attempt+1, outcome)
		if err != nil {
			return err
		}
		switch {
		case outcome == reading.Action:
			if hold, err = f.put(tx, record.Hold, taken, turnaround.Hold{Scope: tag, At: taken, By: "T-01", Reason: "over", Cause: string(round)}); err != nil {
				return err
			}
		case hold != "":
			if _, err := f.put(tx, record.Lift, taken, turnaround.Lift{Hold: string(hold), Scope: tag, At: taken, By: "T-01", Reason: "passed", Round: string(round)}); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *Past) round(tx *store.Tx, tag string, start, taken unit.Instant, attempt int, outcome reading.Outcome) (ledger.ID, error) {
	for _, point := range pastPoints {
		s := sampling.Sample{Scope: tag, Point: point, Attempt: attempt, Kit: "K", Lot: "7", By: "T-01", Collected: taken, Activated: taken, Shaken: 6 * unit.Second}
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
			Sample: string(sample), Scope: tag, Attempt: attempt, Meter: "M-1", Lot: "7", By: "T-01", Value: v, Rules: "fixture",
			With:      reading.Circumstances{System: "A", Kit: "K", Point: point, Kind: scope.Duodenoscope, At: taken},
			Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "30 RLU is below the alert level 100"},
		}
		if _, err := f.put(tx, record.Reading, taken, x); err != nil {
			return "", err
		}
		f.Readings++
	}
	d := turnaround.Decision{Scope: tag, Turnaround: start, First: taken, Last: taken, Rules: "fixture", Round: reading.Round{Attempt: attempt, Outcome: outcome, Complete: true, Why: "fixture"}}
	return f.put(tx, record.Round, taken, d)
}

// pastPoints are the points of a round.
var pastPoints = []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}
