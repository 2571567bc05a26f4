package ledger_test

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

func TestCanonicalVectors(t *testing.T) {
	var file struct {
		Vectors []struct{ Name, Input, Output string }
		Reject  []struct{ Input string }     `json:"must_reject"`
		Numbers []struct{ IEEE, Out string } `json:"numbers_ieee754_hex_to_json"`
	}
	load(t, "jcs_rfc8785.json", &file)
	// These hold numbers that the ledger refuses although the RFC allows them.
	refused := map[string]string{
		"structures":     `1["\n"]: 56.0 is not a whole number`,
		"values":         `numbers[0]: 333333333.33333329 is not a whole number`,
		"reading-record": `limit: 1e2 is not a whole number`,
		"int-boundary":   `neg0: -0.0 is not a whole number`,
	}
	for _, v := range file.Vectors {
		t.Run(v.Name, func(t *testing.T) {
			got, err := ledger.Canonical([]byte(v.Input))
			if want, ok := refused[v.Name]; ok {
				if err == nil || !strings.Contains(err.Error(), want) {
					t.Fatalf("error %v, expected %q", err, want)
				}
				return
			}
			if err != nil || string(got) != v.Output {
				t.Errorf("got %s, %v\nwant %s", got, err, v.Output)
			}
		})
	}
	t.Run("structures with a whole number", func(t *testing.T) {
		for _, v := range file.Vectors {
			if v.Name != "structures" {
				continue
			}
			got, err := ledger.Canonical([]byte(strings.ReplaceAll(v.Input, "56.0", "56")))
			if err != nil || string(got) != v.Output {
				t.Errorf("got %s, %v\nwant %s", got, err, v.Output)
			}
		}
	})
	for _, v := range file.Reject {
		t.Run("reject "+v.Input, func(t *testing.T) {
			if got, err := ledger.Canonical([]byte(v.Input)); err == nil {
				t.Errorf("accepted as %s", got)
			}
		})
	}
	for _, v := range file.Numbers {
		t.Run("number "+v.IEEE, func(t *testing.T) {
			b, err := hex.DecodeString(v.IEEE)
			if err != nil {
				t.Fatal(err)
			}
			f := math.Float64frombits(binary.BigEndian.Uint64(b))
			whole := f == math.Trunc(f) && math.Abs(f) < 1<<53
			got, err := ledger.Canonical([]byte(v.Out))
			if whole != (err == nil) || whole && string(got) != v.Out {
				t.Errorf("%s gives %s, %v", v.Out, got, err)
			}
		})
	}
}

func hashes(t *testing.T, texts []string) []tlog.Hash {
	t.Helper()
	list := []tlog.Hash{}
	for _, s := range texts {
		b, err := hex.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, tlog.Hash(b))
	}
	return list
}

