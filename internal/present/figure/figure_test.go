package figure_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
	"rinsate/internal/record"
)

// series is 40 readings of a baseline and 20 that are twice as high, with a break before.
func series(t *testing.T) desk.Series {
	t.Helper()
	rng := rand.New(rand.NewPCG(4, 4))
	s := desk.Series{Key: trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "A", Kit: "K"}, Kind: scope.Duodenoscope, From: 40}
	begin := unit.At(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC))
	for i := range 60 {
		log := 1.5 + 0.2*rng.NormFloat64()
		if i >= 40 {
			log += 0.5
		}
		s.Points = append(
			s.Points,
			trend.Point{ID: ledger.DerivedID("reading", fmt.Sprint(i)), At: begin.AddDays(i, time.UTC), Value: math.Round(math.Pow(10, log))},
		)
	}
	s.Points[7].Value = 9000 // an outlier
	s.Breaks = []trend.Break{{At: begin.Add(-time.Hour), Reason: trend.Repair}}
	b, err := trend.NewBaseline(s.Key, s.Points[:40])
	if err != nil {
		t.Fatal(err)
	}
	d, err := trend.NewDesign(
		trend.Promise{FalseSignals: 1, Readings: 500, Baseline: b.Readings(), Charts: trend.Charts{Individuals: true, EWMA: true, CUSUM: true}},
	)
	if err != nil {
		t.Fatal(err)
	}
	s.Baseline, s.Design = &b, &d
	if s.Watched, err = s.Monitor().Run(s.After()); err != nil {
		t.Fatal(err)
	}
	return s
}

var aLevel = reading.Level{Alert: 100, Action: 200}

// Every point of the picture is a reading, links to its record, and stands where its RLU are.
func TestControlSinglePoints(t *testing.T) {
	t.Parallel()
	s := series(t)
	places := figure.Places{Record: func(id ledger.ID) string { return "/records/" + string(id) }}
	c := figure.Control(s, figure.Single, []reading.Level{aLevel}, time.UTC, places)
	if len(c.Main.Points) != len(s.Points) {
		t.Fatalf("%d points, %d readings", len(c.Main.Points), len(s.Points))
	}
	excluded, signals := 0, 0
	for i, p := range c.Main.Points {
		if want := "/records/" + string(s.Points[i].ID); p.Href != want {
			t.Errorf("point %d leads to %s, want %s", i, p.Href, want)
		}
		if got := math.Pow(10, p.Y); math.Abs(got-s.Points[i].Value) > 1e-9*got {
			t.Errorf("point %d stands at %v RLU, read %v", i, got, s.Points[i].Value)
		}
		if p.Excluded {
			excluded++
		}
		if p.Signal != "" {
			signals++
			if i < s.From {
				t.Errorf("point %d of the baseline has the signal %s", i, p.Signal)
			}
		}
	}
	if excluded != len(s.Baseline.Screened) || excluded != 1 || signals == 0 || signals > s.Watched.Crossings {
		t.Errorf("%d outliers, %d points with signals", excluded, signals)
	}
	l := c.Main.Limits[0]
	if got, want := math.Pow(10, l.Centre), s.Baseline.RLU(); math.Abs(got-want) > 1e-6 {
		t.Errorf("centre at %v RLU, want %v", got, want)
	}
	limit := float64(s.Baseline.Mean + s.Baseline.Sigma*s.Design.Share(trend.IndividualsChart).Limit)
	if got, want := math.Pow(10, l.Upper), trend.RLU(limit); math.Abs(got-want) > 1e-6*want {
		t.Errorf("upper limit at %v RLU, want %v", got, want)
	}
	if got := math.Pow(10, c.Main.Levels[1].Value); math.Abs(got-200) > 1e-9 {
		t.Errorf("action level at %v RLU", got)
	}
	if c.Change == nil || len(c.Breaks) != 1 {
		t.Errorf("change %v, breaks %v", c.Change, c.Breaks)
	}
}

