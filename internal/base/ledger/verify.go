package ledger

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/unit"
)

// FaultError says what is wrong with a ledger and where it begins.
type FaultError struct {
	// Seq is the first record that is wrong or missing; -1 when no record is to blame, as with a
	// checkpoint that nobody signed. When records and their hashes were all rewritten, only the
	// signed roots give it away; Seq is then the first record after the last root that agrees.
	Seq     int64
	Problem string // a sentence without capital and full stop
}

func (e *FaultError) Error() string { return e.Problem }

func fault(seq int64, format string, args ...any) *FaultError {
	return &FaultError{seq, fmt.Sprintf(format, args...)}
}

// Row is a record as it is stored.
type Row struct {
	Seq    int64
	Record []byte // canonical bytes
	Hashes []byte // JoinHashes of what Frontier.Append returned for it
}

// Verifier re-hashes a stored ledger from its first record on. Feed it every row in order, then
// ask Finish. After the first fault every call returns that fault. It must not be copied while in
// use, nor shared by goroutines.
type Verifier struct {
	tree     Frontier
	site     string
	recorded unit.Instant
	// ahead are the checkpoints that the tree has not reached, by size; agreed is the size of the
	// last one that it passed with the right root.
	ahead  []Checkpoint
	agreed int64
	fault  *FaultError
	hashes []tlog.Hash // reused
	buf    []byte      // reused
}

// NewVerifier returns a verifier that also compares the root at the size of each checkpoint, whose
// signatures Open has verified before.
func NewVerifier(checkpoints ...Checkpoint) *Verifier {
	v := &Verifier{ahead: slices.Clone(checkpoints)}
	slices.SortStableFunc(v.ahead, func(a, b Checkpoint) int { return cmp.Compare(a.Size, b.Size) })
	v.fault = v.pass()
	return v
}

// Size returns how many records were found right before any fault.
func (v *Verifier) Size() int64 {
	if v.fault != nil {
		return max(0, min(v.tree.Size(), v.fault.Seq))
	}
	return v.tree.Size()
}

// Root returns the root hash over all records that were fed.
func (v *Verifier) Root() tlog.Hash { return v.tree.Root() }

// Site returns the site that the records name.
func (v *Verifier) Site() string { return v.site }

// Feed verifies the next row. The error is a *FaultError.
func (v *Verifier) Feed(row Row) error {
	d := digestOf(&v.buf, row.Record)
	return v.result(v.feed(row, &d))
}

// FeedAll verifies the next rows, hashing half of their leaves on a second goroutine, which has
// ended when FeedAll returns. Batches of some hundred rows are best. The error is a *FaultError.
func (v *Verifier) FeedAll(rows []Row) error {
	digests, done := make([]digest, len(rows)), make(chan struct{})
	half := len(rows) / 2
	go func() {
		defer close(done)
		var buf []byte
		for i := half; i < len(rows); i++ {
			digests[i] = digestOf(&buf, rows[i].Record)
		}
	}()
	for i := range half {
		digests[i] = digestOf(&v.buf, rows[i].Record)
	}
	<-done
	for i, row := range rows {
		if fault := v.feed(row, &digests[i]); fault != nil {
			return v.result(fault)
		}
	}
	return v.result(v.fault)
}

// Finish compares what was fed with the head of the ledger and with the checkpoints that were not
// reached. The error is a *FaultError.
func (v *Verifier) Finish(size int64, root tlog.Hash) error {
	return v.result(v.finish(size, root))
}

func (v *Verifier) finish(size int64, root tlog.Hash) *FaultError {
	n := v.tree.Size()
	switch {
	case v.fault != nil:
		return v.fault
	case n < size:
		return fault(n, "the ledger should hold %d records, those from record %d on are missing", size, n)
	case n > size:
		return fault(size, "record %d lies behind the end of the ledger, which should hold %d records", size, size)
	case len(v.ahead) > 0:
		return fault(n, "a signed checkpoint names %d records, those from record %d on are missing", v.ahead[0].Size, n)
	case v.Root() != root:
		return v.rewritten("the root hash of the ledger's head")
	}
	return nil
}

