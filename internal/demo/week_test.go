package demo_test

import (
	"context"
	"os"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// everyHour, when set, has TestAnyHour walk each hour of a week; without it each nineteenth, which meets
// all days and all parts of the day.
const everyHour = "RINSATE_TEST_EVERY_HOUR"

// Whoever builds the demo looks at it at once, at any hour of the week: it must be worth looking at.
func TestAnyHour(t *testing.T) {
	t.Parallel()
	step := 19
	if os.Getenv(everyHour) != "" {
		step = 1
	}
	zone := hospitalZone(t)
	for hour := 0; hour < 7*24; hour += step {
		at := time.Date(2026, 11, 23, hour, 20, 0, 0, zone)
		t.Run(at.Format("Mon 15 h"), func(t *testing.T) {
			t.Parallel()
			worthLooking(t, at)
		})
	}
}

// The whole year is built on any day: on whichever weekday it ends, nothing that people do in it is refused.
func TestAnyYear(t *testing.T) {
	if os.Getenv(everyHour) == "" {
		t.Skip("takes minutes; `make anyday` runs it")
	}
	zone := hospitalZone(t)
	for day := range 14 {
		at := time.Date(2026, 11, 24+day, 1+day*23/14, 40, 0, 0, zone)
		t.Run(at.Format(time.RFC3339), func(t *testing.T) {
			t.Parallel()
			buildAt(t, at, demo.Options{})
		})
	}
}

// The days on which calendars and clocks do what they do on no other.
func TestOddDays(t *testing.T) {
	t.Parallel()
	zone := hospitalZone(t)
	for name, at := range map[string]time.Time{
		"last of a month":              time.Date(2026, 11, 30, 5, 15, 0, 0, zone),
		"last minute of a year":        time.Date(2026, 12, 31, 23, 59, 30, 0, zone),
		"first minute of a year":       time.Date(2027, 1, 1, 0, 1, 0, 0, zone),
		"29 February":                  time.Date(2028, 2, 29, 11, 0, 0, 0, zone),
		"before the clocks go forward": time.Date(2027, 3, 28, 0, 59, 30, 0, time.UTC),
		"after they went forward":      time.Date(2027, 3, 28, 1, 30, 0, 0, time.UTC),
		"02:30 for the first time":     time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC),
		"02:30 once more":              time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			worthLooking(t, at)
		})
	}
}

func hospitalZone(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// worthLooking builds the small hospital as on some instant and counts what its pages have to show.
func worthLooking(t *testing.T, at time.Time) {
	t.Helper()
	b := buildAt(t, at, demo.Options{Cycles: 300})
	const day = 24 * time.Hour
	got := map[string]int{}
	b.view(t, func(v desk.View) error {
		now := v.Now()
		board, err := v.Day().Board(now)
		if err != nil {
			return err
		}
		open, err := v.Day().OpenSamples(now)
		if err != nil {
			return err
		}
		got["samples not yet read"] = len(open)
		local := now.Time().In(v.Zone())
		midnight := unit.At(time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, v.Zone()))
		for _, a := range board {
			got[string(a.State)]++
			if a.State == reprocessing.OnHold && len(a.Reasons) == 0 {
				t.Errorf("%s is held and nobody knows why", a.Scope)
			}
			got["reasons to sample"] += len(a.Due)
			for _, s := range a.Steps {
				if s.Status == reprocessing.MissingStep && s.Deadline > now {
					got["clocks that run"]++
				}
			}
			lines, err := v.Chronicle(a.Scope, now.Add(-day), store.Forever, 1000)
			if err != nil {
				return err
			}
			for _, l := range lines {
				got[string(l.Type)+" of 24 hours"]++
				if l.At >= midnight {
					got[string(l.Type)+" of today"]++
				}
			}
		}
		return nil
	})
	for what, least := range map[string]int{
		string(reprocessing.Ready): 15, string(reprocessing.OnHold): 2, string(reprocessing.InReprocessing): 3, string(reprocessing.NotKnown): 1,
		"reasons to sample": 4, "samples not yet read": 1, "clocks that run": 1,
		string(record.Sample) + " of today": 1, string(record.Use) + " of 24 hours": 3, string(record.Sample) + " of 24 hours": 4, string(record.Verification) +
			" of 24 hours": 1,
	} {
		if got[what] < least {
			t.Errorf("%d %s, want at least %d: %v", got[what], what, least, got)
		}
	}
}

// Nothing in how a day is counted may come from the machine.
func TestMachineInAnotherZone(t *testing.T) {
	at := time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC)
	ids := func(zone string) (list []string) {
		local, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		usual := time.Local
		time.Local = local
		defer func() { time.Local = usual }()
		b := buildAt(t, at.In(local), demo.Options{Cycles: 300})
		err = b.desk.DB.Read(context.Background(), func(tx *store.Tx) (err error) {
			list, err = tx.Dump()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	want := ids("UTC")
	for _, zone := range []string{"America/Los_Angeles", "Pacific/Auckland"} {
		got := ids(zone)
		for i := range max(len(got), len(want)) {
			if i >= len(got) || i >= len(want) || got[i] != want[i] {
				t.Fatalf("in %s row %d of %d differs from those of a machine in UTC", zone, i, len(got))
			}
		}
	}
}
