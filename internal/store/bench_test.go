package store_test

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"rinsate/internal/ledger"
	"rinsate/internal/store"
	"rinsate/internal/turnaround"
	"rinsate/internal/unit"
)

// BenchmarkRecordWrite measures whole record writes (ledger and tables, durable) by 64 writers, and
// as a yardstick single-row durable commits of the same driver on the same disk. The ratio of the
// two is what counts; absolute rates depend on the disk.
func BenchmarkRecordWrite(b *testing.B) {
	single := singleRowRate(b)
	db := create(b)
	const writers = 64
	b.ResetTimer()
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := w; i < b.N; i += writers {
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					at := unit.At(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)).Add(time.Duration(i) * time.Second)
					_, _, err := tx.Append(store.Draft{
						Type: store.TypeStep, ID: ledger.NewID(tx.Now, rand.Reader), At: at, By: "T-07",
						Body: turnaround.Step{Scope: fmt.Sprintf("SC-%02d", i%24), Kind: turnaround.LeakTest, Start: at, End: at.Add(time.Minute), By: "T-07", Result: turnaround.Pass},
					})
					return err
				})
				if err != nil {
					b.Error(err)
				}
			}
		})
	}
	wg.Wait()
	rate := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(rate, "records/s")
	b.ReportMetric(single, "single-row-commits/s")
	b.ReportMetric(rate/single, "ratio")
}

func singleRowRate(b *testing.B) float64 {
	b.Helper()
	path := filepath.Join(b.TempDir(), "single.db")
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`CREATE TABLE t (id INTEGER PRIMARY KEY, at INTEGER, text TEXT)`); err != nil {
		b.Fatal(err)
	}
	st, err := db.Prepare(`INSERT INTO t (at, text) VALUES ($1, $2)`)
	if err != nil {
		b.Fatal(err)
	}
	const n = 3000
	start := time.Now()
	for i := range n {
		if _, err := st.Exec(i, "a row of about two hundred bytes, as long as the body of a record of a step of a turnaround is: scope, kind, start, end, person, result; written alone and durably, with one commit"); err != nil {
			b.Fatal(err)
		}
	}
	return n / time.Since(start).Seconds()
}

func create(tb testing.TB) *store.DB {
	tb.Helper()
	db, err := store.Create(context.Background(), tb.TempDir(), store.Site{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1"}, time.Now)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	return db
}
