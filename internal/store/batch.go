package store

import (
	"context"
	"database/sql"
	"iter"
	"math"
	"sync"

	"rinsate/internal/base/ledger"
)

// verifyBatch is how many records are read before they are hashed together.
const verifyBatch = 1024

// batch is what a reader found of one range of records.
type batch struct {
	rows []ledger.Row
	// room holds the bytes of the rows.
	room []byte
	err  error
}

// keep copies bytes that the engine takes back.
func (b *batch) keep(p []byte) []byte {
	from := len(b.room)
	b.room = append(b.room, p...)
	return b.room[from:len(b.room):len(b.room)]
}

// read fills the batch with the records of a range, the first ones if there are very many.
func (b *batch) read(ctx context.Context, s Conn, site string, from, to int64) {
	if from == 0 { // and what lies before the first record, where nothing should be
		from = math.MinInt64
	}
	b.rows, b.room = b.rows[:0], b.room[:0]
	b.err = s.Each(ctx, `SELECT seq, bytes, hashes FROM record WHERE site = $1 AND seq >= $2 AND seq <= $3 ORDER BY seq LIMIT $4`, func(row Rows) error {
		var seq int64
		var record, hashes sql.RawBytes
		err := row.Scan(&seq, &record, &hashes)
		b.rows = append(b.rows, ledger.Row{Seq: seq, Record: b.keep(record), Hashes: b.keep(hashes)})
		return err
	}, site, from, to, verifyBatch+1)
}

// readBatches reads the records in order, the readers by turns and ahead of the hashing, and then
// what lies behind them, where nothing should be. It ends early with a batch that lacks a record.
func readBatches(ctx context.Context, readers []Conn, site string, size int64) iter.Seq2[[]ledger.Row, error] {
	return func(yield func([]ledger.Row, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		count := (size + verifyBatch - 1) / verifyBatch
		turns := make([]chan *batch, len(readers))
		var wg sync.WaitGroup
		defer wg.Wait()
		defer cancel()
		for i, s := range readers {
			turns[i] = make(chan *batch, 2)
			wg.Go(func() {
				// One is being filled, two wait and one is being hashed, so the oldest is free again.
				var ring [4]batch
				for n := int64(i); n < count; n += int64(len(readers)) {
					b := &ring[n/int64(len(readers))%int64(len(ring))]
					b.read(ctx, s, site, n*verifyBatch, min(size, (n+1)*verifyBatch)-1)
					select {
					case turns[i] <- b:
					case <-ctx.Done():
						return
					}
				}
			})
		}
		for n := range count {
			select {
			case b := <-turns[int(n)%len(turns)]:
				if !yield(b.rows, b.err) || b.err != nil || int64(len(b.rows)) < min(verifyBatch, size-n*verifyBatch) {
					return
				}
			case <-ctx.Done():
				yield(nil, ctx.Err())
				return
			}
		}
		wg.Wait()
		// Only the first reader sees the same moment as the head.
		var behind batch
		behind.read(ctx, readers[0], site, size, math.MaxInt64)
		yield(behind.rows, behind.err)
	}
}
