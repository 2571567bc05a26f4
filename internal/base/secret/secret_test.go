package secret_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/secret"
)

func key(t *testing.T) secret.Key {
	t.Helper()
	text, err := secret.Generate(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	k, err := secret.Parse(text)
	if err != nil || !k.Known() {
		t.Fatalf("its own text: %v", err)
	}
	return k
}

func TestSealedOpens(t *testing.T) {
	k := key(t)
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(t, "value")
		belongs := rapid.SliceOfN(rapid.String(), 0, 3).Draw(t, "belongs")
		a, err := k.Seal(rand.Reader, value, belongs...)
		if err != nil {
			t.Fatal(err)
		}
		b, err := k.Seal(rand.Reader, value, belongs...)
		if err != nil || bytes.Equal(a, b) {
			t.Fatalf("sealed twice it is the same: %v", err)
		}
		if got, err := k.Open(a, belongs...); err != nil || !bytes.Equal(got, value) {
			t.Fatalf("opened: %q, %v; want %q", got, err, value)
		}
		at := rapid.IntRange(0, len(a)-1).Draw(t, "at")
		changed := bytes.Clone(a)
		changed[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "by"))
		if got, err := k.Open(changed, belongs...); !errors.Is(err, secret.ErrChanged) && !errors.Is(err, secret.ErrOtherKey) {
			t.Fatalf("byte %d changed: %q, %v", at, got, err)
		}
		if got, err := k.Open(a[:at], belongs...); err == nil {
			t.Fatalf("cut at %d: %q", at, got)
		}
	})
}

func TestSealedBelongs(t *testing.T) {
	k, other := key(t), key(t)
	a, err := k.Seal(rand.Reader, []byte("2063"), "S1", "abc")
	if err != nil {
		t.Fatal(err)
	}
	for _, belongs := range [][]string{{"S1", "abd"}, {"S2", "abc"}, {"S1a", "bc"}, {"S1abc"}, {}} {
		if got, err := k.Open(a, belongs...); !errors.Is(err, secret.ErrChanged) {
			t.Errorf("as if it belonged to %q: %q, %v", belongs, got, err)
		}
	}
	if got, err := other.Open(a, "S1", "abc"); !errors.Is(err, secret.ErrOtherKey) {
		t.Errorf("with another key: %q, %v", got, err)
	}
	short, err := k.Seal(rand.Reader, []byte("1"), "S1", "abc")
	if err != nil || len(short) != len(a) || bytes.Contains(a, []byte("2063")) {
		t.Errorf("a sealed value tells its length: %d and %d, %v", len(short), len(a), err)
	}
}

func TestFind(t *testing.T) {
	k, other := key(t), key(t)
	want := k.Find("2063", "S1")
	if !bytes.Equal(want, k.Find("2063", "S1")) {
		t.Error("the same value is not found again")
	}
	for name, got := range map[string][]byte{
		"another value": k.Find("4712", "S1"), "another place": k.Find("2063", "S2"), "another key": other.Find("2063", "S1"), "cut elsewhere": k.Find("12063", "S"),
	} {
		if bytes.Equal(want, got) {
			t.Errorf("%s is found by the same", name)
		}
	}
}

func TestNoKey(t *testing.T) {
	text, err := secret.Generate(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	whole := strings.TrimSpace(string(text))
	if _, err := secret.Parse([]byte("\r\n " + whole + "\r\n")); err != nil {
		t.Errorf("with spaces around it: %v", err)
	}
	for _, bad := range []string{"", "x", whole[:len(whole)-4], whole + "AAAA", strings.Replace(whole, "-1 ", "-2 ", 1), "PRIVATE+KEY+x"} {
		if k, err := secret.Parse([]byte(bad)); err == nil || k.Known() {
			t.Errorf("%q is a key", bad)
		}
	}
	if (secret.Key{}).Known() {
		t.Error("no key is one")
	}
}
