package quality_test

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

const (
	// close12 is the relative tolerance against reference values of fifteen digits.
	close12 = 1e-12
	// close9 is that for quantities that go through noncentral t, χ² or F quantiles of the library.
	close9 = 1e-9
)

var (
	c95   = stats.MustConfidence("0.95")
	meter = quality.Meter{Code: "M-1", System: "system A"}
	// since is when targets were adopted, before any control of the tests.
	since = unit.Instant(1_000)
)

func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= max(tolerance*math.Abs(want), 1e-14)
}

func wantNear(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !near(got, want, tolerance) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

func wantInterval(t *testing.T, what string, got stats.Interval, lo, hi, tolerance float64) {
	t.Helper()
	wantNear(t, what+", lower", got.Lo, lo, tolerance)
	wantNear(t, what+", upper", got.Hi, hi, tolerance)
}

// must unwraps a result whose arguments the test itself made valid.
func must[T any](t interface {
	Helper()
	Fatal(args ...any)
},
) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// levelTarget is the target of a level of a positive control. With mean 3 and standard deviation 1
// on log10(RLU+1), whole z are whole RLU without rounding: 999 is z = 0 and 99999 is z = 2.
func levelTarget(level string) quality.Target {
	return quality.Target{
		System: "system A", Kind: quality.Positive, Material: "light source", Lot: level,
		Mean: 3, SD: 1, Runs: 20, Source: "own runs", Edition: "1", Adopter: "lead", Adopted: since,
	}
}

func blankTarget() quality.Target {
	return quality.Target{
		System: "system A", Kind: quality.Blank, Material: "empty chamber", High: 10,
		Source: "manufacturer", Edition: "1", Adopter: "lead", Adopted: since,
	}
}

func targets() []quality.Target {
	return []quality.Target{levelTarget("A"), levelTarget("B"), levelTarget("C"), blankTarget()}
}

// rluAt returns the RLU nearest to a z of levelTarget.
func rluAt(z float64) unit.Number { return unit.Number(math.Round(math.Pow(10, 3+z) - 1)) }

// parseRuns reads runs such as "A+2.5 B-1; A0": a level and its z, or "blank" and its RLU. The ids
// are the number of the run and the level: 1A, 1B, 2A.
func parseRuns(t *testing.T, text string) [][]quality.Control {
	t.Helper()
	var runs [][]quality.Control
	for i, one := range strings.Split(text, ";") {
		var run []quality.Control
		for j, word := range strings.Fields(one) {
			c := quality.Control{
				Meter: meter.Code, Kind: quality.Positive, Material: "light source", Person: "lead",
				At: since + unit.Instant(100*(i+1)+j), Run: fmt.Sprintf("run %02d", i+1),
			}
			name, number := word[:1], word[1:]
			if rlu, blank := strings.CutPrefix(word, "blank"); blank {
				name, number = "blank", rlu
				c.Kind, c.Material = quality.Blank, "empty chamber"
			} else {
				c.Lot = name
			}
			z, err := strconv.ParseFloat(number, 64)
			if err != nil {
				t.Fatal(err)
			}
			c.Value = rluAt(z)
			if c.Kind == quality.Blank {
				c.Value = unit.Number(z)
			}
			c.ID = ledger.ID(fmt.Sprintf("%d%s", i+1, name))
			run = append(run, c)
		}
		runs = append(runs, run)
	}
	return runs
}

// shown writes a verdict as its outcome and the rules with the controls that broke them.
func shown(v quality.Verdict) string {
	words := []string{string(v.Outcome)}
	for _, h := range v.Hits {
		ids := make([]string, len(h.Controls))
		for i, id := range h.Controls {
			ids[i] = string(id)
		}
		words = append(words, fmt.Sprintf("%s(%s)", h.Rule, strings.Join(ids, " ")))
	}
	return strings.Join(words, " ")
}

// mentions says whether an error and a wanted part of its text agree; no part means no error.
func mentions(err error, part string) bool {
	return (err != nil) == (part != "") && (err == nil || strings.Contains(err.Error(), part))
}

// classic are the rules as first published: all of them, across levels, with 1-2s as the warning that
// makes one look at the others.
func classic() quality.Rules {
	return quality.Rules{Use: slices.Clone(quality.MultiRules), WarningFirst: true, AcrossLevels: true}
}
