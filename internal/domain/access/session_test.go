package access_test

import (
	"bytes"
	"crypto/rand"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

var noon = unit.At(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))

func TestWaits(t *testing.T) {
	t.Parallel()
	var f access.Failures
	if f.Wait(noon) != 0 {
		t.Error("without a failure nobody waits")
	}
	for i, seconds := range []int{1, 2, 4, 8, 16, 32, 60, 60, 60} {
		f = f.After(noon)
		want := time.Duration(seconds) * time.Second
		for _, test := range []struct {
			name string
			now  unit.Instant
			want time.Duration
		}{
			{"at once", noon, want},
			{"just before the end", noon.Add(want - time.Microsecond), time.Microsecond},
			{"at the end", noon.Add(want), 0},
			{"long after", noon.Add(time.Hour), 0},
			{"after the clock was set back", noon.Add(-time.Hour), want},
		} {
			if got := f.Wait(test.now); got != test.want {
				t.Errorf("failure %d, %s: %s, want %s", i+1, test.name, got, test.want)
			}
		}
	}
	for _, test := range []struct {
		count      int
		pin, spent bool
	}{{4, false, false}, {5, true, false}, {99, true, false}, {100, true, true}, {1 << 40, true, true}} {
		f := access.Failures{Count: test.count, Last: noon}
		if f.PINSpent() != test.pin || f.Spent() != test.spent || f.Wait(noon) > time.Minute {
			t.Errorf("%d failures: PIN spent %t, spent %t, wait %s", test.count, f.PINSpent(), f.Spent(), f.Wait(noon))
		}
	}
}

func TestBucket(t *testing.T) {
	t.Parallel()
	var b access.Bucket
	var wait time.Duration
	for i := range 20 {
		if b, wait = b.Take(access.Attempts, noon); wait != 0 {
			t.Fatalf("attempt %d waits for %s", i+1, wait)
		}
	}
	for _, test := range []struct {
		after, want time.Duration
	}{
		{0, 3 * time.Second},
		{time.Second, 2 * time.Second},
		{3*time.Second - time.Microsecond, time.Microsecond},
		{3 * time.Second, 0},
		{-time.Hour, 3 * time.Second},
	} {
		if _, wait := b.Take(access.Attempts, noon.Add(test.after)); wait != test.want {
			t.Errorf("%s later: %s, want %s", test.after, wait, test.want)
		}
	}
	if b.Full(noon.Add(60*time.Second-1)) || !b.Full(noon.Add(60*time.Second)) || !(access.Bucket{}).Full(noon) {
		t.Error("20 attempts are back after a minute, not before")
	}
}

// In no stretch of time are more attempts heard than the size of the bucket and one each three seconds.
func TestBucketHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var b access.Bucket
		now, heard := noon, 0
		for range rapid.IntRange(1, 200).Draw(t, "attempts") {
			now = now.Add(time.Duration(rapid.IntRange(0, 5000).Draw(t, "pause")) * time.Millisecond)
			next, wait := b.Take(access.Attempts, now)
			if wait == 0 {
				heard++
			} else if next != b || wait > 3*time.Second {
				t.Fatalf("refused: %+v, wait %s", next, wait)
			}
			b = next
			if most := 20 + int(now.Sub(noon)/(3*time.Second)); heard > most {
				t.Fatalf("%d attempts were heard in %s", heard, now.Sub(noon))
			}
		}
	})
}

// Whoever has not signed in records a handful of emergency uses at once and then four a minute; what was not done is
// given back, and nothing more than was taken.
func TestPaceOfTheUnsigned(t *testing.T) {
	t.Parallel()
	var b access.Bucket
	take := func(at time.Duration) (wait time.Duration) {
		b, wait = b.Take(access.Unsigned, noon.Add(at))
		return wait
	}
	for i := range 5 {
		if wait := take(0); wait != 0 {
			t.Fatalf("press %d waits for %s", i+1, wait)
		}
	}
	if got := take(0); got != 15*time.Second {
		t.Errorf("the sixth waits for %s", got)
	}
	b = b.PutBack(access.Unsigned)
	got := []time.Duration{take(0), take(0), take(15 * time.Second), take(15 * time.Second)}
	if want := []time.Duration{0, 15 * time.Second, 0, 15 * time.Second}; !slices.Equal(got, want) {
		t.Errorf("after one was given back: %v", got)
	}
	if got := (access.Bucket{}).PutBack(access.Unsigned); !got.Full(noon) || got != (access.Bucket{}) {
		t.Errorf("more was given back than was taken: %+v", got)
	}
}

