package sqlite_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// BenchmarkRecordWrite measures whole record writes (ledger and tables, durable) by 64 writers, and
// as a yardstick single-row durable commits of the same driver on the same disk. The ratio of the
// two is what counts; absolute rates depend on the disk.
func BenchmarkRecordWrite(b *testing.B) {
	single := singleRowRate(b)
	db := open(b, time.Now)
	const writers = 64
	b.ResetTimer()
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := w; i < b.N; i += writers {
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					at := unit.At(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)).Add(time.Duration(i) * time.Second)
					_, _, err := tx.Append(store.Draft{
						Type: record.Step,
						ID:   ledger.NewID(tx.Now, rand.Reader),
						At:   at,
						By:   "T-07",
						Body: reprocessing.Step{
							Scope:  fmt.Sprintf("SC-%02d", i%24),
							Kind:   reprocessing.LeakTest,
							Start:  at,
							End:    at.Add(time.Minute),
							By:     "T-07",
							Result: reprocessing.Pass,
						},
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
	defer func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	}()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`CREATE TABLE t (id INTEGER PRIMARY KEY, at INTEGER, text TEXT)`); err != nil {
		b.Fatal(err)
	}
	st, err := db.Prepare(`INSERT INTO t (at, text) VALUES ($1, $2)`)
	if err != nil {
		b.Fatal(err)
	}
	defer func() {
		if err := st.Close(); err != nil {
			b.Error(err)
		}
	}()
	const n = 3000
	start := time.Now()
	for i := range n {
		if _, err := st.Exec(
			i,
			"a row of about two hundred bytes, as long as the body of a record of a step of a cycle is: scope, kind, start, end, person, result; written alone "+
				"and durably, with one commit",
		); err != nil {
			b.Fatal(err)
		}
	}
	return n / time.Since(start).Seconds()
}

// readings is how many records the large ledger of a benchmark holds.
func readings(b *testing.B) int {
	b.Helper()
	text := os.Getenv("RINSATE_BENCH_READINGS")
	if text == "" {
		return 100_000
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		b.Fatalf("RINSATE_BENCH_READINGS is %q, want a whole number over 0", text)
	}
	return n
}

// BenchmarkBulk measures one transaction of b.N records, as an import is: the cost of a record must
// not grow with those before it.
func BenchmarkBulk(b *testing.B) {
	db := open(b, time.Now)
	at := unit.At(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))
	b.ResetTimer()
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		for i := range b.N {
			if _, _, err := tx.Append(benchReading(i, at.Add(time.Duration(i)*time.Minute))); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
}

// BenchmarkLarge measures what depends on the size of the ledger: opening it, which must not, and
// verifying it, as the share of plain SHA-256 over the same leaves on one core. The number of
// readings is RINSATE_BENCH_READINGS, 100,000 if that is not set.
func BenchmarkLarge(b *testing.B) {
	n := readings(b)
	db := open(b, time.Now)
	at := unit.At(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))
	for i := 0; i < n; {
		err := db.Write(context.Background(), func(tx *store.Tx) error {
			for range min(2000, n-i) {
				if _, _, err := tx.Append(benchReading(i, at.Add(time.Duration(i)*time.Minute))); err != nil {
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
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
	b.Run("Open", func(b *testing.B) {
		var slowest time.Duration
		for b.Loop() {
			start := time.Now()
			db, err := db.Home().Open(context.Background(), time.Now)
			if err != nil {
				b.Fatal(err)
			}
			slowest = max(slowest, time.Since(start))
			if err := db.Close(); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(slowest.Microseconds())/1000, "slowest-open-ms")
	})
	b.Run("Verify", func(b *testing.B) {
		size, plain := plainHashing(b, db.Home().Dir())
		for b.Loop() {
			if _, err := db.Home().Verify(context.Background(), nil, nil); err != nil {
				b.Fatal(err)
			}
		}
		rate := float64(size) * float64(b.N) / b.Elapsed().Seconds()
		b.ReportMetric(rate/1e6, "MB/s")
		b.ReportMetric(plain/1e6, "plain-MB/s")
		b.ReportMetric(100*rate/plain, "%-of-plain")
	})
}

func benchReading(i int, at unit.Instant) store.Draft {
	v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(i % 300), Typed: strconv.Itoa(i % 300)}
	level := reading.Level{
		System:     "A",
		Kit:        "K",
		Point:      scope.OuterDistalEnd,
		Analyte:    reading.ATP,
		Unit:       reading.RLU,
		Alert:      100,
		Action:     200,
		Comparison: reading.Over,
		Source:     "bench",
		Edition:    "1",
		Adopter:    "L-01",
		Adopted:    1,
	}
	x := reading.Reading{
		Sample: string(
			ledger.DerivedID("sample", strconv.Itoa(i)),
		),
		Scope:    fmt.Sprintf("SC-%03d", i%100),
		Cleaning: 1,
		Meter:    "M-1",
		Lot:      "7",
		By:       "T-07",
		Value:    v,
		Rules:    "bench",
		With:     reading.Circumstances{System: "A", Kit: "K", Point: scope.OuterDistalEnd, Kind: scope.Duodenoscope, At: at},
	}
	x.Judgement = level.Judge(v, x.With)
	return store.Draft{Type: record.Reading, ID: ledger.NewID(at, rand.Reader), At: at, By: "T-07", Body: x}
}

// plainHashing returns how many bytes of leaves there are, and how many a second one core hashes.
func plainHashing(b *testing.B, dir string) (size int64, rate float64) {
	b.Helper()
	raw := sqlitetest.Raw(b, sqlite.Folder(dir))
	if err := raw.QueryRow(`SELECT sum(length(bytes)) FROM record`).Scan(&size); err != nil {
		b.Fatal(err)
	}
	var leaves [][]byte
	for seq := range 20_000 {
		var leaf []byte
		err := raw.QueryRow(`SELECT bytes FROM record WHERE seq = $1`, seq).Scan(&leaf)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			b.Fatal(err)
		}
		leaves = append(leaves, append([]byte{0}, leaf...))
	}
	hashed, start := 0, time.Now()
	for time.Since(start) < time.Second {
		for _, leaf := range leaves {
			sha256.Sum256(leaf)
			hashed += len(leaf)
		}
	}
	return size, float64(hashed) / time.Since(start).Seconds()
}

// BenchmarkHead measures what it costs to keep the end of the ledger beside the folder with each commit: a durable write
// of one record by one writer, and the keeping alone.
func BenchmarkHead(b *testing.B) {
	b.Run("commit", func(b *testing.B) {
		db := open(b, time.Now)
		b.ResetTimer()
		for i := range b.N {
			storetest.Write(b, db, storetest.Step(fmt.Sprintf("SC-%02d", i%24), db.Now()))
		}
	})
	b.Run("head", func(b *testing.B) {
		h := sqlite.NewHead(sqlite.Folder(filepath.Join(b.TempDir(), "data")))
		defer func() {
			if err := h.Close(); err != nil {
				b.Error(err)
			}
		}()
		b.ResetTimer()
		for i := range b.N {
			if err := h.Keep(fmt.Sprintf("h1.%d.", i)); err != nil {
				b.Fatal(err)
			}
		}
	})
}
