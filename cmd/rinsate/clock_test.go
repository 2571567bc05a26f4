package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts have a clock of their own, whatever the machine's shows. clockEnv tells the program under
// test where it is kept: in a file whose first line is when the script begins and which grows by a byte
// with each program that is started. Each program begins a minute after the one before, and its clock is
// a millisecond further whenever it looks.
const clockEnv = "RINSATE_TEST_CLOCK"

// nowEnv and zoneEnv say when and where the scripts are played, in place of usualNow and UTC.
const (
	nowEnv  = "RINSATE_TEST_NOW"
	zoneEnv = "RINSATE_TEST_ZONE"
)

// usualNow is a Wednesday in the middle of a month.
const usualNow = "2026-10-14T09:20:00Z"

// setClock gives a script its clock and its machine's zone.
func setClock(e *testscript.Env, now, zone string) error {
	path := filepath.Join(e.WorkDir, ".clock")
	e.Setenv(clockEnv, path)
	e.Setenv("TZ", zone)
	return os.WriteFile(path, []byte(now+"\n"), 0o600)
}

// clockOf returns the clock of a program that begins now.
func clockOf(path string) (func() time.Time, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // what is written is read back
	text := make([]byte, len(usualNow)+1)
	if _, err := io.ReadFull(f, text); err != nil {
		return nil, err
	}
	begin, err := time.Parse(time.RFC3339, strings.TrimSpace(string(text)))
	if err != nil {
		return nil, err
	}
	if _, err := f.WriteString("."); err != nil {
		return nil, err
	}
	place, err := f.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil, err
	}
	begin = begin.Add(time.Duration(place-int64(len(text))) * time.Minute)
	var looks atomic.Int64
	return func() time.Time { return begin.Add(time.Duration(looks.Add(1)) * time.Millisecond) }, nil
}

// played is the program under test.
func played() {
	clock, err := clockOf(os.Getenv(clockEnv))
	if err != nil {
		fmt.Fprintln(os.Stderr, "the clock of the script:", err)
		os.Exit(1)
	}
	os.Exit(run(clock, nil))
}

func orUsual(text, usual string) string {
	if text == "" {
		return usual
	}
	return text
}

func TestClockOfScripts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "clock")
	if err := os.WriteFile(path, []byte(usualNow+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var last time.Time
	for i := range 3 {
		clock, err := clockOf(path)
		if err != nil {
			t.Fatal(err)
		}
		first, second := clock(), clock()
		if want := time.Date(2026, 10, 14, 9, 21+i, 0, int(time.Millisecond), time.UTC); !first.Equal(want) {
			t.Errorf("program %d begins at %s, want %s", i+1, first, want)
		}
		if !first.After(last) || !second.After(first) {
			t.Errorf("program %d looked at %s and %s, the one before at %s", i+1, first, second, last)
		}
		last = second
	}
}
