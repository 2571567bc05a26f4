package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
)

func TestFrontierEqualsTlog(t *testing.T) {
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range indexes {
			out = append(out, stored[i])
		}
		return out, nil
	})
	l := newLog(t, 0)
	for n := range int64(300) {
		b := fmt.Append(nil, "record ", n)
		want, err := tlog.StoredHashes(n, b, reader)
		if err != nil {
			t.Fatal(err)
		}
		before := l.tree
		snapshot := l.tree
		if got := snapshot.Append(b); !slices.Equal(got, want) {
			t.Fatalf("record %d: %v, expected %v", n, got, want)
		}
		if l.tree != before {
			t.Fatal("a snapshot shares memory with its original")
		}
		l.add(b)
		stored = append(stored, want...)
		root, err := tlog.TreeHash(n+1, reader)
		if err != nil || l.tree.Root() != root {
			t.Fatalf("root at %d: %v, expected %v, %v", n+1, l.tree.Root(), root, err)
		}
		again, err := ledger.NewFrontier(n+1, l.reader())
		if err != nil || again.Root() != root || again.Append(b)[0] != tlog.RecordHash(b) || again.Size() != n+2 {
			t.Fatalf("rebuilt at %d: %v", n+1, err)
		}
		if r, err := ledger.RootAt(n+1, l.reader()); err != nil || r != root {
			t.Fatalf("root read at %d: %v, %v", n+1, r, err)
		}
	}
}

func TestHashReaderRefusesBadRows(t *testing.T) {
	fail := errors.New("disk")
	for name, rows := range map[string]func([]int64) ([][]byte, error){
		"error":     func([]int64) ([][]byte, error) { return nil, fail },
		"too few":   func([]int64) ([][]byte, error) { return nil, nil },
		"too short": func(s []int64) ([][]byte, error) { return make([][]byte, len(s)), nil },
	} {
		if _, err := ledger.NewFrontier(5, ledger.HashReader(rows)); err == nil {
			t.Errorf("%s: accepted", name)
		}
		if name == "error" {
			if _, err := ledger.RootAt(5, ledger.HashReader(rows)); !errors.Is(err, fail) {
				t.Errorf("the cause is lost: %v", err)
			}
		}
	}
	r := newLog(t, 3).reader()
	if _, err := r.ReadHashes([]int64{-1}); err == nil {
		t.Error("hash -1 was read")
	}
	for _, size := range []int64{-1, math.MaxInt64} {
		_, err1 := ledger.NewFrontier(size, r)
		_, err2 := ledger.RootAt(size, r)
		_, err3 := ledger.Inclusion(size, 0, r)
		_, err4 := ledger.Consistency(0, size, r)
		err5 := ledger.CheckInclusion(nil, size, tlog.Hash{}, 0, nil)
		err6 := ledger.CheckConsistency(nil, ledger.Checkpoint{}, ledger.Checkpoint{Size: size})
		for i, err := range []error{err1, err2, err3, err4, err5, err6} {
			if err == nil {
				t.Errorf("size %d, call %d: accepted", size, i+1)
			}
		}
	}
}

func TestVerifierAcceptsUntouched(t *testing.T) {
	for _, size := range []int{0, 1, 2, 7, 64, 300} {
		l := newLog(t, size)
		var points []ledger.Checkpoint
		for n := size; n >= 0; n -= 3 {
			points = append(points, l.checkpoint(n), l.checkpoint(n))
		}
		if err := verify(l.rows, l.checkpoint(size), points...); err != nil {
			t.Errorf("size %d: %v", size, err)
		}
		v := ledger.NewVerifier(points...)
		for batch := range slices.Chunk(l.rows, 50) {
			if err := v.FeedAll(batch); err != nil {
				t.Errorf("size %d: %v", size, err)
			}
		}
		if err := v.Finish(int64(size), l.roots[size]); err != nil || v.Size() != int64(size) || v.Root() != l.roots[size] {
			t.Errorf("size %d in batches: %v", size, err)
		}
	}
}