// The other charts show what the monitor reaches, on the same readings.
func TestControlWeightedAndSums(t *testing.T) {
	t.Parallel()
	s := series(t)
	weighted := figure.Control(s, figure.Weighted, nil, time.UTC, figure.Places{})
	sums := figure.Control(s, figure.Sums, nil, time.UTC, figure.Places{})
	m := s.Monitor()
	state := m.Start()
	for i, p := range s.After() {
		var reached trend.State
		state, reached, _ = m.Step(state, m.Z(p.Value))
		if got, want := math.Pow(
			10,
			weighted.Main.Points[i].Y,
		), trend.RLU(
			float64(s.Baseline.Mean)+float64(s.Baseline.Sigma)*reached.EWMA.Mean,
		); math.Abs(
			got-want,
		) > 1e-6*want {
			t.Errorf("weighted mean %d at %v RLU, want %v", i, got, want)
		}
		if up, down := sums.Main.Points[i].Y, sums.Range.Points[i].Y; up != reached.CUSUM.Up || down != reached.CUSUM.Down {
			t.Errorf("sums %d: %v and %v, want %v and %v", i, up, down, reached.CUSUM.Up, reached.CUSUM.Down)
		}
	}
	// Without a baseline there are the readings and the reason.
	s.Baseline, s.Why = nil, "a baseline wants 3 more readings"
	c := figure.Control(s, figure.Sums, nil, time.UTC, figure.Places{})
	if len(c.Main.Points) != len(s.Points) || !strings.Contains(c.Desc, "3 more readings") {
		t.Errorf("%d points, %q", len(c.Main.Points), c.Desc)
	}
}

func TestFunnelLimits(t *testing.T) {
	t.Parallel()
	f, err := trend.NewFunnel([]trend.Unit{{Name: "A", Failures: 2, Trials: 100}, {Name: "B", Failures: 30, Trials: 150}, {Name: "C", Failures: 1, Trials: 60}})
	if err != nil {
		t.Fatal(err)
	}
	c := figure.Funnel("Failures", "readings", f)
	for _, u := range c.Units {
		i := slices.IndexFunc(f.Units, func(x trend.FunnelUnit) bool { return x.Name == u.Label })
		if u.Outside != (f.Units[i].Beyond != 0) || u.Value != f.Units[i].Proportion {
			t.Errorf("%+v", u)
		}
	}
	if want := 4; len(c.Limits) != want || !f.OverDispersed {
		t.Errorf("%d pairs of limits, over-dispersed %t", len(c.Limits), f.OverDispersed)
	}
	for _, l := range c.Limits {
		for i := range l.X {
			if l.Lo[i] > f.Target || l.Hi[i] < f.Target || l.Lo[i] < 0 || l.Hi[i] > 1 {
				t.Errorf("%s at %v: %v to %v", l.Label, l.X[i], l.Lo[i], l.Hi[i])
			}
		}
	}
}

// samples are log-normal counts of ten scopes.
func samples(n int) []level.Sample {
	rng := rand.New(rand.NewPCG(7, 7))
	list := make([]level.Sample, n)
	for i := range list {
		list[i] = level.Sample{
			ID: fmt.Sprint(i), System: "A", Kit: "K", Scope: fmt.Sprintf("S%d", i%10), Kind: scope.Gastroscope, Point: scope.OuterDistalEnd,
			At: unit.Instant(i + 1), Cleaning: 1, Value: int(math.Round(math.Exp(3 + 0.6*rng.NormFloat64()))),
		}
	}
	return list
}