func TestSessionState(t *testing.T) {
	t.Parallel()
	fresh := access.Times{Created: noon, Seen: noon, Proved: noon}
	used := access.Times{Created: noon, Seen: noon.Add(12*time.Hour - time.Minute), Proved: noon}
	locked := fresh
	locked.Locked = true
	tests := []struct {
		name  string
		times access.Times
		after time.Duration
		want  access.State
		sign  bool
	}{
		{"new", fresh, 0, access.Active, true},
		{"just before the proof is old", fresh, 5*time.Minute - time.Microsecond, access.Active, true},
		{"the proof is old", fresh, 5 * time.Minute, access.Active, false},
		{"just before it locks", fresh, 15*time.Minute - time.Microsecond, access.Active, false},
		{"idle", fresh, 15 * time.Minute, access.Locked, false},
		{"locked by the person", locked, 0, access.Locked, false},
		{"just before the end", used, 12*time.Hour - time.Microsecond, access.Active, false},
		{"the end", used, 12 * time.Hour, access.Expired, false},
		{"locked and over", locked, 12 * time.Hour, access.Expired, false},
		{"clock a little back", fresh, -2 * time.Minute, access.Active, true},
		{"clock set back", fresh, -2*time.Minute - time.Microsecond, access.Expired, false},
		{"nothing", access.Times{}, 0, access.Expired, false},
		{"never proved", access.Times{Created: noon, Seen: noon}, 0, access.Active, false},
	}
	for _, test := range tests {
		now := noon.Add(test.after)
		if got := test.times.State(now); got != test.want || test.times.MaySign(now) != test.sign {
			t.Errorf("%s: %s, may sign %t", test.name, got, test.times.MaySign(now))
		}
	}
	if fresh.Ends() != noon.Add(12*time.Hour) {
		t.Error(fresh.Ends())
	}
}

// A session that has expired stays so, whatever is noted of it: using it does not make it live longer.
func TestNothingProlongs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		after := func(name string) unit.Instant {
			return noon.Add(time.Duration(rapid.IntRange(0, 24*3600).Draw(t, name)) * time.Second)
		}
		s := access.Times{Created: noon, Seen: after("seen"), Proved: after("proved")}
		now := max(after("now"), s.Seen, s.Proved)
		if got := s.State(now); (got == access.Expired) != (now.Sub(noon) >= 12*time.Hour) {
			t.Fatalf("%s after %s", got, now.Sub(noon))
		}
	})
}

func TestTokens(t *testing.T) {
	t.Parallel()
	a, err := access.NewToken(rand.Reader)
	if err != nil || len(a) != 43 {
		t.Fatalf("%q %v", a, err)
	}
	if b, _ := access.NewToken(rand.Reader); a == b {
		t.Error("two tokens are equal")
	}
	if _, err := access.NewToken(bytes.NewReader(nil)); err == nil {
		t.Error("a token without randomness")
	}
	once, err := access.NewOnce(rand.Reader)
	if err != nil || len(once) != 29 || strings.Trim(once, "0123456789ABCDEFGHJKMNPQRSTVWXYZ-") != "" {
		t.Fatalf("%q %v", once, err)
	}
	if _, err := access.NewOnce(bytes.NewReader(nil)); err == nil {
		t.Error("a code without randomness")
	}
	typed := strings.NewReplacer("0", "o", "1", "l", "-", " ").Replace(strings.ToLower(once))
	if got, want := access.NormalOnce(typed), strings.ReplaceAll(once, "-", ""); got != want {
		t.Errorf("typed %q, read %q, want %q", typed, got, want)
	}
	// SHA-256 of "once", a zero byte and "x": printf 'once\0x' | sha256sum
	if got := access.Digest("once", "x"); got != digestOfX {
		t.Errorf("digest %s", got)
	}
	if access.Digest("once", "x") == access.Digest("session", "x") {
		t.Error("digests of different kinds are equal")
	}
}

const digestOfX = "c03ea7d2cb158b504037c37d59053b9a6b2d3c22f7ef5b28aafa33933c4981d3"