func TestVerifierEnds(t *testing.T) {
	l := newLog(t, 9)
	fork := l.checkpoint(4)
	fork.Root[0] ^= 1
	for name, c := range map[string]struct {
		head   ledger.Checkpoint
		points []ledger.Checkpoint
		want   int64
		says   string
	}{
		"more rows than the head names": {l.checkpoint(7), nil, 7, "record 7 lies behind the end"},
		"fewer":                         {ledger.Checkpoint{Size: 12}, nil, 9, "those from record 9 on are missing"},
		"other root":                    {ledger.Checkpoint{Size: 9, Root: l.roots[8]}, nil, 0, "at least one of the records 0 to 8"},
		"other root after a checkpoint": {ledger.Checkpoint{Size: 9}, []ledger.Checkpoint{l.checkpoint(6)}, 6, "records 6 to 8"},
		"other root at a checkpoint":    {ledger.Checkpoint{Size: 9}, []ledger.Checkpoint{l.checkpoint(9)}, -1, "confirmed at the same size"},
		"two checkpoints of one size":   {l.checkpoint(9), []ledger.Checkpoint{l.checkpoint(4), fork}, -1, "signed at 4 records"},
		"later checkpoint":              {l.checkpoint(9), []ledger.Checkpoint{{Size: 11}}, 9, "names 11 records"},
		"false empty root":              {l.checkpoint(9), []ledger.Checkpoint{{}}, -1, "signed at 0 records"},
	} {
		t.Run(name, func(t *testing.T) {
			err := verify(l.rows, c.head, c.points...)
			if got := firstBad(err); got != c.want || !strings.Contains(err.Error(), c.says) {
				t.Errorf("first bad %d: %v", got, err)
			}
		})
	}
	t.Run("a fault stays", func(t *testing.T) {
		v := ledger.NewVerifier()
		first := v.FeedAll([]ledger.Row{l.rows[0], l.rows[2]})
		if firstBad(first) != 1 || v.Size() != 1 {
			t.Fatal(first)
		}
		for _, err := range []error{v.FeedAll(l.rows[1:2]), v.FeedAll(l.rows[1:]), v.FeedAll(nil), v.Finish(1, l.roots[1])} {
			if !errors.Is(err, first) {
				t.Errorf("then %v", err)
			}
		}
	})
}

// renumber gives the rows the numbers of their places, as somebody who can write to the database
// would.
func renumber(rows []ledger.Row) []ledger.Row {
	for i := range rows {
		rows[i].Seq = int64(i)
	}
	return rows
}

// rehash gives the rows the hashes that fit their bytes.
func rehash(rows []ledger.Row) []ledger.Row {
	var tree ledger.Frontier
	for i := range rows {
		rows[i].Hashes = ledger.JoinHashes(tree.Append(rows[i].Record))
	}
	return rows
}

func TestTamperingIsFoundAndPlaced(t *testing.T) {
	full := newLog(t, 40)
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 40).Draw(t, "size")
		head := full.checkpoint(size)
		at := rapid.IntRange(0, size-1).Draw(t, "at")
		rows := cloneRows(full.rows[:size])
		want := int64(at)
		kind := rapid.SampledFrom([]string{
			"flip in record", "flip in hashes", "drop", "drop and renumber", "duplicate", "swap", "swap bytes",
			"cut", "flip and rehash", "cut and rehash head", "cut record short",
		}).Draw(t, "kind")
		switch kind {
		case "flip in record", "flip and rehash":
			b := rows[at].Record
			b[rapid.IntRange(0, len(b)-1).Draw(t, "byte")] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		case "flip in hashes":
			b := rows[at].Hashes
			b[rapid.IntRange(0, len(b)-1).Draw(t, "byte")] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		case "drop":
			rows = slices.Delete(rows, at, at+1)
		case "drop and renumber":
			rows = renumber(slices.Delete(rows, at, at+1))
		case "duplicate":
			rows, want = slices.Insert(rows, at, rows[at]), int64(at+1)
		case "swap", "swap bytes":
			other := rapid.IntRange(0, size-1).Draw(t, "other")
			if other == at {
				return
			}
			rows[at], rows[other] = rows[other], rows[at]
			if kind == "swap bytes" {
				rows = renumber(rows)
			}
			want = int64(min(at, other))
		case "cut", "cut and rehash head":
			rows = rows[:at]
		case "cut record short":
			b := rows[at].Record
			rows[at].Record = b[:rapid.IntRange(0, len(b)-1).Draw(t, "length")]
		}
		points := []ledger.Checkpoint{}
		switch kind {
		case "flip and rehash":
			// Only the signed roots give this away; the last that agrees bounds the place.
			rows = rehash(rows)
			signed := rapid.IntRange(0, at).Draw(t, "signed before")
			points, want = append(points, full.checkpoint(signed)), int64(signed)
			if e, err := ledger.Tail(rows[at].Record); err != nil || e.Seq != int64(at) || e.Site != "site-a" {
				want = int64(at)
				if at == 0 && err == nil && e.Seq == 0 && size > 1 {
					want = 1 // the first record names the site; the second is the first to differ
				}
			} else if at > 0 && e.Recorded < record(int64(at-1)).Recorded || at < size-1 && e.Recorded > record(int64(at+1)).Recorded {
				return // named by the order of times, at this record or the next
			}
		case "cut and rehash head":
			// The head agrees with what is left; a checkpoint that left the computer does not.
			points, head = append(points, full.checkpoint(size)), full.checkpoint(at)
		}
		err := verify(rows, head, points...)
		if got := firstBad(err); got != want {
			t.Fatalf("%s at %d of %d: first bad %d, expected %d: %v", kind, at, size, got, want, err)
		}
		if err.Error() == "" {
			t.Fatal("no sentence")
		}
	})
}

