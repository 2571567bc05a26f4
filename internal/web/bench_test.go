package web

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/access"
	"rinsate/internal/desk"
	"rinsate/internal/reading"
	"rinsate/internal/store"
	"rinsate/internal/storetest"
	"rinsate/internal/turnaround"
)

// atBench serves a site whose clock runs, and opens its bench as a technician.
func atBench(t *testing.T) (*site, *page) {
	t.Helper()
	clock := storetest.NewClock()
	b := serve(t, clock)
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go func() {
		last := time.Now()
		for {
			select {
			case <-stop:
				return
			case now := <-time.After(20 * time.Millisecond):
				clock.Move(time.Since(last))
				last = now
			}
		}
	}()
	return b, b.bench(t, access.Technician)
}

func (b *site) bench(t *testing.T, role access.Role) *page {
	t.Helper()
	p := openPage(t, b.server.base.String())
	signIn(b, p, role)
	p.size(1280, 1024)
	p.open("/bench")
	p.waitText("#network", "all stored")
	return p
}

func TestBenchBegins(t *testing.T) {
	_, p := atBench(t)
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.screenshot("bench")
}

// round takes a sample of a point that needs no rinsing and reads it, by scanner alone.
func (p *page) sampleByScanner(point, method, value string) {
	p.Helper()
	p.scan("ACT-POINT-" + point)
	p.waitText("#point-name", spacedPoint(point))
	p.scan("ACT-COLLECTED")
	p.waitText("#mark", map[string]string{"surface": "Activated", "rinsate": "Dipped"}[method])
	if method == "rinsate" {
		p.scan("ACT-DIPPED")
		p.waitText("#mark", "Activated")
	}
	p.scan("ACT-ACTIVATED")
	p.waitText("#mark", "Shaken")
	p.wait("!document.querySelector('#mark').disabled") // the device is shaken for as long as the rules say
	p.scan("ACT-SHAKEN")
	p.waitFor("#value")
	for _, digit := range value {
		p.scan("ACT-DIGIT-" + string(digit))
	}
	p.scan("ACT-ENTER")
	p.waitText("#said", value+" RLU")
}

func spacedPoint(point string) string { return strings.ToLower(strings.ReplaceAll(point, "-", " ")) }

// A whole round without touching anything but the scanner: scope, lot, meter, the acts and the digits of
// the values.
func TestRoundByScannerAlone(t *testing.T) {
	b, p := atBench(t)
	p.scan(heldScope)
	p.waitText("#scope-name", heldScope)
	p.waitText("#job", "attempt 1")
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	// The first attempt failed: the scope is cleaned and inspected again.
	b.step(heldScope, turnaround.ManualCleaning, 5*time.Minute, nil)
	b.step(heldScope, turnaround.Inspection, time.Minute, passed)
	p.waitText("#job", "attempt 2")
	p.sampleByScanner("OUTER-DISTAL-END", "surface", "20")
	p.sampleByScanner("ELEVATOR-RECESS", "surface", "40")
	p.sampleByScanner("INSTRUMENT-CHANNEL", "rinsate", "31")
	p.waitText("#said", "below")
	p.waitText("#job", "3 of 3 points read")
	p.screenshot("bench-round")
	var round reading.Round
	if err := b.desk.View(t.Context(), func(v desk.View) error {
		j, err := v.Job(heldScope, v.Now())
		round = j.Round
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if !round.Complete || round.Outcome != reading.Below || round.Attempt != 2 {
		t.Errorf("the round: complete %v, %s, attempt %d", round.Complete, round.Outcome, round.Attempt)
	}
}

// What must stop at the bench stops there, with words that say what to do.
func TestBenchStops(t *testing.T) {
	_, p := atBench(t)
	for _, c := range []struct{ scan, says string }{
		{"M-2", "Check it before it is used"},
		{"9", "has expired"},
		{"LOT-NOBODY-KNOWS", "is not known here"},
		{"ACT-COLLECTED", "Scan a scope first"},
	} {
		p.scan(c.scan)
		p.waitText("#said", c.says)
	}
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.scan("ACT-COLLECTED")
	p.waitText("#said", "Scan the kit lot first")
}

// The network is cut in the middle of a round: acts are kept, survive the end of the tab, and are stored
// once, with the time at which they happened.
func TestOffline(t *testing.T) {
	b, p := atBench(t)
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.wait("navigator.serviceWorker.controller")
	p.wait("caches.keys().then((names) => names.length > 0)")
	p.wait("caches.match('/bench').then(Boolean)")
	p.offline(true)
	b.line.cut()
	before := b.records()
	p.scan("ACT-COLLECTED")
	p.waitText("#network", "1 not yet stored")
	p.scan("ACT-ACTIVATED")
	p.waitText("#network", "2 not yet stored")
	p.wait("!document.querySelector('#mark').disabled")
	p.scan("ACT-SHAKEN")
	p.waitText("#network", "3 not yet stored")
	p.scan("44")
	p.waitFor("#again") // without a network a value is typed twice
	p.click("#again")
	p.keys("44\r")
	p.waitText("#network", "4 not yet stored")
	p.screenshot("bench-offline")
	p.reload()
	p.waitText("#network", "4 not yet stored")
	if got := b.records(); got != before {
		t.Fatalf("%d records were stored without a network", got-before)
	}
	p.offline(false)
	p.waitText("#network", "all stored")
	if got := b.records(); got != before+4 {
		t.Errorf("%d records were stored, want 4", got-before)
	}
	p.waitText("#said", "44 RLU")
}

// records counts the records of the ledger.
func (b *site) records() (n int64) {
	b.Helper()
	if err := b.desk.DB.Read(b.Context(), func(tx *store.Tx) (err error) {
		n, err = tx.Size()
		return err
	}); err != nil {
		b.Fatal(err)
	}
	return n
}
