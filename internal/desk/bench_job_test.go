package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

func (b *bench) job() (j desk.Job) {
	b.Helper()
	if err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		j, err = v.Day().Job("D-01", v.Now())
		return err
	}); err != nil {
		b.Fatal(err)
	}
	return j
}

// One verification as the bench sees it: what is required, what was taken, what awaits, what was decided, and
// the cleaning that opens with the next cleaning.
func TestJobFollowsTheVerification(t *testing.T) {
	b := start(t)
	b.use()
	j := b.job()
	if j.Verification.Cleaning != 1 || len(j.Points) != 4 || j.Answer.State != reprocessing.InReprocessing {
		t.Fatalf("cleaning %d with %d points, %s", j.Verification.Cleaning, len(j.Points), j.Answer.State)
	}
	for _, p := range j.Points {
		sealed := p.Point == scope.ElevatorWire
		if p.Required == sealed || len(p.Samples) > 0 || sealed != (p.NotApplicable != "") {
			t.Errorf("%s: required %v, %d samples, not applicable %q", p.Point, p.Required, len(p.Samples), p.NotApplicable)
		}
	}
	s := b.take(points[0])
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) })
	p := b.point(points[0])
	if len(p.Samples) != 1 || p.Samples[0].ID != taken.Record.ID || !p.Samples[0].Standing.Deadline.Known() || !p.Pending {
		t.Fatalf("after collecting: %+v", p)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(desk.Entry{By: "T-01"}, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("950"), At: b.pass(15 * time.Second)})
	})
	p = b.point(points[0])
	if p.Outcome != reading.Action || len(p.Samples[0].Readings) != 1 || p.Samples[0].Readings[0].Value != "950 RLU" || p.Samples[0].Readings[0].By != "T-01" {
		t.Fatalf("after reading: %+v", p)
	}
	j = b.job()
	if j.Verification.Next.Act != reading.CleanAgain || len(j.Holds) != 1 || j.Answer.State != reprocessing.OnHold {
		t.Fatalf("after a failure: next %q, %d holds, %s", j.Verification.Next.Act, len(j.Holds), j.Answer.State)
	}
	b.clean()
	j = b.job()
	if j.Verification.Cleaning != 2 {
		t.Fatalf("after the second cleaning: cleaning %d", j.Verification.Cleaning)
	}
	for _, p := range j.Points {
		if len(p.Samples) > 0 {
			t.Errorf("%s: a sample of the first cleaning is shown in the second", p.Point)
		}
	}
}

func (b *bench) point(kind scope.PointKind) desk.JobPoint {
	b.Helper()
	for _, p := range b.job().Points {
		if p.Point == kind {
			return p
		}
	}
	b.Fatalf("no point %s", kind)
	return desk.JobPoint{}
}

func TestJobOfAnUnknownScope(t *testing.T) {
	b := start(t)
	err := b.desk.View(context.Background(), func(v desk.View) error {
		_, err := v.Day().Job("D-99", v.Now())
		return err
	})
	if fault.CodeOf(err) != fault.NotFound {
		t.Errorf("got %v, want not found", err)
	}
}

// Two people who read the same device must hear of each other; a duplicate that is meant as one counts.
func TestOnlyOneReading(t *testing.T) {
	b := start(t)
	b.use()
	s := b.take(points[0])
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) })
	at := b.pass(15 * time.Second)
	first := desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu("12"), At: at, Only: true}
	id := ledger.DerivedID("test", "first")
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(desk.Entry{ID: id, By: "T-01"}, first) })
	again := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(desk.Entry{ID: id, By: "T-01"}, first) })
	if again.Fresh {
		t.Error("the same reading sent twice was stored twice")
	}
	second := first
	second.Value = b.rlu("18")
	err := b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
		_, err := w.Read(desk.Entry{By: "T-02"}, second)
		return err
	})
	if fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), "by T-01: 12 RLU, OK") {
		t.Errorf("the second reading: %v, want a conflict that names the first", err)
	}
	second.Only = false
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Read(desk.Entry{By: "T-02"}, second) })
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "T-01", Corrects: id, Reason: "another device"})
	})
}

func TestRetypeAsksAgain(t *testing.T) {
	b := start(t)
	for range 5 {
		b.use()
		b.verification("30", "30", "30")
		b.finish()
		b.pass(2 * time.Hour)
	}
	b.use()
	s := b.take(points[0])
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) })
	at := b.pass(15 * time.Second)
	for value, want := range map[string]string{"33": "", "3": "usual here is about 30", "330": "usual here is about 30"} {
		var got string
		if err := b.desk.View(context.Background(), func(v desk.View) (err error) {
			got, err = v.Day().Retype(desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu(value), At: at})
			return err
		}); err != nil || got != want {
			t.Errorf("%s: got %q (%v), want %q", value, got, err, want)
		}
	}
}

func TestBench(t *testing.T) {
	b := start(t)
	b.use()
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, b.take(points[0])) })
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterLot(desk.Entry{By: "L-01"}, b.at(), quality.Lot{Kit: "K", Lot: "8", Expires: b.at()})
	})
	var bench desk.Bench
	var open []desk.OpenSample
	if err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		if bench, err = v.Day().Bench(v.Now()); err == nil {
			open, err = v.Day().OpenSamples(v.Now())
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if len(bench.Scopes) != 1 || len(bench.Guides["D1"].Points) != 4 || len(open) != 1 || open[0].State != sampling.Open {
		t.Errorf("%d scopes, %d points, %d open", len(bench.Scopes), len(bench.Guides["D1"].Points), len(open))
	}
	if len(bench.Lots) != 2 || bench.Lots[0].Fault != "" || !strings.Contains(bench.Lots[1].Fault, "expired") {
		t.Errorf("lots: %+v", bench.Lots)
	}
	if len(bench.Meters) != 1 || bench.Meters[0].State.Condition != quality.Unchecked || len(bench.Disinfectants) == 0 || len(bench.Cabinets) == 0 {
		t.Errorf("meters %+v, disinfectants %q, cabinets %q", bench.Meters, bench.Disinfectants, bench.Cabinets)
	}
}