func TestBaselineHistogramCountsEveryReading(t *testing.T) {
	t.Parallel()
	list := samples(400)
	list[3].Excluded = "void"
	plan := level.Usual(level.Target{System: "A", Kit: "K", Point: scope.OuterDistalEnd})
	plan.Detection, plan.Resamples = 8, 200
	d, err := level.Derive(list, plan)
	if err != nil {
		t.Fatal(err)
	}
	proposed, err := d.Proposed(level.LogNormal)
	if err != nil {
		t.Fatal(err)
	}
	h := figure.Baseline(list, d, proposed)
	total, censored := 0.0, 0.0
	for _, b := range h.Bins {
		total += b.Count
		if b.Censored {
			censored += b.Count
		}
	}
	if int(total) != d.Baseline.Counted || int(censored) != d.Baseline.Censored || censored == 0 {
		t.Errorf("%v readings in the bars, %v of them censored; counted %d, %d at or below detection", total, censored, d.Baseline.Counted, d.Baseline.Censored)
	}
	if got := math.Pow(10, h.Levels[1].Value); math.Abs(got-float64(proposed.Action)) > 1e-9*got {
		t.Errorf("action level at %v, proposed %s", got, proposed.Action)
	}
	if c := d.Action.By(level.LogNormal); math.Abs(math.Pow(10, h.Levels[1].Hi)-float64(c.Interval.Hi)) > 1e-6*float64(c.Interval.Hi) {
		t.Errorf("the interval ends at %v, that of the method at %v", math.Pow(10, h.Levels[1].Hi), c.Interval.Hi)
	}
	typed := proposed
	typed.Alert, typed.Action = 0, 1234
	if got := figure.Baseline(list, d, typed).Levels; len(got) != 1 || got[0].Lo != got[0].Hi {
		t.Errorf("a level that no method proposes, without an alert level: %+v", got)
	}
	under := figure.BaselineUnder(list, d, figure.NamedLevel{Name: "proposed", Level: typed}, figure.NamedLevel{Name: "today", Level: proposed})
	if len(under.Levels) != 2 || under.Levels[0].Kind == under.Levels[1].Kind || len(under.Fitted.X) != 0 || len(under.Bins) != len(h.Bins) {
		t.Errorf("under two levels: %+v", under.Levels)
	}
	// The density integrates to about the number of readings.
	area := 0.0
	for i := 1; i < len(h.Fitted.X); i++ {
		area += (h.Fitted.X[i] - h.Fitted.X[i-1]) * (h.Fitted.Y[i] + h.Fitted.Y[i-1]) / 2
	}
	if width := h.Bins[1].To - h.Bins[1].From; area/width > 1.02*total || area/width < 0.8*total {
		t.Errorf("the curve holds %v readings of %v", area/width, total)
	}
	if empty := figure.Baseline(nil, level.Derivation{}, reading.Level{}); len(empty.Bins) != 0 {
		t.Errorf("%+v", empty)
	}
}