func TestExportTamperingIsFoundAndPlaced(t *testing.T) {
	full := newLog(t, 20)
	key := []string{signer(t).VKey()}
	original := full.export(t, 17)
	old := full.signed(t, 20)
	rapid.Check(t, func(rt *rapid.T) {
		files := cloneFiles(original)
		names := []string{"tile/entries/000.p/17", "tile/0/000.p/17", "checkpoint"}
		name := rapid.SampledFrom(names).Draw(rt, "file")
		b := files[name].Data
		at := rapid.IntRange(0, len(b)-1).Draw(rt, "byte")
		b[at] ^= byte(rapid.IntRange(1, 255).Draw(rt, "bits"))
		want := int64(-1)
		switch name {
		case "tile/entries/000.p/17":
			for end := 0; end <= at; want++ {
				end += 2 + len(full.rows[want+1].Record)
			}
		case "tile/0/000.p/17":
			want = int64(at / 32)
		}
		report, err := ledger.VerifyExport(files, key)
		if got := firstBad(err); got != want {
			rt.Fatalf("%s byte %d: first bad %d, expected %d: %v", name, at, got, want, err)
		}
		if report.Verified != max(0, want) {
			rt.Fatalf("verified %d before %d", report.Verified, want)
		}
	})
	for name, c := range map[string]struct {
		change func(files map[string][]byte)
		older  []byte
		want   int64
		says   string
	}{
		"no checkpoint":   {func(f map[string][]byte) { delete(f, "checkpoint") }, nil, -1, "no file named checkpoint"},
		"no entries":      {func(f map[string][]byte) { delete(f, "tile/entries/000.p/17") }, nil, 0, "is missing"},
		"no tile":         {func(f map[string][]byte) { delete(f, "tile/0/000.p/17") }, nil, 0, "is missing"},
		"entries cut":     {func(f map[string][]byte) { f["tile/entries/000.p/17"] = f["tile/entries/000.p/17"][:3000] }, nil, -3, "end within record"},
		"entries longer":  {func(f map[string][]byte) { f["tile/entries/000.p/17"] = append(f["tile/entries/000.p/17"], 0) }, nil, 17, "more than its 17"},
		"tile longer":     {func(f map[string][]byte) { f["tile/0/000.p/17"] = append(f["tile/0/000.p/17"], 0) }, nil, 17, "longer"},
		"tail cut":        {func(map[string][]byte) {}, old, 17, "names 20 records"},
		"older forged":    {func(map[string][]byte) {}, []byte("x"), -1, "older checkpoint 1 of 1"},
		"older of a fork": {func(map[string][]byte) {}, sign(t, 9, tlog.Hash{1}), 0, "signed at 9 records"},
	} {
		t.Run(name, func(t *testing.T) {
			plain := map[string][]byte{}
			for name, f := range cloneFiles(original) {
				plain[name] = f.Data
			}
			c.change(plain)
			files := cloneFiles(nil)
			for name, b := range plain {
				if err := sinkInto(files)(name, b); err != nil {
					t.Fatal(err)
				}
			}
			var older [][]byte
			if c.older != nil {
				older = append(older, c.older)
			}
			_, err := ledger.VerifyExport(files, key, older...)
			if got := firstBad(err); (c.want != -3 && got != c.want) || err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("first bad %d: %v", got, err)
			}
		})
	}
}

