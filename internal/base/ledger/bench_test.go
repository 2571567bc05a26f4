package ledger_test

import (
	"crypto/sha256"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
)

func benchRecord() ledger.Record {
	r := record(14)
	r.Body = json.RawMessage(`{"lot":"L7","point":"biopsy channel","rlu":142,"scope":"SCP-0042"}`)
	return r
}

func BenchmarkEncode(b *testing.B) {
	r := benchRecord()
	one, err := ledger.Encode(r)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(len(one)), "bytes/record")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ledger.Encode(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	one, err := ledger.Encode(benchRecord())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ledger.Decode(one); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTail(b *testing.B) {
	one, err := ledger.Encode(benchRecord())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := ledger.Tail(one); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	one, err := ledger.Encode(benchRecord())
	if err != nil {
		b.Fatal(err)
	}
	var f ledger.Frontier
	b.ReportAllocs()
	for b.Loop() {
		f.Append(one)
	}
}

// BenchmarkVerifier reports its speed as a share of the plain SHA-256 of the same leaves on one
// core, measured in the same run.
func BenchmarkVerifier(b *testing.B) {
	l := newLog(b, 4096)
	run := func(b *testing.B, feed func(*ledger.Verifier) error) {
		b.Helper()
		var plain time.Duration
		rounds := 0
		for b.Loop() {
			v := ledger.NewVerifier()
			if err := feed(v); err != nil {
				b.Fatal(err)
			}
			if err := v.Finish(4096, l.roots[4096]); err != nil {
				b.Fatal(err)
			}
			b.StopTimer()
			began := time.Now()
			for _, row := range l.rows {
				sha256.Sum256(row.Record)
			}
			plain += time.Since(began)
			rounds++
			b.StartTimer()
		}
		b.ReportMetric(float64(plain)/float64(b.Elapsed())*100, "%ofSHA256")
		b.ReportMetric(float64(rounds)*4096/b.Elapsed().Seconds(), "records/s")
	}
	b.Run("one by one", func(b *testing.B) {
		run(b, func(v *ledger.Verifier) error {
			for _, row := range l.rows {
				if err := v.FeedAll([]ledger.Row{row}); err != nil {
					return err
				}
			}
			return nil
		})
	})
	b.Run("FeedAll", func(b *testing.B) {
		run(b, func(v *ledger.Verifier) error {
			for batch := range slices.Chunk(l.rows, 512) {
				if err := v.FeedAll(batch); err != nil {
					return err
				}
			}
			return nil
		})
	})
}
