package figure_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
)

var now = unit.At(time.Date(2026, 11, 24, 9, 12, 0, 0, time.UTC))

// minutes is an instant before now.
func minutes(before int) unit.Instant { return now.Add(-time.Duration(before) * time.Minute) }

// usual are the steps of a cycle in which nothing was late.
var usual = slices.DeleteFunc(slices.Clone(reprocessing.StepKinds), func(k reprocessing.StepKind) bool { return k == reprocessing.Soak })

// at makes a cycle in which so many steps are done; the rest is missing.
func at(done int, state reprocessing.State) reprocessing.Answer {
	a := reprocessing.Answer{Scope: "D-01", At: now, State: state, Cycle: minutes(150)}
	for i, k := range usual[:10] {
		p := reprocessing.Progress{Step: k, Status: reprocessing.MissingStep}
		switch {
		case k == reprocessing.Transport || k == reprocessing.FinalRinse || (k == reprocessing.Storage && state != reprocessing.Ready):
			p.Status = reprocessing.NotDueStep
		case i < done:
			p.Status, p.Record = reprocessing.DoneStep, fmt.Sprintf("r%d", i)
			p.Start, p.End = minutes(148-14*i), minutes(137-14*i)
		}
		if k == reprocessing.ManualCleaning {
			p.Deadline = minutes(77)
		}
		a.Steps = append(a.Steps, p)
	}
	return a
}

// strips are cycles of every kind.
func strips() map[string]reprocessing.Answer {
	ready := at(10, reprocessing.Ready)
	ready.Until = now.Add(52 * time.Hour)
	ready.Steps[9].End = 0
	soon := at(1, reprocessing.InReprocessing)
	soon.Steps[2].Status, soon.Steps[2].Start, soon.Steps[2].Record = reprocessing.RunningStep, minutes(6), "r2"
	soon.Steps[3].Deadline = minutes(-42)
	late := at(3, reprocessing.InReprocessing)
	late.Steps[6].Deadline = now.Add(27*time.Hour + 13*time.Minute)
	failed := at(6, reprocessing.OnHold)
	failed.Steps[5].Status = reprocessing.FailedStep
	failed.Steps[4].Status = reprocessing.StaleStep
	old := at(9, reprocessing.OutOfService)
	for i := range old.Steps {
		if p := &old.Steps[i]; p.Start.Known() {
			p.Start, p.End = p.Start.AddDays(-1, time.UTC), p.End.AddDays(-1, time.UTC)
		}
	}
	old.Steps[8].Start, old.Steps[8].End = minutes(30), minutes(10)
	old.Cycle = old.Cycle.AddDays(-1, time.UTC)
	return map[string]reprocessing.Answer{
		"ready": ready, "in-reprocessing": soon, "late": late, "on-hold": failed, "out": old,
		"not-known": {State: reprocessing.NotKnown, Scope: "X-9"},
	}
}

var records = figure.Places{Record: func(id ledger.ID) string { return "/records/" + string(id) }}

func TestGoldenStrips(t *testing.T) {
	t.Parallel()
	for name, a := range strips() {
		for _, width := range []float64{320, 1000} {
			svg := chart.SVG(figure.Strip(words.US, a, now, time.UTC, records), chart.SVGOptions{Width: width, Standalone: true})
			golden(t, fmt.Sprintf("strip-%s-%g.svg", name, width), svg)
		}
	}
}

func TestStripLayout(t *testing.T) {
	t.Parallel()
	for name, a := range strips() {
		for i, width := range []float64{240, 292, 320, 480, 720, 972, 1000, 1600, 240, 292, 320, 480, 720, 972, 1000, 1600} {
			terms := []words.Terms{words.US, words.UK}[i/8]
			t.Run(fmt.Sprintf("%s at %g, terms %d", name, width, terms), func(t *testing.T) {
				r := inspect(t, figure.Strip(terms, a, now, time.UTC, records), width)
				if len(r.titles) != len(a.Steps)+2 {
					t.Errorf("%d titles for %d steps", len(r.titles), len(a.Steps))
				}
				for _, text := range r.texts {
					if width >= 292 && strings.Contains(text.text, "…") {
						t.Errorf("%q is cut", text.text)
					}
				}
			})
		}
	}
}

// Each status is said by its own mark and by its word, each state by its flag's word.
func TestStripStatuses(t *testing.T) {
	t.Parallel()
	type look struct {
		shape  chart.Shape
		radius float64
		fill   chart.Ink
	}
	seen := map[look]reprocessing.Status{}
	for _, status := range []reprocessing.Status{
		reprocessing.DoneStep, reprocessing.RunningStep, reprocessing.MissingStep, reprocessing.FailedStep,
		reprocessing.StaleStep, reprocessing.NotDueStep,
	} {
		a := reprocessing.Answer{State: reprocessing.OnHold, Cycle: minutes(90), Steps: []reprocessing.Progress{{Step: reprocessing.LeakTest, Status: status}}}
		r := inspect(t, figure.Strip(words.US, a, now, time.UTC, figure.Places{}), 720)
		if !r.says(string(status)) || !r.says("on hold") || !r.says("not for use") {
			t.Errorf("%s: %v", status, r.texts)
		}
		// The marks: backing and mark of the beginning, of the step, of the release check.
		x := look{r.shapes[3], math.Round(r.marks[3].right - r.marks[3].left), 0}
		if status == reprocessing.MissingStep {
			x.fill = chart.InkPaper
		}
		if other, taken := seen[x]; taken {
			t.Errorf("%s looks like %s", status, other)
		}
		seen[x] = status
	}
	for _, state := range reprocessing.States {
		r := inspect(t, figure.Strip(words.US, reprocessing.Answer{State: state}, now, time.UTC, figure.Places{}), 720)
		if word := words.US.State(state).Word; !r.says(word) {
			t.Errorf("no flag says %s", word)
		}
	}
}