func TestDiscriminationShowsTheLevel(t *testing.T) {
	t.Parallel()
	var pairs []level.Pair
	for i := range 60 {
		pairs = append(pairs, level.Pair{ID: fmt.Sprint(i), Value: 20 + 7*i%200, Positive: i%5 == 0})
	}
	l := aLevel
	l.Analyte, l.Unit, l.Comparison = reading.ATP, reading.RLU, reading.Over
	r, err := level.Discriminate(pairs, level.Question{Level: l, Confidence: stats.MustConfidence("0.95"), Resamples: 200, Seed: "x"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := figure.Discrimination(pairs, r)
	if err != nil {
		t.Fatal(err)
	}
	at := c.Curves[1].Points[0]
	if at.Sensitivity != float64(r.AtLevel.Sensitivity.Value) || at.FalsePositive != 1-float64(r.AtLevel.Specificity.Value) {
		t.Errorf("%+v", at)
	}
	first, last := c.Curves[0].Points[0], c.Curves[0].Points[len(c.Curves[0].Points)-1]
	if first.Sensitivity != 0 || first.FalsePositive != 0 || last.Sensitivity != 1 || last.FalsePositive != 1 {
		t.Errorf("from %+v to %+v", first, last)
	}
	if _, err := figure.Discrimination(pairs[:1], r); err == nil {
		t.Error("one pair draws a curve")
	}
}

func TestEffectsAreRatios(t *testing.T) {
	t.Parallel()
	f := figure.Effects("x", "readings", []attribution.Effect{
		{Name: "T-07", Rows: 40, Ratio: 2, Lo: 1.3, Hi: 3.2, Ranked: true}, {Name: "T-99", Rows: 2},
	})
	if len(f.Effects) != 1 || f.Effects[0].Lo != 1.3 || f.Effects[0].Estimate != 2 || f.Effects[0].Cells[0] != "40" {
		t.Errorf("%+v", f.Effects)
	}
}

func TestChecksShowTarget(t *testing.T) {
	t.Parallel()
	m := quality.Meter{Code: "M-1", System: "A"}
	at := unit.At(time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))
	target := quality.Target{System: "A", Kind: quality.Positive, Material: "light", Low: 300, High: 3000, Mean: 3, SD: 0.02, Runs: 20, Adopted: at}
	var checks []desk.CheckLine
	for i, v := range []unit.Number{1000, 120, 990} {
		o := quality.Accepted
		if v < 300 {
			o = quality.Rejected
		}
		checks = append(checks, desk.CheckLine{CheckBody: record.CheckBody{
			Meter:    "M-1",
			Verdict:  quality.Verdict{At: at.Add(time.Duration(i) * time.Hour), Outcome: o},
			Serviced: map[int]string{2: "cleaned"}[i],
			Controls: []quality.Control{
				{Meter: "M-1", Kind: quality.Positive, Material: "light", Value: v, At: at.Add(time.Duration(i) * time.Hour)},
				{Kind: quality.Blank, Material: "none", At: at},
			},
		}})
	}
	c := figure.Checks(m, quality.Positive, "light", checks, []quality.Target{target}, time.UTC, figure.Places{})
	if len(c.Main.Points) != 3 || c.Main.Points[1].Signal != "X" || len(c.Breaks) != 1 || len(c.Main.Levels) != 2 || len(c.Main.Limits) != 1 {
		t.Errorf("%+v", c)
	}
	if got := math.Pow(10, c.Main.Levels[0].Value); math.Abs(got-300) > 1e-9 {
		t.Errorf("lower limit at %v", got)
	}
}

func TestOperatingCurves(t *testing.T) {
	t.Parallel()
	l := aLevel
	l.Analyte, l.Unit, l.Comparison = reading.ATP, reading.RLU, reading.Over
	o := desk.Operating{Level: l, Points: []int{1, 3}, Cleanings: []int{1, 3}, Spread: 0.5, Retest: reading.AllPoints}
	curves, err := figure.OperatingCurves(o, "first: ", float64(l.Action))
	if err != nil {
		t.Fatal(err)
	}
	var labels []string
	for _, c := range curves {
		labels = append(labels, c.Label)
		if n := len(c.X); n != len(c.P) || c.P[0] > c.P[n-1] || math.Abs(c.X[n-1]/c.X[0]-100) > 1e-6 {
			t.Errorf("%s goes from %g at %g to %g at %g", c.Label, c.P[0], c.X[0], c.P[n-1], c.X[n-1])
		}
	}
	if want := []string{
		"first: 1 point, cleaned again",
		"first: 1 point, on hold after 3",
		"first: 3 points, cleaned again",
		"first: 3 points, on hold after 3",
	}; !slices.Equal(
		labels,
		want,
	) {
		t.Errorf("curves %q, want %q", labels, want)
	}
	o.Spread = -1
	if _, err := figure.OperatingCurves(o, "", 100); err == nil {
		t.Error("a spread below 0 has curves")
	}
}

// Whatever texts come in, every picture is well-formed.
func TestHostileTexts(t *testing.T) {
	t.Parallel()
	s := series(t)
	s.Key.Scope, s.Key.System = `"><script>alert(1)</script>`, "a & b"
	pictures := []chart.Picture{
		figure.Control(s, figure.Single, nil, time.UTC, figure.Places{}), figure.Control(s, figure.Weighted, nil, time.UTC, figure.Places{}),
		figure.Operation("<b>", "&", []figure.Curve{{Label: "<i>", X: []float64{1, 10}, P: []float64{0, 1}}}, aLevel),
	}
	for i, p := range pictures {
		d := xml.NewDecoder(bytes.NewReader(chart.SVG(p, chart.SVGOptions{Standalone: true})))
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("picture %d: %v", i, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "script" {
				t.Errorf("picture %d has a script", i)
			}
		}
	}
}