// result remembers a fault and makes it an error; a nil *FaultError becomes a nil error.
func (v *Verifier) result(fault *FaultError) error {
	if fault == nil {
		return nil
	}
	v.fault = fault
	return fault
}

// A digest is what can be computed from a record's bytes alone.
type digest struct {
	leaf tlog.Hash
	end  ending
	ok   bool
}

// digestOf hashes in one call, from a reused buffer with the leaf's zero byte in front: that is
// faster than tlog.RecordHash, with the same result.
func digestOf(buf *[]byte, record []byte) (d digest) {
	*buf = append(append((*buf)[:0], 0), record...)
	d.leaf = sha256.Sum256(*buf)
	d.end, d.ok = readEnding(record)
	return d
}

func (v *Verifier) feed(row Row, d *digest) *FaultError {
	seq := v.tree.Size()
	switch {
	case v.fault != nil:
		return v.fault
	case row.Seq > seq:
		return fault(seq, "record %d is missing, the next one that is stored is record %d", seq, row.Seq)
	case row.Seq < seq:
		return fault(seq, "record %d stands where record %d should be", row.Seq, seq)
	}
	v.hashes = v.tree.grow(v.hashes[:0], d.leaf)
	if problem := compareHashes(v.hashes, row.Hashes); problem != "" {
		return fault(seq, "record %d: %s", seq, problem)
	}
	return v.follow(seq, d)
}

func compareHashes(hashes []tlog.Hash, stored []byte) string {
	if len(stored) != len(hashes)*tlog.HashSize {
		return fmt.Sprintf("%d bytes of hashes are stored with it, expected %d", len(stored), len(hashes)*tlog.HashSize)
	}
	for i := range hashes {
		if hashes[i] == tlog.Hash(stored[i*tlog.HashSize:]) {
			continue
		}
		if i == 0 {
			return "its bytes do not give the hash that was stored when it was written"
		}
		return "the tree hashes stored with it do not follow from the records up to it"
	}
	return ""
}

// follow checks that the record just added continues the ledger, and passes checkpoints.
func (v *Verifier) follow(seq int64, d *digest) *FaultError {
	switch {
	case !d.ok:
		return fault(seq, "record %d: its bytes do not end like a record of version %d", seq, Version)
	case d.end.seq != seq:
		return fault(seq, "record %d stands where record %d should be", d.end.seq, seq)
	case seq == 0:
		v.site = string(d.end.site)
	case v.site != string(d.end.site):
		return fault(seq, "record %d belongs to site %q, the records before it to %q", seq, d.end.site, v.site)
	case d.end.recorded < v.recorded && string(d.end.kind) != TypeClock:
		return fault(seq, "record %d was recorded at %s, before record %d at %s, and is not a notice that the clock was set back",
			seq, d.end.recorded, seq-1, v.recorded)
	}
	v.recorded = d.end.recorded
	return v.pass()
}

// pass compares the root with the checkpoints of the present size.
func (v *Verifier) pass() *FaultError {
	for len(v.ahead) > 0 && v.ahead[0].Size <= v.tree.Size() {
		c := v.ahead[0]
		if c.Size != v.tree.Size() || v.Root() != c.Root {
			return v.rewritten(fmt.Sprintf("the checkpoint signed at %d records", c.Size))
		}
		v.agreed, v.ahead = c.Size, v.ahead[1:]
	}
	return nil
}

func (v *Verifier) rewritten(what string) *FaultError {
	if v.agreed == v.tree.Size() {
		return fault(-1, "%s does not agree with a root that was confirmed at the same size", what)
	}
	return fault(v.agreed, "the records do not give %s: at least one of the records %d to %d is not what it was", what, v.agreed, v.tree.Size()-1)
}
