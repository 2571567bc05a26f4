package ledger_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"

	"rinsate/internal/base/ledger"
)

func FuzzDecode(f *testing.F) {
	for n := range int64(6) {
		b, err := ledger.Encode(record(n))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, tailErr := ledger.Tail(b)
		r, err := ledger.Decode(b)
		if err != nil {
			return
		}
		again, err := ledger.Encode(r)
		if err != nil || !bytes.Equal(again, b) {
			t.Fatalf("%s encodes as %s, %v", b, again, err)
		}
		reference, err := jcs.Transform(b)
		if err != nil || !bytes.Equal(reference, b) {
			t.Fatalf("%s is canonically %s, %v", b, reference, err)
		}
		if want := (ledger.Ending{Seq: r.Seq, ID: r.ID, Recorded: r.Recorded, Site: r.Site, Type: r.Type}); tailErr != nil || e != want {
			t.Fatalf("tail %+v, %v", e, tailErr)
		}
	})
}

func FuzzCanonical(f *testing.F) {
	for _, s := range []string{
		`{"b":[1,-2,true,null],"a":{"\u20ac":"\ud83d\ude02","\ufb33":"\b\t\u001f"}}`, `[]`, ` "x" `, `{"a":1,"a":2}`, `1e3`, "{\"\x00\":1}", `{"😂":1,"דּ":2}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := ledger.Canonical(b)
		want, reference := jcs.Transform(b)
		switch {
		case err == nil && (reference != nil || !bytes.Equal(got, want)):
			t.Fatalf("%q gives %q, the reference %q, %v", b, got, want, reference)
		case err != nil && reference == nil && !strings.Contains(err.Error(), "whole number") && !strings.Contains(err.Error(), "nested deeper"):
			t.Fatalf("%q is refused: %v; the reference gives %q", b, err, want)
		}
		if err == nil {
			if again, err := ledger.Canonical(got); err != nil || !bytes.Equal(again, got) {
				t.Fatalf("%q again gives %q, %v", got, again, err)
			}
		}
	})
}

func FuzzParseProof(f *testing.F) {
	l := newLog(f, 5)
	key := []string{signer(f).VKey()}
	for seq := range int64(5) {
		p, err := ledger.Prove(seq, l.signed(f, 5), key, l.reader())
		if err != nil {
			f.Fatal(err)
		}
		f.Add(p.Text())
	}
	genuine := l.rows[3].Record
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := ledger.ParseProof(b)
		if err == nil && !bytes.Equal(p.Text(), b) {
			t.Fatalf("%q is written as %q", b, p.Text())
		}
		if c, err := ledger.VerifyProof(b, genuine, key); err == nil && (p.Index != 3 || c != l.checkpoint(5)) {
			t.Fatalf("%q verifies for record 3", b)
		}
	})
}

func FuzzOpenCheckpoint(f *testing.F) {
	l := newLog(f, 5)
	key := []string{signer(f).VKey()}
	f.Add(l.signed(f, 5))
	f.Add(l.signed(f, 0))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := ledger.Open(b, key)
		if err == nil && c != l.checkpoint(5) && c != l.checkpoint(0) {
			t.Fatalf("opened as %v", c)
		}
		text, _, _ := bytes.Cut(b, []byte("\n\n"))
		if c, err := ledger.ParseCheckpoint(string(text) + "\n"); err == nil && c.Text() != string(text)+"\n" {
			t.Fatalf("%q is written as %q", text, c.Text())
		}
	})
}
