package sqlite_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// BenchmarkSearch measures a page of 50 with the count of all, for what is common, what is rare, and what
// never meets although both are everywhere. The number of readings is RINSATE_BENCH_READINGS.
func BenchmarkSearch(b *testing.B) {
	n := readings(b)
	db := open(b, time.Now)
	begin := unit.At(time.Date(2016, 1, 1, 0, 0, 0, 0, time.UTC))
	for i := 0; i < n; {
		err := db.Write(context.Background(), func(tx *store.Tx) error {
			for range min(2000, n-i) {
				d := benchReading(i, begin.Add(time.Duration(i)*5*time.Minute))
				x := d.Body.(reading.Reading)
				x.Meter, x.Lot = fmt.Sprintf("M-%d", i%2), fmt.Sprintf("L-%d", (i+1)%2)
				d.By, d.Body = fmt.Sprintf("T-%02d", i%7), x
				if _, _, err := tx.Append(d); err != nil {
					return err
				}
				i++
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	rare := "SC-003"
	for _, c := range []struct {
		name string
		q    store.Query
	}{
		{"all", store.Query{}},
		{"scope", store.Query{Terms: []record.Term{record.ByScope.Is(rare)}}},
		{"five", store.Query{Terms: []record.Term{
			record.ByScope.Is(rare), record.ByType.Is("reading"), record.ByKit.Is("K"), record.ByPerson.Is("T-03"),
			record.ByOutcome.Is("below"),
		}}},
		{"never-meet", store.Query{Terms: []record.Term{record.ByMeter.Is("M-0"), record.ByLot.Is("L-0")}}},
		{"nobody", store.Query{Terms: []record.Term{record.ByPerson.Is("T-99"), record.ByKit.Is("K")}}},
		{"all-time", store.Query{From: begin, To: begin.Add(90000 * time.Hour), Terms: []record.Term{record.ByMeter.Is("M-0"), record.ByLot.Is("L-0")}}},
		{"one-day", store.Query{From: begin.Add(100 * time.Hour), To: begin.Add(110 * time.Hour)}},
	} {
		b.Run(c.name, func(b *testing.B) {
			var waits []time.Duration
			for b.Loop() {
				start := time.Now()
				err := db.Read(context.Background(), func(tx *store.Tx) error {
					left := 50
					_, err := tx.Finding().SearchPage(c.q, 100_001, func(store.Kept) (bool, error) {
						left--
						return left > 0, nil
					})
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
				waits = append(waits, time.Since(start))
			}
			slices.Sort(waits)
			b.ReportMetric(float64(waits[int(0.95*float64(len(waits)-1))].Microseconds())/1000, "p95-ms")
			b.ReportMetric(float64(waits[0].Microseconds())/1000, "min-ms")
		})
	}
}
