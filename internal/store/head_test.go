package store

import (
	"crypto/sha256"
	"strings"
	"testing"

	"rinsate/internal/base/ledger"
)

// A line is read back as it was written, by the key that made it and by no other, and not when a byte of it differs.
func TestHeadLine(t *testing.T) {
	t.Parallel()
	key, other := headKey([]byte("a signing key")), headKey([]byte("another"))
	for _, h := range []Head{
		{},
		{Size: 1, Root: sha256.Sum256([]byte("root")), Recorded: 1_772_452_800_000_000},
		{Size: 1 << 40, Root: sha256.Sum256(nil), Recorded: 5, Restore: ledger.DerivedID("restore", "1")},
	} {
		line := h.line(key)
		if len(line) > maxHeadLine {
			t.Errorf("a line of %d bytes: %s", len(line), line)
		}
		if got, ok := readHead(line, key); !ok || got != h {
			t.Errorf("%+v, %t; want %+v", got, ok, h)
		}
		if _, ok := readHead(line, other); ok {
			t.Error("read by another key")
		}
		for i := range len(line) {
			changed := line[:i] + string(line[i]^1) + line[i+1:]
			if strings.EqualFold(changed, line) {
				continue // hexadecimal digits in the other case are the same
			}
			if _, ok := readHead(changed, key); ok {
				t.Errorf("read though byte %d differs: %s", i, changed)
			}
		}
	}
}

func FuzzReadHead(f *testing.F) {
	key := headKey([]byte("a signing key"))
	f.Add(Head{Size: 3, Root: sha256.Sum256(nil), Recorded: 5, Restore: ledger.DerivedID("restore", "1")}.line(key))
	f.Add("h1.0.00.0..")
	f.Add("h1.9223372036854775807." + strings.Repeat("ab", 32) + ".-1..ff")
	f.Fuzz(func(t *testing.T, text string) {
		// What is behind the seal is anybody's guess, so that the part before it is read as well.
		h, ok := parseHead(text)
		if !ok {
			return
		}
		if h.Size < 0 {
			t.Fatalf("%q was read as %+v", text, h)
		}
		if got, ok := readHead(h.line(key), key); !ok || got != h {
			t.Fatalf("%q was read as %+v, and its line as %+v", text, h, got)
		}
	})
}
