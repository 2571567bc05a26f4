package desk_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/store"
)

// An outlook says of each series what the series itself says.
func TestOutlook(t *testing.T) {
	b := rising(t)
	s := b.series()
	err := b.desk.View(t.Context(), func(v desk.View) error {
		o, err := v.Numbers().Outlook(b.at(), desk.UsualWatching())
		if err != nil {
			return err
		}
		size, err := v.Size()
		if err != nil || o.Size != size || o.At != b.at() || len(o.AllSeries) != 1 {
			t.Fatalf("%+v", o)
		}
		x := o.AllSeries[0]
		if x.Key != s.Key || x.Readings != 38 || x.After != 8 || x.Chart != s.Chart || x.Standing != desk.Moved || x.Last != s.Points[37] ||
			len(x.Recent) != 32 ||
			x.Signal == nil ||
			x.Signal.First.ID != s.Watched.Signals[0].First.ID {
			t.Errorf("%+v", x)
		}
		if len(o.Signals) != len(s.Watched.Signals) {
			t.Errorf("%d signals, want %d", len(o.Signals), len(s.Watched.Signals))
		}
		verifications, err := v.Numbers().FirstTests(0, store.Forever, "", "")
		if diff := cmp.Diff(verifications, o.Verifications); diff != "" || len(verifications) != 38 || err != nil {
			t.Errorf("%d cleaning verifications:\n%s", len(verifications), diff)
		}
		alone, err := v.Numbers().SeriesIn(s.Key, b.at(), desk.UsualWatching(), o.Monthly)
		if err != nil {
			return err
		}
		if diff := cmp.Diff(
			s.Watched,
			alone.Watched,
			cmp.AllowUnexported(trend.Signal{}),
		); diff != "" || len(alone.Points) != len(s.Points) ||
			alone.From != s.From {
			t.Errorf("alone it is another series:\n%s", diff)
		}
		scales, err := v.Numbers().Scales("D-01", scope.OuterDistalEnd, b.at())
		if err != nil || len(scales) != 1 || scales[0] != s.Key {
			t.Errorf("scales: %v, %v", scales, err)
		}
		_, err = v.Numbers().SeriesIn(trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "A", Kit: "other"}, b.at(), desk.UsualWatching(), o.Monthly)
		if fault.CodeOf(err) != fault.NotFound {
			t.Errorf("a series without readings: %v", err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The numbers beside the readings are what the charts made of them.
func TestNumbered(t *testing.T) {
	b := rising(t)
	s := b.series()
	all := s.Numbered()
	flags := 0
	for i, n := range all {
		if n.Counted != (i >= s.From) || n.ID != s.Points[i].ID {
			t.Fatalf("reading %d: %+v", i, n)
		}
		if n.Counted && math.Abs(n.Z-s.Baseline.Z(n.Value)) > 1e-12 {
			t.Errorf("reading %d has z = %v, want %v", i, n.Z, s.Baseline.Z(n.Value))
		}
		flags += n.Flags.Count()
	}
	if flags == 0 || flags != s.Watched.Crossings {
		t.Errorf("%d signals beside the readings, %d in the signals", flags, s.Watched.Crossings)
	}
}

// A trial holds the readings against other limits and the adopted baseline.
func TestTrial(t *testing.T) {
	b := rising(t)
	s := b.series()
	err := b.desk.View(t.Context(), func(v desk.View) error {
		w := desk.Watching{FalseSignals: 3, Charts: trend.Charts{Individuals: true}, Trial: true}
		tried, err := v.Numbers().SeriesIn(s.Key, b.at(), w, 40)
		if err != nil {
			return err
		}
		if tried.Baseline.Mean != s.Baseline.Mean || tried.Design.Share(trend.CUSUMChart).Limit != 0 || float64(tried.Design.PerMonth) > 3.01 ||
			float64(tried.Design.PerMonth) < 2.5 {
			t.Errorf("%+v", tried.Design)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// One series is adopted alone, once however often the form is sent.
func TestAdoptChart(t *testing.T) {
	b := start(t)
	for _, v := range values(24, 0, 7) {
		b.cycle("T-01", "7", v)
	}
	e := desk.Entry{By: "L-01", ID: "01890a5d-ac96-774b-bcce-b302099a8057"}
	adopt := func(e desk.Entry, f desk.Freeze) (x desk.Frozen) {
		t.Helper()
		f.Watching = desk.UsualWatching()
		b.do(func(w *desk.Work) (err error) {
			x, err = w.OnSignals().AdoptChart(e, outer, f, 40)
			return err
		})
		return x
	}
	first := adopt(e, desk.Freeze{Anew: true})
	if first.Chart != e.ID || first.Baseline.N+len(first.Baseline.Screened) != 24 {
		t.Fatalf("%+v", first)
	}
	b.cycle("T-01", "7", 30)
	if again := adopt(e, desk.Freeze{Anew: true}); again.Chart != e.ID || again.Baseline.N != first.Baseline.N {
		t.Errorf("sent again: %+v", again)
	}
	if x := adopt(desk.Entry{By: "L-01"}, desk.Freeze{}); x.Chart != "" || x.Why != "its chart holds" {
		t.Errorf("while it holds: %+v", x)
	}
	if x := adopt(desk.Entry{By: "L-01"}, desk.Freeze{Anew: true, From: b.at() - 1}); x.Chart != "" || x.Why == "" {
		t.Errorf("without readings: %+v", x)
	}
	if x := adopt(desk.Entry{By: "L-01"}, desk.Freeze{Anew: true}); x.Chart == "" || x.Baseline.N+len(x.Baseline.Screened) != 25 {
		t.Errorf("anew: %+v", x)
	}
	err := b.desk.As(access.Scribe()).Do(t.Context(), func(w *desk.Work) error {
		_, err := w.OnSignals().AdoptChart(desk.Entry{}, outer, desk.Freeze{Watching: desk.UsualWatching()}, 40)
		return err
	})
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("nobody adopts: %v", err)
	}
}