func sign(t *testing.T, size int64, root tlog.Hash) []byte {
	t.Helper()
	b, err := signer(t).Sign(ledger.Checkpoint{Origin: origin, Size: size, Root: root})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A log may be signed and hashed without fault and still break the rules of its records.
func TestExportOfUnlawfulRecords(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*ledger.Record)
		raw    func([]byte) []byte
		want   int64
		says   string
	}{
		"other site":   {change: func(r *ledger.Record) { r.Site = "site-b" }, want: 5, says: `belongs to site "site-b"`},
		"gap":          {change: func(r *ledger.Record) { r.Seq = 6 }, want: 5, says: "record 6 stands where record 5 should be"},
		"clock back":   {change: func(r *ledger.Record) { r.Recorded = start }, want: 5, says: "before record 4"},
		"clock notice": {change: func(r *ledger.Record) { r.Recorded, r.Type = start+4_500_000-1_000_000, ledger.TypeClock }, want: -2},
		"spaces":       {raw: func(b []byte) []byte { return bytes.Replace(b, []byte(`"body":`), []byte(`"body": `), 1) }, want: 5, says: "canonical"},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLog(t, 5)
			r := record(5)
			if c.change != nil {
				c.change(&r)
			}
			b, err := ledger.Encode(r)
			if err != nil {
				t.Fatal(err)
			}
			if c.raw != nil {
				b = c.raw(b)
			}
			l.add(b)
			_, err = ledger.VerifyExport(l.export(t, 6), []string{signer(t).VKey()})
			if got := firstBad(err); got != c.want || err != nil && !strings.Contains(err.Error(), c.says) {
				t.Errorf("first bad %d: %v", got, err)
			}
			if c.raw == nil { // the store's verifier sees all but the form
				if got := firstBad(verify(l.rows, l.checkpoint(6))); got != c.want {
					t.Errorf("verifier: first bad %d", got)
				}
			}
		})
	}
}

