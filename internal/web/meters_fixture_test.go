package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"math"
	random "math/rand/v2"
	"net/url"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// What is planted: readings of one lot are 2.5 times as high as others, those after one person's cleaning
// 1.8 times. Neither meters nor scopes differ.
const (
	plantedLot    = "P-5"
	plantedPerson = "C-4"
	plantedTurns  = 192
)

// lotsQuery asks for the comparison of two lots of the kit.
func lotsQuery(old, new string) string {
	return url.Values{"what": {lotsCompared}, "old": {lotValue("K", old)}, "new": {lotValue("K", new)}}.Encode()
}

// plant gives the site eight scopes, people and lots and 192 cycles of the last 80 days, each with
// three readings. Scopes and lots are balanced; people and meters come at random.
func (b *site) plant() {
	b.Helper()
	b.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		for i := range 8 {
			tag := fmt.Sprintf("P-%02d", i+1)
			if _, err = w.SettingUp().
				RegisterInstrument(e, b.at(), scope.Instrument{Tag: tag, Model: duodenoscope.Name, Owner: scope.Own, InService: b.at()}); err != nil {
				return r, err
			}
			if _, err = w.SettingUp().
				RegisterLot(e, b.at(), quality.Lot{Kit: "K", Lot: fmt.Sprintf("P-%d", i+1), Expires: b.at().Add(1000 * time.Hour)}); err != nil {
				return r, err
			}
			if r, err = w.SettingUp().RegisterPerson(e, b.at(), record.PersonBody{Code: fmt.Sprintf("C-%d", i+1), Role: "technician"}); err != nil {
				return r, err
			}
		}
		return r, nil
	})
	dice := random.New(random.NewPCG(5, 4)) //nolint:gosec // the same readings every time
	err := b.desk.DB.Write(context.WithoutCancel(b.Context()), func(tx *store.Tx) error {
		at := b.at().Add(-80 * 24 * time.Hour)
		for i := range plantedTurns {
			t := plantedTurn{
				tag: fmt.Sprintf(
					"P-%02d",
					i%8+1,
				),
				lot:    fmt.Sprintf("P-%d", i/8%8+1),
				person: fmt.Sprintf("C-%d", dice.IntN(8)+1),
				meter:  fmt.Sprintf("M-%d", dice.IntN(2)+1),
				at:     at,
			}
			if err := t.write(tx, dice); err != nil {
				return err
			}
			at = at.Add(10 * time.Hour)
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
}

// plantedTurn is one use, cleaning and verification.
type plantedTurn struct {
	tag, lot, person, meter string
	at                      unit.Instant
}

func (t plantedTurn) write(tx *store.Tx, dice *random.Rand) error {
	put := func(typ record.Kind, at unit.Instant, body any) (ledger.ID, error) {
		id := ledger.NewID(at, rand.Reader)
		_, _, err := tx.Append(store.Draft{Type: typ, ID: id, At: at, By: t.person, Body: body})
		return id, err
	}
	if _, err := put(record.Use, t.at, reprocessing.Use{Scope: t.tag, Start: t.at, End: t.at.Add(20 * time.Minute)}); err != nil {
		return err
	}
	start := t.at.Add(30 * time.Minute)
	if _, err := put(
		record.Step,
		start,
		reprocessing.Step{Scope: t.tag, Kind: reprocessing.ManualCleaning, Start: start, End: start.Add(15 * time.Minute), By: t.person},
	); err != nil {
		return err
	}
	for i, point := range routine {
		at := start.Add(time.Duration(20+i) * time.Minute)
		log := 1.6 + 0.2*dice.NormFloat64()
		if t.lot == plantedLot {
			log += math.Log10(2.5)
		}
		if t.person == plantedPerson {
			log += math.Log10(1.8)
		}
		value := unit.Number(math.Round(math.Pow(10, log)))
		outcome := reading.OK
		if value > 100 {
			outcome = reading.Action
		}
		v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: value, Typed: value.String()}
		sample, err := put(
			record.Sample,
			at,
			sampling.Sample{Scope: t.tag, Point: point, Cleaning: 1, Kit: "K", Lot: t.lot, By: t.person, Collected: at, Activated: at, Shaken: 6 * unit.Second},
		)
		if err != nil {
			return err
		}
		_, err = put(record.Reading, at, reading.Reading{
			Sample: string(sample), Scope: t.tag, Cleaning: 1, Meter: t.meter, Lot: t.lot, By: t.person, Value: v, Rules: "fixture",
			With:      reading.Circumstances{System: "A", Kit: "K", Point: point, Kind: scope.Duodenoscope, At: at},
			Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "fixture"},
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// failedCheck gives the site a meter that was checked every six minutes and calibrated once, read one scope, and
// failed its check, and returns the record of that check.
func (b *site) failedCheck() string {
	b.Helper()
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(e, b.at(), quality.Meter{Code: "M-3", System: "A", Serial: "0815"})
	})
	begin := b.at()
	var last ledger.ID
	for i := range 26 {
		value, serviced := 980+i*7%50, ""
		switch i {
		case 2:
			serviced = "calibrated by the maker's service"
		case 25:
			value = 600
		}
		at := begin.Add(-time.Duration(25-i) * 6 * time.Minute)
		last = b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			r, _, err := w.AtMeters().CheckMeter(e, desk.Check{Meter: "M-3", Serviced: serviced, Controls: []quality.Control{
				{
					Kind:     quality.Positive,
					Material: "light",
					Value:    unit.Number(value),
					At:       at,
				},
				{Kind: quality.Blank, Material: "empty chamber", Value: 2, At: at},
			}})
			return r, err
		}).Record.ID
		if i == 24 {
			b.turnWith("M-3", begin.Add(-54*time.Minute))
		}
	}
	return string(last)
}

// turnWith records a reading with a meter, at an instant of the past.
func (b *site) turnWith(meter string, at unit.Instant) {
	b.Helper()
	err := b.desk.DB.Write(context.WithoutCancel(b.Context()), func(tx *store.Tx) error {
		t := plantedTurn{tag: "P-01", lot: "P-1", person: "C-1", meter: meter, at: at}
		return t.write(tx, random.New(random.NewPCG(1, 2))) //nolint:gosec // the same readings every time
	})
	if err != nil {
		b.Fatal(err)
	}
}
