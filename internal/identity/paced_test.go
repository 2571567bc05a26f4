package identity_test

import (
	"fmt"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

func TestPacedBySource(t *testing.T) {
	t.Parallel()
	now := unit.At(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC))
	p := identity.Paced{Pace: access.Pace{Size: 1, Every: time.Minute}}
	for _, test := range []struct {
		address, reason string
		heard, first    bool
	}{
		{"192.0.2.1", "the first", true, false},
		{"192.0.2.1", "the second", false, true},
		{"::ffff:192.0.2.1", "the same in other words", false, false},
		{"192.0.2.2", "another", true, false},
		{"2001:db8::1", "a place", true, false},
		{"2001:db8::2", "the same place", false, true},
		{"2001:db8:0:1::1", "another place", true, false},
		{"pipe", "no address", true, false},
	} {
		if wait, first := p.Take(test.address, now); wait == 0 != test.heard || first != test.first {
			t.Errorf("%s, %s: wait %s, first %t", test.address, test.reason, wait, first)
		}
	}
	p.PutBack("192.0.2.2")
	p.PutBack("192.0.2.77") // was never there
	if wait, _ := p.Take("192.0.2.2", now); wait != 0 {
		t.Errorf("what was given back is not there: wait %s", wait)
	}
	if wait, _ := p.Take("192.0.2.1", now.Add(time.Minute)); wait != 0 {
		t.Errorf("a minute later: wait %s", wait)
	}
}

// However many sources there are, the memory has an end: the new ones are one.
func TestPacedForgets(t *testing.T) {
	t.Parallel()
	now := unit.At(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC))
	p := identity.Paced{Pace: access.Pace{Size: 2, Every: time.Minute}}
	for i := range 10_000 {
		p.Take(fmt.Sprint("a", i), now)
	}
	waits := []bool{}
	for _, source := range []string{"b", "c", "d"} {
		wait, _ := p.Take(source, now)
		waits = append(waits, wait > 0)
	}
	if got := fmt.Sprint(waits); got != "[false false true]" {
		t.Errorf("new sources among too many: %s", got)
	}
	if wait, _ := p.Take("e", now.Add(time.Minute)); wait != 0 {
		t.Errorf("sources that may be forgotten are kept: wait %s", wait)
	}
}