func TestProofMutations(t *testing.T) {
	l := newLog(t, 20)
	key := []string{signer(t).VKey()}
	for seq := range int64(20) {
		p, err := ledger.Prove(seq, l.signed(t, 20), key, l.reader())
		if err != nil {
			t.Fatal(err)
		}
		p.Extra = []byte("context")
		b := l.rows[seq].Record
		if c, err := ledger.VerifyProof(p.Text(), b, key); err != nil || c.Size != 20 {
			t.Fatal(err)
		}
		change := func(f func(*ledger.Proof)) []byte {
			q := p
			q.Hashes = slices.Clone(p.Hashes)
			f(&q)
			return q.Text()
		}
		text := string(p.Text())
		for name, bad := range map[string][]byte{
			"index+1":         change(func(q *ledger.Proof) { q.Index++ }),
			"index-1":         change(func(q *ledger.Proof) { q.Index-- }),
			"index negative":  change(func(q *ledger.Proof) { q.Index = -1 }),
			"index huge":      change(func(q *ledger.Proof) { q.Index = math.MaxInt64 }),
			"smaller size":    change(func(q *ledger.Proof) { q.Checkpoint = l.signed(t, 19) }),
			"wrong size":      change(func(q *ledger.Proof) { q.Checkpoint = sign(t, 33, l.roots[20]) }), // 21 has paths of the same shape as 20
			"largest size":    change(func(q *ledger.Proof) { q.Checkpoint = sign(t, 1<<53-1, l.roots[20]) }),
			"empty root":      change(func(q *ledger.Proof) { q.Checkpoint = sign(t, 20, l.roots[0]) }),
			"zero root":       change(func(q *ledger.Proof) { q.Checkpoint = sign(t, 20, tlog.Hash{}) }),
			"hash missing":    change(func(q *ledger.Proof) { q.Hashes = q.Hashes[1:] }),
			"hash added":      change(func(q *ledger.Proof) { q.Hashes = append(q.Hashes, tlog.Hash{}) }),
			"hash first":      change(func(q *ledger.Proof) { q.Hashes = append(tlog.RecordProof{l.roots[20]}, q.Hashes...) }),
			"hash changed":    change(func(q *ledger.Proof) { q.Hashes[0][0] ^= 1 }),
			"hashes reversed": change(func(q *ledger.Proof) { slices.Reverse(q.Hashes) }),
			"no hashes":       change(func(q *ledger.Proof) { q.Hashes = nil }),
			"trailing bytes":  []byte(text + "x"),
			"trailing line":   []byte(text + "\n"),
			"leading line":    []byte("\n" + text),
			"header":          []byte(strings.Replace(text, "@v1", "@v2", 1)),
			"leading zero":    []byte(strings.Replace(text, "index ", "index 0", 1)),
			"plus":            []byte(strings.Replace(text, "index ", "index +", 1)),
			"no index":        []byte(strings.Replace(text, "index ", "", 1)),
			"empty extra":     []byte(strings.Replace(text, "extra Y29udGV4dA==", "extra ", 1)),
			"CRLF":            []byte(strings.ReplaceAll(text, "\n", "\r\n")),
			"cut":             []byte(text[:len(text)-1]),
			"empty":           nil,
		} {
			if _, err := ledger.VerifyProof(bad, b, key); err == nil {
				t.Errorf("record %d: %s: verifies", seq, name)
			}
		}
		if _, err := ledger.VerifyProof(p.Text(), append(slices.Clone(b), 0), key); err == nil {
			t.Error("verifies for other bytes")
		}
		if _, err := ledger.VerifyProof(p.Text(), b, nil); err == nil {
			t.Error("verifies without a key")
		}
	}
	broken := ledger.HashReader(func(seqs []int64) ([][]byte, error) {
		blobs := make([][]byte, len(seqs))
		for i := range blobs {
			blobs[i] = make([]byte, 320)
		}
		return blobs, nil
	})
	if _, err := ledger.Prove(3, l.signed(t, 20), key, broken); err == nil {
		t.Error("a proof was made from damaged hashes")
	}
}

