package desk_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/store"
)

func TestFirstTests(t *testing.T) {
	b := start(t)
	b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.read(scope.ElevatorRecess, "250") // over: the verification is
	b.clean()
	b.verification("30", "30", "30") // after a further cleaning
	b.use()
	b.verification("30", "40", "50")
	var verifications []desk.FirstTest
	ask := func(tag string, kind scope.Kind) {
		t.Helper()
		err := b.desk.View(t.Context(), func(v desk.View) (err error) {
			verifications, err = v.Numbers().FirstTests(0, store.Forever, tag, kind)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	ask("", "")
	if len(verifications) != 2 || !verifications[0].Over || verifications[1].Over || verifications[0].Kind != scope.Duodenoscope {
		t.Errorf("%+v", verifications)
	}
	if ask("D-02", ""); len(verifications) != 0 {
		t.Errorf("of another scope: %+v", verifications)
	}
	if ask("", scope.Gastroscope); len(verifications) != 0 {
		t.Errorf("of another kind: %+v", verifications)
	}
}

// Periods are calendar periods of the facility's zone, also where a day has 23 or 25 hours.
func TestPeriods(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := func(text string) unit.Instant {
		u, err := time.ParseInLocation("2006-01-02 15:04", text, zone)
		if err != nil {
			t.Fatal(err)
		}
		return unit.At(u)
	}
	verifications := []desk.FirstTest{
		{At: at("2026-03-28 23:59"), Over: true}, // Saturday
		{At: at("2026-03-29 00:01")},             // the day of 23 hours
		{At: at("2026-03-29 23:59"), Over: true},
		{At: at("2026-03-30 00:00")}, // Monday
		{At: at("2026-04-01 00:00")},
	}
	type period struct {
		from, to            string
		over, verifications int
	}
	for cadence, want := range map[desk.Cadence][]period{
		desk.Daily: {
			{"2026-03-28 00:00 +01:00", "2026-03-29 00:00 +01:00", 1, 1},
			{"2026-03-29 00:00 +01:00", "2026-03-30 00:00 +02:00", 1, 2},
			{"2026-03-30 00:00 +02:00", "2026-03-31 00:00 +02:00", 0, 1},
			{"2026-04-01 00:00 +02:00", "2026-04-02 00:00 +02:00", 0, 1},
		},
		desk.Weekly: {
			{"2026-03-23 00:00 +01:00", "2026-03-30 00:00 +02:00", 2, 3}, {"2026-03-30 00:00 +02:00", "2026-04-06 00:00 +02:00", 0, 2},
		},
		desk.Monthly: {
			{"2026-03-01 00:00 +01:00", "2026-04-01 00:00 +02:00", 2, 4}, {"2026-04-01 00:00 +02:00", "2026-05-01 00:00 +02:00", 0, 1},
		},
	} {
		var got []period
		for _, p := range desk.Periods(verifications, cadence, zone) {
			got = append(got, period{p.From.In(zone), p.To.In(zone), p.Failures, int(p.Trials)})
		}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(period{})); diff != "" {
			t.Errorf("%s (-want +got):\n%s", cadence, diff)
		}
	}
}

func TestBetweenFailures(t *testing.T) {
	t.Parallel()
	day := unit.Instant(24 * time.Hour / time.Microsecond)
	var verifications []desk.FirstTest
	for i, over := range []bool{false, true, false, false, true, true, false} {
		verifications = append(verifications, desk.FirstTest{At: day * unit.Instant(i+1), Over: over})
	}
	b := desk.BetweenFailures(verifications)
	if diff := cmp.Diff([]float64{2, 0}, b.Gaps); diff != "" || b.Since != 1 || len(b.Failures) != 3 {
		t.Errorf("gaps %v, %d since, %d failures", b.Gaps, b.Since, len(b.Failures))
	}
	if diff := cmp.Diff([]float64{3, 1}, b.Days); diff != "" {
		t.Errorf("days:\n%s", diff)
	}
	if uses, days, ok := b.Burst(2); !ok || uses != 2 || days != 4 {
		t.Errorf("the last two: %v cleaning verifications, %v days, %t", uses, days, ok)
	}
	if _, _, ok := b.Burst(3); ok {
		t.Error("three gaps of two")
	}
	if _, err := desk.Shares([]desk.Period{{Count: trend.Count{Failures: 1, Trials: 2}}}); err == nil {
		t.Error("one period makes a chart")
	}
}
