package access_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/domain/access"
)

// cheap is a cost for tests in which the cost is not the question.
var cheap = access.Cost{Memory: 8, Passes: 1, Lanes: 1}

func hashed(tb testing.TB, secret string, cost access.Cost) access.Hash {
	tb.Helper()
	h, err := access.HashSecret(secret, cost, rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	return h
}

func TestHash(t *testing.T) {
	t.Parallel()
	const secret = "Äpfel und Birnen im Hof"
	h := hashed(t, secret, access.Standard)
	if !strings.HasPrefix(h.String(), "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("got %s", h)
	}
	for _, test := range []struct {
		name, secret string
		want         bool
	}{
		{"the same", secret, true},
		{"decomposed, as another keyboard sends it", "A\u0308pfel und Birnen im Hof", true},
		{"another case", "äpfel und Birnen im Hof", false},
		{"a space behind", secret + " ", false},
		{"nothing", "", false},
		{"cut off", secret[:len(secret)-1], false},
		{"no text", secret + "\xff", false},
		{"far too long", strings.Repeat("x", 1<<20), false},
	} {
		if got := h.Matches(test.secret); got != test.want {
			t.Errorf("%s: %t", test.name, got)
		}
	}
	if again := hashed(t, secret, access.Standard); again.String() == h.String() {
		t.Error("two hashes of one secret are equal: the salt is not random")
	}
	if h.Dated(access.Standard) || !hashed(t, secret, cheap).Dated(access.Standard) {
		t.Error("a hash at another cost is dated, one at the standard cost is not")
	}
}

// A test vector of the reference implementation of Argon2 (its test program: t=2, m=2^16 KiB, p=1,
// password "password", salt "somesalt").
func TestReferenceHash(t *testing.T) {
	t.Parallel()
	const phc = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	h, err := access.ParseHash(phc)
	if err != nil {
		t.Fatal(err)
	}
	if !h.Matches("password") || h.Matches("passwore") {
		t.Error("the reference hash does not match its password")
	}
}

func TestDecoy(t *testing.T) {
	t.Parallel()
	h := access.Decoy(access.Standard)
	if h.Matches("") || h.Matches("password") || h.Dated(access.Standard) {
		t.Error("something matches the decoy, or it costs something else")
	}
	if _, err := access.ParseHash(h.String()); err != nil {
		t.Error(err)
	}
}

func TestHashRefuses(t *testing.T) {
	t.Parallel()
	for _, cost := range []access.Cost{{}, {7, 1, 1}, {31, 1, 4}, {19456, 0, 1}, {19456, 17, 1}, {1 << 20, 1, 1}, {1 << 16, 1, 5}} {
		if _, err := access.HashSecret("secret", cost, rand.Reader); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%+v: %v", cost, err)
		}
	}
	if _, err := access.HashSecret("secret", cheap, bytes.NewReader(make([]byte, 15))); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("without randomness: %v", err)
	}
	if _, err := access.HashSecret(strings.Repeat("x", 257), cheap, rand.Reader); !errors.Is(err, access.ErrArgument) {
		t.Errorf("too long: %v", err)
	}
	if (access.Hash{}).Matches("") || (access.Hash{
		Cost: access.Cost{Memory: 1 << 31, Passes: 1, Lanes: 1}, Salt: make([]byte, 16), Key: make([]byte, 32),
	}).Matches("x") {
		t.Error("a hash without a key or beyond the limits matches")
	}
}