func (r *recorder) says(text string) bool {
	for _, x := range r.texts {
		if x.text == text {
			return true
		}
	}
	return false
}

// The clock runs to the second: at the deadline nothing is over, a minute later a minute is.
func TestStripClock(t *testing.T) {
	t.Parallel()
	a := at(2, reprocessing.InReprocessing)
	deadline := now.Add(42 * time.Minute)
	a.Steps[3].Deadline = deadline
	tests := []struct {
		name string
		now  unit.Instant
		left string
	}{
		{"well before", now, "42 min left"},
		{"hours before", deadline.Add(-135 * time.Minute), "2 h 15 min left"},
		{"whole hours before", deadline.Add(-2 * time.Hour), "2 h left"},
		{"days before", deadline.Add(-51 * time.Hour), "2 d 3 h left"},
		{"whole days before", deadline.Add(-48 * time.Hour), "2 d left"},
		{"seconds before", deadline.Add(-20 * time.Second), "under 1 min left"},
		{"at the deadline", deadline, "under 1 min left"},
		{"seconds after", deadline.Add(20 * time.Second), "under 1 min over"},
		{"a minute after", deadline.Add(time.Minute), "1 min over"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			p := figure.Strip(words.US, a, test.now, time.UTC, figure.Places{})
			if got := p.Table().Rows[4][6]; got != test.left {
				t.Errorf("%q, want %q", got, test.left)
			}
			if _, desc := p.Words(); !strings.Contains(desc, test.left) {
				t.Errorf("the description lacks %q: %s", test.left, desc)
			}
		})
	}
	// The clock of a step that was begun has stopped.
	a.Steps[3].Status = reprocessing.DoneStep
	if got := figure.Strip(words.US, a, now, nil, figure.Places{}).Table().Rows[4][6]; got != "" {
		t.Errorf("a done step has %q", got)
	}
}

func TestStripLinksToRecords(t *testing.T) {
	t.Parallel()
	a := at(6, reprocessing.InReprocessing)
	r := inspect(t, figure.Strip(words.US, a, now, time.UTC, records), 720)
	for i, p := range a.Steps {
		want := ""
		if p.Record != "" {
			want = "/records/" + p.Record
		}
		if r.hrefs[i+1] != want {
			t.Errorf("%s leads to %q, want %q", p.Step, r.hrefs[i+1], want)
		}
	}
}

func TestAnyStripHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		instant := rapid.Custom(func(t *rapid.T) unit.Instant {
			return unit.Instant(
				rapid.OneOf(rapid.Just(int64(0)), rapid.Int64Range(int64(minutes(9000)), int64(minutes(-9000))), rapid.Int64Range(-1e16, 1e17)).Draw(t, "i"),
			)
		})
		a := reprocessing.Answer{
			Scope: rapid.String().
				Draw(t, "scope"),
			State: reprocessing.State(
				rapid.SampledFrom([]string{"ready", "on hold", "in reprocessing", "out of service", "not known", "", "<&\""}).Draw(t, "state"),
			),
			Cycle: instant.Draw(t, "begin"),
			Until: instant.Draw(t, "until"),
		}
		for range rapid.IntRange(0, 14).Draw(t, "steps") {
			a.Steps = append(a.Steps, reprocessing.Progress{
				Step: reprocessing.StepKind(
					rapid.OneOf(rapid.SampledFrom([]string{"leak-test", "manual-cleaning", "<script>"}), rapid.String()).Draw(t, "step"),
				),
				Status: reprocessing.Status(
					rapid.SampledFrom([]string{"done", "running", "missing", "failed", "out of order", "not due", "", "<other>"}).Draw(t, "status"),
				),
				Record:   rapid.SampledFrom([]string{"", "r", "\"><script>"}).Draw(t, "record"),
				Start:    instant.Draw(t, "start"),
				End:      instant.Draw(t, "end"),
				Deadline: instant.Draw(t, "deadline"),
			})
		}
		p := figure.Strip(words.US, a, instant.Draw(t, "now"), time.UTC, records)
		width := rapid.Float64Range(240, 1500).Draw(t, "width")
		inspect(t, p, width)
		wellFormed(t, chart.SVG(p, chart.SVGOptions{Width: width, Standalone: true}))
	})
}