func TestConsistencyMutations(t *testing.T) {
	l := newLog(t, 20)
	for old := range 21 {
		p, err := ledger.Consistency(int64(old), 20, l.reader())
		if err != nil {
			t.Fatal(err)
		}
		earlier, later := l.checkpoint(old), l.checkpoint(20)
		if err := ledger.CheckConsistency(p, earlier, later); err != nil {
			t.Errorf("%d to 20: %v", old, err)
		}
		other := earlier
		other.Root[0] ^= 1
		if ledger.CheckConsistency(p, other, later) == nil {
			t.Errorf("%d to 20: another root passes", old)
		}
		if ledger.CheckConsistency(append(p, tlog.Hash{}), earlier, later) == nil {
			t.Errorf("%d to 20: a longer proof passes", old)
		}
		if old < 20 && ledger.CheckConsistency(p, later, earlier) == nil {
			t.Errorf("20 to %d passes", old)
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	l := newLog(t, 7)
	s := signer(t)
	good := string(l.signed(t, 7))
	other, err := ledger.NewSigner("witness.example.org", bytes.Repeat([]byte{9}, 32))
	if err != nil {
		t.Fatal(err)
	}
	rotated, err := ledger.NewSigner(origin, bytes.Repeat([]byte{8}, 32))
	if err != nil {
		t.Fatal(err)
	}
	if c, err := ledger.Open([]byte(good), []string{rotated.VKey(), s.VKey(), s.VKey()}); err != nil || c != l.checkpoint(7) {
		t.Errorf("with a list of keys: %v, %v", c, err)
	}
	for i := range len(good) {
		for bit := range 8 {
			bad := []byte(good)
			bad[i] ^= 1 << bit
			if c, err := ledger.Open(bad, []string{s.VKey()}); err == nil {
				t.Errorf("byte %d bit %d: opened as %v", i, bit, c)
			}
		}
	}
	for name, keys := range map[string][]string{
		"no keys": nil, "other key": {rotated.VKey()}, "other name": {other.VKey()}, "no key": {"x"},
	} {
		if _, err := ledger.Open([]byte(good), keys); err == nil {
			t.Errorf("%s: opened", name)
		}
	}
	if _, err := s.Sign(ledger.Checkpoint{Origin: "other", Size: 7, Root: l.roots[7]}); err == nil {
		t.Error("signed for another origin")
	}
	for _, c := range []ledger.Checkpoint{{Origin: origin, Size: -1}, {Origin: origin, Size: 0}, {Origin: origin, Size: 1 << 53}} {
		if _, err := s.Sign(c); err == nil {
			t.Errorf("signed %v", c)
		}
	}
	root := l.roots[7].String()
	for _, text := range []string{
		"", origin, "\n7\n" + root + "\n", origin + "\n07\n" + root + "\n", origin + "\n+7\n" + root + "\n", origin + "\n-7\n" + root + "\n",
		origin + "\n7\n" + root[1:] + "\n", origin + "\n7\n" + root, origin + "\n7\n" + root + "\next\n", origin + "\n0\n" + root + "\n",
		origin + "\n9223372036854775807\n" + root + "\n", "a b\n7\n" + root + "\n", "a+b\n7\n" + root + "\n",
		"log tree\n7\n" + root + "\n",
	} {
		if c, err := ledger.ParseCheckpoint(text); err == nil {
			t.Errorf("%q parsed as %v", text, c)
		}
	}
	for _, name := range []string{"", "a b", "a+b", "a\nb"} {
		if _, _, err := ledger.GenerateKey(bytes.NewReader(seed), name); err == nil {
			t.Errorf("a key for origin %q", name)
		}
	}
	if _, _, err := ledger.GenerateKey(bytes.NewReader(seed[1:]), origin); err == nil {
		t.Error("a key without enough randomness")
	}
	if _, err := ledger.ParseSigner("PRIVATE+KEY+x"); err == nil {
		t.Error("a malformed signing key was read")
	}
}

func TestExportRefusesAnotherLog(t *testing.T) {
	l := newLog(t, 7)
	key := []string{signer(t).VKey()}
	fail := errors.New("disk")
	files := cloneFiles(nil)
	if err := ledger.Export(sinkInto(files), l.signed(t, 7), key, l.records(6)); err == nil {
		t.Error("exported six records under a checkpoint of seven")
	}
	if err := ledger.Export(sinkInto(files), sign(t, 7, l.roots[6]), key, l.records(7)); err == nil {
		t.Error("exported under a false root")
	}
	if err := ledger.Export(sinkInto(files), l.signed(t, 7), nil, l.records(7)); err == nil {
		t.Error("exported under an unknown key")
	}
	if files["checkpoint"] != nil {
		t.Error("an unfinished export has a checkpoint")
	}
	if err := ledger.Export(func(string, []byte) error { return fail }, l.signed(t, 7), key, l.records(7)); !errors.Is(err, fail) {
		t.Errorf("sink error: %v", err)
	}
	broken := func(yield func([]byte, error) bool) { yield(nil, fail) }
	if err := ledger.Export(sinkInto(files), l.signed(t, 7), key, broken); !errors.Is(err, fail) {
		t.Errorf("record error: %v", err)
	}
}

func TestExportSizes(t *testing.T) {
	l := newLog(t, 600)
	key := []string{signer(t).VKey()}
	for _, size := range []int{0, 1, 255, 256, 257, 512, 600} {
		files := l.export(t, size)
		r, err := ledger.VerifyExport(files, key, l.signed(t, size/2), l.signed(t, 0))
		if err != nil || r.Verified != int64(size) || r.Root != l.roots[size] || r.Origin != origin {
			t.Errorf("size %d: %+v, %v", size, r, err)
		}
		if size > 256 { // the second level
			name := fmt.Sprintf("tile/1/000.p/%d", size/256)
			files[name].Data[3] ^= 4
			if _, err := ledger.VerifyExport(files, key); firstBad(err) != 0 || !strings.Contains(err.Error(), name) {
				t.Errorf("size %d: changed %s: %v", size, name, err)
			}
		}
	}
}