func TestHostileHashes(t *testing.T) {
	t.Parallel()
	good := access.Decoy(access.Standard).String()
	if _, err := access.ParseHash(good); err != nil {
		t.Fatal(err)
	}
	tests := []struct{ name, from, to string }{
		{"another algorithm", "argon2id", "argon2i"},
		{"another version", "v=19", "v=16"},
		{"no version", "$v=19", ""},
		{"all of the memory", "m=19456", "m=4294967295"},
		{"more than fits", "m=19456", "m=4294967296"},
		{"too little memory", "m=19456", "m=7"},
		{"no pass", "t=2", "t=0"},
		{"passes for ever", "t=2", "t=4000000000"},
		{"no lane", "p=1", "p=0"},
		{"256 lanes", "p=1", "p=256"},
		{"leading zero", "t=2", "t=02"},
		{"sign", "t=2", "t=+2"},
		{"another order", "m=19456,t=2,p=1", "t=2,m=19456,p=1"},
		{"one more", "p=1", "p=1,x=1"},
		{"no salt", "$AAAAAAAAAAAAAAAAAAAAAA$", "$$"},
		{"short salt", "$AAAAAAAAAAAAAAAAAAAAAA$", "$AAAA$"},
		{"padding", "$AAAAAAAAAAAAAAAAAAAAAA$", "$AAAAAAAAAAAAAAAAAAAAAA==$"},
		{"stray bits", "$AAAAAAAAAAAAAAAAAAAAAA$", "$AAAAAAAAAAAAAAAAAAAAAB$"},
		{"line end", "$AAAAAAAAAAAAAAAAAAAAAA$", "$AAAAAAAA\nAAAAAAAAAAAAAA$"},
		{"a part behind", "p=1", "p=1$AAAA"},
		{"space before", "$argon2id", " $argon2id"},
		{"long", "$AAAAAAAAAAAAAAAAAAAAAA$", "$" + strings.Repeat("A", 200) + "$"},
	}
	for _, test := range tests {
		text := strings.Replace(good, test.from, test.to, 1)
		if text == good {
			t.Fatalf("%s: nothing was changed", test.name)
		}
		if h, err := access.ParseHash(text); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%s: %s gives %+v, %v", test.name, text, h, err)
		}
	}
	if _, err := access.ParseHash(""); !errors.Is(err, access.ErrArgument) {
		t.Errorf("nothing: %v", err)
	}
}

func TestHashReadsBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lanes := rapid.Uint8Range(1, 4).Draw(t, "lanes")
		h := access.Hash{
			Cost: access.Cost{Memory: rapid.Uint32Range(8*uint32(lanes), 256<<10).Draw(t, "memory"), Passes: rapid.Uint32Range(1, 16).Draw(t, "passes"), Lanes: lanes},
			Salt: rapid.SliceOfN(rapid.Byte(), 8, 64).Draw(t, "salt"),
			Key:  rapid.SliceOfN(rapid.Byte(), 16, 64).Draw(t, "key"),
		}
		got, err := access.ParseHash(h.String())
		if diff := cmp.Diff(h, got); diff != "" || err != nil {
			t.Fatalf("%s: %v\n%s", h, err, diff)
		}
	})
}

func FuzzParseHash(f *testing.F) {
	f.Add("")
	f.Add(access.Decoy(access.Standard).String())
	f.Add(access.Decoy(cheap).String())
	f.Add("$argon2id$v=19$m=4294967295,t=4294967295,p=255$c29tZXNhbHQ$AAAA")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := access.ParseHash(text)
		if err != nil {
			if !errors.Is(err, access.ErrArgument) {
				t.Fatal(err)
			}
			return
		}
		if h.String() != text {
			t.Fatalf("%q is read as %q", text, h)
		}
		if h.Cost.Memory > 256<<10 || h.Cost.Passes > 16 || h.Cost.Lanes > 4 {
			t.Fatalf("%q may use up the machine", text)
		}
	})
}

// BenchmarkMatches measures what one sign-in costs.
func BenchmarkMatches(b *testing.B) {
	h := access.Decoy(access.Standard)
	for b.Loop() {
		h.Matches("crumb lantern oboe drift")
	}
}

// BenchmarkCheckPassword measures the judgement on a long password.
func BenchmarkCheckPassword(b *testing.B) {
	password := strings.Repeat("crumb lantern oboe drift 7", 9)
	for b.Loop() {
		if err := access.CheckPassword(password, false, words...); err != nil {
			b.Fatal(err)
		}
	}
}