func TestMerkleVectors(t *testing.T) {
	var file struct {
		Inputs    []string `json:"leaf_inputs_hex"`
		Leaves    []string `json:"leaf_hashes"`
		Roots     []string `json:"roots_by_size_0_to_8"`
		Inclusion []struct {
			Index, Size int64
			Proof       []string
		}
		Consistency []struct {
			Size1, Size2 int64
			Proof        []string
		}
	}
	load(t, "rfc6962_merkle.json", &file)
	l, roots, leaves := newLog(t, 0), hashes(t, file.Roots), hashes(t, file.Leaves)
	for i, s := range file.Inputs {
		b, err := hex.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		l.add(b)
		if got := tlog.Hash(l.rows[i].Hashes); got != leaves[i] {
			t.Errorf("leaf %d: %x", i, got)
		}
	}
	if diff := cmp.Diff(roots, l.roots); diff != "" {
		t.Error(diff)
	}
	for size := range roots {
		if got, err := ledger.RootAt(int64(size), l.reader()); err != nil || got != roots[size] {
			t.Errorf("root at %d: %v, %v", size, got, err)
		}
	}
	for _, v := range file.Inclusion {
		t.Run(fmt.Sprintf("inclusion %d in %d", v.Index, v.Size), func(t *testing.T) {
			p, err := ledger.Inclusion(v.Size, v.Index, l.reader())
			if err != nil || !cmp.Equal(hashes(t, v.Proof), []tlog.Hash(p)) {
				t.Fatalf("%v, %v", p, err)
			}
			if err := ledger.CheckInclusion(p, v.Size, roots[v.Size], v.Index, l.rows[v.Index].Record); err != nil {
				t.Error(err)
			}
		})
	}
	for _, v := range file.Consistency {
		t.Run(fmt.Sprintf("consistency %d to %d", v.Size1, v.Size2), func(t *testing.T) {
			p, err := ledger.Consistency(v.Size1, v.Size2, l.reader())
			if err != nil || !cmp.Equal(hashes(t, v.Proof), []tlog.Hash(p)) {
				t.Fatalf("%v, %v", p, err)
			}
			if err := ledger.CheckConsistency(p, l.checkpoint(int(v.Size1)), l.checkpoint(int(v.Size2))); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestWorkedLedger(t *testing.T) {
	var file struct {
		Name        string
		Seed        string   `json:"ed25519_seed_hex"`
		SKey        string   `json:"skey_test_only"`
		VKey        string   `json:"vkey"`
		Checkpoint5 string   `json:"checkpoint_5"`
		Checkpoint7 string   `json:"checkpoint_7"`
		Consistency []string `json:"consistency_5_to_7"`
		Inclusion   []string `json:"inclusion_3_in_7"`
		Proof       string   `json:"tlog_proof_record_3"`
		Leaves      []struct {
			Record, Canonical string
			Leaf              string `json:"leaf_hash"`
			Root              string `json:"root_after"`
		}
		SignedNotes []struct {
			VKey, Note, Source string
			OK                 bool
		} `json:"signed_notes"`
	}
	load(t, "ledger_checkpoint.json", &file)
	l := newLog(t, 0)
	for i, v := range file.Leaves {
		b, err := ledger.Canonical([]byte(v.Record))
		if err != nil || string(b) != v.Canonical {
			t.Fatalf("leaf %d: %s, %v", i, b, err)
		}
		l.add(b)
		if got := hex.EncodeToString(l.rows[i].Hashes[:32]); got != v.Leaf {
			t.Errorf("leaf hash %d: %s", i, got)
		}
		if got := hex.EncodeToString(l.roots[i+1][:]); got != v.Root {
			t.Errorf("root after %d: %s", i, got)
		}
	}
	secret, err := hex.DecodeString(file.Seed)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ledger.NewSigner(file.Name, secret)
	if err != nil || s.VKey() != file.VKey || s.Origin() != file.Name {
		t.Fatalf("signer %v, %v", s.VKey(), err)
	}
	if skey, vkey, err := ledger.GenerateKey(bytes.NewReader(secret), file.Name); err != nil || skey != file.SKey || vkey != file.VKey {
		t.Errorf("key %s %s, %v", skey, vkey, err)
	}
	s2, err := ledger.ParseSigner(file.SKey)
	if err != nil || s2.VKey() != file.VKey {
		t.Fatalf("parsed signer %v, %v", s2.VKey(), err)
	}
	for size, want := range map[int]string{5: file.Checkpoint5, 7: file.Checkpoint7} {
		c := ledger.Checkpoint{Origin: file.Name, Size: int64(size), Root: l.roots[size]}
		got, err := s2.Sign(c)
		if err != nil || string(got) != want {
			t.Errorf("checkpoint %d: %s, %v", size, got, err)
		}
		if opened, err := ledger.Open([]byte(want), []string{file.VKey}); err != nil || opened != c {
			t.Errorf("open %d: %v, %v", size, opened, err)
		}
	}
	if p, err := ledger.Consistency(5, 7, l.reader()); err != nil || !cmp.Equal(hashes(t, file.Consistency), []tlog.Hash(p)) {
		t.Errorf("consistency %v, %v", p, err)
	}
	p, err := ledger.Prove(3, []byte(file.Checkpoint7), []string{file.VKey}, l.reader())
	if err != nil || !cmp.Equal(hashes(t, file.Inclusion), []tlog.Hash(p.Hashes)) || string(p.Text()) != file.Proof {
		t.Errorf("proof %s, %v", p.Text(), err)
	}
	if c, err := ledger.VerifyProof([]byte(file.Proof), l.rows[3].Record, []string{file.VKey}); err != nil || c.Size != 7 {
		t.Errorf("verify proof: %v, %v", c, err)
	}
	if _, err := ledger.VerifyProof([]byte(file.Proof), l.rows[2].Record, []string{file.VKey}); err == nil {
		t.Error("the proof of record 3 verifies for record 2")
	}
	for _, v := range file.SignedNotes {
		t.Run(v.Source, func(t *testing.T) {
			verifier, err := note.NewVerifier(v.VKey)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := note.Open([]byte(v.Note), note.VerifierList(verifier)); (err == nil) != v.OK {
				t.Errorf("note: %v", err)
			}
			// None of them is a checkpoint, however well it is signed.
			if c, err := ledger.Open([]byte(v.Note), []string{v.VKey}); err == nil {
				t.Errorf("opened as %v", c)
			}
		})
	}
}

func TestUUIDVectors(t *testing.T) {
	var file struct {
		UUIDv7 struct {
			Vectors []struct {
				UUID string
				OK   bool
				MS   int64 `json:"unix_ms"`
			}
		}
	}
	load(t, "uuidv7.json", &file)
	for _, v := range file.UUIDv7.Vectors {
		id, err := ledger.ParseID(v.UUID)
		if (err == nil) != v.OK || v.OK && string(id) != strings.ToLower(v.UUID) {
			t.Errorf("ParseID(%q) = %q, %v", v.UUID, id, err)
		}
	}
	random, err := hex.DecodeString("0cc318c4dc0c0c07398f")
	if err != nil {
		t.Fatal(err)
	}
	for _, us := range []unit.Instant{0, 999} {
		if id := ledger.NewID(1645557742000_000+us, bytes.NewReader(random)); id != "017f22e2-79b0-7cc3-98c4-dc0c0c07398f" {
			t.Errorf("NewID = %s", id)
		}
	}
}

func TestDerivedID(t *testing.T) {
	id := ledger.DerivedID("fleet.csv", "12", "SCP-0042")
	if got, err := ledger.ParseID(string(id)); err != nil || got != id || id[14] != '8' {
		t.Errorf("ParseID(%s) = %s, %v", id, got, err)
	}
	// Computed apart from this package: SHA-256 over 00…09 fleet.csv 00…02 12 00…08 SCP-0042.
	if id != "19e730f8-e36f-85e9-a2ab-244bc6f5d9f5" {
		t.Errorf("id %s", id)
	}
	if id == ledger.DerivedID("fleet.csv", "1", "2SCP-0042") || ledger.DerivedID() == ledger.DerivedID("") {
		t.Error("parts run together")
	}
}

func TestCommit(t *testing.T) {
	salt := bytes.Repeat([]byte{1}, ledger.SaltSize)
	c := ledger.Commit(salt, "pseudonym 9")
	if len(c) != 64 || !ledger.CheckCommitment(c, salt, "pseudonym 9") {
		t.Errorf("commitment %s", c)
	}
	if ledger.CheckCommitment(c, salt, "pseudonym 8") || ledger.CheckCommitment(c, nil, "pseudonym 9") || ledger.CheckCommitment("", salt, "") {
		t.Error("a false opening was accepted")
	}
	defer func() {
		if recover() == nil {
			t.Error("a short salt was accepted")
		}
	}()
	ledger.Commit(salt[1:], "x")
}
